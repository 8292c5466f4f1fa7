//! What is out of the storeroom stays on loan in a package, by the date that comes first, until it is back on a shelf.

use chrono::{DateTime, Duration, FixedOffset};
use liftledger::app::rows;
use liftledger::custody::Act;
use liftledger::custody::hand_over::{Condition, TakeBack};
use liftledger::custody::package::{PutIn, TakeOut};
use liftledger::ids::{ItemId, Piece, Subject};

use super::yard::{Yard, hand_out, pack, party, receive, release, store};

/// Lends what stands on the shelf to the examiner; the day on which it is due.
fn lend(y: &mut Yard, item: ItemId, days: i64) -> DateTime<FixedOffset> {
    let due = (y.now + Duration::days(days)).fixed_offset();
    let (keeper, examiner) = (y.people.custodian, y.people.examiner);
    let mut lend = release(Piece::Item(item), examiner);
    if let Act::Release(x) = &mut lend {
        x.unsealed_reason = Some("for examination".into());
        x.due_at = Some(due);
    }
    y.act(keeper, lend).unwrap();
    y.act(examiner, receive(Piece::Item(item), "")).unwrap();
    due
}

fn due(y: &Yard, piece: impl Into<Piece>) -> Option<DateTime<FixedOffset>> {
    let custody = y.stage.state.custody(piece.into()).unwrap();
    custody.loan.as_ref().and_then(|l| l.due_at)
}

#[test]
fn a_package_of_loaned_things_is_due_on_the_first_of_their_dates() {
    let mut y = Yard::new();
    let (mark, case) = (y.things.mark, y.things.case);
    let items: Vec<ItemId> = (0..3).map(|_| y.recovered(mark, "lifting-tape")).collect();
    for item in &items {
        y.shelve(Piece::Item(*item));
    }
    let late = lend(&mut y, items[0], 30);
    let soon = lend(&mut y, items[1], 7);
    let last = lend(&mut y, items[2], 3);
    assert!(last < soon && soon < late);
    let me = y.people.examiner;
    let two = [Piece::Item(items[0]), Piece::Item(items[1])];
    let envelope = y.act(me, pack(case, "envelope-paper", &two)).unwrap();
    let envelope = liftledger::ids::PackageId(envelope);
    assert_eq!(due(&y, Piece::Package(envelope)), Some(soon));
    // What is inside owes nothing by itself, so that no list shows one loan twice.
    assert_eq!(due(&y, Piece::Item(items[1])), None);
    let outer = y
        .act(me, pack(case, "box-cardboard", &[Piece::Package(envelope)]))
        .unwrap();
    let outer = liftledger::ids::PackageId(outer);
    assert_eq!(due(&y, Piece::Package(outer)), Some(soon));
    // Put into the inner envelope, a more urgent loan passes to the outermost package, and the event says so.
    let put = PutIn {
        package: envelope,
        piece: Piece::Item(items[2]),
    };
    y.act(me, Act::PutIn(put)).unwrap();
    assert_eq!(due(&y, Piece::Package(outer)), Some(last));
    let touched = &y.events.last().unwrap().header.touches;
    assert!(touched.iter().any(|t| t.subject == Subject::Package(outer)));
    let row = rows::row(&y.stage.state, Subject::Package(outer)).unwrap();
    assert!(row.unwrap().due_at.is_some());
    // Taken out, a thing is still on loan.
    let take = |package, piece| {
        Act::TakeOut(TakeOut {
            package,
            piece,
            reason: "to examine it".into(),
        })
    };
    y.act(me, take(envelope, Piece::Item(items[0]))).unwrap();
    assert_eq!(due(&y, Piece::Item(items[0])), Some(last));
    // Back on the shelf, nothing is out any more, and what is taken out later owes nothing.
    let keeper = y.people.custodian;
    let mut back = release(Piece::Package(outer), keeper);
    if let Act::Release(x) = &mut back {
        x.unsealed_reason = Some("to be sealed at the counter".into());
    }
    y.act(me, back).unwrap();
    y.act(keeper, receive(Piece::Package(outer), "")).unwrap();
    let shelf = y.things.shelf;
    y.act(keeper, Act::Store(store(Piece::Package(outer), shelf)))
        .unwrap();
    for piece in [Piece::Package(outer), Piece::Package(envelope)] {
        assert_eq!(due(&y, piece), None);
    }
    let fetch = liftledger::custody::place::Fetch {
        piece: Piece::Package(outer),
        purpose: "to look".into(),
    };
    y.act(keeper, Act::Fetch(fetch)).unwrap();
    y.act(keeper, take(envelope, Piece::Item(items[1])))
        .unwrap();
    let custody = y.stage.state.custody(Piece::Item(items[1])).unwrap();
    assert_eq!(custody.loan, None);
}

#[test]
fn an_emptied_package_owes_nothing() {
    let mut y = Yard::new();
    let (me, case) = (y.people.examiner, y.things.case);
    let item = y.things.shelved;
    let day = lend(&mut y, item, 7);
    let envelope = y
        .act(me, pack(case, "envelope-paper", &[Piece::Item(item)]))
        .unwrap();
    let envelope = liftledger::ids::PackageId(envelope);
    assert_eq!(due(&y, Piece::Package(envelope)), Some(day));
    let take = TakeOut {
        package: envelope,
        piece: Piece::Item(item),
        reason: "to examine it".into(),
    };
    y.act(me, Act::TakeOut(take)).unwrap();
    assert_eq!(due(&y, Piece::Package(envelope)), None);
    assert_eq!(due(&y, Piece::Item(item)), Some(day));
}

/// What a hand-out lent ends when it is taken back; what the storeroom lent before ends with a custodian.
#[test]
fn taking_back_ends_the_loan_of_the_hand_out() {
    let mut y = Yard::new();
    let (tech, keeper, examiner) = (y.people.tech, y.people.custodian, y.people.examiner);
    let out = |y: &Yard, item, days| {
        let mut act = hand_out(Piece::Item(item));
        if let Act::HandOut(x) = &mut act {
            x.due_at = Some((y.now + Duration::days(days)).fixed_offset());
        }
        act
    };
    let back = |item| {
        Act::TakeBack(TakeBack {
            piece: Piece::Item(item),
            party: party(),
            seal_seen: String::new(),
            condition: Condition::Intact,
            note: String::new(),
            weighed: None,
            absent: vec![],
        })
    };
    let ends = |y: &Yard| y.events.last().unwrap().fields.contains_key("ends_loan");
    // The technician's own hand-out.
    let lift = y.things.lift;
    let act = out(&y, lift, 9);
    y.act(tech, act).unwrap();
    assert!(due(&y, Piece::Item(lift)).is_some());
    y.act(tech, back(lift)).unwrap();
    assert_eq!(due(&y, Piece::Item(lift)), None);
    assert!(ends(&y));
    // Without a date nothing was lent, and nothing is said of a loan.
    y.act(tech, hand_out(Piece::Item(lift))).unwrap();
    y.act(tech, back(lift)).unwrap();
    assert!(!ends(&y));
    // On loan from the storeroom and then handed on: back with a technician it is still out, with a custodian not.
    let shelved = y.things.shelved;
    lend(&mut y, shelved, 7);
    y.give_on(examiner, tech, Piece::Item(shelved));
    let act = out(&y, shelved, 3);
    y.act(tech, act).unwrap();
    y.act(tech, back(shelved)).unwrap();
    assert!(due(&y, Piece::Item(shelved)).is_some());
    let act = out(&y, shelved, 3);
    y.act(tech, act).unwrap();
    y.act(keeper, back(shelved)).unwrap();
    assert_eq!(due(&y, Piece::Item(shelved)), None);
}
