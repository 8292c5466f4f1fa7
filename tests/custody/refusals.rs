//! Every rule says no with its own code, and a refusal changes nothing.

use std::collections::BTreeSet;

use chrono::{DateTime, Duration, FixedOffset};
use liftledger::app::StageError;
use liftledger::custody::amendment::Amend;
use liftledger::custody::finding::{AnswerFinding, FindingKey};
use liftledger::custody::hand_over::{Condition, Receive, Refuse, TakeBack, TakeCharge, Withdraw};
use liftledger::custody::package::{Open, PutIn, TakeOut};
use liftledger::custody::place::{Fetch, Override};
use liftledger::custody::stock::{FromStock, StockTake};
use liftledger::custody::{Act, Actor, Command, Rule, Signed, case, decide};
use liftledger::ids::{ItemId, PersonId, Piece, Subject};
use liftledger::imaging::recipe::Recipe;
use liftledger::ledger::event::Source;

use super::intake::{intake, misread};
use super::yard::{
    Yard, actor, answer, command, pack, party, receive, recover, release, same, seal, store,
};

/// A rule, who meets it, and with what.
pub struct Row {
    pub rule: Rule,
    pub actor: Actor,
    pub command: Command,
}

fn receive_with(piece: Piece, seal_seen: &str, condition: Condition) -> Act {
    Act::Receive(Receive {
        piece,
        seal_seen: seal_seen.into(),
        condition,
        note: String::new(),
    })
}

fn amend(event: u64, field: &str) -> Act {
    Act::Amend(Amend {
        event,
        field: field.into(),
        value: "the other door".into(),
        reason: "written down wrongly".into(),
    })
}

fn put_in(package: liftledger::ids::PackageId, piece: Piece) -> Act {
    Act::PutIn(PutIn { package, piece })
}

/// At least one row for every rule.
pub fn rows(y: &Yard) -> Vec<Row> {
    let (p, t) = (&y.people, &y.things);
    let state = &y.stage.state;
    let lift = Piece::Item(t.lift);
    let shelved = Piece::Item(t.shelved);
    let boxed = Piece::Package(t.box_offered);
    let code = state.packages[&t.box_offered].code.to_string();
    let row = |rule, who: PersonId, act| Row {
        rule,
        actor: actor(state, who),
        command: command(act),
    };
    let at = |row: Row, before: Duration| Row {
        command: Command {
            claimed_at: Some((y.now - before).fixed_offset()),
            ..row.command
        },
        ..row
    };
    let unsigned = |row: Row| Row {
        actor: Actor {
            signed: Signed::Session,
            ..row.actor
        },
        ..row
    };
    let mut cold = recover(t.mark, "lifting-tape", y.now);
    cold.air_c = Some(500);
    let mut to_window = store(shelved, t.window);
    let answered_by = |by| {
        Some(Override {
            by,
            reason: "for a week".into(),
        })
    };
    let against_rule = Act::Store(to_window.clone());
    to_window.overridden = answered_by(p.tech);
    let charge = |piece| {
        Act::TakeCharge(TakeCharge {
            piece,
            reason: "found on the counter".into(),
            seal_seen: String::new(),
            condition: Condition::Intact,
            note: String::new(),
        })
    };
    let open_case = case::OpenCase {
        number: "HC-26-0117".into(),
        title: "Boatyard again".into(),
        offence: String::new(),
    };
    let nowhere = Piece::Item(ItemId::new());
    // Of the right kind and of the right thing, but resting on another event.
    let mut not_found = y.finding(shelved);
    not_found.events = vec![1];
    let of_other = y.events.iter().find(|e| {
        let about = Subject::Item(t.of_other);
        e.header.touches.iter().any(|touch| touch.subject == about)
    });
    let other_case = of_other.unwrap().header.seq;
    let mut small_box = pack(t.case, "box-rigid-small", &[Piece::Item(t.measured)]);
    let mut none_left = pack(t.case, "box-rigid-small", &[lift]);
    if let (Act::Pack(small), Act::Pack(none)) = (&mut small_box, &mut none_left) {
        small.inner_mm = Some([60, 40, 20]);
        none.stock = Some(FromStock {
            place: t.shelf,
            kind: "B1".into(),
        });
    }
    vec![
        row(Rule::Inactive, p.off, release(lift, p.custodian)),
        row(Rule::Forbidden, p.admin, release(lift, p.custodian)),
        row(Rule::NotFound, p.tech, release(nowhere, p.custodian)),
        row(Rule::NotFound, p.tech, release(lift, PersonId::new())),
        row(
            Rule::NotFound,
            p.tech,
            Act::OpenScene(case::OpenScene {
                case: liftledger::ids::CaseId::new(),
                name: "Jetty".into(),
                address: "Slipway 3".into(),
            }),
        ),
        row(
            Rule::NotFound,
            p.tech,
            Act::TakeOut(TakeOut {
                package: t.empty,
                piece: Piece::Item(t.inner),
                reason: "to look at it".into(),
            }),
        ),
        row(
            Rule::Restricted,
            p.custodian,
            charge(Piece::Item(t.closed_lift)),
        ),
        unsigned(row(Rule::NotSigned, p.tech, release(lift, p.custodian))),
        at(
            row(Rule::InFuture, p.tech, release(lift, p.custodian)),
            -Duration::minutes(3),
        ),
        at(
            row(Rule::BeforeLast, p.tech, release(lift, p.custodian)),
            Duration::days(3),
        ),
        at(
            row(Rule::LateWithoutReason, p.tech, release(lift, p.custodian)),
            Duration::hours(2),
        ),
        row(
            Rule::BadText,
            p.tech,
            Act::Withdraw(Withdraw {
                piece: boxed,
                reason: " ".into(),
            }),
        ),
        row(Rule::BadValue, p.tech, Act::Recover(cold)),
        row(
            Rule::InsidePackage,
            p.tech,
            release(Piece::Item(t.inner), p.custodian),
        ),
        row(Rule::OfferOpen, p.tech, release(boxed, p.custodian)),
        row(
            Rule::OfferOpen,
            p.custodian,
            Act::Fetch(Fetch {
                piece: boxed,
                purpose: "to look at it".into(),
            }),
        ),
        row(
            Rule::OfferOpen,
            p.tech,
            Act::Open(Open {
                package: t.box_offered,
                reason: "to look at it".into(),
                seal_seen: "004217".into(),
                condition: Condition::Intact,
                note: String::new(),
            }),
        ),
        row(Rule::NoOffer, p.custodian, receive(lift, "")),
        row(Rule::Misread, p.custodian, intake(&[&misread(&code)])),
        row(Rule::ForeignLabel, p.custodian, intake(&["EV-77/1204"])),
        row(Rule::NamedTwice, p.custodian, intake(&[&code, &code])),
        row(
            Rule::LinesRefused,
            p.custodian,
            intake(&[&code, &misread(&code), "EV-77/1204"]),
        ),
        row(Rule::NotAddressee, p.second, intake(&[&code])),
        row(Rule::NotAddressee, p.second, receive(boxed, "004217")),
        row(
            Rule::NotAddressee,
            p.tech,
            Act::Refuse(Refuse {
                piece: boxed,
                reason: "too late".into(),
            }),
        ),
        row(
            Rule::NotReleaser,
            p.custodian,
            Act::Withdraw(Withdraw {
                piece: boxed,
                reason: "too late".into(),
            }),
        ),
        row(Rule::NotHolder, p.custodian, release(lift, p.examiner)),
        row(
            Rule::NotOutside,
            p.custodian,
            Act::TakeBack(TakeBack {
                piece: lift,
                party: party(),
                seal_seen: String::new(),
                condition: Condition::Intact,
                note: String::new(),
                weighed: None,
                absent: vec![],
            }),
        ),
        row(
            Rule::NotStored,
            p.custodian,
            Act::Fetch(Fetch {
                piece: lift,
                purpose: "to look at it".into(),
            }),
        ),
        row(Rule::ToOneself, p.tech, release(lift, p.tech)),
        row(
            Rule::ToOneself,
            p.custodian,
            Act::Store(store(shelved, t.shelf)),
        ),
        row(Rule::RecipientMayNot, p.tech, release(lift, p.auditor)),
        row(Rule::RecipientMayNot, p.tech, release(lift, p.off)),
        row(
            Rule::RecipientMayNot,
            p.tech,
            release(Piece::Item(t.closed_lift), p.custodian),
        ),
        row(Rule::NoDueDate, p.custodian, release(shelved, p.examiner)),
        row(Rule::Sealed, p.tech, seal(t.box_sealed, "9")),
        row(Rule::Sealed, p.tech, put_in(t.box_sealed, lift)),
        row(Rule::NotSealed, p.tech, release(lift, p.custodian)),
        row(Rule::Empty, p.tech, seal(t.empty, "9")),
        row(
            Rule::SealNotStated,
            p.custodian,
            receive_with(boxed, " ", Condition::Intact),
        ),
        row(
            Rule::SealDiffers,
            p.custodian,
            receive_with(boxed, "004271", Condition::Damaged),
        ),
        row(
            Rule::ConditionWithoutNote,
            p.custodian,
            receive_with(boxed, "004271", Condition::Mismatch),
        ),
        row(
            Rule::OtherCase,
            p.tech,
            put_in(t.envelope, Piece::Item(t.of_other)),
        ),
        row(
            Rule::Nesting,
            p.tech,
            put_in(t.empty, Piece::Package(t.empty)),
        ),
        row(
            Rule::Nesting,
            p.tech,
            pack(t.case, "envelope-paper", &[lift, lift]),
        ),
        row(
            Rule::ContainerForbidden,
            p.tech,
            pack(t.case, "bag-plastic", &[lift]),
        ),
        row(Rule::TooSmall, p.tech, small_box),
        row(
            Rule::NotDry,
            p.tech,
            pack(t.case, "box-rigid-small", &[Piece::Item(t.stone)]),
        ),
        row(Rule::NotInStock, p.tech, none_left),
        row(
            Rule::NotInStock,
            p.tech,
            Act::StockTake(StockTake {
                place: t.shelf,
                kind: "B2".into(),
                count: 6,
                purpose: "for the van".into(),
            }),
        ),
        row(Rule::KeepRule, p.custodian, against_rule),
        row(
            Rule::OverrideNotAuthorised,
            p.custodian,
            Act::Store(to_window),
        ),
        row(
            Rule::PlaceFull,
            p.custodian,
            Act::Store(store(shelved, t.full_bin)),
        ),
        row(
            Rule::SecondMissing,
            p.custodian,
            Act::Store(store(shelved, t.cage_shelf)),
        ),
        Row {
            actor: Actor {
                beside: Some(p.examiner),
                ..actor(state, p.custodian)
            },
            ..row(
                Rule::SecondMayNot,
                p.custodian,
                Act::Store(store(shelved, t.cage)),
            )
        },
        row(Rule::Taken, p.tech, Act::OpenCase(open_case)),
        row(Rule::Taken, p.tech, seal(t.envelope, " 004217 ")),
        row(
            Rule::NotAmendable,
            p.tech,
            amend(y.first("item.recovered"), "medium"),
        ),
        row(
            Rule::NotAuthor,
            p.custodian,
            amend(y.first("mark.noted"), "object"),
        ),
        row(Rule::NoFinding, p.supervisor, answer(not_found)),
        row(Rule::Forbidden, p.custodian, answer(y.finding(shelved))),
        row(
            Rule::BadText,
            p.supervisor,
            Act::AnswerFinding(AnswerFinding {
                finding: y.finding(shelved),
                text: " ".into(),
                evidence: None,
            }),
        ),
        row(
            Rule::NotFound,
            p.supervisor,
            Act::AnswerFinding(AnswerFinding {
                finding: y.finding(shelved),
                text: "as the photograph shows".into(),
                evidence: Some(1_000_000),
            }),
        ),
        row(
            Rule::BadValue,
            p.supervisor,
            Act::AnswerFinding(AnswerFinding {
                finding: y.finding(shelved),
                text: "as the photograph shows".into(),
                evidence: Some(other_case),
            }),
        ),
    ]
}

#[test]
fn each_rule_says_no_with_its_own_code_and_changes_nothing() {
    let mut y = Yard::new();
    let room = super::room::Room::of(&mut y);
    let orders = super::expungement::Orders::of(&mut y);
    let mut all = rows(&y);
    all.extend(room.rows(&y));
    all.extend(orders.rows(&y));
    let mut met: BTreeSet<Rule> = BTreeSet::new();
    for Row {
        rule,
        actor,
        command,
    } in all
    {
        let before = y.stage.state.clone();
        let (size, root) = (y.stage.size(), y.stage.frontier().root());
        let word = command.act.word();
        match y
            .stage
            .take(&y.rules, &actor, &command, Source::Desk, y.now)
        {
            Err(StageError::Refused(r)) => {
                assert_eq!(r.code, rule.code(), "{word}: {r}");
                for text in [&r.sentence, &r.next] {
                    assert!(
                        text.ends_with(['.', ')']) && text.len() > 5,
                        "{word}: {r:?}"
                    );
                }
            }
            other => panic!("{word} should be refused with {}: {other:?}", rule.code()),
        }
        assert!(same(&before, &y.stage.state), "{word}");
        assert_eq!((y.stage.size(), y.stage.frontier().root()), (size, root));
        met.insert(rule);
    }
    let without: Vec<&Rule> = Rule::ALL.iter().filter(|r| !met.contains(r)).collect();
    assert!(without.is_empty(), "rules without a row: {without:?}");
    let codes: BTreeSet<&str> = Rule::ALL.iter().map(|r| r.code()).collect();
    assert_eq!(codes.len(), Rule::ALL.len(), "a code is there twice");
    assert_eq!(codes.len(), 59);
}

/// A release with everything wrong with it, put right one thing at a time, meets the rules in their order.
#[test]
fn rules_are_tried_in_their_order() {
    let y = Yard::new();
    let (p, t) = (&y.people, &y.things);
    let codes = |steps: &mut dyn FnMut(usize, &mut Actor, &mut Command) -> bool,
                 mut who: Actor,
                 mut c: Command| {
        let mut out = Vec::new();
        for step in 0.. {
            if !steps(step, &mut who, &mut c) {
                break;
            }
            let refusal = decide(&y.stage.state, &y.rules, &who, &c, y.now).unwrap_err();
            let rule = Rule::ALL.iter().find(|r| r.code() == refusal.code);
            out.push(*rule.unwrap());
        }
        let mut sorted = out.clone();
        sorted.sort();
        assert_eq!(out, sorted);
        out
    };
    let claimed = |before: Duration| -> Option<DateTime<FixedOffset>> {
        Some((y.now - before).fixed_offset())
    };
    let mut all_wrong = command(release(Piece::Item(ItemId::new()), p.auditor));
    all_wrong.claimed_at = claimed(-Duration::minutes(3));
    let Act::Release(x) = &mut all_wrong.act else {
        unreachable!()
    };
    x.purpose.clear();
    let change = |c: &mut Command, f: &dyn Fn(&mut liftledger::custody::hand_over::Release)| {
        if let Act::Release(x) = &mut c.act {
            f(x);
        }
    };
    let mut steps = |step: usize, who: &mut Actor, c: &mut Command| {
        match step {
            0 => {}
            1 => {
                *who = actor(&y.stage.state, p.admin);
                who.signed = Signed::Session;
            }
            2 => {
                *who = actor(&y.stage.state, p.custodian);
                who.signed = Signed::Session;
            }
            3 => change(c, &|x| x.piece = Piece::Item(t.closed_lift)),
            4 => change(c, &|x| x.piece = Piece::Item(t.inner)),
            5 => who.signed = Signed::Password,
            6 => c.claimed_at = claimed(Duration::days(3)),
            7 => c.claimed_at = claimed(Duration::hours(2)),
            8 => c.late_reason = Some("no signal at the slipway".into()),
            9 => change(c, &|x| x.purpose = "to the storeroom".into()),
            10 => change(c, &|x| x.piece = Piece::Package(t.box_offered)),
            11 => change(c, &|x| x.piece = Piece::Item(t.lift)),
            12 => {
                *who = actor(&y.stage.state, p.tech);
                change(c, &|x| x.to = p.tech);
            }
            13 => change(c, &|x| x.to = p.auditor),
            14 => change(c, &|x| {
                x.to = p.custodian;
                x.due_at = Some((y.now - Duration::days(1)).fixed_offset());
            }),
            15 => change(c, &|x| x.due_at = None),
            _ => return false,
        }
        true
    };
    let mut off = actor(&y.stage.state, p.off);
    off.signed = Signed::Session;
    let met = codes(&mut steps, off, all_wrong);
    assert_eq!(
        met,
        [
            Rule::Inactive,
            Rule::Forbidden,
            Rule::NotFound,
            Rule::Restricted,
            Rule::NotSigned,
            Rule::InFuture,
            Rule::BeforeLast,
            Rule::LateWithoutReason,
            Rule::BadText,
            Rule::InsidePackage,
            Rule::OfferOpen,
            Rule::NotHolder,
            Rule::ToOneself,
            Rule::RecipientMayNot,
            Rule::NoDueDate,
            Rule::NotSealed,
        ]
    );
}

/// Whatever somebody who is not assigned tries with a restricted case, the answer is the same few words.
#[test]
fn a_refusal_tells_nothing_of_a_restricted_case() {
    let mut y = Yard::new();
    // Something is known of the lift in every way: it is in a sealed package on offer.
    let (tech, t) = (y.people.tech, &y.things);
    let (case, item) = (t.closed_case, Piece::Item(t.closed_lift));
    let package = y.act(tech, pack(case, "envelope-paper", &[item])).unwrap();
    let package = liftledger::ids::PackageId(package);
    y.act(tech, seal(package, "77")).unwrap();
    let piece = Piece::Package(package);
    let due = y.people.supervisor;
    assert_eq!(
        y.refused(tech, release(piece, due)),
        "recipient-may-not-hold"
    );
    y.remember_events();
    let (p, t) = (&y.people, &y.things);
    let event = |kind: &str| {
        let of = y.events.iter();
        let mut of = of.filter(|e| e.header.kind == kind && e.header.case == Some(case));
        of.next_back().unwrap().header.seq
    };
    let acts = vec![
        super::yard::assess(Subject::Mark(t.closed_mark), 7),
        super::yard::exported(
            Subject::Mark(t.closed_mark),
            Subject::Mark(t.closed_mark),
            7,
        ),
        super::yard::set_view(Subject::Mark(t.closed_mark), 7, &["no-such-step"]),
        super::yard::set_scale(Subject::Mark(t.closed_mark), 7, None),
        super::yard::add_copy(item, 7, 8, Recipe::new(vec![])),
        super::wants::brought(&y.stage.state.cases[&case].number),
        pack(case, "no-such-container", &[]),
        pack(t.case, "envelope-paper", &[item]),
        put_in(t.envelope, piece),
        put_in(package, Piece::Item(t.lift)),
        Act::TakeOut(TakeOut {
            package,
            piece: item,
            reason: String::new(),
        }),
        Act::TakeOut(TakeOut {
            package: t.envelope,
            piece: item,
            reason: String::new(),
        }),
        seal(package, "004217"),
        Act::Open(Open {
            package,
            reason: "x".into(),
            seal_seen: "0".into(),
            condition: Condition::Intact,
            note: String::new(),
        }),
        release(piece, p.examiner),
        release(item, p.examiner),
        receive(piece, "0"),
        Act::Withdraw(Withdraw {
            piece,
            reason: "x".into(),
        }),
        Act::Refuse(Refuse {
            piece,
            reason: "x".into(),
        }),
        super::yard::hand_out(piece),
        Act::TakeBack(TakeBack {
            piece,
            party: party(),
            seal_seen: String::new(),
            condition: Condition::Intact,
            note: String::new(),
            weighed: None,
            absent: vec![],
        }),
        Act::TakeCharge(TakeCharge {
            piece: item,
            reason: "x".into(),
            seal_seen: String::new(),
            condition: Condition::Intact,
            note: String::new(),
        }),
        Act::NoteDry(liftledger::custody::drying::NoteDry {
            item: t.closed_lift,
            how: "x".into(),
        }),
        Act::Store(store(piece, t.shelf)),
        Act::Fetch(Fetch {
            piece,
            purpose: "x".into(),
        }),
        Act::Repack(super::packs::repack(
            &[super::packs::source(package, "0")],
            liftledger::custody::repack::Why::Split,
            &[],
        )),
        Act::Repack(super::packs::repack(
            &[super::packs::source(t.envelope, "")],
            liftledger::custody::repack::Why::Split,
            &[item],
        )),
        super::packs::consume(t.closed_lift, true),
        super::room::dispose(piece, p.examiner),
        super::room::witness(piece),
        super::room::decline(piece),
        amend(event("mark.noted"), "object"),
        amend(event("package.sealed"), "seal"),
        answer(FindingKey {
            code: "gap".into(),
            of: item.into(),
            events: vec![1],
            detail: String::new(),
        }),
        Act::AnswerFinding(AnswerFinding {
            finding: y.finding(Piece::Item(t.shelved)),
            text: String::new(),
            evidence: Some(event("package.sealed")),
        }),
        Act::FormPrinted(super::sheets::printed(
            case,
            liftledger::custody::paper::PaperKind::HandOverSheet,
            liftledger::ids::CommandId::new(),
        )),
        super::expungement::carry_out(case, 1),
        Act::LabelPrinted(liftledger::custody::paper::LabelPrinted {
            of: Subject::Package(package),
            label: String::new(),
            digest: liftledger::ids::Digest([0; 32]),
            print: None,
            certificate: None,
            timestamp: None,
            warning: None,
        }),
    ];
    for act in acts {
        let word = act.word();
        // None of them is assigned.
        let who = [p.custodian, p.examiner, p.admin].into_iter().find(|who| {
            let roles = &y.stage.state.people[who].roles;
            liftledger::people::permission::allows(roles, act.action())
        });
        let me = actor(&y.stage.state, who.unwrap());
        for claimed in [0, 3, 10_000] {
            let mut c = command(act.clone());
            c.claimed_at = Some((y.now - Duration::hours(claimed)).fixed_offset());
            let r = decide(&y.stage.state, &y.rules, &me, &c, y.now).unwrap_err();
            assert_eq!(
                (r.code.as_str(), r.sentence.as_str(), r.next.as_str()),
                (
                    "case-restricted",
                    "This case is restricted and you are not assigned to it.",
                    "Ask a supervisor to assign you."
                ),
                "{word}"
            );
        }
    }
}

/// What nobody released is taken charge of by a custodian, and the record says since when it is unaccounted for.
#[test]
fn taking_charge_says_since_when_it_is_unaccounted_for() {
    let mut y = Yard::new();
    let lift = Piece::Item(y.things.lift);
    let take = TakeCharge {
        piece: lift,
        reason: "found on the counter".into(),
        seal_seen: String::new(),
        condition: Condition::Intact,
        note: String::new(),
    };
    let last = y.stage.state.custody(lift).unwrap().last_at;
    y.act(y.people.custodian, Act::TakeCharge(take)).unwrap();
    let event = y.events.last().unwrap();
    assert_eq!(event.header.kind, "custody.charge-taken");
    let since: DateTime<FixedOffset> = event
        .field_str("unaccounted_since")
        .unwrap()
        .parse()
        .unwrap();
    assert_eq!(since, last);
}

/// The number on a seal is the same whoever types it, with a space or in small letters.
#[test]
fn a_seal_number_is_kept_and_compared_in_one_form() {
    let mut y = Yard::new();
    let (tech, custodian) = (y.people.tech, y.people.custodian);
    let envelope = y.things.envelope;
    y.act(tech, seal(envelope, "  ab  77 \n")).unwrap();
    assert_eq!(y.events.last().unwrap().field_str("seal"), Some("AB 77"));
    y.act(tech, release(Piece::Package(envelope), custodian))
        .unwrap();
    let other = receive(Piece::Package(envelope), "AB77");
    assert_eq!(y.refused(custodian, other), "seal-differs");
    y.act(custodian, receive(Piece::Package(envelope), " Ab 77 "))
        .unwrap();
    assert_eq!(
        y.events.last().unwrap().field_str("seal_seen"),
        Some("AB 77")
    );
    let open = Open {
        package: envelope,
        reason: "to examine the lift".into(),
        seal_seen: "ab 77 ".into(),
        condition: Condition::Intact,
        note: String::new(),
    };
    y.act(custodian, Act::Open(open)).unwrap();
    assert_eq!(
        y.events.last().unwrap().field_str("seal_seen"),
        Some("AB 77")
    );
    assert_eq!(
        y.refused(custodian, seal(envelope, "Ab 77")),
        "already-in-use"
    );
}

/// Whoever mistypes a seal is not told the number on record: they could give it back without having read the seal.
#[test]
fn a_refusal_never_says_the_seal_on_record() {
    let y = Yard::new();
    for row in rows(&y) {
        let refusal =
            decide(&y.stage.state, &y.rules, &row.actor, &row.command, y.now).unwrap_err();
        let said = format!("{} {}", refusal.sentence, refusal.next);
        for number in ["004217", "004218"] {
            let typed = serde_json::to_string(&row.command).unwrap();
            assert!(
                !said.contains(number) || typed.contains(number),
                "{said}: {typed}"
            );
        }
    }
}
