//! Findings of a short history made by real commands, in memory.

use chrono::{Duration, FixedOffset};
use liftledger::app::Past;
use liftledger::app::views::findings::{Severity, Tally};
use liftledger::app::views::told::{Told, tell};
use liftledger::app::views::trail::{Step, stays};
use liftledger::custody::{Act, Fact, hand_over, package};
use liftledger::ids::{PackageId, PersonId, Piece, Subject};

use crate::app::world::{World, five_hundred};

/// The trail of a package that is in no other: its own events.
fn told(w: &World, piece: Piece) -> Told {
    let of = Subject::from(piece);
    let steps: Vec<Step> = w
        .events
        .iter()
        .filter_map(|event| {
            let touch = event.header.touches.iter().find(|t| t.subject == of)?;
            Some(Step {
                past: Past {
                    n: touch.n,
                    event: event.clone(),
                    fact: Fact::from_fields(&event.header.kind, &event.fields).ok(),
                },
                of,
                through: None,
            })
        })
        .collect();
    let zone = FixedOffset::east_opt(0).unwrap();
    tell(piece, steps, w.stage.state.clone(), zone, w.now)
}

fn release(piece: Piece, to: PersonId, due_in: Option<i64>, w: &World) -> Act {
    Act::Release(hand_over::Release {
        piece,
        to,
        purpose: "comparison".into(),
        due_at: due_in.map(|h| (w.now + Duration::hours(h)).fixed_offset()),
        unsealed_reason: Some("the seals have run out".into()),
    })
}

fn withdraw(piece: Piece) -> Act {
    Act::Withdraw(hand_over::Withdraw {
        piece,
        reason: "not today".into(),
    })
}

#[test]
fn an_orderly_history_has_no_finding() {
    let (mut w, piece, [me, _]) = five_hundred();
    w.act(Some(me), withdraw(piece)).unwrap();
    let told = told(&w, piece);
    assert_eq!(told.findings, []);
    assert_eq!(Tally::of(&told.findings).words(), "no finding");
    assert!(told.rows.iter().all(|r| r.flag.is_none()));
}

#[test]
fn opened_unsealed_answered_late_and_not_late_when_the_loan_never_began() {
    let (mut w, piece, [me, other]) = five_hundred();
    let Piece::Package(package) = piece else {
        panic!()
    };
    w.act(Some(me), withdraw(piece)).unwrap();
    let act = release(piece, other, Some(2), &w);
    w.act(Some(me), act).unwrap();
    w.act(Some(me), withdraw(piece)).unwrap();
    w.now += Duration::hours(72);
    let open = package::Open {
        package,
        reason: "to look".into(),
        seal_seen: "004217".into(),
        condition: hand_over::Condition::Intact,
        note: String::new(),
    };
    w.act(Some(me), Act::Open(open)).unwrap();
    let act = release(piece, other, None, &w);
    w.act(Some(me), act).unwrap();
    let open_offer = {
        let before = w.now;
        w.now += Duration::hours(30);
        let told = told(&w, piece);
        w.now = before;
        told
    };
    let still: Vec<_> = open_offer
        .findings
        .iter()
        .filter(|f| f.row.is_none())
        .collect();
    assert_eq!(still.len(), 1);
    assert_eq!(
        (still[0].code.as_str(), still[0].severity),
        ("offer-open", Severity::Attention)
    );
    w.now += Duration::hours(30);
    let receive = hand_over::Receive {
        piece,
        seal_seen: String::new(),
        condition: hand_over::Condition::Wet,
        note: "rain on the way".into(),
    };
    w.act(Some(other), Act::Receive(receive)).unwrap();
    let told = told(&w, piece);
    let found: Vec<&str> = told.findings.iter().map(|f| f.code.as_str()).collect();
    assert_eq!(
        found,
        [
            "not-resealed",
            "unsealed",
            "offer-answered-late",
            "condition"
        ]
    );
    // Of two findings on one row the graver is its flag.
    let row = |code: &str| told.findings.iter().find(|f| f.code == code).unwrap().row;
    assert_eq!(row("not-resealed"), row("unsealed"));
    let flag = |row: Option<usize>| told.rows[row.unwrap() - 1].flag.clone();
    assert_eq!(flag(row("unsealed")).as_deref(), Some("not-resealed"));
    assert_eq!(flag(row("condition")).as_deref(), Some("condition"));
    assert_eq!(
        Tally::of(&told.findings).words(),
        "2 for attention, 2 notes"
    );
}

#[test]
fn an_event_of_a_later_version_is_said_and_not_hidden() {
    let (w, piece, _) = five_hundred();
    let mut told = told(&w, piece);
    told.steps[3].past.fact = None;
    let again = tell(piece, told.steps, told.state, told.zone, told.now);
    assert_eq!(again.findings[0].code, "unknown-event");
    assert_eq!(again.rows[3].flag.as_deref(), Some("unknown-event"));
}

#[test]
fn a_stay_in_a_package_begins_and_ends_where_the_record_says() {
    let (mut w, piece, [me, _]) = five_hundred();
    let Piece::Package(package) = piece else {
        panic!()
    };
    let item = w.stage.state.packages[&package].contents[0];
    let own = |w: &World| -> Vec<Past> {
        w.events
            .iter()
            .filter_map(|event| {
                let subject = Subject::from(item);
                let touch = event.header.touches.iter().find(|t| t.subject == subject)?;
                Some(Past {
                    n: touch.n,
                    event: event.clone(),
                    fact: Fact::from_fields(&event.header.kind, &event.fields).ok(),
                })
            })
            .collect()
    };
    let made = w
        .events
        .iter()
        .find(|e| e.header.kind == "package.made")
        .unwrap();
    let from = made.header.seq;
    let found: Vec<(PackageId, u64, Option<u64>)> = stays(item, &own(&w))
        .iter()
        .map(|s| (s.package, s.from, s.to))
        .collect();
    assert_eq!(found, [(package, from, None)]);
    w.act(Some(me), withdraw(piece)).unwrap();
    let open = package::Open {
        package,
        reason: "to look".into(),
        seal_seen: "004217".into(),
        condition: hand_over::Condition::Intact,
        note: String::new(),
    };
    w.act(Some(me), Act::Open(open)).unwrap();
    let out = package::TakeOut {
        package,
        piece: item,
        reason: "to look".into(),
    };
    w.act(Some(me), Act::TakeOut(out)).unwrap();
    let to = w.events.last().unwrap().header.seq;
    assert_eq!(stays(item, &own(&w))[0].to, Some(to));
}
