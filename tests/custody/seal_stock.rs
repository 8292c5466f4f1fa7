//! Seals in stock: what is delivered, issued and written off, and what is refused.

use liftledger::app::StageError;
use liftledger::custody::person::SetActive;
use liftledger::custody::seal_stock::{
    MAX_PARTS, MAX_RANGES, SealRange, SealsDeliver, SealsIssue, SealsSpoil, span,
};
use liftledger::custody::{Act, Refusal};
use liftledger::ids::{PersonId, Piece, PlaceId};

use super::yard::{Yard, same, seal};

pub fn deliver(place: PlaceId, first: &str, last: &str) -> Act {
    Act::SealsDeliver(SealsDeliver {
        place,
        first: first.into(),
        last: last.into(),
    })
}

pub fn issue(place: PlaceId, first: &str, last: &str, to: PersonId) -> Act {
    Act::SealsIssue(SealsIssue {
        place,
        first: first.into(),
        last: last.into(),
        to,
    })
}

pub fn spoil(place: PlaceId, first: &str, last: &str, reason: &str) -> Act {
    Act::SealsSpoil(SealsSpoil {
        place,
        first: first.into(),
        last: last.into(),
        reason: reason.into(),
    })
}

fn refused(y: &mut Yard, act: Act) -> Refusal {
    let (who, before) = (y.people.custodian, y.stage.state.clone());
    match y.act(who, act) {
        Err(StageError::Refused(r)) => {
            assert!(same(&before, &y.stage.state));
            assert!(!r.next.is_empty());
            r
        }
        other => panic!("should be refused: {other:?}"),
    }
}

fn ranges(y: &Yard) -> &[SealRange] {
    &y.stage.state.places[&y.things.shelf].seals
}

#[test]
fn a_range_is_delivered_issued_in_parts_and_written_off() {
    let mut y = Yard::new();
    let (keeper, tech, shelf) = (y.people.custodian, y.people.tech, y.things.shelf);
    // Typed in small letters and with space around it, it is the same range.
    y.act(keeper, deliver(shelf, " sb-004401", "SB-004500 "))
        .unwrap();
    y.act(keeper, issue(shelf, "SB-004401", "SB-004420", tech))
        .unwrap();
    y.act(keeper, spoil(shelf, "SB-004403", "SB-004403", "torn"))
        .unwrap();
    y.act(keeper, spoil(shelf, "SB-004490", "SB-004500", "misprinted"))
        .unwrap();
    let [range] = ranges(&y) else {
        panic!("one range")
    };
    assert_eq!(range.span.to_string(), "SB-004401 to SB-004500");
    assert_eq!(range.span.count(), 100);
    assert_eq!(range.issued[0].span.to_string(), "SB-004401 to SB-004420");
    assert_eq!(range.issued[0].to, tech);
    assert_eq!(range.spoiled[0].reason, "torn");
    assert!(range.is_spoiled(4403) && range.is_spoiled(4495) && !range.is_spoiled(4404));
    // Noughts in front are part of the number: these are others.
    y.act(keeper, deliver(shelf, "SB-4401", "SB-4410")).unwrap();
    assert_eq!(ranges(&y).len(), 2);
    assert_eq!(ranges(&y)[1].span.place_of("SB-004401"), None);
    assert_eq!(ranges(&y)[1].span.place_of("SB-4401"), Some(4401));
    // Only whoever keeps the storeroom does it.
    assert_eq!(
        y.refused(tech, deliver(shelf, "T-1", "T-2")),
        "role-may-not"
    );
}

#[test]
fn a_range_that_is_none_is_refused() {
    let mut y = Yard::new();
    let shelf = y.things.shelf;
    for (first, last, says) in [
        ("SB-004500", "SB-004401", "backwards"),
        ("SB-004401", "SC-004500", "not of one range"),
        ("SB-004401", "SB-04500", "not of one range"),
        ("SB-004401", "SB-005401", "at most 1000"),
        ("SB-", "SB-1", "does not end in 1 to 12 digits"),
        (
            "1234567890123",
            "1234567890124",
            "does not end in 1 to 12 digits",
        ),
    ] {
        let r = refused(&mut y, deliver(shelf, first, last));
        assert_eq!(r.code, "bad-value");
        assert!(r.sentence.contains(says), "{}", r.sentence);
    }
    assert_eq!(refused(&mut y, deliver(shelf, "", "SB-1")).code, "bad-text");
    // A thousand numbers are the most.
    assert_eq!(span("SB-004401", "SB-005400").unwrap().count(), 1000);
    assert_eq!(span("9", "9").unwrap().to_string(), "9");
}

#[test]
fn no_number_is_in_two_ranges_or_issued_twice() {
    let mut y = Yard::new();
    let (keeper, tech, shelf) = (y.people.custodian, y.people.tech, y.things.shelf);
    y.act(keeper, deliver(shelf, "SB-100", "SB-199")).unwrap();
    for (first, last) in [
        ("SB-199", "SB-250"),
        ("SB-050", "SB-100"),
        ("SB-120", "SB-130"),
        ("SB-001", "SB-900"),
    ] {
        let r = refused(&mut y, deliver(shelf, first, last));
        assert_eq!(r.code, "already-in-use");
        assert!(r.sentence.contains("SB-100 to SB-199"), "{}", r.sentence);
    }
    y.act(keeper, deliver(shelf, "SB-200", "SB-299")).unwrap();
    // A part lies in one range.
    assert_eq!(
        refused(&mut y, issue(shelf, "SB-190", "SB-210", tech)).code,
        "not-in-stock"
    );
    assert_eq!(
        refused(&mut y, issue(shelf, "XX-190", "XX-191", tech)).code,
        "not-in-stock"
    );
    y.act(keeper, issue(shelf, "SB-110", "SB-119", tech))
        .unwrap();
    let r = refused(&mut y, issue(shelf, "SB-119", "SB-125", keeper));
    assert!(
        r.code == "already-in-use" && r.sentence.contains("issued before"),
        "{}",
        r.sentence
    );
    y.act(keeper, spoil(shelf, "SB-130", "SB-130", "torn"))
        .unwrap();
    let r = refused(&mut y, issue(shelf, "SB-128", "SB-131", keeper));
    assert!(
        r.code == "already-in-use" && r.sentence.contains("SB-130 was written off"),
        "{}",
        r.sentence
    );
    assert_eq!(
        refused(&mut y, spoil(shelf, "SB-130", "SB-130", "again")).code,
        "already-in-use"
    );
    assert_eq!(
        refused(&mut y, spoil(shelf, "SB-131", "SB-131", " ")).code,
        "bad-text"
    );
    assert_eq!(
        refused(&mut y, issue(shelf, "SB-140", "SB-141", PersonId::new())).code,
        "not-found"
    );
    assert_eq!(
        refused(&mut y, deliver(PlaceId::new(), "Q-1", "Q-2")).code,
        "not-found"
    );
}

#[test]
fn what_was_used_is_not_written_off_and_nobody_who_left_is_issued_any() {
    let mut y = Yard::new();
    let (keeper, tech, shelf) = (y.people.custodian, y.people.tech, y.things.shelf);
    y.act(keeper, deliver(shelf, "SB-100", "SB-300")).unwrap();
    let thing = y.things.measured;
    let package = y.packed("box-rigid-medium", &[Piece::Item(thing)]);
    y.act(tech, seal(package, "sb-105")).unwrap();
    let r = refused(&mut y, spoil(shelf, "SB-104", "SB-106", "torn"));
    assert!(
        r.code == "already-in-use" && r.sentence.contains("SB-105"),
        "{}",
        r.sentence
    );
    assert_eq!(
        refused(&mut y, spoil(shelf, "SB-150", "SB-250", "wet")).code,
        "bad-value"
    );
    y.act(keeper, spoil(shelf, "SB-150", "SB-249", "wet"))
        .unwrap();
    let (admin, person) = (y.people.admin, y.people.examiner);
    y.act(
        admin,
        Act::SetActive(SetActive {
            person,
            active: false,
            reason: "left".into(),
        }),
    )
    .unwrap();
    assert_eq!(
        refused(&mut y, issue(shelf, "SB-100", "SB-101", person)).code,
        "bad-value"
    );
}

#[test]
fn ranges_and_parts_are_bounded() {
    let mut y = Yard::new();
    let (keeper, tech, shelf) = (y.people.custodian, y.people.tech, y.things.shelf);
    for n in 0..MAX_RANGES {
        let (first, last) = (format!("R{n}-000"), format!("R{n}-999"));
        y.act(keeper, deliver(shelf, &first, &last)).unwrap();
    }
    let r = refused(&mut y, deliver(shelf, "Z-1", "Z-2"));
    assert!(r.sentence.contains("20 ranges"), "{}", r.sentence);
    for n in 0..MAX_PARTS {
        let (one, other) = (format!("R0-{n:03}"), format!("R0-{:03}", 500 + n));
        y.act(keeper, issue(shelf, &one, &one, tech)).unwrap();
        y.act(keeper, spoil(shelf, &other, &other, "torn")).unwrap();
    }
    let r = refused(&mut y, issue(shelf, "R0-100", "R0-101", tech));
    assert!(r.sentence.contains("issued in 50 parts"), "{}", r.sentence);
    let r = refused(&mut y, spoil(shelf, "R0-700", "R0-700", "torn"));
    assert!(
        r.sentence.contains("written off in 50 parts"),
        "{}",
        r.sentence
    );
}
