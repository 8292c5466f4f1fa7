//! Excursions against a brute-force answer: every half minute of a log looked at by itself.

use chrono::{DateTime, TimeDelta, Utc};
use liftledger::keeping::excursion::{Before, Excursion, Exposure, Reading, excursions};
use liftledger::keeping::{Climate, excursion};
use proptest::prelude::*;

fn cool() -> Climate {
    Climate {
        id: "cool".into(),
        source: "invented for this test".into(),
        name: "Cool".into(),
        description: "Between 2 and 8 °C, below 60 %.".into(),
        min_tenths_c: Some(20),
        max_tenths_c: Some(80),
        humidity_below: Some(60),
        from_memory: false,
    }
}

/// A moment in half minutes.
fn at(half_minutes: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_790_000_000, 0).unwrap() + TimeDelta::seconds(30 * half_minutes)
}

/// What is so at a moment, by the two readings around it: 2 outside, 1 perhaps, 0 within or unknown.
fn outside_at(moment: DateTime<Utc>, readings: &[Reading]) -> u8 {
    let class = cool();
    let out = |r: &Reading| !class.holds(r.tenths_c, r.humidity);
    if let Some(on) = readings.iter().find(|r| r.at == moment) {
        return if out(on) { 2 } else { 0 };
    }
    let before = readings.iter().rfind(|r| r.at < moment);
    let after = readings.iter().find(|r| r.at > moment);
    match (before, after) {
        (Some(before), Some(after)) => u8::from(out(before)) + u8::from(out(after)),
        _ => 0,
    }
}

/// Readings at even half minutes, so that odd ones lie between any two.
fn log() -> impl Strategy<Value = Vec<Reading>> {
    prop::collection::btree_map(
        0_i64..40,
        (
            prop_oneof![Just(50), Just(95), Just(10)],
            prop_oneof![Just(None), Just(Some(40)), Just(Some(70))],
        ),
        1..20,
    )
    .prop_map(|rows| {
        rows.into_iter()
            .map(|(minute, (tenths_c, humidity))| Reading {
                at: at(minute * 2),
                tenths_c,
                humidity,
            })
            .collect()
    })
}

fn told(found: &[Excursion], from: i64, to: Option<i64>) -> u8 {
    found
        .iter()
        .filter_map(|e| e.exposes(at(from), to.map(at)))
        .map(|e| match e {
            Exposure::Certain => 2,
            Exposure::Possible => 1,
        })
        .max()
        .unwrap_or(0)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, ..ProptestConfig::default() })]

    /// A stay is exposed as the worst of its half minutes is.
    #[test]
    fn stays_are_judged_as_by_brute_force(
        readings in log(),
        from in 0_i64..42,
        length in prop_oneof![Just(None), (0_i64..40).prop_map(Some)],
    ) {
        let found = excursions(&cool(), &readings, Before::default());
        let (from, to) = (from * 2, length.map(|l| from * 2 + l * 2));
        let moments: Vec<i64> = match to {
            Some(to) if to == from => vec![from],
            // A stay does not hold the moment at which it ended; one that goes on holds everything.
            Some(to) => (from..to).collect(),
            None => (from..200).collect(),
        };
        let worst = moments.into_iter().map(|m| outside_at(at(m), &readings)).max().unwrap_or(0);
        prop_assert_eq!(told(&found, from, to), worst);
    }

    /// Readings that come in two parts tell the same as in one.
    #[test]
    fn a_log_in_parts_tells_the_same(readings in log(), cut in 0_usize..20) {
        let whole = excursions(&cool(), &readings, Before::default());
        let (first, second) = readings.split_at(cut.min(readings.len()));
        let mut parts = excursions(&cool(), first, Before::default());
        let open = parts.pop_if(|e| e.until.is_none());
        let within = first.iter().rfind(|r| cool().holds(r.tenths_c, r.humidity)).map(|r| r.at);
        parts.extend(excursions(&cool(), second, Before { open: open.as_ref(), within }));
        prop_assert_eq!(parts, whole);
    }
}

#[test]
fn degrees_are_said_with_their_sign() {
    assert_eq!(excursion::degrees(-5), "-0.5 °C");
    assert_eq!(excursion::degrees(215), "21.5 °C");
}
