//! Kits: what is put in and taken out, an expired lot on the record, and advice beside a recovery.

use chrono::{Days, NaiveDate};
use liftledger::app::rows;
use liftledger::custody::advice::{ChoiceStood, SurfaceSaid};
use liftledger::custody::kit::{KitAdd, KitRemove, lot_key};
use liftledger::custody::{Act, Fact};
use liftledger::ids::{ItemId, Subject};
use liftledger::lifting::advise::question::MAX_KIT;

use super::yard::{Yard, recover};

fn add(medium: &str, lot: &str, expires_on: Option<NaiveDate>) -> Act {
    Act::KitAdd(KitAdd {
        medium: medium.into(),
        lot: lot.into(),
        opened_on: None,
        expires_on,
    })
}

fn remove(medium: &str, lot: &str) -> Act {
    Act::KitRemove(KitRemove {
        medium: medium.into(),
        lot: lot.into(),
        reason: "used up".into(),
    })
}

fn fact(y: &Yard) -> Fact {
    let last = y.events.last().unwrap();
    Fact::from_fields(&last.header.kind, &last.fields).unwrap()
}

#[test]
fn lots_are_put_in_and_taken_out_on_the_record() {
    let mut y = Yard::new();
    let tech = y.people.tech;
    let before = y.stage.state.people[&tech].kit.len();
    let until = y.now.date_naive() + Days::new(100);
    y.act(tech, add("lifting-tape", "lt-9 ", Some(until)))
        .unwrap();
    y.act(tech, add("lifting-tape", "LT-10", None)).unwrap();
    let kit = &y.stage.state.people[&tech].kit;
    assert_eq!(kit.len(), before + 2);
    assert_eq!(kit[before].medium_name, "ordinary lifting tape");
    assert_eq!(kit[before].expires_on, Some(until));
    // The event touches the person, and no case.
    let event = y.events.last().unwrap();
    assert_eq!(event.header.case, None);
    assert_eq!(event.header.touches[0].subject, Subject::Person(tech));
    // Capitals and outer spaces do not count.
    assert_eq!(
        y.refused(tech, add("lifting-tape", " LT-9", None)),
        "already-in-use"
    );
    assert_eq!(
        y.refused(tech, remove("polyethylene-tape", "LT-9")),
        "not-found"
    );
    y.act(tech, remove("lifting-tape", "LT-9")).unwrap();
    assert_eq!(y.refused(tech, remove("lifting-tape", "LT-9")), "not-found");
    let kit = &y.stage.state.people[&tech].kit;
    assert_eq!(kit.last().unwrap().lot, "LT-10");
    // Nobody else's kit has changed.
    let second = y.people.second;
    assert!(y.stage.state.people[&second].kit.is_empty());
}

#[test]
fn what_cannot_be_carried_is_refused() {
    let mut y = Yard::new();
    let tech = y.people.tech;
    for medium in ["toffee", "photograph-only", "collected-object"] {
        assert_eq!(y.refused(tech, add(medium, "A", None)), "bad-value");
    }
    assert_eq!(y.refused(tech, add("lifting-tape", " ", None)), "bad-text");
    assert_eq!(
        y.refused(tech, add("lifting-tape", &"x".repeat(61), None)),
        "bad-text"
    );
    let tomorrow = y.now.date_naive() + Days::new(1);
    let early = Act::KitAdd(KitAdd {
        medium: "lifting-tape".into(),
        lot: "A".into(),
        opened_on: Some(tomorrow),
        expires_on: None,
    });
    assert_eq!(y.refused(tech, early), "bad-value");
    for who in [
        y.people.custodian,
        y.people.supervisor,
        y.people.admin,
        y.people.auditor,
    ] {
        assert_eq!(
            y.refused(who, add("lifting-tape", "A", None)),
            "role-may-not"
        );
    }
    let have = y.stage.state.people[&tech].kit.len();
    for n in have..MAX_KIT {
        y.act(tech, add("lifting-tape", &format!("N{n}"), None))
            .unwrap();
    }
    assert_eq!(
        y.refused(tech, add("lifting-tape", "one more", None)),
        "bad-value"
    );
}

#[test]
fn an_expired_lot_warns_and_the_record_bears_it() {
    let mut y = Yard::new();
    let tech = y.people.tech;
    let mark = y.things.mark;
    let day = y.now.date_naive();
    y.act(tech, add("clear-pvs", "CP-1", Some(day - Days::new(1))))
        .unwrap();
    let Fact::KitAdded(put_in) = fact(&y) else {
        panic!()
    };
    assert!(
        put_in.warnings[0].contains("expired"),
        "{:?}",
        put_in.warnings
    );
    y.act(tech, add("clear-pvs", "CP-2", Some(day))).unwrap();
    let warned = |y: &mut Yard, lot: &str| {
        let mut act = recover(mark, "clear-pvs", y.now);
        act.lot = lot.into();
        let item = y.act(tech, Act::Recover(act)).unwrap();
        let warnings = &y.stage.state.items[&ItemId(item)].recovered.warnings;
        warnings.iter().any(|w| w.contains("expired on"))
    };
    assert!(warned(&mut y, "cp-1"));
    assert!(
        !warned(&mut y, "CP-2"),
        "the day that stands on it is its last good one"
    );
    assert!(
        !warned(&mut y, "CP-3"),
        "of a lot that nobody stated nothing is known"
    );
}

#[test]
fn the_advice_that_was_shown_stands_beside_the_choice() {
    let mut y = Yard::new();
    let tech = y.people.tech;
    let mark = y.things.mark;
    let mut chosen = |medium: &str, said: Option<SurfaceSaid>| {
        let mut act = recover(mark, medium, y.now);
        act.advice = said;
        let item = y.act(tech, Act::Recover(act)).unwrap();
        y.stage.state.items[&ItemId(item)].recovered.advice.clone()
    };
    assert_eq!(chosen("lifting-tape", None), None);
    let wet = SurfaceSaid {
        wet: true,
        collectable: true,
        ..SurfaceSaid::default()
    };
    let shown = chosen("lifting-tape", Some(wet.clone())).unwrap();
    assert_eq!(shown.choice, ChoiceStood::Excluded);
    assert_eq!(shown.ranked, ["collected-object"]);
    assert_eq!(shown.said, ["wet", "can be taken away"]);
    assert!(shown.because[0].contains("wet"), "{:?}", shown.because);
    let shown = chosen("collected-object", Some(wet.clone())).unwrap();
    assert_eq!((shown.choice, shown.because.len()), (ChoiceStood::First, 0));
    let shown = chosen("photograph-only", Some(wet)).unwrap();
    assert_eq!(shown.choice, ChoiceStood::Photograph);
    assert_eq!(shown.rules, y.rules.version());
}

#[test]
fn a_lot_is_one_key_in_the_read_model() {
    assert_eq!(
        lot_key("clear-pvs", " cp-1 ").as_deref(),
        Some("clear-pvs/CP-1")
    );
    assert_eq!(lot_key("clear-pvs", "  "), None);
    let y = Yard::new();
    let row = rows::row(&y.stage.state, Subject::Item(y.things.lift))
        .unwrap()
        .unwrap();
    let medium = &y.stage.state.items[&y.things.lift].recovered.medium;
    assert_eq!(row.lot, Some(format!("{medium}/A7")));
    let row = rows::row(&y.stage.state, Subject::Mark(y.things.mark))
        .unwrap()
        .unwrap();
    assert_eq!(row.lot, None);
}
