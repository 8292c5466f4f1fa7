//! Reading events and the records around them, asking nobody's permission: whoever calls this has asked before, or is the
//! ledger's own writer.

use std::collections::{BTreeSet, HashMap, HashSet};

use super::reader::ReadError;
use super::rows;
use crate::custody::state::{Custody, Holder};
use crate::custody::{Fact, State};
use crate::ids::Subject;
use crate::ledger::event::Event;
use crate::ledger::payload::{self, Salt};
use crate::store::{LIST_MAX, RawEvent, Store, TouchedEvent};

/// How many events of one subject are read at the most.
pub const HISTORY_MAX: u64 = 10_000;
/// How many histories [`histories`] begins with one question, and how many events of each: more than most have.
const TOGETHER: usize = 50;
const EACH: u32 = 40;
/// How many documents [`around`] loads at the most.
const AROUND_MAX: usize = 5_000;

/// An event of a subject's history.
#[derive(Clone, Debug, PartialEq)]
pub struct Past {
    /// Which of the subject's events.
    pub n: u64,
    /// The event, its payload held against its header.
    pub event: Event,
    /// What it says; none for a kind that this version does not know.
    pub fact: Option<Fact>,
}

/// A raw event, its payload held against its header; of an expunged one what is left of it.
///
/// # Errors
/// [`ReadError::Corrupt`] names the event.
pub fn opened(raw: RawEvent) -> Result<Event, ReadError> {
    let damaged = |why: &str| ReadError::Corrupt(format!("event {}: {why}", raw.seq));
    let header = raw.header.clone().ok_or_else(|| damaged("no header"))?;
    if let (None, None, Some(by)) = (&raw.salt, &raw.fields, raw.expunged_by) {
        let remains = raw.remains.as_deref().unwrap_or_default();
        let remains = payload::parse(remains).map_err(|e| damaged(&e.to_string()))?;
        return Event::expunged(header, by.unsigned_abs(), remains)
            .map_err(|e| damaged(&e.to_string()));
    }
    let salt: [u8; 16] = raw
        .salt
        .clone()
        .and_then(|s| s.try_into().ok())
        .ok_or_else(|| damaged("no salt"))?;
    let fields = raw.fields.clone().ok_or_else(|| damaged("no payload"))?;
    Event::open(header, Salt(salt), &fields).map_err(|e| damaged(&e.to_string()))
}

/// The history of a subject, oldest first, at most [`HISTORY_MAX`] events.
///
/// # Errors
/// See [`ReadError`].
pub async fn history(store: &dyn Store, subject: Subject) -> Result<Vec<Past>, ReadError> {
    let mut out = Vec::new();
    rest(store, subject, &mut out).await?;
    Ok(out)
}

/// The same of several subjects, many with one question.
///
/// # Errors
/// See [`ReadError`].
pub async fn histories(
    store: &dyn Store,
    subjects: &BTreeSet<Subject>,
) -> Result<HashMap<Subject, Vec<Past>>, ReadError> {
    let subjects: Vec<Subject> = subjects.iter().copied().collect();
    let mut out = HashMap::with_capacity(subjects.len());
    for some in subjects.chunks(TOGETHER) {
        let texts: Vec<String> = some.iter().map(ToString::to_string).collect();
        let mut begun: HashMap<String, Vec<Past>> = HashMap::new();
        for row in store.first_events(&texts, EACH).await? {
            begun
                .entry(row.subject)
                .or_default()
                .push(past(row.touched)?);
        }
        for (subject, text) in some.iter().zip(&texts) {
            let mut all = begun.remove(text).unwrap_or_default();
            if all.len() >= EACH as usize {
                rest(store, *subject, &mut all).await?;
            }
            out.insert(*subject, all);
        }
    }
    Ok(out)
}

fn past(touched: TouchedEvent) -> Result<Past, ReadError> {
    let event = opened(touched.event)?;
    let fact = Fact::from_fields(&event.header.kind, &event.fields).ok();
    Ok(Past {
        n: touched.n,
        event,
        fact,
    })
}

/// What comes behind the part of a history that was read.
async fn rest(store: &dyn Store, subject: Subject, out: &mut Vec<Past>) -> Result<(), ReadError> {
    let text = subject.to_string();
    let mut after = out.last().map_or(0, |p| p.n);
    while after < HISTORY_MAX {
        let limit = u32::try_from(HISTORY_MAX - after).map_or(LIST_MAX, |left| left.min(LIST_MAX));
        let part = store.events_of(&text, after, limit).await?;
        let Some(last) = part.last() else { break };
        after = last.n;
        let full = part.len() >= limit as usize;
        for touched in part {
            out.push(past(touched)?);
        }
        if !full {
            break;
        }
    }
    Ok(())
}

/// Everything around some subjects that their words need: what they are in and what is in them, their cases and marks, and
/// the people and places that hold them or are named by an offer. At most some thousands of records.
///
/// # Errors
/// See [`ReadError`].
pub async fn around(store: &dyn Store, subjects: &[Subject]) -> Result<State, ReadError> {
    let mut state = State::default();
    let mut asked: HashSet<Subject> = HashSet::new();
    let mut todo: BTreeSet<Subject> = subjects.iter().copied().collect();
    while !todo.is_empty() && asked.len() < AROUND_MAX {
        let wave: Vec<Subject> = todo.iter().copied().take(LIST_MAX as usize).collect();
        for s in &wave {
            todo.remove(s);
            asked.insert(*s);
        }
        let texts: Vec<String> = wave.iter().map(ToString::to_string).collect();
        for row in store.docs(&texts).await? {
            rows::take(&mut state, &row)?;
        }
        for s in wave {
            todo.extend(
                neighbours(&state, s)
                    .into_iter()
                    .filter(|n| !asked.contains(n)),
            );
        }
    }
    Ok(state)
}

/// What the words about a subject need beside its own record.
fn neighbours(state: &State, subject: Subject) -> Vec<Subject> {
    let mut out = Vec::new();
    let mut custody = |c: &Custody| {
        out.extend(c.inside.map(Subject::Package));
        match &c.holder {
            Holder::Person { person } => out.push(Subject::Person(*person)),
            Holder::Place { place } => out.push(Subject::Place(*place)),
            Holder::Outside { .. } | Holder::Disposed { .. } => {}
        }
        if let Some(d) = &c.disposition {
            out.push(Subject::Person(d.by));
            let done = d.executed.iter().flat_map(|e| [e.by, e.witness]);
            out.extend(done.map(Subject::Person));
        }
        if let Some(offer) = &c.offer {
            out.push(Subject::Person(offer.by));
            out.push(Subject::Person(offer.to));
        }
    };
    match subject {
        Subject::Item(id) => {
            if let Some(x) = state.items.get(&id) {
                custody(&x.custody);
                out.push(Subject::Case(x.case));
                out.push(Subject::Mark(x.mark));
                out.extend(x.recovered_by.map(Subject::Person));
            }
        }
        Subject::Package(id) => {
            if let Some(x) = state.packages.get(&id) {
                custody(&x.custody);
                out.push(Subject::Case(x.case));
                out.extend(x.contents.iter().map(|p| Subject::from(*p)));
                out.extend(x.seals.iter().filter_map(|s| s.by).map(Subject::Person));
            }
        }
        Subject::Mark(id) => {
            if let Some(x) = state.marks.get(&id) {
                out.push(Subject::Case(x.case));
                out.extend(x.noted_by.map(Subject::Person));
                out.extend(
                    x.developments
                        .iter()
                        .filter_map(|d| d.by)
                        .map(Subject::Person),
                );
            }
        }
        Subject::Case(id) => {
            if let Some(x) = state.cases.get(&id) {
                out.extend(x.opened_by.map(Subject::Person));
                out.extend(x.assigned.iter().copied().map(Subject::Person));
            }
        }
        // A place's logger may stand in the room around it.
        Subject::Place(id) => {
            let parent = state.places.get(&id).and_then(|x| x.added.parent);
            out.extend(parent.map(Subject::Place));
        }
        Subject::Person(_) | Subject::Count(_) => {}
    }
    out
}
