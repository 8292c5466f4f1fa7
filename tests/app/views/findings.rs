//! Findings of a short history made by real commands, in memory.

use chrono::Duration;
use liftledger::app::views::findings::{Severity, Tally};
use liftledger::app::views::told::{Read, Told, tell};
use liftledger::app::views::trail::stays;
use liftledger::custody::{Act, hand_over, package};
use liftledger::ids::{PackageId, PersonId, Piece};

use crate::app::tell::{history, told_of};
use crate::app::world::{World, five_hundred};

fn told(w: &World, piece: Piece) -> Told {
    told_of(&w.events, &w.stage.state, piece, w.now)
}

fn release(piece: Piece, to: PersonId, due_in: Option<i64>, w: &World) -> Act {
    Act::Release(hand_over::Release {
        piece,
        to,
        purpose: "comparison".into(),
        authority: String::new(),
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
    let read = Read {
        steps: told.steps,
        state: told.state,
        ..Read::default()
    };
    let again = tell(piece, read, told.zone, told.now);
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
    let own = |w: &World| history(&w.events, item.into());
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

/// The twenty histories made by hand: the figures, and what is told of them, are those counted beforehand.
#[test]
fn gaps_and_overlaps_are_those_that_were_made() {
    for history in &crate::app::histories::ALL {
        let told = history.told();
        let says = format!("{:?}: {:?}", history.stretches, told.findings);
        let c = &told.continuity;
        assert_eq!(c.unaccounted_seconds, history.by_nobody, "{says}");
        assert_eq!(c.claimed_twice_seconds, history.by_several, "{says}");
        let (first, last) = (history.stretches[0].1, history.stretches.last().unwrap().2);
        assert_eq!(c.seconds, last - first, "{says}");
        let any = |code: &str| told.findings.iter().any(|f| f.code == code);
        assert_eq!(any("gap"), history.by_nobody > 0, "{says}");
        assert_eq!(any("overlap"), history.by_several > 0, "{says}");
        assert!(told.findings.iter().all(|f| !f.events.is_empty()), "{says}");
    }
}
