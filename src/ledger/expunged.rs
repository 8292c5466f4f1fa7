//! Expunged events: the payload is gone by order, the header with its place and its proof is there.
//!
//! An expungement is an event of its own, of the kind [`KIND`]; its field [`EVENTS`] lists the events before it whose
//! payloads are gone. A payload that is missing without such an event is a finding, and so is one that such an event names
//! and that is still there. What may be expunged, and by whom, is not the ledger's to know.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use super::{
    event::Event,
    payload::{self, Fields},
};
use crate::ids::Seq;

/// The kind of event that expunges.
pub const KIND: &str = "expungement.carried-out";
/// Its field that lists the events whose payloads are gone, by their numbers.
pub const EVENTS: &str = "events";
/// Its field that says what is left of each: JSON, the fields by the event's number. No verifier needs it.
pub const LEFT: &str = "left";

/// Which events an event expunges; none where it is of another kind.
#[must_use]
pub fn names(kind: &str, fields: &Fields) -> BTreeSet<Seq> {
    if kind != KIND {
        return BTreeSet::new();
    }
    let list = fields.get(EVENTS).and_then(Value::as_array);
    list.into_iter()
        .flatten()
        .filter_map(Value::as_u64)
        .collect()
}

/// What is left of each event that this one expunges; none where it is of another kind or says so in another form.
#[must_use]
pub fn left(event: &Event) -> BTreeMap<Seq, Fields> {
    let named = names(&event.header.kind, &event.fields);
    if named.is_empty() {
        return BTreeMap::new();
    }
    let text = event.field_str(LEFT).unwrap_or_default();
    let all: BTreeMap<String, Fields> = serde_json::from_str(text).unwrap_or_default();
    named
        .into_iter()
        .map(|seq| {
            let fields = all.get(&seq.to_string()).cloned().unwrap_or_default();
            let fields = payload::check(&fields).map_or_else(|_| Fields::new(), |()| fields);
            (seq, fields)
        })
        .collect()
}
