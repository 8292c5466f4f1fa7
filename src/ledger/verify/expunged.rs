//! Holds payloads that are gone against the events that expunged them.

use std::collections::BTreeMap;

use super::{
    finding::{Finding, FindingCode},
    row::Payload,
};
use crate::ids::Seq;

/// What was gone through so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Expungements {
    /// Events without a payload; by which event, where the row says so.
    gone: BTreeMap<Seq, Option<Seq>>,
    /// Events that are named, and by which. An event can only be named by one behind it.
    named: BTreeMap<Seq, Vec<Seq>>,
}

impl Expungements {
    pub(super) fn take(&mut self, seq: Seq, payload: Payload) {
        if payload.gone {
            self.gone.insert(seq, payload.by);
        }
        for named in payload.names.into_iter().filter(|named| *named < seq) {
            self.named.entry(named).or_default().push(seq);
        }
    }

    /// Adds what does not fit; how many events were expunged rightly. `there` says whether an event came at all: a part
    /// shows no payload of an event that it leaves out.
    pub(super) fn finish(self, findings: &mut Vec<Finding>, there: impl Fn(Seq) -> bool) -> u64 {
        let mut well = 0;
        for (seq, by) in &self.gone {
            let named = self.named.get(seq);
            let (code, text) = match (by, named) {
                (None, Some(_)) => {
                    well += 1;
                    continue;
                }
                (Some(by), Some(named)) if named.contains(by) => {
                    well += 1;
                    continue;
                }
                (None, None) => (
                    FindingCode::PayloadMissing,
                    format!("the payload of event {seq} is missing"),
                ),
                (Some(by), _) => (
                    FindingCode::NotExpunged,
                    format!(
                        "event {seq} is marked as expunged by event {by}, which is not here or does not name it"
                    ),
                ),
            };
            findings.push(Finding::new(code, text).at(*seq));
        }
        for (seq, by) in &self.named {
            if there(*seq) && !self.gone.contains_key(seq) {
                let by = by.first().copied().unwrap_or_default();
                let text =
                    format!("event {by} expunges event {seq}, and its payload is still there");
                findings.push(Finding::new(FindingCode::PayloadNotRemoved, text).at(*seq));
            }
        }
        well
    }
}
