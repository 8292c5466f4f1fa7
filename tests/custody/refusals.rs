//! Refusals by code: who tries what, and the stable code of the rule that says no. A refusal changes nothing.

use liftledger::app::StageError;
use liftledger::custody::hand_over::{
    Condition, HandOut, Party, Receive, Refuse, Release, TakeBack, TakeCharge, Withdraw,
};
use liftledger::custody::package::{Open, Pack, PutIn, Seal, TakeOut};
use liftledger::custody::place::Fetch;
use liftledger::custody::{Act, case};
use liftledger::ids::{CaseId, PackageId, Piece};

use crate::app::world::five_hundred;

fn release(piece: Piece, to: liftledger::ids::PersonId) -> Act {
    Act::Release(Release {
        piece,
        to,
        purpose: "x".into(),
        due_at: None,
        unsealed_reason: None,
    })
}

fn receive(piece: Piece, seal: &str, condition: Condition, note: &str) -> Act {
    Act::Receive(Receive {
        piece,
        seal_seen: seal.into(),
        condition,
        note: note.into(),
    })
}

use liftledger::custody::state::Key;
use liftledger::ids::Subject;

#[test]
fn each_rule_says_no_with_its_own_code() {
    let (mut w, piece, hands) = five_hundred();
    // The package is sealed with 004217 and on offer from hands[0] to hands[1].
    let Piece::Package(package) = piece else {
        unreachable!("five_hundred gives a package")
    };
    let item = w.stage.state.packages[&package].contents[0];
    let case = w.stage.state.packages[&package].case;
    let admin = *w
        .stage
        .state
        .people
        .values()
        .find(|p| p.user_name == "admin")
        .map(|p| &p.id)
        .unwrap();
    let party = || Party {
        name: "Oda Lunn".into(),
        organisation: "Courier".into(),
        identification: "card".into(),
        reference: String::new(),
    };
    let intact = Condition::Intact;
    let [giver, taker] = hands;
    let custodian = *w
        .stage
        .state
        .people
        .values()
        .find(|p| p.user_name == "custodian")
        .map(|p| &p.id)
        .unwrap();
    let rows = vec![
        ("role-may-not", admin, release(piece, taker)),
        ("offer-open", giver, release(piece, taker)),
        ("inside-a-package", giver, release(item, taker)),
        ("seal-not-stated", taker, receive(piece, "", intact, "")),
        ("seal-differs", taker, receive(piece, "004271", intact, "")),
        (
            "condition-without-note",
            taker,
            receive(piece, "004271", Condition::Mismatch, ""),
        ),
        (
            "not-the-addressee",
            giver,
            receive(piece, "004217", intact, ""),
        ),
        (
            "not-the-addressee",
            giver,
            Act::Refuse(Refuse {
                piece,
                reason: "x".into(),
            }),
        ),
        (
            "not-the-releaser",
            taker,
            Act::Withdraw(Withdraw {
                piece,
                reason: "x".into(),
            }),
        ),
        (
            "bad-text",
            giver,
            Act::Withdraw(Withdraw {
                piece,
                reason: " ".into(),
            }),
        ),
        (
            "not-found",
            giver,
            release(Piece::Package(PackageId::new()), taker),
        ),
        (
            "offer-open",
            giver,
            Act::Open(Open {
                package,
                reason: "x".into(),
                seal_seen: "004217".into(),
                condition: intact,
                note: String::new(),
            }),
        ),
        (
            "offer-open",
            giver,
            Act::TakeOut(TakeOut {
                package,
                piece: item,
                reason: "x".into(),
            }),
        ),
        (
            "not-outside",
            taker,
            Act::TakeBack(TakeBack {
                piece,
                party: party(),
                seal_seen: "004217".into(),
                condition: intact,
                note: String::new(),
            }),
        ),
        (
            "offer-open",
            giver,
            Act::HandOut(HandOut {
                piece,
                party: party(),
                purpose: "x".into(),
                due_at: None,
                unsealed_reason: None,
            }),
        ),
        (
            "offer-open",
            custodian,
            Act::Fetch(Fetch {
                piece,
                purpose: "x".into(),
            }),
        ),
    ];
    for (code, who, act) in rows {
        let (size, root, word) = (w.stage.size(), w.stage.frontier().root(), act.word());
        match w.act(Some(who), act) {
            Err(StageError::Refused(r)) => {
                assert_eq!(r.code, code, "{word}: {r}");
                assert!(!r.sentence.is_empty() && !r.next.is_empty());
            }
            other => panic!("{word} should be refused with {code}: {other:?}"),
        }
        assert_eq!((w.stage.size(), w.stage.frontier().root()), (size, root));
    }
    // Received: now it is the taker's, and other rules come first.
    w.act(Some(taker), receive(piece, "004217", intact, ""))
        .unwrap();
    let empty = Pack {
        case,
        container: "box-rigid-small".into(),
        contents: vec![],
        note: String::new(),
    };
    let empty = PackageId(w.act(Some(taker), Act::Pack(empty)).unwrap());
    let rows = vec![
        ("no-open-offer", taker, receive(piece, "004217", intact, "")),
        ("not-the-holder", giver, release(piece, taker)),
        ("to-oneself", taker, release(piece, taker)),
        ("recipient-may-not-hold", taker, release(piece, admin)),
        ("not-sealed", taker, release(Piece::Package(empty), giver)),
        (
            "sealed",
            taker,
            Act::TakeOut(TakeOut {
                package,
                piece: item,
                reason: "x".into(),
            }),
        ),
        (
            "sealed",
            taker,
            Act::Seal(Seal {
                package,
                number: "9".into(),
                initialled: true,
            }),
        ),
        (
            "empty-package",
            taker,
            Act::Seal(Seal {
                package: empty,
                number: "9".into(),
                initialled: true,
            }),
        ),
        (
            "sealed",
            taker,
            Act::PutIn(PutIn {
                package,
                piece: Piece::Package(empty),
            }),
        ),
        (
            "nesting",
            taker,
            Act::PutIn(PutIn {
                package: empty,
                piece: Piece::Package(empty),
            }),
        ),
        (
            "already-in-use",
            giver,
            Act::OpenCase(case::OpenCase {
                number: "HC-26-0117".into(),
                title: "x".into(),
                offence: String::new(),
            }),
        ),
        (
            "not-found",
            giver,
            Act::OpenScene(case::OpenScene {
                case: CaseId::new(),
                name: "x".into(),
                address: "x".into(),
            }),
        ),
    ];
    for (code, who, act) in rows {
        let (size, word) = (w.stage.size(), act.word());
        // Only the technician opens cases.
        let who = if word.starts_with("open-") {
            let tech = w
                .stage
                .state
                .people
                .values()
                .find(|p| p.user_name == "tech")
                .unwrap();
            tech.id
        } else {
            who
        };
        match w.act(Some(who), act) {
            Err(StageError::Refused(r)) => assert_eq!(r.code, code, "{word}: {r}"),
            other => panic!("{word} should be refused with {code}: {other:?}"),
        }
        assert_eq!(w.stage.size(), size);
    }
    // A thing that lies about is taken charge of by a custodian only, and says since when it is unaccounted for.
    assert_ne!(taker, custodian);
    let take = TakeCharge {
        piece,
        reason: "found on the counter".into(),
        seal_seen: "004217".into(),
        condition: intact,
        note: String::new(),
    };
    w.act(Some(custodian), Act::TakeCharge(take)).unwrap();
    let last = w.events.last().unwrap();
    assert_eq!(last.header.kind, "custody.charge-taken");
    assert!(last.field_str("unaccounted_since").is_some());
}

/// A receipt names the releaser on the record, so their record must be asked for.
#[test]
fn a_receipt_asks_for_the_releasers_record() {
    let (w, piece, [giver, taker]) = five_hundred();
    let full = &w.stage.state;
    let actor = liftledger::custody::Actor {
        id: Some(taker),
        roles: full.people[&taker].roles.clone(),
        signed: liftledger::custody::Signed::Password,
    };
    let command = liftledger::custody::Command {
        id: liftledger::ids::CommandId::new(),
        claimed_at: None,
        late_reason: None,
        act: receive(piece, "004217", Condition::Intact, ""),
    };
    let mut part = liftledger::custody::State::default();
    if let Piece::Package(id) = piece {
        part.packages.insert(id, full.packages[&id].clone());
    }
    let releaser = Key::Subject(Subject::Person(giver));
    assert!(part.wants(&actor, &command).contains(&releaser));
}
