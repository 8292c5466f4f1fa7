//! Drying and limits at their boundaries, from the claimed times.

use chrono::{DateTime, Duration, FixedOffset};
use liftledger::keeping::times::dry_enough;
use liftledger::keeping::{Facts, Met, Moments, Stand};

use super::{needs, plain};

fn at(minutes: i64) -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-03-04T10:00:00+01:00").unwrap() + Duration::minutes(minutes)
}

fn moments() -> Moments {
    Moments {
        since: at(0),
        recovered: at(0),
        photographed: None,
        dry: None,
    }
}

/// Oregon State Police, Physical Evidence Manual, rev. 6: another 48 hours; paper bag or cardboard box meanwhile.
#[test]
fn dental_stone_dries_forty_eight_hours() {
    let p = needs("dental-stone-cast", plain()).packing;
    let allowed = |container: &str, minutes| {
        dry_enough(&p.drying, &p.reasons, &moments(), container, at(minutes)).map_err(|r| r.rule)
    };
    for container in ["bag-paper", "box-cardboard"] {
        assert_eq!(allowed(container, 0), Ok(()), "{container}");
    }
    let rule = Err("dental-stone-drying".to_owned());
    assert_eq!(allowed("box-rigid-small", 0), rule);
    assert_eq!(allowed("box-rigid-small", 48 * 60 - 1), rule);
    assert_eq!(allowed("box-rigid-small", 48 * 60), Ok(()));
    // It counts from when it had set, where that is on the record.
    let later = Moments {
        since: at(30),
        ..moments()
    };
    let why = dry_enough(
        &p.drying,
        &p.reasons,
        &later,
        "box-rigid-small",
        at(48 * 60 + 29),
    )
    .unwrap_err();
    assert!(why.sentence.contains("2026-03-06 10:30 +01:00"), "{why:?}");
    assert!(why.source.starts_with("Oregon State Police"), "{why:?}");
    assert!(
        dry_enough(
            &p.drying,
            &p.reasons,
            &later,
            "box-rigid-small",
            at(48 * 60 + 30)
        )
        .is_ok()
    );
}

/// Gelatin and electrostatic lifts are photographed at once: University of South Florida course notes; Hendricks 2013.
/// Late after 60 minutes is our assumption.
#[test]
fn lifts_that_fade_are_photographed_at_once() {
    for medium in [
        "gelatin-black",
        "gelatin-white",
        "gelatin-clear",
        "electrostatic-dust-lift",
    ] {
        let limits = needs(medium, plain()).packing.limits;
        let limit = limits.iter().find(|l| l.met_by() == Some(Met::Photograph));
        let limit = limit.unwrap_or_else(|| panic!("{medium}"));
        let with = |photographed| Moments {
            photographed,
            ..moments()
        };
        let rows = [
            (None, 0, Stand::ToDo),
            (None, 60, Stand::ToDo),
            (None, 61, Stand::Late),
            (Some(at(60)), 70, Stand::Met),
            (Some(at(61)), 70, Stand::MetLate),
        ];
        for (photographed, now, stand) in rows {
            let got = limit.stand(&with(photographed), at(now));
            assert_eq!(got, stand, "{medium} {photographed:?} {now}");
            assert_eq!(got.calls(), photographed.is_none());
        }
    }
    assert!(needs("lifting-tape", plain()).packing.limits.is_empty());
}

/// Massachusetts 515 CMR 7.06: dry thoroughly. Nothing says how long it may take, so it is never late, only to do.
#[test]
fn wet_things_are_dried() {
    let wet = Facts {
        wet: true,
        ..plain()
    };
    let limits = needs("collected-object", wet).packing.limits;
    let limit = limits
        .iter()
        .find(|l| l.met_by() == Some(Met::Dry))
        .unwrap();
    assert_eq!(limit.stand(&moments(), at(100_000)), Stand::ToDo);
    let dry = Moments {
        dry: Some(at(900)),
        ..moments()
    };
    assert_eq!(limit.stand(&dry, at(1000)), Stand::Met);
    assert_eq!(limit.rule(), "wet-breathes");
}

/// Records from before rules were named in a time still say what met them.
#[test]
fn old_records_are_read() {
    let old = r#"{"what":"photograph the lift","kind":"at-once","minutes":null}"#;
    let limit: liftledger::keeping::TimeLimit = serde_json::from_str(old).unwrap();
    assert_eq!(limit.met_by(), Some(Met::Photograph));
    assert_eq!(limit.stand(&moments(), at(9000)), Stand::ToDo);
    assert_eq!(limit.rule(), liftledger::keeping::times::DRYING);
}
