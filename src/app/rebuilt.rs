//! What an expungement needs of the ledger as a whole: every event of a case, and the records made anew by a replay.

use std::collections::{BTreeSet, HashMap};

use super::reader::opened;
use super::record::RecordError;
use super::replay;
use crate::custody::State;
use crate::custody::expungement::MAX_RECORD;
use crate::custody::state::PastEvent;
use crate::ids::{CaseId, Seq};
use crate::ledger::event::Event;
use crate::ledger::expunged;
use crate::ledger::payload::Fields;
use crate::store::{DocFilter, LIST_MAX, RawEvent, Store, StoreError, WriteTx};

/// Every event of a case into the state, and which they are.
pub(super) async fn record_of(
    store: &dyn Store,
    tx: &mut dyn WriteTx,
    state: &mut State,
    case: CaseId,
) -> Result<(), RecordError> {
    let mut subjects = Vec::new();
    let mut filter = DocFilter {
        case_id: Some(case.to_string()),
        limit: LIST_MAX,
        ..DocFilter::default()
    };
    loop {
        let page = tx.list_docs(&filter).await?;
        let Some(last) = page.last() else { break };
        filter.after = Some(last.cursor(filter.order));
        subjects.extend(page.into_iter().map(|row| row.subject));
    }
    let mut seqs = BTreeSet::new();
    for subject in subjects {
        let mut after = 0;
        // One more than an expungement goes through is enough to know that it is too much.
        while seqs.len() <= MAX_RECORD {
            let page = store.events_of(&subject, after, LIST_MAX).await?;
            let Some(last) = page.last() else { break };
            after = last.n;
            for touched in page {
                let event = open(touched.event)?;
                if event.header.case == Some(case) && seqs.insert(event.header.seq) {
                    state.events.insert(event.header.seq, past_event(event));
                }
            }
        }
    }
    state.records.insert(case, seqs.into_iter().collect());
    Ok(())
}

/// The state that the ledger leads to once these events stand and what they expunge is gone: a replay of everything,
/// so that no text can stay behind in a record.
pub(super) async fn rebuilt(
    store: &dyn Store,
    tx: &mut dyn WriteTx,
    staged: &[Event],
) -> Result<State, RecordError> {
    let mut left: HashMap<Seq, (Seq, Fields)> = staged
        .iter()
        .flat_map(|e| {
            let by = e.header.seq;
            expunged::left(e)
                .into_iter()
                .map(move |(seq, fields)| (seq, (by, fields)))
        })
        .collect();
    let corrupt = |why: String| StoreError::Corrupt(why);
    let open = |raw: RawEvent| {
        let event = opened(raw).map_err(|e| corrupt(e.to_string()))?;
        match left.remove(&event.header.seq) {
            Some((by, fields)) => {
                Event::expunged(event.bytes, by, fields).map_err(|e| corrupt(e.to_string()))
            }
            None => Ok(event),
        }
    };
    let mut state = replay::whole(store, tx, open).await?;
    for event in staged {
        replay::step(&mut state, event).map_err(|e| RecordError::Corrupt(e.to_string()))?;
    }
    Ok(state)
}

pub(super) fn open(raw: RawEvent) -> Result<Event, RecordError> {
    opened(raw).map_err(|e| RecordError::Corrupt(e.to_string()))
}

pub(super) fn past_event(event: Event) -> PastEvent {
    PastEvent {
        kind: event.header.kind,
        actor: event.header.actor,
        case: event.header.case,
        subjects: event.header.touches.iter().map(|t| t.subject).collect(),
        fields: event.fields,
        expunged: event.expunged.is_some(),
    }
}
