//! Expungement by order of a court: what an order names loses its texts and pictures; that it was there stays.
//!
//! Two people do it. One puts the order on the record: which court, its number and date, and what it names, a case, an
//! item, or single events. Another one carries it out. What then goes are the payloads of events, with their salts, and the
//! files that only they named. What stays are the headers with their places, counts and proofs, and of each payload what
//! later events stand on ([`left`]); it stands in the event of the expungement itself, so that a replay of the ledger leads
//! to the same records as before, with the texts gone. What an order must name, and whether it has to be obeyed while an
//! appeal or a hold runs, local law and counsel decide.

mod applied;
mod cover;
pub mod left;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, FixedOffset, NaiveDate};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::hold;
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, capital, not_found};
use super::state::{Case, Holder, PastEvent, State};
use crate::ids::{CaseId, ItemId, PersonId, Piece, Seq, Subject};
use crate::ledger::payload::Fields;
use crate::ledger::times;
pub(super) use applied::{carried_out, ordered, withdrawn};
pub use cover::covered;
use cover::{pieces, record};

/// Most events that one order may name one by one.
pub const MAX_NAMED: usize = 500;
/// Most orders of one case.
pub const MAX_ORDERS: usize = 100;
/// Most events of a case that one expungement goes through.
pub const MAX_RECORD: usize = 50_000;
/// Most events of one part of an expungement.
const PART_EVENTS: usize = 2_000;
/// Most bytes of what is left in one part: an event's fields have at most 256 KiB, and quotes are escaped.
const PART_BYTES: usize = 100_000;
/// Most subjects that a part touches beside its case.
const PART_TOUCHES: usize = 4_000;

/// Put a court's order to expunge on the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OrderExpungement {
    /// A case or an item; the case where single events are named.
    pub of: Subject,
    /// Single events of the case, by their places; empty for all of it.
    #[serde(default)]
    pub events: Vec<Seq>,
    /// The court.
    pub court: String,
    /// The order's number.
    pub order: String,
    /// The order's date.
    pub dated: NaiveDate,
}

/// Take an order back that was entered wrongly or was set aside.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WithdrawExpungement {
    /// Case.
    pub case: CaseId,
    /// Which of its orders.
    pub number: u32,
    /// Why.
    pub reason: String,
}

/// Confirm an order and carry it out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CarryOutExpungement {
    /// Case.
    pub case: CaseId,
    /// Which of its orders.
    pub number: u32,
}

/// An order was put on the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpungementOrdered {
    /// Case.
    pub case: CaseId,
    /// Which of its orders, 1 for the first.
    pub number: u32,
    /// What it names.
    pub of: Subject,
    /// Single events; empty for all of it.
    pub events: Vec<Seq>,
    /// The court.
    pub court: String,
    /// The order's number.
    pub order: String,
    /// The order's date.
    pub dated: NaiveDate,
}

/// An order was taken back.
pub type ExpungementWithdrawn = WithdrawExpungement;

/// An order was carried out, or a part of it: the payloads of these events are gone.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpungementCarriedOut {
    /// Case.
    pub case: CaseId,
    /// Which of its orders.
    pub number: u32,
    /// What it names.
    pub of: Subject,
    /// The court.
    pub court: String,
    /// The order's number.
    pub order: String,
    /// The order's date.
    pub dated: NaiveDate,
    /// Which part this is, 1 for the first.
    pub part: u32,
    /// How many parts there are.
    pub parts: u32,
    /// The events whose payloads are gone, by their places. The ledger's own format knows this field.
    pub events: Vec<Seq>,
    /// What is left of each payload: JSON, the fields by the event's place.
    pub left: String,
}

/// An order, as the record of its case has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Expungement {
    /// Which of the case's orders.
    pub number: u32,
    /// What it names.
    pub of: Subject,
    /// Single events; empty for all of it.
    pub events: Vec<Seq>,
    /// The court.
    pub court: String,
    /// The order's number.
    pub order: String,
    /// The order's date.
    pub dated: NaiveDate,
    /// Who put it on the record.
    pub by: Option<PersonId>,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// When it was taken back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn_at: Option<DateTime<FixedOffset>>,
    /// That it was carried out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carried_out: Option<CarriedOut>,
}

impl Expungement {
    /// Whether it still waits for somebody to carry it out.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.withdrawn_at.is_none() && self.carried_out.is_none()
    }

    /// What it names, in words that show nothing of the content.
    #[must_use]
    pub fn what(&self) -> String {
        match (self.events.len(), self.of) {
            (0, Subject::Item(_)) => "an item".into(),
            (0, _) => "the whole case".into(),
            (1, _) => format!("event {}", self.events.first().copied().unwrap_or_default()),
            (n, _) => format!("{n} events"),
        }
    }
}

/// Who carried an order out, and when.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CarriedOut {
    /// Who.
    pub by: Option<PersonId>,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The first event of it.
    pub seq: Seq,
    /// How many events it names.
    pub events: u64,
}

/// That a record was expunged.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Expunged {
    /// Which of its case's orders.
    pub number: u32,
    /// The order's number, as the court gave it.
    pub order: String,
    /// When it was carried out.
    pub at: DateTime<FixedOffset>,
}

impl Expunged {
    /// `expunged by order 26-EX-14`
    #[must_use]
    pub fn words(&self) -> String {
        words(&self.order)
    }
}

/// What stands where a text was.
#[must_use]
pub fn words(order: &str) -> String {
    format!("expunged by order {order}")
}

/// The case of what an order names, seen.
fn case_of<'a>(ctx: &Context<'a>, of: Subject) -> Result<&'a Case, Refusal> {
    let id = match of {
        Subject::Case(id) => Some(id),
        Subject::Item(_) => ctx.state.case_of(of),
        _ => None,
    };
    let id = id.ok_or_else(|| not_found("item or case").on("of"))?;
    ctx.case(id)?;
    ctx.state.cases.get(&id).ok_or_else(|| not_found("case"))
}

pub(super) fn order(ctx: &Context<'_>, x: &OrderExpungement) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    let case = case_of(ctx, x.of)?;
    text("court", &x.court, 200, true)?;
    text("order", &x.order, 60, true)?;
    if times::is_to_come(x.dated, ctx.now) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("The order is dated {}, which is still to come.", x.dated),
            "Give the date that stands on the order.",
        )
        .on("dated"));
    }
    if case.expungements.len() >= MAX_ORDERS {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("The case has {MAX_ORDERS} orders already."),
            "Let one order name the whole case.",
        ));
    }
    named_events(ctx, case, x)?;
    let fact = Fact::ExpungementOrdered(ExpungementOrdered {
        case: case.id,
        number: u32::try_from(case.expungements.len() + 1).unwrap_or(u32::MAX),
        of: x.of,
        events: x.events.clone(),
        court: x.court.trim().to_owned(),
        order: x.order.trim().to_owned(),
        dated: x.dated,
    });
    let mut subjects = vec![Subject::Case(case.id)];
    subjects.extend(Some(x.of).filter(|of| !subjects.contains(of)));
    Ok(ctx.draft(Some(case.id), subjects, fact))
}

/// Single events must be events of the case that can be expunged and were not.
fn named_events(ctx: &Context<'_>, case: &Case, x: &OrderExpungement) -> Result<(), Refusal> {
    let wrong = |sentence: String, next: &str| {
        Err(Refusal::new(Rule::BadValue, sentence, next).on("events"))
    };
    if x.events.is_empty() {
        return Ok(());
    }
    if x.of != Subject::Case(case.id) {
        return wrong(
            "Single events are named with their case.".into(),
            "Name the case, and the events by their numbers.",
        );
    }
    if x.events.len() > MAX_NAMED {
        return wrong(
            format!("One order names at most {MAX_NAMED} single events."),
            "Let it name the item or the whole case.",
        );
    }
    let record = record(ctx.state, case.id);
    let mut seen = BTreeSet::new();
    for seq in &x.events {
        let Some(past) = record.get(seq) else {
            return wrong(
                format!("Event {seq} is not one of this case."),
                "Look up the events' numbers on the thread or the event's page.",
            );
        };
        if past.expunged {
            return wrong(format!("Event {seq} is expunged already."), "Leave it out.");
        }
        if !left::goes(&past.kind) {
            return wrong(
                format!(
                    "Event {seq} is of a kind that stays on the record: {}.",
                    past.kind
                ),
                "Leave it out; the record says which papers were made and which orders were carried out.",
            );
        }
        if !seen.insert(*seq) {
            return wrong(format!("Event {seq} is named twice."), "Name it once.");
        }
    }
    Ok(())
}

fn open_order(case: &Case, number: u32) -> Result<&Expungement, Refusal> {
    let found = case.expungements.iter().find(|e| e.number == number);
    found.filter(|e| e.is_open()).ok_or_else(|| {
        Refusal::new(
            Rule::BadValue,
            match found {
                None => format!("The case has no order {number}."),
                Some(e) if e.carried_out.is_some() => {
                    format!("Order {number} was carried out already.")
                }
                Some(_) => format!("Order {number} was taken back."),
            },
            "Look up the orders on the case's page.",
        )
        .on("number")
    })
}

pub(super) fn withdraw(ctx: &Context<'_>, x: &WithdrawExpungement) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    let case = ctx.case(x.case)?;
    text("reason", &x.reason, 500, true)?;
    open_order(case, x.number)?;
    let fact = Fact::ExpungementWithdrawn(x.clone());
    Ok(ctx.draft(Some(x.case), vec![Subject::Case(x.case)], fact))
}

fn ended(state: &State, piece: Piece) -> bool {
    matches!(state.holder(piece), Some(Holder::Disposed { .. }))
}

/// No hold stands on the case or on anything that the events are about.
fn free(ctx: &Context<'_>, case: &Case, events: &BTreeMap<Seq, &PastEvent>) -> Result<(), Refusal> {
    let items: BTreeSet<ItemId> = events
        .values()
        .flat_map(|past| past.subjects.iter())
        .filter_map(|s| match s {
            Subject::Item(id) => Some(*id),
            _ => None,
        })
        .collect();
    let on_case = hold::standing(&case.holds).next();
    let on_item = || {
        let mut items = items.iter().filter_map(|id| ctx.state.items.get(id));
        items.find_map(|item| hold::standing(&item.holds).next())
    };
    match on_case.or_else(on_item) {
        None => Ok(()),
        Some(held) => Err(Refusal::new(
            Rule::Held,
            format!(
                "A hold stands since {} (ordered by {}), and this order would remove what it keeps.",
                held.at.format("%Y-%m-%d %H:%M %:z"),
                held.authority
            ),
            "Which of the two comes first, counsel says; then lift the hold or take the order back.",
        )),
    }
}

/// What is still in custody keeps its record: nobody could keep, hand over or dispose of a thing that nothing is known of.
fn none_in_custody(
    ctx: &Context<'_>,
    order: &Expungement,
    events: &BTreeMap<Seq, &PastEvent>,
) -> Result<(), Refusal> {
    let of_custody = |past: &PastEvent| {
        ["custody.", "package.", "disposition."]
            .iter()
            .any(|group| past.kind.starts_with(group))
    };
    let whole = order.events.is_empty();
    let asked: BTreeSet<Piece> = events
        .values()
        .filter(|past| whole || of_custody(past))
        .flat_map(|past| pieces(past))
        .filter(|piece| match piece {
            Piece::Item(_) => true,
            // An empty box holds nothing that a record would be missed of.
            Piece::Package(id) => ctx
                .state
                .packages
                .get(id)
                .is_some_and(|p| !p.contents.is_empty()),
        })
        .collect();
    match asked.into_iter().find(|p| !ended(ctx.state, *p)) {
        None => Ok(()),
        Some(piece) => Err(Refusal::new(
            Rule::InCustody,
            format!(
                "{} is still in custody, and its record is what it is kept, handed over and disposed of by.",
                capital(&ctx.state.name(piece))
            ),
            "Dispose of it first, or let the order name the events whose texts and pictures must go.",
        )),
    }
}

pub(super) fn carry_out(ctx: &Context<'_>, x: &CarryOutExpungement) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    let case = ctx.case(x.case)?;
    let order = open_order(case, x.number)?;
    if ctx
        .state
        .records
        .get(&x.case)
        .is_some_and(|all| all.len() > MAX_RECORD)
    {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("The case has more than {MAX_RECORD} events."),
            "Let orders name its items one by one.",
        ));
    }
    let chosen = covered(ctx.state, x.case, order);
    let events: BTreeMap<Seq, &PastEvent> = chosen
        .iter()
        .filter_map(|seq| Some((*seq, ctx.state.events.get(seq)?)))
        .collect();
    if events.is_empty() {
        return Err(Refusal::new(
            Rule::BadValue,
            "The order covers nothing that is not expunged already.",
            "Take the order back, or enter one that names what is meant.",
        ));
    }
    free(ctx, case, &events)?;
    none_in_custody(ctx, order, &events)?;
    if order.by == Some(me) {
        return Err(Refusal::new(
            Rule::SamePerson,
            "You put this order on the record yourself.",
            "Somebody else confirms it and carries it out.",
        ));
    }
    Ok(drafts(ctx, order, &events))
}

/// What one event expunges: what it touches, what is left of each payload, and of which events.
type Part = (BTreeSet<Subject>, BTreeMap<String, Fields>, Vec<Seq>);

/// One event for each part: what is left of so many payloads as go into one.
fn drafts(
    ctx: &Context<'_>,
    order: &Expungement,
    events: &BTreeMap<Seq, &PastEvent>,
) -> Vec<Draft> {
    let mut parts: Vec<Part> = Vec::new();
    let mut bytes = usize::MAX;
    for (seq, past) in events {
        let held = past.subjects.iter().any(|s| kept_going(ctx.state, *s));
        let fields = left::of(&past.kind, &past.fields, &words(&order.order), held);
        let size = serde_json::to_string(&fields).map_or(0, |t| t.len());
        let subjects: BTreeSet<Subject> = past
            .subjects
            .iter()
            .copied()
            .filter(|s| matches!(s, Subject::Mark(_) | Subject::Item(_) | Subject::Package(_)))
            .collect();
        let full = parts.last().is_none_or(|(touched, _, seqs)| {
            seqs.len() >= PART_EVENTS || touched.union(&subjects).count() > PART_TOUCHES
        });
        if full || bytes.saturating_add(size) > PART_BYTES {
            parts.push((BTreeSet::new(), BTreeMap::new(), Vec::new()));
            bytes = 0;
        }
        bytes += size + 20;
        if let Some((touched, left, seqs)) = parts.last_mut() {
            touched.extend(subjects);
            left.insert(seq.to_string(), fields);
            seqs.push(*seq);
        }
    }
    let all = u32::try_from(parts.len()).unwrap_or(u32::MAX);
    let case = match order.of {
        Subject::Case(id) => Some(id),
        of => ctx.state.case_of(of),
    };
    let Some(case) = case else {
        return Vec::new();
    };
    (1..)
        .zip(parts)
        .flat_map(|(part, (touched, left, seqs))| {
            let mut subjects = vec![Subject::Case(case)];
            subjects.extend(touched.into_iter().take(PART_TOUCHES));
            let fact = Fact::ExpungementCarriedOut(ExpungementCarriedOut {
                case,
                number: order.number,
                of: order.of,
                court: order.court.clone(),
                order: order.order.clone(),
                dated: order.dated,
                part,
                parts: all,
                events: seqs,
                // A map of texts and plain values always serialises.
                left: serde_json::to_string(&left).unwrap_or_default(),
            });
            ctx.draft(Some(case), subjects, fact)
        })
        .collect()
}

/// Whether something of this subject is still kept by its record: then the codes that keep rules ask for stay.
fn kept_going(state: &State, subject: Subject) -> bool {
    match subject {
        Subject::Item(id) => !ended(state, Piece::Item(id)),
        Subject::Mark(id) => state
            .marks
            .get(&id)
            .is_some_and(|m| m.items.iter().any(|i| !ended(state, Piece::Item(*i)))),
        _ => false,
    }
}

/// Nothing more is recorded of what was expunged, but that it was read, printed, disclosed, and ordered about.
///
/// # Errors
/// [`Rule::Expunged`].
pub(super) fn not_expunged(ctx: &Context<'_>) -> Result<(), Refusal> {
    use super::command::Act;
    let act = &ctx.command.act;
    if matches!(
        act,
        Act::CaseRead(_)
            | Act::ReportPrinted(_)
            | Act::LabelPrinted(_)
            | Act::Disclose(_)
            | Act::Assign(_)
            | Act::Restrict(_)
            | Act::OrderExpungement(_)
            | Act::WithdrawExpungement(_)
            | Act::CarryOutExpungement(_)
    ) {
        return Ok(());
    }
    let mut subjects: Vec<Subject> = act.pieces().into_iter().map(Subject::from).collect();
    subjects.extend(act.about());
    if let Act::Amend(x) = act
        && let Some(past) = ctx.state.events.get(&x.event)
    {
        if past.expunged {
            return Err(Refusal::new(
                Rule::Expunged,
                format!("Event {} was expunged by order of a court.", x.event),
                "Nothing more is recorded of it.",
            )
            .on("event"));
        }
        subjects.extend(past.subjects.iter().copied());
    }
    for subject in subjects {
        let own = match subject {
            Subject::Item(id) => ctx.state.items.get(&id).and_then(|x| x.expunged.as_ref()),
            _ => None,
        };
        let case = ctx.state.case_of(subject);
        let of_case = || {
            case.and_then(|id| ctx.state.cases.get(&id))
                .and_then(|c| c.expunged.as_ref())
        };
        if let Some(expunged) = own.or_else(of_case) {
            let what = match subject {
                Subject::Item(id) => ctx.state.name(Piece::Item(id)),
                Subject::Package(id) => ctx.state.name(Piece::Package(id)),
                Subject::Mark(_) => "this mark".into(),
                _ => "this case".into(),
            };
            return Err(Refusal::new(
                Rule::Expunged,
                format!("{} was {}.", capital(&what), expunged.words()),
                "Nothing more is recorded of it; open a new case for what is new.",
            ));
        }
    }
    Ok(())
}
