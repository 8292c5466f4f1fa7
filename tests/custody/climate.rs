//! Climate logs: what a CSV must be, what goes on the record, and which things bear a finding.

use chrono::{DateTime, Duration, FixedOffset, Utc};
use liftledger::app::views::exposure::stays;
use liftledger::app::views::findings::Severity;
use liftledger::app::views::told::{Read, Told, tell};
use liftledger::app::views::trail::Step;
use liftledger::app::{Past, StageError};
use liftledger::custody::climate_log::{
    ClimateLogged, LogClimate, MAX_NAMED, MAX_READINGS, unpacked,
};
use liftledger::custody::place::{AddPlace, Fetch, PlaceKind};
use liftledger::custody::{Act, Fact, Refusal};
use liftledger::ids::{Piece, PlaceId, Subject};
use liftledger::zone::Zone;

use super::yard::{Yard, place, same, store};

fn log(place: PlaceId, csv: &str) -> Act {
    Act::LogClimate(LogClimate {
        place,
        logger: "L-7, calibrated in spring".into(),
        csv: csv.into(),
        offset: None,
    })
}

/// Readings before now, in minutes: each with its temperature as written.
fn csv(y: &Yard, rows: &[(i64, &str)]) -> String {
    let mut out = String::from("time,temperature_c,humidity\n");
    for (minutes, temperature) in rows {
        let at = y.now - Duration::minutes(*minutes);
        out += &format!("{},{temperature},20\n", at.to_rfc3339());
    }
    out
}

fn refusal(y: &mut Yard, act: Act) -> Refusal {
    let before = y.stage.state.clone();
    let events = y.events.len();
    match y.act(y.people.custodian, act) {
        Err(StageError::Refused(refusal)) => {
            assert!(same(&before, &y.stage.state), "a refusal changes nothing");
            assert_eq!(y.events.len(), events);
            refusal
        }
        other => panic!("should be refused: {other:?}"),
    }
}

fn logged(y: &Yard) -> ClimateLogged {
    let last = y.events.last().unwrap();
    match Fact::from_fields(&last.header.kind, &last.fields).unwrap() {
        Fact::ClimateLogged(x) => x,
        other => panic!("{other:?}"),
    }
}

/// The item's own trail.
fn told(y: &Yard, piece: Piece) -> Told {
    let of = Subject::from(piece);
    let steps: Vec<Step> = y
        .events
        .iter()
        .filter_map(|event| {
            let touch = event.header.touches.iter().find(|t| t.subject == of)?;
            let past = Past {
                n: touch.n,
                event: event.clone(),
                fact: Fact::from_fields(&event.header.kind, &event.fields).ok(),
            };
            Some(Step::own(past, of))
        })
        .collect();
    let zone = FixedOffset::east_opt(3600).unwrap();
    let read = Read {
        steps,
        state: y.stage.state.clone(),
        ..Read::default()
    };
    tell(piece, read, Zone::Fixed(zone), y.now)
}

fn seconds(at: DateTime<Utc>) -> i64 {
    at.timestamp()
}

#[test]
fn readings_go_on_the_record_whole_and_in_parts() {
    let mut y = Yard::new();
    let fridge = y.things.marked_fridge;
    let first = csv(
        &y,
        &[
            (90, "5"),
            (80, "9.04"),
            (70, "9.06"),
            (60, "-0,0"),
            (50, "11.25"),
        ],
    );
    // A comma in a number needs another delimiter or quotes.
    let first = first.replace("-0,0", "\"4,95\"");
    let at: Vec<i64> = [90, 80, 70, 60, 50]
        .map(|m| seconds(y.now - Duration::minutes(m)))
        .to_vec();
    y.act(y.people.custodian, log(fridge, &first)).unwrap();
    let x = logged(&y);
    assert_eq!(x.climate, "refrigerated");
    let tenths: Vec<i64> = x.readings.iter().map(|r| r[1]).collect();
    assert_eq!(
        tenths,
        [50, 90, 91, 50, 113],
        "rounded to the nearest tenth, halves away from zero"
    );
    let times: Vec<i64> = x.readings.iter().map(|r| r[0]).collect();
    assert_eq!(times, at);
    assert_eq!(unpacked(&x.readings[0]).unwrap().humidity, Some(20));
    assert_eq!((x.left_out, x.continues, x.excursions.len()), (0, false, 2));
    assert_eq!(x.excursions[0].until.map(seconds), Some(at[3]));
    assert_eq!(x.excursions[1].until, None, "still outside");

    // The same file again says so, and a longer one goes on where it ended.
    assert_eq!(refusal(&mut y, log(fridge, &first)).code, "bad-value");
    let longer = format!(
        "{first}{},12,20\n{},4,20\n",
        (y.now - Duration::minutes(40)).to_rfc3339(),
        (y.now - Duration::minutes(30)).to_rfc3339()
    );
    y.act(y.people.custodian, log(fridge, &longer)).unwrap();
    let x = logged(&y);
    assert_eq!(
        (
            x.left_out,
            x.continues,
            x.readings.len(),
            x.excursions.len()
        ),
        (5, true, 2, 1)
    );
    assert_eq!(x.excursions[0].first.timestamp(), at[4]);
    let kept = y.stage.state.places[&fridge].climate_log.clone().unwrap();
    assert_eq!((kept.readings, kept.excursions.len()), (7, 2));
    let last = &kept.excursions[1];
    assert_eq!(last.last_seq, last.first_seq + 1, "two events tell of it");
    assert_eq!(last.excursion.highest_tenths_c, 120);
}

#[test]
fn what_cannot_be_read_is_named_line_by_line() {
    let mut y = Yard::new();
    let fridge = y.things.marked_fridge;
    let of = |y: &mut Yard, csv: &str| refusal(y, log(fridge, csv));
    for (csv, code, says) in [
        ("", "bad-value", "time"),
        ("time,humidity\n", "bad-value", "temperature_c"),
        (
            "time,temperature_c,temperature_f\n",
            "bad-value",
            "only one",
        ),
        ("time,time,temperature_c\n", "bad-value", "Two columns"),
        ("time,temperature_c\n", "bad-value", "no readings"),
    ] {
        let refused = of(&mut y, csv);
        assert_eq!(refused.code, code, "{csv}");
        assert!(
            refused.sentence.contains(says),
            "{csv}: {}",
            refused.sentence
        );
        assert_eq!(refused.field.as_deref(), Some("csv"));
    }
    let bad = "\u{feff}Time;Temperature_C;Humidity;Note\r\n\
        2026-01-02T10:00:00Z;5;20;fine\r\n\
        yesterday;5;20;\r\n\
        2026-01-02 10:05;5;20;no offset\r\n\
        2026-01-02T10:10:00Z;warm;20;\r\n\
        2026-01-02T10:20:00Z;999;20;\r\n\
        2026-01-02T10:30:00Z;5,5;101;\r\n\
        2026-01-02T10:40:00Z;;;\r\n";
    let refused = of(&mut y, bad);
    assert_eq!(refused.code, "lines-refused");
    let lines: Vec<usize> = refused.lines.iter().map(|l| l.line).collect();
    assert_eq!(lines, [3, 4, 5, 6, 7, 8]);
    // The order of time, and the future.
    let ahead = y.now + Duration::hours(1);
    let late = format!(
        "time,temperature_f\n2026-01-02T10:00:00Z,41\n2026-01-02T10:00:00.400Z,41\n2026-01-02T09:00:00Z,41\n{},41\n",
        ahead.to_rfc3339()
    );
    let lines: Vec<(usize, String)> = of(&mut y, &late)
        .lines
        .iter()
        .map(|l| (l.line, l.code.clone()))
        .collect();
    let expected = [(3, "bad-value"), (4, "bad-value"), (5, "time-in-future")];
    assert_eq!(lines, expected.map(|(l, c)| (l, c.to_owned())));
    // Bounds.
    let many = format!("time,temperature_c\n{}", "x,y\n".repeat(MAX_NAMED + 30));
    let refused = of(&mut y, &many);
    assert_eq!(refused.lines.len(), MAX_NAMED);
    assert!(
        refused.sentence.contains("80 of the lines"),
        "{}",
        refused.sentence
    );
    let many = format!("time,temperature_c\n{}", "x,y\n".repeat(MAX_READINGS + 1));
    assert!(of(&mut y, &many).sentence.contains("at most"));
    let long = format!("time,temperature_c\n{}", "x".repeat(200_000));
    assert!(of(&mut y, &long).sentence.contains("200000 bytes"));
}

#[test]
fn an_offset_holds_for_times_without_one() {
    let mut y = Yard::new();
    let fridge = y.things.marked_fridge;
    let mut act = LogClimate {
        place: fridge,
        logger: "L-7".into(),
        csv: "time,temperature_f\n2026-01-02 10:00,41\n2026-01-02T09:30:00Z,50\n".into(),
        offset: Some("+01:00".into()),
    };
    y.act(y.people.custodian, Act::LogClimate(act.clone()))
        .unwrap();
    let x = logged(&y);
    let at = |text: &str| DateTime::parse_from_rfc3339(text).unwrap().timestamp();
    // 41 °F is 5 °C and 50 °F is 10 °C, by definition of the scales.
    assert_eq!(
        x.readings,
        [
            vec![at("2026-01-02T09:00:00Z"), 50],
            vec![at("2026-01-02T09:30:00Z"), 100]
        ]
    );
    act.offset = Some("noon".into());
    assert_eq!(
        refusal(&mut y, Act::LogClimate(act)).field.as_deref(),
        Some("offset")
    );
}

#[test]
fn whoever_does_not_keep_the_room_does_not_log_it() {
    let mut y = Yard::new();
    let fridge = y.things.marked_fridge;
    let act = log(fridge, &csv(&y, &[(10, "5")]));
    assert_eq!(y.refused(y.people.tech, act), "role-may-not");
    let nowhere = log(PlaceId::new(), "time,temperature_c\n");
    assert_eq!(y.refused(y.people.custodian, nowhere), "not-found");
}

#[test]
fn what_stood_there_bears_a_finding_and_nothing_else_does() {
    let mut y = Yard::new();
    let keeper = y.people.custodian;
    // A shelf in the room of the fridge: the room's logger is not the fridge's.
    let room = place("Cool room", "refrigerated");
    let room = PlaceId(
        y.act(
            keeper,
            Act::AddPlace(AddPlace {
                kind: PlaceKind::Room,
                ..room
            }),
        )
        .unwrap(),
    );
    let shelf = place("Cool shelf", "refrigerated");
    let shelf = PlaceId(
        y.act(
            keeper,
            Act::AddPlace(AddPlace {
                parent: Some(room),
                ..shelf
            }),
        )
        .unwrap(),
    );
    let [during, before, elsewhere] =
        [y.things.lift, y.things.other_lift, y.things.inner].map(Piece::Item);
    let _ = elsewhere;
    let mut put = store(during, shelf);
    put.overridden = None;
    y.give(during, keeper);
    y.give(before, keeper);
    y.act(keeper, Act::Store(store(before, shelf))).unwrap();
    y.now += Duration::minutes(10);
    y.act(
        keeper,
        Act::Fetch(Fetch {
            piece: before,
            purpose: "to photograph".into(),
        }),
    )
    .unwrap();
    y.now += Duration::minutes(10);
    y.act(keeper, Act::Store(put)).unwrap();
    let stored = y.now;
    y.now += Duration::hours(2);
    let minute = |m: i64| (stored + Duration::minutes(m)).to_rfc3339();
    let readings = format!(
        "time,temperature_c,humidity\n{},5,20\n{},9.5,20\n{},10,20\n{},5,20\n",
        minute(-5),
        minute(20),
        minute(30),
        minute(40)
    );
    y.act(keeper, log(room, &readings)).unwrap();
    let seq = y.events.last().unwrap().header.seq;

    let exposed = told(&y, during);
    assert_eq!(stays(&exposed.steps).len(), 1);
    let found: Vec<_> = exposed
        .findings
        .iter()
        .filter(|f| f.code.starts_with("climate"))
        .collect();
    let [found] = found[..] else {
        panic!("{:?}", exposed.findings)
    };
    assert_eq!(
        (found.code.as_str(), found.severity),
        ("climate-excursion", Severity::Attention)
    );
    assert_eq!(
        found.events.last(),
        Some(&seq),
        "it rests on the stay and on the readings"
    );
    assert!(
        found.sentence.contains("9.5 °C to 10.0 °C"),
        "{}",
        found.sentence
    );
    assert!(
        found.sentence.contains("Cool shelf, in Cool room"),
        "{}",
        found.sentence
    );

    let earlier = told(&y, before);
    assert!(
        earlier
            .findings
            .iter()
            .all(|f| !f.code.starts_with("climate")),
        "{:?}",
        earlier.findings
    );
}
