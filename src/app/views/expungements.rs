//! Orders to expunge: which wait, what one covers, and the instruction that follows: what is out there that still holds what
//! was expunged, and to whom it went. Nothing here says anything of the content.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::app::reader::{Page, Part, ReadError, Reader, opened};
use crate::app::rebuilt::past_event;
use crate::app::removal::RAW_SAID;
use crate::custody::expungement::{self, Expungement, MAX_RECORD, left};
use crate::custody::state::Case;
use crate::custody::{Fact, State};
use crate::ids::{CaseId, Seq, Subject};
use crate::ledger::event::Event;
use crate::ledger::{expunged, times};
use crate::people::Action;
use crate::store::{DocFilter, LIST_MAX};

/// Under which key a case with an open order stands where offers stand.
pub use crate::app::rows::ORDER_WAITS;

/// An order that waits to be carried out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct OpenOrder {
    /// The case.
    pub case: CaseId,
    /// Its number.
    pub case_number: String,
    /// Which of its orders.
    pub number: u32,
    /// The order's number, as the court gave it.
    pub order: String,
    /// The court.
    pub court: String,
    /// What it names, in words.
    pub what: String,
    /// Whether the viewer put it on the record, and so cannot carry it out.
    pub own: bool,
}

/// Something that left the system and may hold what the order names.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Outside {
    /// The event that recorded it.
    pub seq: Seq,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The same in words.
    pub when: String,
    /// What it is: a bundle, a report, a label, a hand-off.
    pub what: String,
    /// To whom it went, as far as the record knows.
    pub to: String,
    /// By which it can be recognised: the SHA-256 of the file.
    pub digest: String,
}

/// The instruction that goes with an order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Instruction {
    /// The case.
    pub case: CaseId,
    /// Its number.
    pub case_number: String,
    /// The order, as the record has it.
    pub order: Expungement,
    /// What it names, in words.
    pub what: String,
    /// Who put it on the record.
    pub ordered_by: String,
    /// When, in words.
    pub ordered: String,
    /// Who carried it out, and when, in words; empty while nobody did.
    pub carried_out: String,
    /// Which events it covers: those it covers now, or those that it expunged.
    pub events: Vec<Seq>,
    /// What left the system since the first of them.
    pub outside: Vec<Outside>,
    /// Files and raw bytes that are still to be removed.
    pub waiting: usize,
    /// What is known of the raw bytes of the database; empty while nothing was expunged.
    pub raw: String,
}

/// A case that whoever works on orders may see, though they may read no evidence.
///
/// # Errors
/// See [`ReadError`].
pub async fn case(reader: &Reader<'_>, id: CaseId) -> Result<Case, ReadError> {
    let viewer = reader.viewer();
    if !viewer.may(Action::CarryOutExpungement) {
        reader.must(Action::ReadEvidence)?;
    }
    let row = reader
        .house()
        .store
        .doc(&Subject::Case(id).to_string())
        .await?
        .ok_or(ReadError::NotFound("case"))?;
    let case: Case = serde_json::from_str(&row.doc)
        .map_err(|e| ReadError::Corrupt(format!("the document of {}: {e}", row.subject)))?;
    if case.seen_by(viewer.id()) {
        Ok(case)
    } else {
        Err(ReadError::Restricted)
    }
}

/// Orders that wait, of cases that the viewer may see. A part may hold fewer rows than its limit and still go on.
///
/// # Errors
/// See [`ReadError`].
pub async fn open(reader: &Reader<'_>, part: &Part) -> Result<Page<OpenOrder>, ReadError> {
    reader.must(Action::CarryOutExpungement)?;
    let filter = DocFilter {
        kind: Some("case".into()),
        offer_to: Some(ORDER_WAITS.into()),
        ..DocFilter::default()
    };
    let page: Page<Case> = reader.list(filter, part).await?;
    let me = reader.viewer().id();
    let rows = page
        .rows
        .iter()
        .filter(|c| c.seen_by(me))
        .flat_map(|c| {
            c.expungements
                .iter()
                .filter(|e| e.is_open())
                .map(move |e| OpenOrder {
                    case: c.id,
                    case_number: c.number.clone(),
                    number: e.number,
                    order: e.order.clone(),
                    court: e.court.clone(),
                    what: e.what(),
                    own: e.by == me,
                })
        })
        .collect();
    Ok(Page {
        rows,
        next: page.next,
    })
}

/// Every event of a case, by its place.
async fn record(reader: &Reader<'_>, case: CaseId) -> Result<BTreeMap<Seq, Event>, ReadError> {
    let store = &reader.house().store;
    let mut filter = DocFilter {
        case_id: Some(case.to_string()),
        limit: LIST_MAX,
        ..DocFilter::default()
    };
    let mut out = BTreeMap::new();
    loop {
        let page = store.list_docs(&filter).await?;
        let Some(last) = page.last() else { break };
        filter.after = Some(last.cursor(filter.order));
        for row in &page {
            let mut after = 0;
            while out.len() <= MAX_RECORD {
                let part = store.events_of(&row.subject, after, LIST_MAX).await?;
                let Some(last) = part.last() else { break };
                after = last.n;
                for touched in part {
                    let event = opened(touched.event)?;
                    if event.header.case == Some(case) {
                        out.insert(event.header.seq, event);
                    }
                }
            }
        }
    }
    Ok(out)
}

/// What a paper or a bundle is, to whom it went, and its digest; none for other events.
fn left_the_house(event: &Event) -> Option<(String, String, String)> {
    let by = || {
        let by = event.field_str("by").unwrap_or("the server's operator");
        format!("printed by {}", words::signed_by(by))
    };
    let fact = Fact::from_fields(&event.header.kind, &event.fields).ok()?;
    Some(match fact {
        Fact::CaseDisclosed(x) => (
            format!("disclosure bundle, under: {}", x.authority),
            x.to,
            x.digest.to_string(),
        ),
        Fact::AfisExported(x) => (
            format!("hand-off {}", x.control),
            x.receiver_name,
            x.digest.to_string(),
        ),
        Fact::ReportPrinted(x) => ("printed report".into(), by(), x.digest.to_string()),
        Fact::LabelPrinted(x) => (format!("label, {}", x.label), by(), x.digest.to_string()),
        _ => return None,
    })
}

/// The instruction that goes with an order.
///
/// # Errors
/// See [`ReadError`].
pub async fn instruction(
    reader: &Reader<'_>,
    case: &Case,
    number: u32,
) -> Result<Instruction, ReadError> {
    let order = case.expungements.iter().find(|e| e.number == number);
    let order = order.ok_or(ReadError::NotFound("order"))?.clone();
    let house = reader.house();
    let zone = house.zone().await?;
    let record = record(reader, case.id).await?;
    let events = covered(&record, case.id, &order);
    let first = events.first().copied().unwrap_or(Seq::MAX);
    // What one item's order covers may also be on a paper of its case; a paper of another item holds none of it.
    let about: BTreeSet<Subject> = events
        .iter()
        .filter_map(|seq| record.get(seq))
        .flat_map(|e| e.header.touches.iter().map(|t| t.subject))
        .chain([Subject::Case(case.id)])
        .collect();
    let outside = record
        .values()
        .filter(|e| e.header.seq > first)
        .filter(|e| e.header.touches.iter().any(|t| about.contains(&t.subject)))
        .filter_map(|event| {
            let (what, to, digest) = left_the_house(event)?;
            let at = times::parse_claimed(&event.header.claimed_at).ok()?;
            Some(Outside {
                seq: event.header.seq,
                at,
                when: words::minute(&at, zone),
                what,
                to,
                digest,
            })
        })
        .collect();
    let done = order.carried_out.as_ref();
    let people = order.by.into_iter().chain(done.and_then(|d| d.by));
    let names = reader.names(people).await?;
    let name = |who: Option<_>| {
        who.and_then(|id| names.get(&id).cloned())
            .unwrap_or_else(|| "somebody".into())
    };
    Ok(Instruction {
        case: case.id,
        case_number: case.number.clone(),
        what: order.what(),
        ordered_by: name(order.by),
        ordered: words::minute(&order.at, zone),
        carried_out: done.map_or_else(String::new, |d| {
            format!(
                "{}, by {}, event {}",
                words::minute(&d.at, zone),
                name(d.by),
                d.seq
            )
        }),
        events: events.into_iter().collect(),
        outside,
        waiting: house.store.removals(LIST_MAX).await?.len(),
        raw: match done {
            Some(_) => house.store.setting(RAW_SAID).await?.unwrap_or_default(),
            None => String::new(),
        },
        order,
    })
}

/// The events that an order expunged, or would expunge now.
fn covered(record: &BTreeMap<Seq, Event>, case: CaseId, order: &Expungement) -> BTreeSet<Seq> {
    if order.carried_out.is_some() {
        let of_order = |e: &&Event| e.field_i64("number") == Some(i64::from(order.number));
        return record
            .values()
            .filter(of_order)
            .flat_map(|e| expunged::names(&e.header.kind, &e.fields))
            .collect();
    }
    let mut state = State::default();
    state.records.insert(case, record.keys().copied().collect());
    for (seq, event) in record {
        // What stays on the record anyway need not be looked at.
        if left::goes(&event.header.kind) {
            state.events.insert(*seq, past_event(event.clone()));
        }
    }
    expungement::covered(&state, case, order)
}
