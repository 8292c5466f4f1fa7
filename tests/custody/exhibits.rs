//! Exhibit numbers: unique in the case for good, changed by a later act, both kept.

use liftledger::custody::exhibit::{MAX_NUMBER, MAX_NUMBERS, SetExhibit};
use liftledger::custody::{Act, person};
use liftledger::ids::{ItemId, PersonId, Subject};
use liftledger::people::Role;

use super::yard::Yard;

pub fn exhibit(item: ItemId, number: &str, reason: &str) -> Act {
    Act::SetExhibit(SetExhibit {
        item,
        number: number.into(),
        court: "Harrow County Court, 26-CR-0044".into(),
        reason: reason.into(),
    })
}

fn numbers(y: &Yard, item: ItemId) -> Vec<String> {
    let item = &y.stage.state.items[&item];
    item.exhibits.iter().map(|e| e.number.clone()).collect()
}

#[test]
fn a_number_stays_with_its_item_and_may_be_followed_by_another() {
    let mut y = Yard::new();
    let (who, t) = (y.people.supervisor, &y.things);
    let (lift, other, of_other) = (t.lift, t.other_lift, t.of_other);
    y.act(who, exhibit(lift, "  S-4 ", "")).unwrap();
    assert_eq!(numbers(&y, lift), ["S-4"]);
    let event = y.events.last().unwrap();
    assert_eq!(event.header.kind, "item.exhibit-set");
    let about: Vec<Subject> = event.header.touches.iter().map(|t| t.subject).collect();
    assert_eq!(about, [Subject::Case(y.things.case), Subject::Item(lift)]);
    // The same, however it is written: by this item and by another one.
    assert_eq!(y.refused(who, exhibit(lift, "s-4", "again")), "bad-value");
    assert_eq!(y.refused(who, exhibit(other, "s-4", "")), "already-in-use");
    // Another one needs a reason, and does not set the first one free.
    assert_eq!(y.refused(who, exhibit(lift, "S-9", " ")), "bad-text");
    y.act(who, exhibit(lift, "S-9", "renumbered at the hearing"))
        .unwrap();
    assert_eq!(numbers(&y, lift), ["S-4", "S-9"]);
    assert_eq!(y.events.last().unwrap().field_str("was"), Some("S-4"));
    assert_eq!(y.refused(who, exhibit(other, "S-4", "")), "already-in-use");
    // The item itself may get its old number back; another case has numbers of its own.
    y.act(who, exhibit(lift, "S-4", "the court changed its mind"))
        .unwrap();
    assert_eq!(numbers(&y, lift), ["S-4", "S-9", "S-4"]);
    y.act(who, exhibit(of_other, "S-4", "")).unwrap();
    let taken = &y.stage.state.cases[&y.things.case].exhibits;
    assert_eq!(taken.len(), 2);
    assert!(taken.values().all(|i| *i == lift));
}

#[test]
fn a_number_has_bounds() {
    let mut y = Yard::new();
    let (who, lift) = (y.people.supervisor, y.things.lift);
    for wrong in ["", "  ", "a\u{7}b", &"9".repeat(MAX_NUMBER + 1)] {
        assert_eq!(
            y.refused(who, exhibit(lift, wrong, "")),
            "bad-text",
            "{wrong:?}"
        );
    }
    for n in 0..MAX_NUMBERS {
        y.act(who, exhibit(lift, &n.to_string(), "renumbered"))
            .unwrap();
    }
    assert_eq!(
        y.refused(who, exhibit(lift, "A", "renumbered")),
        "bad-value"
    );
}

#[test]
fn only_a_liaison_or_a_supervisor_gives_numbers() {
    let mut y = Yard::new();
    let (p, lift) = (&y.people, y.things.lift);
    for who in [p.tech, p.custodian, p.examiner, p.auditor, p.admin] {
        assert_eq!(y.refused(who, exhibit(lift, "1", "")), "role-may-not");
    }
    // A liaison may, but not in a restricted case that is not theirs.
    let add = person::AddPerson {
        user_name: "lio".into(),
        name: "Lio Marchetti".into(),
        number: "L-003".into(),
        roles: [Role::CourtLiaison].into(),
    };
    let liaison = PersonId(y.act(y.people.admin, Act::AddPerson(add)).unwrap());
    y.act(liaison, exhibit(lift, "1", "")).unwrap();
    let closed = y.things.closed_lift;
    assert_eq!(
        y.refused(liaison, exhibit(closed, "1", "")),
        "case-restricted"
    );
    let supervisor = y.people.supervisor;
    y.act(supervisor, exhibit(closed, "1", "")).unwrap();
    let nothing = ItemId::new();
    assert_eq!(
        y.refused(supervisor, exhibit(nothing, "1", "")),
        "not-found"
    );
}
