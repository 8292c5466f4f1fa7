//! Orders to expunge: who may, what they cover, what is left, and what is refused.

use std::collections::BTreeSet;

use liftledger::custody::expungement::{
    CarryOutExpungement, Expungement, OrderExpungement, WithdrawExpungement, covered, left,
};
use liftledger::custody::hold::PlaceHold;
use liftledger::custody::mark::DevelopMark;
use liftledger::custody::{Act, Fact, Rule, Signed, case, decide};
use liftledger::ids::{CaseId, MarkId, PersonId, SceneId, Subject};
use liftledger::ledger::payload::Fields;

use super::refusals::Row;
use super::yard::{Yard, actor, add_image, command, note};

/// Orders in every state.
pub struct Orders {
    /// A case that was expunged, and a mark of it.
    pub gone: CaseId,
    pub gone_mark: MarkId,
    /// A case under a hold, with an open order.
    pub held: CaseId,
    /// The yard's other case, with an open order: its lift is still in custody.
    pub kept: CaseId,
    /// In the yard's first case: an open order that names its first mark's note, and one that was taken back.
    pub named: u32,
    pub taken_back: u32,
}

pub fn order(of: impl Into<Subject>, events: &[u64]) -> Act {
    Act::OrderExpungement(OrderExpungement {
        of: of.into(),
        events: events.to_vec(),
        court: "Calder County Court".into(),
        order: "26-EX-14".into(),
        dated: "2026-03-02".parse().unwrap(),
    })
}

pub fn carry_out(case: CaseId, number: u32) -> Act {
    Act::CarryOutExpungement(CarryOutExpungement { case, number })
}

fn withdraw(case: CaseId, number: u32) -> Act {
    Act::WithdrawExpungement(WithdrawExpungement {
        case,
        number,
        reason: "entered for the wrong case".into(),
    })
}

fn case_with_mark(y: &mut Yard, number: &str) -> (CaseId, MarkId) {
    let tech = y.people.tech;
    let open = case::OpenCase {
        number: number.into(),
        title: "The ferry landing".into(),
        offence: "theft".into(),
    };
    let case = CaseId(y.act(tech, Act::OpenCase(open)).unwrap());
    let scene = case::OpenScene {
        case,
        name: "Jetty".into(),
        address: "Slipway 3".into(),
    };
    let scene = SceneId(y.act(tech, Act::OpenScene(scene)).unwrap());
    let mark = MarkId(y.act(tech, note(case, scene)).unwrap());
    (case, mark)
}

impl Orders {
    pub fn of(y: &mut Yard) -> Self {
        let (supervisor, admin) = (y.people.supervisor, y.people.admin);
        let (gone, gone_mark) = case_with_mark(y, "HC-26-0901");
        y.act(supervisor, order(Subject::Case(gone), &[])).unwrap();
        y.remember_events();
        y.act(admin, carry_out(gone, 1)).unwrap();
        let (held, _) = case_with_mark(y, "HC-26-0902");
        y.act(supervisor, order(Subject::Case(held), &[])).unwrap();
        let hold = Act::PlaceHold(PlaceHold {
            of: Subject::Case(held),
            reason: "the appeal".into(),
            authority: "Calder County Court".into(),
        });
        y.act(supervisor, hold).unwrap();
        let kept = y.stage.state.items[&y.things.of_other].case;
        y.act(supervisor, order(Subject::Case(kept), &[])).unwrap();
        let first = y.things.case;
        y.remember_events();
        let noted = y.first("mark.noted");
        y.act(supervisor, order(Subject::Case(first), &[noted]))
            .unwrap();
        y.act(supervisor, order(Subject::Item(y.things.lift), &[]))
            .unwrap();
        y.act(supervisor, withdraw(first, 2)).unwrap();
        y.remember_events();
        Self {
            gone,
            gone_mark,
            held,
            kept,
            named: 1,
            taken_back: 2,
        }
    }

    /// Acts that are carried out.
    pub fn allowed(&self, y: &Yard) -> Vec<(PersonId, Act)> {
        let (p, case) = (&y.people, y.things.case);
        vec![
            (p.supervisor, order(Subject::Case(case), &[])),
            (p.supervisor, order(Subject::Item(y.things.lift), &[])),
            (
                p.supervisor,
                order(Subject::Case(case), &[y.first("item.recovered")]),
            ),
            (p.supervisor, withdraw(case, self.named)),
            (p.admin, carry_out(case, self.named)),
        ]
    }

    pub fn rows(&self, y: &Yard) -> Vec<Row> {
        let (p, case) = (&y.people, y.things.case);
        let row = |rule, who: PersonId, act| Row {
            rule,
            actor: actor(&y.stage.state, who),
            command: command(act),
        };
        let mut unsigned = row(Rule::NotSigned, p.admin, carry_out(case, self.named));
        unsigned.actor.signed = Signed::Session;
        let mut tomorrow = order(Subject::Case(case), &[]);
        if let Act::OrderExpungement(x) = &mut tomorrow {
            x.dated = "2031-01-01".parse().unwrap();
        }
        let develop = Act::DevelopMark(DevelopMark {
            mark: self.gone_mark,
            method: "POW".into(),
            note: String::new(),
        });
        let stays = y.first("expungement.ordered");
        vec![
            row(Rule::Forbidden, p.tech, order(Subject::Case(case), &[])),
            row(Rule::Forbidden, p.custodian, carry_out(case, self.named)),
            row(Rule::Forbidden, p.admin, order(Subject::Case(case), &[])),
            unsigned,
            row(
                Rule::Restricted,
                p.admin,
                carry_out(y.things.closed_case, 1),
            ),
            row(
                Rule::NotFound,
                p.supervisor,
                order(Subject::Mark(y.things.mark), &[]),
            ),
            row(Rule::BadValue, p.supervisor, tomorrow),
            // Of no case, of a kind that stays, twice, and with an item instead of its case.
            row(
                Rule::BadValue,
                p.supervisor,
                order(Subject::Case(case), &[1]),
            ),
            row(
                Rule::BadValue,
                p.supervisor,
                order(Subject::Case(self.gone), &[stays]),
            ),
            row(
                Rule::BadValue,
                p.supervisor,
                order(Subject::Case(case), &[y.first("mark.noted"); 2]),
            ),
            row(
                Rule::BadValue,
                p.supervisor,
                order(Subject::Item(y.things.lift), &[y.first("mark.noted")]),
            ),
            row(Rule::BadValue, p.admin, carry_out(case, 99)),
            row(Rule::BadValue, p.admin, carry_out(case, self.taken_back)),
            row(Rule::BadValue, p.supervisor, withdraw(self.gone, 1)),
            row(Rule::Expunged, p.tech, develop),
            row(Rule::Held, p.admin, carry_out(self.held, 1)),
            row(Rule::InCustody, p.admin, carry_out(self.kept, 1)),
            row(Rule::SamePerson, p.supervisor, carry_out(case, self.named)),
        ]
    }
}

/// Every kind either stays, or what is left of it makes the same kind of fact again, without its texts.
#[test]
fn what_is_left_makes_the_same_kind_of_fact_without_its_texts() {
    let mut y = Yard::new();
    let room = super::room::Room::of(&mut y);
    let (tech, mark) = (y.people.tech, y.things.mark);
    y.act(tech, Act::AddImage(add_image(Subject::Mark(mark), 40)))
        .unwrap();
    let words = "expunged by order 26-EX-14";
    let mut met = BTreeSet::new();
    let mut taken = super::yard::recover(mark, "collected-object", y.now);
    taken.from_item = Some(y.things.measured);
    y.act(tech, Act::Recover(taken)).unwrap();
    let mut all: Vec<(&str, Fields)> = Vec::new();
    for event in &y.events {
        all.push((&event.header.kind, event.fields.clone()));
    }
    // And what each act that is allowed would put on the record.
    for (who, act) in super::wants::allowed(&y)
        .into_iter()
        .chain(room.allowed(&y))
    {
        let me = actor(&y.stage.state, who);
        for draft in decide(&y.stage.state, &y.rules, &me, &command(act), y.now).unwrap() {
            let mut fields = draft.fact.to_fields().unwrap();
            fields.insert("command".into(), "01".into());
            all.push((draft.fact.kind(), fields));
        }
    }
    for (kind, whole) in &all {
        let kind = *kind;
        if !left::goes(kind) {
            continue;
        }
        met.insert(kind);
        for held in [false, true] {
            let fields = left::of(kind, whole, words, held);
            assert!(!fields.contains_key("late_reason"), "{kind}");
            if left::leads_nowhere(kind) {
                assert!(fields.keys().all(|k| k == "by" || k == "command"), "{kind}");
                continue;
            }
            let fact = Fact::from_fields(kind, &fields).unwrap_or_else(|e| panic!("{kind}: {e}"));
            let said = serde_json::to_string(&fact).unwrap();
            for planted in [
                "locker door",
                "from the locker door",
                "Slipway 2",
                "Oda Lunn",
                "to the laboratory",
            ] {
                assert!(!said.contains(planted), "{kind}: {said}");
            }
        }
    }
    // Kinds of which the yard has no event would go untried.
    let kinds: BTreeSet<&str> = Fact::KINDS
        .iter()
        .copied()
        .filter(|k| left::goes(k))
        .collect();
    let untried: Vec<&&str> = kinds.difference(&met).collect();
    assert!(untried.is_empty(), "kinds that were not tried: {untried:?}");
    let stay: Vec<&str> = Fact::KINDS
        .iter()
        .copied()
        .filter(|k| !left::goes(k))
        .collect();
    assert!(
        stay.iter().all(|k| {
            [
                "person.",
                "place.",
                "kit.",
                "count.",
                "paper.",
                "expungement.",
                "case.read",
            ]
            .iter()
            .any(|group| k.starts_with(group))
        }),
        "{stay:?}"
    );
}

/// A text that an amendment repeats goes with the text, and everything about a picture with the picture.
#[test]
fn an_order_covers_what_repeats_what_it_names() {
    let mut y = Yard::new();
    let (tech, supervisor) = (y.people.tech, y.people.supervisor);
    let (mark, case) = (y.things.mark, y.things.case);
    y.act(tech, Act::AddImage(add_image(Subject::Mark(mark), 41)))
        .unwrap();
    let picture = y.events.last().unwrap().header.seq;
    y.act(
        tech,
        super::yard::set_view(Subject::Mark(mark), 41, &["front", "mirror"]),
    )
    .unwrap();
    let view = y.events.last().unwrap().header.seq;
    y.remember_events();
    let noted = y.first("mark.noted");
    let amend = |value: &str| {
        Act::Amend(liftledger::custody::amendment::Amend {
            event: noted,
            field: "object".into(),
            value: value.into(),
            reason: "seen again".into(),
        })
    };
    y.act(tech, amend("the other door")).unwrap();
    let amended = y.events.last().unwrap().header.seq;
    y.remember_events();
    let named = |events: &[u64]| {
        let order = Expungement {
            number: 1,
            of: Subject::Case(case),
            events: events.to_vec(),
            court: String::new(),
            order: String::new(),
            dated: "2026-03-02".parse().unwrap(),
            by: Some(supervisor),
            at: y.now.fixed_offset(),
            withdrawn_at: None,
            carried_out: None,
        };
        covered(&y.stage.state, case, &order)
    };
    assert_eq!(named(&[noted]), BTreeSet::from([noted, amended]));
    assert_eq!(named(&[picture]), BTreeSet::from([picture, view]));
    let whole = named(&[]);
    assert!(whole.contains(&noted) && whole.contains(&view) && whole.len() > 20);
}
