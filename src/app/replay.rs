//! The state that events lead to, from nothing. The verifier holds the read models against it.

use crate::custody::rules::Meta;
use crate::custody::{Fact, State, apply};
use crate::ids::Seq;
use crate::ledger::event::Event;
use crate::ledger::times;

/// An event from which no state follows.
#[derive(Clone, Debug, PartialEq, Eq)]
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
