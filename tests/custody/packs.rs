//! Packages split, merged and packed anew; what comes back without something; weights; what an examination uses up.

use liftledger::app::StageError;
use liftledger::custody::Act;
use liftledger::custody::consumed::Consume;
use liftledger::custody::disposition::Method;
use liftledger::custody::hand_over::{Absent, Condition, HandOut, Stayed, TakeBack};
use liftledger::custody::repack::{Repack, Source, Why};
use liftledger::custody::state::Holder;
use liftledger::custody::weight::{self, Weighed};
use liftledger::ids::{ItemId, PackageId, Piece, Subject};

use super::yard::{Yard, hand_out, party, same, seal};
use crate::app::tell;

pub fn source(package: PackageId, seal_seen: &str) -> Source {
    Source {
        package,
        seal_seen: seal_seen.into(),
        condition: Condition::Intact,
        note: String::new(),
    }
}

pub fn repack(sources: &[Source], why: Why, contents: &[Piece]) -> Repack {
    Repack {
        sources: sources.to_vec(),
        contents: contents.to_vec(),
        why,
        reason: "the envelope was torn".into(),
        container: "envelope-paper".into(),
        stock: None,
        inner_mm: None,
        note: String::new(),
        seal: String::new(),
        initialled: false,
    }
}

pub fn consume(item: ItemId, whole: bool) -> Act {
    Act::Consume(Consume {
        item,
        whole,
        quantity: "all of it".into(),
        said_by: "Oda Lunn".into(),
        authority: "consent 4 of the prosecutor".into(),
        report: "L-26-91".into(),
        note: String::new(),
    })
}

pub fn weighed(grams: &str) -> Option<Weighed> {
    Some(Weighed {
        grams: grams.into(),
        scale: "scale 3".into(),
    })
}

pub fn back(piece: impl Into<Piece>, seal_seen: &str, condition: Condition) -> TakeBack {
    TakeBack {
        piece: piece.into(),
        party: party(),
        seal_seen: seal_seen.into(),
        condition,
        note: if condition == Condition::Intact {
            String::new()
        } else {
            "cut at the top".into()
        },
        weighed: None,
        absent: vec![],
    }
}

pub fn absent(piece: Piece, why: Stayed) -> Absent {
    let used = |text: &str| {
        if why == Stayed::Consumed {
            text.to_owned()
        } else {
            String::new()
        }
    };
    Absent {
        piece,
        why,
        note: "as the clerk said".into(),
        quantity: used("all of it"),
        authority: used("consent 4 of the prosecutor"),
        report: used("L-26-91"),
    }
}

/// Sends a package outside with a date, a weight and a tracking number.
pub fn send(y: &mut Yard, package: PackageId) {
    let tech = y.people.tech;
    let mut act = hand_out(Piece::Package(package));
    if let Act::HandOut(HandOut {
        due_at,
        tracking,
        weighed: w,
        ..
    }) = &mut act
    {
        *due_at = Some((y.now + chrono::Duration::days(9)).fixed_offset());
        *tracking = "TR-5521".into();
        *w = weighed("412.5");
    }
    y.act(tech, act).unwrap();
}

fn two_lifts(y: &mut Yard) -> [Piece; 2] {
    let mark = y.things.mark;
    [(); 2].map(|()| Piece::Item(y.recovered(mark, "lifting-tape")))
}

fn kinds(y: &Yard, last: usize) -> Vec<&str> {
    let from = y.events.len() - last;
    y.events[from..]
        .iter()
        .map(|e| e.header.kind.as_str())
        .collect()
}

fn found(y: &Yard, of: impl Into<Subject>, code: &str) -> Vec<Vec<u64>> {
    let all = tell::keys(&y.events, &y.stage.state, y.now);
    let of = all.get(&of.into()).into_iter().flatten();
    of.filter(|k| k.code == code)
        .map(|k| k.events.clone())
        .collect()
}

#[test]
fn a_sealed_package_is_packed_anew_and_the_two_are_linked() {
    let mut y = Yard::new();
    let tech = y.people.tech;
    let [a, b] = two_lifts(&mut y);
    let old = y.packed("envelope-paper", &[a, b]);
    y.act(tech, seal(old, "AA 1")).unwrap();
    let mut act = repack(&[source(old, "aa 1")], Why::Damaged, &[]);
    act.seal = " aa 2".into();
    let new = PackageId(y.act(tech, Act::Repack(act)).unwrap());
    assert_eq!(
        kinds(&y, 6),
        [
            "package.opened",
            "package.taken-out",
            "package.taken-out",
            "package.made",
            "package.sealed",
            "package.repacked"
        ]
    );
    let state = &y.stage.state;
    let (was, is) = (&state.packages[&old], &state.packages[&new]);
    assert_eq!(is.contents, [a, b]);
    assert_eq!(is.repacked_from, [old]);
    assert_eq!(is.seal().unwrap().number, "AA 2");
    assert!(was.contents.is_empty() && was.closed_at.is_some());
    assert_eq!(was.repacked_into, [new]);
    // The old seal is kept, with why it was cut.
    assert_eq!(
        was.seals[0].cut_reason.as_deref(),
        Some("the envelope was torn")
    );
    for piece in [a, b, Piece::Package(old), Piece::Package(new)] {
        assert_eq!(state.holder(piece), Some(&Holder::Person { person: tech }));
    }
    assert_eq!(state.custody(a).unwrap().inside, Some(new));
    // The event is one of both packages.
    let touches = &y.events.last().unwrap().header.touches;
    for package in [old, new] {
        assert!(
            touches
                .iter()
                .any(|t| t.subject == Subject::Package(package))
        );
    }
    // Nothing goes into the old one any more.
    let lift = Piece::Item(y.things.lift);
    let put = liftledger::custody::package::PutIn {
        package: old,
        piece: lift,
    };
    assert_eq!(y.refused(tech, Act::PutIn(put)), "package-closed");
}

#[test]
fn some_of_a_package_gets_one_of_its_own_and_several_come_into_one() {
    let mut y = Yard::new();
    let tech = y.people.tech;
    let [a, b] = two_lifts(&mut y);
    let first = y.packed("envelope-paper", &[a, b]);
    let split = repack(&[source(first, "")], Why::Split, &[b]);
    let second = PackageId(y.act(tech, Act::Repack(split)).unwrap());
    let left = &y.stage.state.packages[&first];
    assert_eq!((left.contents.as_slice(), left.closed_at), (&[a][..], None));
    y.act(tech, seal(second, "BB 1")).unwrap();
    let sources = [source(first, ""), source(second, "BB 1")];
    let merged = repack(&sources, Why::Merge, &[]);
    let third = PackageId(y.act(tech, Act::Repack(merged)).unwrap());
    let state = &y.stage.state;
    assert_eq!(state.packages[&third].contents, [a, b]);
    assert_eq!(state.packages[&third].repacked_from, [first, second]);
    assert!(
        [first, second]
            .iter()
            .all(|p| state.packages[p].closed_at.is_some())
    );
    // Every step of both things is told without a gap.
    for piece in [a, b] {
        assert!(found(&y, piece, "gap").is_empty());
    }
    tell::findings_hold(&y.events, &y.stage.state, y.now);
}

/// One wrong thing, and nothing is done.
#[test]
fn packing_anew_is_all_or_nothing() {
    let mut y = Yard::new();
    let tech = y.people.tech;
    let [a, b] = two_lifts(&mut y);
    let first = y.packed("envelope-paper", &[a]);
    let second = y.packed("envelope-paper", &[b]);
    y.act(tech, seal(second, "CC 1")).unwrap();
    let good = repack(
        &[source(first, ""), source(second, "CC 1")],
        Why::Merge,
        &[],
    );
    let edited = |edit: &dyn Fn(&mut Repack)| {
        let mut x = good.clone();
        edit(&mut x);
        x
    };
    let t = &y.things;
    let (empty, offered, inner) = (t.empty, t.box_offered, Piece::Item(t.inner));
    let cases = [
        (
            "seal-differs",
            edited(&|x| x.sources[1].seal_seen = "CC 2".into()),
        ),
        (
            "seal-not-stated",
            edited(&|x| x.sources[1].seal_seen = String::new()),
        ),
        (
            "container-forbidden",
            edited(&|x| x.container = "bag-plastic".into()),
        ),
        ("already-in-use", edited(&|x| x.seal = "CC 1".into())),
        ("bad-text", edited(&|x| x.reason = " ".into())),
        ("bad-value", edited(&|x| x.why = Why::Split)),
        ("bad-value", edited(&|x| drop(x.sources.pop()))),
        ("bad-value", edited(&|x| x.sources.clear())),
        ("bad-value", edited(&|x| x.contents = vec![a])),
        ("bad-value", edited(&|x| x.container = "no-such".into())),
        (
            "named-twice",
            edited(&|x| x.sources[1] = x.sources[0].clone()),
        ),
        ("empty-package", edited(&|x| x.sources[1].package = empty)),
        (
            "offer-open",
            edited(&|x| x.sources[1] = source(offered, "004217")),
        ),
        ("not-found", edited(&|x| x.contents = vec![a, b, inner])),
        ("nesting", edited(&|x| x.contents = vec![a, b, b])),
    ];
    let before = y.stage.state.clone();
    for (code, act) in cases {
        assert_eq!(y.refused(tech, Act::Repack(act)), code);
        assert!(same(&before, &y.stage.state), "{code}");
    }
    y.act(tech, Act::Repack(good)).unwrap();
}

#[test]
fn what_stays_out_stays_on_loan_with_whoever_has_it() {
    let mut y = Yard::new();
    let custodian = y.people.custodian;
    let [a, b] = two_lifts(&mut y);
    let boxed = y.packed("envelope-paper", &[a, b]);
    y.act(y.people.tech, seal(boxed, "DD 1")).unwrap();
    send(&mut y, boxed);
    // Sealed as it went, nobody can say from outside that something is not in it.
    let mut whole = back(Piece::Package(boxed), "DD 1", Condition::Intact);
    whole.absent = vec![absent(a, Stayed::Retained)];
    assert_eq!(y.refused(custodian, Act::TakeBack(whole)), "sealed");
    let mut open = back(Piece::Package(boxed), "", Condition::Open);
    open.absent = vec![absent(a, Stayed::Retained)];
    y.act(custodian, Act::TakeBack(open)).unwrap();
    assert_eq!(
        kinds(&y, 3),
        ["package.opened", "package.taken-out", "custody.taken-back"]
    );
    let state = &y.stage.state;
    let piece = Piece::Package(boxed);
    assert_eq!(
        state.holder(piece),
        Some(&Holder::Person { person: custodian })
    );
    assert_eq!(state.packages[&boxed].contents, [b]);
    assert!(state.custody(piece).unwrap().loan.is_none());
    // The thing is outside, still due on that day, and known by the same tracking number.
    let stayed = state.custody(a).unwrap();
    assert!(matches!(&stayed.holder, Holder::Outside { name, .. } if name == "Oda Lunn"));
    assert!(stayed.loan.as_ref().unwrap().due_at.is_some());
    let out = stayed.out.as_ref().unwrap();
    assert_eq!((out.tracking.as_str(), out.weight_mg), ("TR-5521", None));
    assert_eq!(
        found(&y, Piece::Package(boxed), "returned-without").len(),
        1
    );
    // Opened outside is told once, at the return.
    assert_eq!(found(&y, Piece::Package(boxed), "found-open").len(), 1);
    tell::findings_hold(&y.events, &y.stage.state, y.now);
    // It comes back by itself later.
    y.act(custodian, Act::TakeBack(back(a, "", Condition::Intact)))
        .unwrap();
    let custody = y.stage.state.custody(a).unwrap();
    assert!(custody.loan.is_none() && custody.out.is_none());
}

#[test]
fn weights_out_and_back_are_compared() {
    for (grams, differs) in [
        ("412.5", false),
        ("408.4", false),
        ("408.3", true),
        ("420", true),
    ] {
        let mut y = Yard::new();
        let boxed = y.things.box_sealed;
        send(&mut y, boxed);
        let out = y.events.last().unwrap().header.seq;
        assert_eq!(y.events.last().unwrap().fields["weight_mg"], 412_500);
        let mut act = back(Piece::Package(boxed), "004218", Condition::Intact);
        act.weighed = weighed(grams);
        y.act(y.people.custodian, Act::TakeBack(act)).unwrap();
        let back = y.events.last().unwrap().header.seq;
        // A question to whoever takes it back, never a refusal; the finding names both events.
        let expected: Vec<Vec<u64>> = differs.then(|| vec![out, back]).into_iter().collect();
        assert_eq!(
            found(&y, Piece::Package(boxed), "weight-differs"),
            expected,
            "{grams}"
        );
        tell::findings_hold(&y.events, &y.stage.state, y.now);
    }
}

#[test]
fn grams_are_read_strictly() {
    let read = weight::milligrams;
    assert_eq!(read("412.5"), Some(412_500));
    assert_eq!(read(" 0,001 "), Some(1));
    assert_eq!(read("1000000"), Some(1_000_000_000));
    for bad in [
        "",
        "0",
        "1.",
        ".5",
        "1.2345",
        "-1",
        "1e3",
        "1000000.001",
        "12 g",
        "1.2.3",
    ] {
        assert_eq!(read(bad), None, "{bad}");
    }
    assert_eq!(weight::grams(412_500), "412.5 g");
    assert_eq!(weight::grams(2_000), "2 g");
    // A tenth of a gram for light things, a hundredth of what went out for others.
    assert_eq!(weight::tolerance(3_000), 100);
    assert_eq!(weight::tolerance(412_500), 4_125);
    let mut y = Yard::new();
    let mut act = back(Piece::Item(y.things.outside), "", Condition::Intact);
    act.weighed = weighed("heavy");
    assert_eq!(
        y.refused(y.people.custodian, Act::TakeBack(act.clone())),
        "bad-value"
    );
    act.weighed = Some(Weighed {
        grams: "12".into(),
        scale: String::new(),
    });
    assert_eq!(
        y.refused(y.people.custodian, Act::TakeBack(act)),
        "bad-text"
    );
}

#[test]
fn what_is_used_up_ends_and_what_is_left_stays() {
    let mut y = Yard::new();
    let (tech, custodian) = (y.people.tech, y.people.custodian);
    let outside = y.things.outside;
    y.act(custodian, consume(outside, false)).unwrap();
    let item = &y.stage.state.items[&outside];
    assert_eq!(item.consumed.len(), 1);
    assert!(matches!(item.custody.holder, Holder::Outside { .. }));
    y.act(custodian, consume(outside, true)).unwrap();
    let custody = &y.stage.state.items[&outside].custody;
    let method = Method::Consumed;
    assert_eq!(custody.holder, Holder::Disposed { method });
    assert!(custody.loan.is_none() && custody.out.is_none());
    // Nothing is done with it any more, and nobody needs to authorise what was not disposed of.
    let again = Act::TakeBack(back(Piece::Item(outside), "", Condition::Intact));
    assert_eq!(y.refused(custodian, again), "disposed-of");
    assert_eq!(y.refused(custodian, consume(outside, false)), "disposed-of");
    // It was outside, where it may have been examined.
    assert!(found(&y, Piece::Item(outside), "used-up-unexamined").is_empty());
    // From the custodian's own hands, with nobody who examines in between, it is asked about.
    let lift = y.things.lift;
    y.give(Piece::Item(lift), custodian);
    assert_eq!(y.refused(tech, consume(lift, true)), "role-may-not");
    y.act(custodian, consume(lift, true)).unwrap();
    assert_eq!(found(&y, Piece::Item(lift), "used-up-unexamined").len(), 1);
    tell::findings_hold(&y.events, &y.stage.state, y.now);
    // As a disposition it cannot be authorised.
    let mut act = super::room::authorise(Piece::Item(y.things.shelved), super::room::EARLY);
    if let Act::AuthoriseDisposition(x) = &mut act {
        x.method = Method::Consumed;
    }
    assert_eq!(y.refused(y.people.supervisor, act), "bad-value");
}

#[test]
fn a_hold_keeps_a_thing_from_being_used_up() {
    let mut y = Yard::new();
    let (custodian, outside) = (y.people.custodian, y.things.outside);
    let hold = super::room::place_hold(Subject::Item(outside));
    y.act(y.people.supervisor, hold).unwrap();
    for whole in [false, true] {
        assert_eq!(y.refused(custodian, consume(outside, whole)), "held");
    }
}

#[test]
fn what_was_used_up_outside_is_said_when_its_package_comes_back() {
    let mut y = Yard::new();
    let custodian = y.people.custodian;
    let [a, b] = two_lifts(&mut y);
    let boxed = y.packed("envelope-paper", &[a, b]);
    send(&mut y, boxed);
    let mut act = back(Piece::Package(boxed), "", Condition::Intact);
    act.absent = vec![absent(a, Stayed::Consumed), absent(b, Stayed::Missing)];
    let before = y.stage.state.clone();
    let mut nothing_said = act.clone();
    nothing_said.absent[0].report = String::new();
    let mut too_much = act.clone();
    too_much.absent[1].report = "L-1".into();
    let mut twice = act.clone();
    twice.absent[1] = twice.absent[0].clone();
    let mut elsewhere = act.clone();
    elsewhere.absent[0].piece = Piece::Item(y.things.inner);
    for (code, act) in [
        ("bad-text", nothing_said),
        ("bad-value", too_much),
        ("named-twice", twice),
        ("not-found", elsewhere),
    ] {
        assert_eq!(y.refused(custodian, Act::TakeBack(act)), code);
        assert!(same(&before, &y.stage.state), "{code}");
    }
    y.act(custodian, Act::TakeBack(act)).unwrap();
    let state = &y.stage.state;
    assert!(state.packages[&boxed].contents.is_empty());
    let method = Method::Consumed;
    assert_eq!(state.holder(a), Some(&Holder::Disposed { method }));
    assert!(matches!(state.holder(b), Some(Holder::Outside { .. })));
    assert_eq!(
        found(&y, Piece::Package(boxed), "returned-without").len(),
        2
    );
    tell::findings_hold(&y.events, &y.stage.state, y.now);
}

/// Events of before weights, tracking numbers and packing anew still read.
#[test]
fn old_events_read() {
    use liftledger::custody::Fact;
    let y = Yard::new();
    let of_custody = |kind: &str| kind.starts_with("custody.") || kind.starts_with("package.");
    for event in y.events.iter().filter(|e| of_custody(&e.header.kind)) {
        for new in [
            "authority",
            "tracking",
            "weight_mg",
            "scale",
            "stayed",
            "outside",
        ] {
            assert!(!event.fields.contains_key(new), "{}", event.header.kind);
        }
        Fact::from_fields(&event.header.kind, &event.fields).unwrap();
    }
}

/// A refusal in the middle of the drafts would be seen here as a state half changed.
#[test]
fn a_held_thing_stops_the_whole_return() -> Result<(), StageError> {
    let mut y = Yard::new();
    let custodian = y.people.custodian;
    let [a, b] = two_lifts(&mut y);
    let boxed = y.packed("envelope-paper", &[a, b]);
    send(&mut y, boxed);
    let Piece::Item(item) = b else { unreachable!() };
    let hold = super::room::place_hold(Subject::Item(item));
    y.act(y.people.supervisor, hold)?;
    let mut act = back(Piece::Package(boxed), "", Condition::Intact);
    act.absent = vec![absent(a, Stayed::Retained), absent(b, Stayed::Consumed)];
    let before = y.stage.state.clone();
    assert_eq!(y.refused(custodian, Act::TakeBack(act)), "held");
    assert!(same(&before, &y.stage.state));
    Ok(())
}
