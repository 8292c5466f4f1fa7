//! What is taken from an item: an item of its own, with both ends of the kinship on record.

use liftledger::custody::item::MAX_SAMPLES;
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, Fact};
use liftledger::ids::{ItemId, Piece, Subject};

use super::yard::{Yard, recover, release};

/// Something of this medium, taken from an item in the technician's hands.
fn taken(y: &Yard, medium: &str, from: ItemId) -> Act {
    let mark = y.stage.state.items[&from].mark;
    let mut x = recover(mark, medium, y.now);
    x.from_item = Some(from);
    x.description = "Swab of the edge".into();
    Act::Recover(x)
}

#[test]
fn parent_and_child_know_each_other() {
    let mut y = Yard::new();
    let (tech, from) = (y.people.tech, y.things.measured);
    let before = y.events.len();
    let act = taken(&y, "collected-object", from);
    let child = ItemId(y.act(tech, act).unwrap());
    let [recovered, sampled] = &y.events[before..] else {
        panic!()
    };
    assert_eq!(recovered.header.kind, "item.recovered");
    let number = y.stage.state.items[&from].number;
    match Fact::from_fields(&sampled.header.kind, &sampled.fields).unwrap() {
        Fact::ItemSampled(x) => assert_eq!(
            (x.item, x.taken, x.taken_number),
            (from, child, y.stage.state.items[&child].number)
        ),
        other => panic!("{other:?}"),
    }
    let touched: Vec<Subject> = sampled.header.touches.iter().map(|t| t.subject).collect();
    assert_eq!(touched, [Subject::Item(from)], "the parent's own event");
    let (parent, item) = (&y.stage.state.items[&from], &y.stage.state.items[&child]);
    assert_eq!(parent.samples, [child]);
    assert_eq!(
        (item.recovered.from_item, item.recovered.from_number),
        (Some(from), Some(number))
    );
    assert_eq!(item.custody.holder, Holder::Person { person: tech });
    assert_eq!(item.mark, parent.mark);
}

#[test]
fn it_is_taken_only_from_what_one_has_in_hand() {
    let mut y = Yard::new();
    let t = &y.things;
    let cases = [
        (t.inner, "inside-a-package"),
        (t.shelved, "not-the-holder"),
        (t.outside, "not-the-holder"),
        (ItemId::new(), "not-found"),
    ];
    for (from, code) in cases {
        let mark = y
            .stage
            .state
            .items
            .get(&from)
            .map_or(y.things.mark, |i| i.mark);
        let mut x = recover(mark, "collected-object", y.now);
        x.from_item = Some(from);
        assert_eq!(y.refused(y.people.tech, Act::Recover(x)), code);
    }
    let from = y.things.measured;
    y.act(
        y.people.tech,
        release(Piece::Item(from), y.people.custodian),
    )
    .unwrap_or_else(|_| {
        let mut offer = release(Piece::Item(from), y.people.custodian);
        if let Act::Release(x) = &mut offer {
            x.unsealed_reason = Some("for photographs".into());
        }
        y.act(y.people.tech, offer).unwrap()
    });
    let act = taken(&y, "collected-object", from);
    assert_eq!(y.refused(y.people.tech, act), "offer-open");
}

#[test]
fn a_transfer_of_a_transfer_is_no_item_of_the_mark() {
    let mut y = Yard::new();
    let (tech, from) = (y.people.tech, y.things.lift);
    let form = y.stage.state.items[&from].recovered.form.clone();
    assert_eq!(form, "card-lift");
    let medium = y.stage.state.items[&from].recovered.medium.clone();
    let act = taken(&y, &medium, from);
    assert_eq!(y.refused(tech, act), "bad-value");
    let mut of_another = recover(
        y.stage.state.items[&y.things.of_other].mark,
        "collected-object",
        y.now,
    );
    of_another.from_item = Some(from);
    assert_eq!(y.refused(tech, Act::Recover(of_another)), "bad-value");
}

#[test]
fn an_item_yields_so_many_and_no_more() {
    let mut y = Yard::new();
    let (tech, from) = (y.people.tech, y.things.measured);
    let mut last = Ok(uuid::Uuid::nil());
    for _ in 0..=MAX_SAMPLES {
        let act = taken(&y, "collected-object", from);
        last = y.act(tech, act);
        if last.is_err() {
            break;
        }
    }
    assert!(last.is_err());
    assert!(y.stage.state.items[&from].samples.len() <= MAX_SAMPLES);
}
