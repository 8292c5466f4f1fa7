//! The state that events lead to, from nothing. The verifier holds the read models against it.

use crate::custody::expungement::left;
use crate::custody::rules::Meta;
use crate::custody::{Fact, State, apply};
use crate::ids::Seq;
use crate::ledger::event::Event;
use crate::ledger::times;
use crate::store::{RAW_MAX, RawEvent, Store, StoreError, WriteTx};

/// An event from which no state follows.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("event {seq} leads nowhere: {why}")]
pub struct Stuck {
    /// Position in the ledger.
    pub seq: Seq,
    /// Why.
    pub why: String,
}

/// Applies one event to the state.
///
/// # Errors
/// [`Stuck`] where the payload makes no fact or the fact does not fit the state.
pub fn step(state: &mut State, event: &Event) -> Result<(), Stuck> {
    let seq = event.header.seq;
    if event.expunged.is_some() && left::leads_nowhere(&event.header.kind) {
        return Ok(());
    }
    let stuck = |why: String| Stuck { seq, why };
    let fact =
        Fact::from_fields(&event.header.kind, &event.fields).map_err(|e| stuck(e.to_string()))?;
    let at = times::parse_claimed(&event.header.claimed_at).map_err(|e| stuck(e.to_string()))?;
    apply(
        state,
        &fact,
        &Meta {
            seq,
            actor: event.header.actor,
            at,
        },
    )
    .map_err(|e| stuck(e.to_string()))
}

/// The state that a whole ledger leads to, each event opened by `open`. The transaction holds up every writer meanwhile, of other
/// servers too, so that the state belongs to the events that were read.
///
/// # Errors
/// [`StoreError::Corrupt`] where an event leads nowhere; those of `open`, and what the database could not do.
pub(super) async fn whole(
    store: &dyn Store,
    tx: &mut dyn WriteTx,
    mut open: impl FnMut(RawEvent) -> Result<Event, StoreError> + Send,
) -> Result<State, StoreError> {
    let mut state = State::default();
    let mut from = 1;
    loop {
        let page = store.events(from, RAW_MAX).await?;
        let Some(last) = page.last() else {
            return Ok(state);
        };
        from = last.seq.saturating_add(1);
        for raw in page {
            let event = open(raw)?;
            step(&mut state, &event).map_err(|e| StoreError::Corrupt(e.to_string()))?;
        }
        // A transaction that says nothing for long is ended by the database.
        tx.head().await?;
    }
}

/// Replays events in order; those that lead nowhere are listed, and the rest goes on without them.
pub fn replay<'a>(events: impl IntoIterator<Item = &'a Event>) -> (State, Vec<Stuck>) {
    let mut state = State::default();
    let mut stuck = Vec::new();
    for event in events {
        if let Err(why) = step(&mut state, event) {
            stuck.push(why);
        }
    }
    (state, stuck)
}
