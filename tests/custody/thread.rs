//! The thread's layout: order, distances, scale, folds, words.

use chrono::{DateTime, FixedOffset, TimeDelta, TimeZone, Utc};
use liftledger::custody::thread::*;
use liftledger::zone::Zone;
use proptest::prelude::*;

fn t(hours: f64) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 3, 14, 8, 0, 0).unwrap()
        + TimeDelta::seconds((hours * 3600.0) as i64)
}

fn stretch(holder: &str, kind: StretchKind, from: f64, to: f64) -> Stretch {
    Stretch {
        holder: holder.into(),
        kind,
        from: t(from),
        to: t(to),
    }
}

fn knot(at: f64, kind: KnotKind, row: usize) -> Knot {
    Knot {
        at: t(at),
        kind,
        filled: kind != KnotKind::Offer,
        label: kind.words().into(),
        row,
        seq: row as u64,
        flagged: false,
    }
}

/// Four hours in the field, a break, a night at the counter, then 80 days on a shelf.
fn boatyard() -> Thread {
    let late = 24.0 * 80.0;
    Thread {
        title: "Item 3".into(),
        from: t(0.0),
        to: t(late + 2.0),
        stretches: vec![
            stretch("N. Brandt", StretchKind::Person, 0.0, 4.0),
            stretch("", StretchKind::Break, 4.0, 7.2),
            stretch("T. Amsel", StretchKind::Person, 7.2, 20.0),
            stretch("Shelf D-12", StretchKind::Place, 20.0, late),
            stretch("R. Okoro", StretchKind::Person, late, late + 2.0),
        ],
        knots: vec![
            knot(0.0, KnotKind::Start, 1),
            knot(1.0, KnotKind::Packed, 2),
            knot(3.9, KnotKind::Offer, 3),
            knot(7.2, KnotKind::Receipt, 4),
            knot(20.0, KnotKind::Stored, 5),
            knot(late, KnotKind::CheckedOut, 6),
            knot(late + 1.0, KnotKind::Opened, 7),
        ],
        seals: vec![SealMark {
            number: "004217".into(),
            at: t(1.0),
            cut_at: Some(t(late + 1.0)),
            mismatch: false,
        }],
    }
}

#[test]
fn the_long_shelf_time_is_folded_with_its_length() {
    let l = layout(&boatyard(), &LayoutOptions::default());
    assert_eq!(l.folds.len(), 1);
    assert_eq!(l.folds[0].words, "79 days");
    assert!((l.folds[0].end - l.folds[0].start - 0.1).abs() < 1e-9);
    assert_eq!(l.length, 1.0);
}

#[test]
fn what_is_not_folded_or_pressed_apart_shares_one_scale() {
    let l = layout(&boatyard(), &LayoutOptions::default());
    let at = |i: usize| l.knots[i].at;
    // 12.8 hours at the counter against the break's 3.2 hours.
    let counter = at(4) - at(3);
    let lost = l.stretches[1].end - l.stretches[1].start;
    assert!((counter / lost - 4.0).abs() < 1e-6, "{counter} {lost}");
}

#[test]
fn a_break_says_how_long_it_is() {
    let l = layout(&boatyard(), &LayoutOptions::default());
    assert_eq!(l.stretches[1].words, "3 h 12 min not accounted for");
    assert_eq!(l.stretches[0].words, "4 h");
}

#[test]
fn a_break_is_shortened_but_never_called_quiet() {
    let mut thread = boatyard();
    thread.stretches[3].kind = StretchKind::Break;
    let l = layout(&thread, &LayoutOptions::default());
    assert!(l.folds.is_empty());
    assert_eq!(l.stretches[3].words, "79 days not accounted for");
    assert!(l.stretches[3].end - l.stretches[3].start < 0.11);
}

#[test]
fn holders_meet_where_the_thing_changes_hands() {
    let l = layout(&boatyard(), &LayoutOptions::default());
    for pair in l.stretches.windows(2) {
        assert_eq!(pair[0].end, pair[1].start);
    }
    assert_eq!(l.stretches[0].start, 0.0);
    assert_eq!(l.stretches[4].end, 1.0);
    assert_eq!(l.stretches[2].start, l.knots[3].at);
}

#[test]
fn a_seal_stands_clear_of_the_knot_it_was_applied_at() {
    let l = layout(&boatyard(), &LayoutOptions::default());
    let seal = l.seals[0];
    assert!(seal.at >= l.knots[1].at + 0.0249);
    assert!(seal.at < l.knots[2].at);
    assert!(seal.cut_at.unwrap() > l.knots[6].at);
}

#[test]
fn a_thread_of_one_instant_can_be_drawn() {
    let thread = Thread {
        title: "Item 1".into(),
        from: t(0.0),
        to: t(0.0),
        stretches: vec![stretch("N. Brandt", StretchKind::Person, 0.0, 0.0)],
        knots: vec![knot(0.0, KnotKind::Start, 1)],
        seals: vec![],
    };
    let l = layout(&thread, &LayoutOptions::default());
    assert_eq!(l.knots, [PlacedKnot { index: 0, at: 0.0 }]);
    let empty = Thread {
        knots: vec![],
        stretches: vec![],
        ..thread
    };
    assert!(layout(&empty, &LayoutOptions::default()).knots.is_empty());
}

#[test]
fn a_crowded_thread_asks_for_a_longer_axis() {
    let mut thread = boatyard();
    thread.knots = (0..60)
        .map(|i| knot(f64::from(i) / 60.0, KnotKind::Counted, i as usize + 1))
        .collect();
    let l = layout(&thread, &LayoutOptions::default());
    assert!(l.length > 2.5);
    for pair in l.knots.windows(2) {
        assert!((pair[1].at - pair[0].at) * l.length >= 0.05 - 1e-9);
    }
}

#[test]
fn ticks_are_midnights_of_the_zone_and_not_inside_folds() {
    let l = layout(&boatyard(), &LayoutOptions::default());
    assert_eq!(l.ticks[0].label, "15 Mar 2026");
    assert!(l.ticks.iter().all(|tick| {
        l.folds
            .iter()
            .all(|f| tick.at <= f.start || tick.at >= f.end)
    }));
    // 16 hours after the start lies midnight in UTC; nine hours to the east it was 15:00 before.
    let east = LayoutOptions {
        zone: Zone::Fixed(FixedOffset::east_opt(9 * 3600).unwrap()),
        ..LayoutOptions::default()
    };
    assert!(layout(&boatyard(), &east).ticks[0].at < l.ticks[0].at);
}

#[test]
fn lengths_of_time_in_words() {
    let words = |s| duration_words(TimeDelta::seconds(s));
    assert_eq!(words(-5), "0 s");
    assert_eq!(words(20), "20 s");
    assert_eq!(words(45 * 60 + 59), "45 min");
    assert_eq!(words(3 * 3600), "3 h");
    assert_eq!(words(3 * 3600 + 12 * 60), "3 h 12 min");
    assert_eq!(words(86_400), "1 day");
    assert_eq!(words(2 * 86_400 + 4 * 3600), "2 days 4 h");
    assert_eq!(words(84 * 86_400 + 4 * 3600), "84 days");
}

#[test]
fn texts_that_would_touch_go_to_another_lane() {
    assert_eq!(
        lanes(&[(10.0, 20.0), (25.0, 20.0), (60.0, 20.0)], 4.0),
        [0, 1, 0]
    );
    assert_eq!(lanes(&[(0.0, 9.0), (1.0, 9.0), (2.0, 9.0)], 0.0), [0, 1, 2]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever happens when: knots come in order of time, stay on the axis and keep their distance.
    #[test]
    fn any_thread_keeps_order_and_distance(
        hours in prop::collection::vec(0_u32..3000, 0..40),
        cuts in prop::collection::vec((0_u32..3000, prop::option::of(0_u32..4000)), 0..4),
        ends in prop::collection::vec(0_u32..3000, 0..6),
    ) {
        let mut ends = ends;
        ends.sort_unstable();
        let thread = Thread {
            title: String::new(),
            from: t(0.0),
            to: t(2500.0),
            stretches: ends.windows(2).map(|w| stretch("x", StretchKind::Person, w[0].into(), w[1].into())).collect(),
            knots: hours.iter().enumerate().map(|(i, &h)| knot(h.into(), KnotKind::Receipt, i)).collect(),
            seals: cuts.iter().map(|&(a, c)| SealMark {
                number: "1".into(), at: t(a.into()), cut_at: c.map(|c| t(c.into())), mismatch: false,
            }).collect(),
        };
        let l = layout(&thread, &LayoutOptions::default());
        prop_assert_eq!(l.knots.len(), hours.len());
        prop_assert_eq!(l.seals.len(), cuts.len());
        for pair in l.knots.windows(2) {
            let when = |k: &PlacedKnot| thread.knots[k.index].at.min(thread.to);
            prop_assert!(when(&pair[0]) <= when(&pair[1]));
            prop_assert!((pair[1].at - pair[0].at) * l.length >= 0.05 - 1e-9);
        }
        for p in l.knots.iter().map(|k| k.at).chain(l.seals.iter().map(|s| s.at)).chain(l.ticks.iter().map(|t| t.at)) {
            prop_assert!((0.0..=1.0).contains(&p), "{}", p);
        }
        for s in &l.stretches {
            prop_assert!(s.start < s.end);
        }
    }
}
