//! Setting times against their windows, to the second at the borders.

use super::rules;
use chrono::{DateTime, Duration, FixedOffset};
use liftledger::lifting::{Medium, SetCheck, SetVerdict::*, set_time};

fn check(m: &Medium, start: DateTime<FixedOffset>, end: DateTime<FixedOffset>) -> SetCheck {
    set_time::check(
        m,
        super::rules().set_window(m, None, None).as_ref(),
        start,
        end,
    )
}

fn start() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-03-14T21:10:00+01:00").unwrap()
}

#[test]
fn windows() {
    let rules = rules();
    // Silicone: about 5 minutes, about 10 thick, not much longer (common practice, no source); 15 is our assumption.
    // Clear siloxane: 2 to 3 minutes (common practice, no source). Stone: at least 20 (Oregon State Police manual).
    for (medium, seconds, verdict, warning) in [
        ("silicone-putty", 299, TooEarly, true),
        ("silicone-putty", 300, InTime, false),
        ("silicone-putty", 600, InTime, false),
        ("silicone-putty", 900, InTime, false),
        ("silicone-putty", 901, TooLong, true),
        ("clear-pvs", 119, TooEarly, true),
        ("clear-pvs", 120, InTime, false),
        ("clear-pvs", 3600, InTime, false),
        ("dental-stone-cast", 19 * 60, TooEarly, true),
        ("dental-stone-cast", 20 * 60, InTime, false),
        ("film-forming-liquid", 60, InTime, false),
        ("lifting-tape", 5, NoWindow, false),
        ("lifting-tape", -1, Backwards, true),
        ("silicone-putty", -60, Backwards, true),
    ] {
        let m = rules.medium(medium).unwrap();
        let got = check(m, start(), start() + Duration::seconds(seconds));
        assert_eq!(
            (got.verdict, got.warning),
            (verdict, warning),
            "{medium} {seconds}: {}",
            got.sentence
        );
        assert!(got.sentence.contains(&m.name), "{}", got.sentence);
        assert_eq!(got.minutes, seconds.div_euclid(60));
    }
}

#[test]
fn what_is_ours_is_said_to_be_ours() {
    let rules = rules();
    let putty = rules.medium("silicone-putty").unwrap();
    let long = check(putty, start(), start() + Duration::minutes(40));
    assert!(
        long.sentence.contains("15 min (our assumption)"),
        "{}",
        long.sentence
    );
    let early = check(putty, start(), start() + Duration::minutes(3));
    assert!(
        !early.sentence.contains("our assumption"),
        "{}",
        early.sentence
    );
}

#[test]
fn zones_do_not_count() {
    let rules = rules();
    let putty = rules.medium("silicone-putty").unwrap();
    let end = DateTime::parse_from_rfc3339("2026-03-14T15:18:00-05:00").unwrap();
    assert_eq!(check(putty, start(), end).minutes, 8);
}
