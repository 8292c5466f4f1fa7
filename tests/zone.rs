//! The agency's zone: how it is written, what its clocks show, and what is meant by what they showed.

use chrono::{MappedLocalTime, NaiveDate, NaiveDateTime, Utc};
use liftledger::app::views::words;
use liftledger::zone::Zone;

fn zone(name: &str) -> Zone {
    name.parse().unwrap()
}

fn clock(text: &str) -> NaiveDateTime {
    text.parse().unwrap()
}

fn meant(name: &str, text: &str) -> Vec<String> {
    match zone(name).of_clock(clock(text)) {
        MappedLocalTime::None => vec![],
        MappedLocalTime::Single(at) => vec![at.to_rfc3339()],
        MappedLocalTime::Ambiguous(a, b) => vec![a.to_rfc3339(), b.to_rfc3339()],
    }
}

#[test]
fn a_zone_is_a_place_or_an_offset() {
    for (typed, kept) in [
        ("Europe/Oslo", "Europe/Oslo"),
        (
            " america/argentina/buenos_aires ",
            "America/Argentina/Buenos_Aires",
        ),
        ("-03:30", "-03:30"),
        ("z", "+00:00"),
        ("utc", "UTC"),
    ] {
        assert_eq!(zone(typed).to_string(), kept);
        assert_eq!(zone(kept), zone(typed));
    }
    for bad in [
        "",
        "01:00",
        "+1:00",
        "+15:00",
        "+01:60",
        "+0100",
        "+é:00",
        "Europe",
        "Mars/Olympus",
    ] {
        assert!(bad.parse::<Zone>().is_err(), "{bad}");
    }
    assert!(Zone::names().all(|name| zone(name).to_string() == name));
}

/// Source: Directive 2000/84/EC, articles 2 and 3: summer time begins at 01:00 UTC on the last Sunday in March and ends at 01:00 UTC
/// on the last Sunday in October. Those of 2026 are the 29th of March and the 25th of October.
#[test]
fn the_clocks_of_a_place_are_set_forward_and_back() {
    let shown = |utc: &str| words::minute(&clock(utc).and_utc(), zone("Europe/Oslo"));
    assert_eq!(shown("2026-03-29T00:59:59"), "2026-03-29 01:59 +01:00");
    assert_eq!(shown("2026-03-29T01:00:00"), "2026-03-29 03:00 +02:00");
    assert_eq!(shown("2026-10-25T00:59:59"), "2026-10-25 02:59 +02:00");
    assert_eq!(shown("2026-10-25T01:00:00"), "2026-10-25 02:00 +01:00");

    let oslo = |text| meant("Europe/Oslo", text);
    assert_eq!(oslo("2026-03-29T01:59:59"), ["2026-03-29T01:59:59+01:00"]);
    assert!(oslo("2026-03-29T02:00:00").is_empty());
    assert!(oslo("2026-03-29T02:59:59").is_empty());
    assert_eq!(oslo("2026-03-29T03:00:00"), ["2026-03-29T03:00:00+02:00"]);
    assert_eq!(
        oslo("2026-10-25T02:30:00"),
        ["2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"]
    );
    assert_eq!(oslo("2026-10-25T03:00:00"), ["2026-10-25T03:00:00+01:00"]);
    assert_eq!(
        meant("+01:00", "2026-03-29T02:30:00"),
        ["2026-03-29T02:30:00+01:00"]
    );
}

/// Source: IANA's time zone database, files `africa` (Egypt sets its clocks forward at midnight, again since 2023) and
/// `australasia` (Samoa left out the 30th of December 2011).
#[test]
fn a_day_begins_at_its_first_moment() {
    let begin = |name: &str, day: &str| {
        let day: NaiveDate = day.parse().unwrap();
        zone(name).begin_of(day).map(|at| at.to_rfc3339())
    };
    let day = |name, day| begin(name, day).unwrap();
    assert_eq!(day("-05:00", "2026-01-02"), "2026-01-02T00:00:00-05:00");
    assert_eq!(
        day("Africa/Cairo", "2025-04-25"),
        "2025-04-25T01:00:00+03:00"
    );
    assert_eq!(
        day("Africa/Cairo", "2025-04-26"),
        "2025-04-26T00:00:00+03:00"
    );
    assert_eq!(begin("Pacific/Apia", "2011-12-30"), None);
    assert_eq!(
        day("Pacific/Apia", "2011-12-31"),
        "2011-12-31T00:00:00+14:00"
    );
}

/// Something added to a time keeps its offset: the moment is right, and it is still said in which offset.
#[test]
fn what_is_added_to_a_time_moves_the_moment() {
    let before = clock("2026-10-25T00:30:00").and_utc();
    let hours = chrono::TimeDelta::hours(2);
    let there = before.with_timezone(&zone("Europe/Oslo")) + hours;
    assert_eq!(there.with_timezone(&Utc), before + hours);
    assert_eq!(there.to_rfc3339(), "2026-10-25T04:30:00+02:00");
}
