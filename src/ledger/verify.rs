//! The auditor: rebuilds everything from raw rows, trusts nothing derived, and reports all that does not fit.
//!
//! [`Verifier`] takes a ledger in pieces, so that it need not fit into memory: the rows of the events in the order of
//! their numbers, then the tree's nodes, then the checkpoints. What stays in memory is two hashes, an identifier and a
//! little more for each event. [`folder`] does the same for an export.
//!
//! What it can show and what it cannot: a change to any byte of a header, a salt or a field gives a finding that names
//! the event, as long as a checkpoint or a stored node was not changed to match. A history that is rewritten whole,
//! together with all nodes and with checkpoints signed anew by the same key, is shown only by a checkpoint that was kept
//! elsewhere; that is what [`Verifier::external_checkpoint`] is for.
//!
//! A row that cannot be read or is missing often brings a second finding with it, since its subjects' counts jump.

mod expunged;
mod finding;
pub mod folder;
mod row;
mod tree;

use std::collections::{HashMap, HashSet};

use rayon::prelude::*;

use self::{
    expunged::Expungements,
    finding::events,
    row::{Checked, Place},
    tree::{Rebuilt, Stored},
};
pub use self::{
    finding::{Finding, FindingCode, Report},
    row::RawEvent,
    tree::RawNode,
};
use super::checkpoint::{self, Checkpoint, NoteError, VerifyingKey};
use crate::ids::{Digest, EventId, Seq, Subject};

/// Gaps are taken for gaps up to so many missing rows altogether; a row further off is only reported.
const MAX_GAP: u64 = 1_000_000;

/// A checkpoint as it is stored, with nothing taken for granted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawCheckpoint {
    /// The size the row states.
    pub size: i64,
    /// The signed note.
    pub note: Vec<u8>,
}

/// What there is to verify.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// Whether nodes of the tree are stored. Without them an altered header is only narrowed down to the events
    /// between two checkpoints.
    pub nodes: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self { nodes: true }
    }
}

/// Takes a ledger in, piece by piece.
#[derive(Clone, Debug)]
pub struct Verifier {
    key: VerifyingKey,
    options: Options,
    findings: Vec<Finding>,
    /// How many rows came.
    rows: u64,
    /// How many rows are missing so far.
    missing: u64,
    /// By number; `None` for a row that has not come.
    leaves: Vec<Option<Digest>>,
    ids: HashSet<EventId>,
    counts: HashMap<Subject, u64>,
    /// When the last event was recorded, and which one that was.
    recorded: Option<([u8; 27], Seq)>,
    stored: Stored,
    heads: Vec<Checkpoint>,
    external: Vec<Checkpoint>,
    expunged: Expungements,
}

impl Verifier {
    /// A verifier that trusts this key for checkpoints, and nothing else.
    #[must_use]
    pub fn new(key: VerifyingKey, options: Options) -> Self {
        Self {
            key,
            options,
            findings: Vec::new(),
            rows: 0,
            missing: 0,
            leaves: Vec::new(),
            ids: HashSet::new(),
            counts: HashMap::new(),
            recorded: None,
            stored: Stored::default(),
            heads: Vec::new(),
            external: Vec::new(),
            expunged: Expungements::default(),
        }
    }

    /// Takes rows in, in the order of their numbers; any number of them at a time, some thousands being best. They are
    /// checked on all cores, so an async caller does this on a thread of its own.
    pub fn push(&mut self, rows: &[RawEvent]) {
        let checked: Vec<Checked> = rows.par_iter().with_min_len(32).map(row::check).collect();
        for one in checked {
            self.take(one);
        }
    }

    /// Reports a payload for which there is no event's row.
    pub fn push_payload_without_event(&mut self, seq: i64) {
        let finding = Finding::new(
            FindingCode::PayloadWithoutEvent,
            format!("a payload of event {seq}, but no event"),
        );
        self.findings.push(if seq > 0 {
            finding.at(seq.unsigned_abs())
        } else {
            finding
        });
    }

    /// Takes nodes of the tree in, in any order, after all events.
    pub fn push_nodes(&mut self, nodes: &[RawNode]) {
        let size = self.leaves.len() as u64;
        for node in nodes {
            self.stored.push(node, size);
        }
    }

    /// Takes a stored checkpoint in, in any order.
    pub fn push_checkpoint(&mut self, stored: &RawCheckpoint) {
        let size = stored.size;
        match open(&stored.note, &self.key) {
            Err(e) => {
                let code = match e {
                    NoteError::Signature | NoteError::NotSigned | NoteError::Origin => {
                        FindingCode::CheckpointForged
                    }
                    _ => FindingCode::CheckpointUnreadable,
                };
                self.findings.push(Finding::new(
                    code,
                    format!("the checkpoint over {size} events: {e}"),
                ));
            }
            Ok(head) => {
                if i64::try_from(head.size) != Ok(size) {
                    let text = format!("a checkpoint stored for {size} events says {}", head.size);
                    self.findings
                        .push(Finding::new(FindingCode::CheckpointSizeDiffers, text));
                }
                self.heads.push(head);
            }
        }
    }

    /// Takes a checkpoint in that was kept elsewhere, by a witness or by the reader.
    pub fn external_checkpoint(&mut self, note: &str) {
        match checkpoint::open(note, &self.key) {
            Err(e) => {
                let code = match e {
                    NoteError::Signature | NoteError::NotSigned | NoteError::Origin => {
                        FindingCode::ExternalForged
                    }
                    _ => FindingCode::ExternalUnreadable,
                };
                self.findings.push(Finding::new(
                    code,
                    format!("the checkpoint given from outside: {e}"),
                ));
            }
            Ok(head) => self.external.push(head),
        }
    }

    /// Puts everything together.
    #[must_use]
    pub fn finish(mut self) -> Report {
        let size = self.leaves.len() as u64;
        // Where a row is missing, its stored leaf stands in: the gap is reported, and what follows can be checked.
        let leaf = |(index, leaf): (u64, Option<Digest>)| {
            leaf.or_else(|| self.stored.get(0, index))
                .unwrap_or(Digest([0; 32]))
        };
        let leaves = (0..)
            .zip(std::mem::take(&mut self.leaves))
            .map(leaf)
            .collect();
        let rebuilt = Rebuilt::new(leaves);
        let mut signed = 0;
        self.heads.sort_by_key(|head| head.size);
        for head in &self.heads {
            match rebuilt.root(head.size) {
                Some(root) if root == head.root => signed = head.size,
                found => self.findings.push(stored_head(head, found, signed, size)),
            }
        }
        if signed < size {
            let text = format!("no good checkpoint covers {}", events(signed + 1, size));
            self.findings
                .push(Finding::new(FindingCode::TailUnsigned, text).over(signed + 1, size));
        }
        for head in &self.external {
            match rebuilt.root(head.size) {
                Some(root) if root == head.root => {}
                found => {
                    // Good stored checkpoints below it say nothing here: they may have been signed anew.
                    self.findings.push(external_head(head, found, size));
                }
            }
        }
        if self.options.nodes {
            rebuilt.compare(&self.stored, signed, &mut self.findings);
        }
        let expunged = self.expunged.finish(&mut self.findings, |_| true);
        let root = rebuilt.root(rebuilt.size()).unwrap_or(Digest([0; 32]));
        Report::new(self.rows, root, self.findings).with_expunged(expunged)
    }

    fn report(&mut self, code: FindingCode, seq: Seq, text: String) {
        self.findings.push(Finding::new(code, text).at(seq));
    }

    /// Holds a row that was checked by itself against those before it.
    fn take(&mut self, checked: Checked) {
        self.rows += 1;
        self.findings.extend(checked.findings);
        let next = self.leaves.len() as u64 + 1;
        let seq = match u64::try_from(checked.seq) {
            Ok(seq) if seq > 0 && seq <= next + (MAX_GAP - self.missing) => seq,
            _ => {
                let text = format!(
                    "a row has the number {}, where {next} would be next",
                    checked.seq
                );
                let finding = Finding::new(FindingCode::SeqOutOfRange, text);
                let named = u64::try_from(checked.seq).ok().filter(|&seq| seq > 0);
                self.findings.push(match named {
                    Some(seq) => finding.at(seq),
                    None => finding,
                });
                return;
            }
        };
        let slot = usize::try_from(seq - 1).unwrap_or(usize::MAX);
        if seq < next {
            // Rows come in the order of their numbers, so this one repeats a number or comes late.
            if self.leaves[slot].is_some() {
                self.report(
                    FindingCode::SeqTwice,
                    seq,
                    format!("there is more than one row with the number {seq}"),
                );
                return;
            }
            let text = format!(
                "the row of event {seq} came after the row of event {}",
                next - 1
            );
            self.report(FindingCode::OutOfOrder, seq, text);
            self.leaves[slot] = Some(checked.leaf);
        } else {
            if seq > next {
                let text = format!("there is no row for {}", events(next, seq - 1));
                self.findings
                    .push(Finding::new(FindingCode::EventMissing, text).over(next, seq - 1));
                self.missing += seq - next;
                self.leaves.resize(slot, None);
            }
            self.leaves.push(Some(checked.leaf));
        }
        self.expunged.take(seq, checked.payload);
        if let Some(place) = checked.place {
            self.neighbours(seq, &place);
        }
    }

    fn neighbours(&mut self, seq: Seq, place: &Place) {
        if !self.ids.insert(place.id) {
            let text = format!(
                "event {seq} has the identifier {}, and so has an event before it",
                place.id
            );
            self.report(FindingCode::IdTwice, seq, text);
        }
        // Held against the one in front only: one wrong time is to be one finding.
        if let Some((before, at)) = self.recorded.replace((place.recorded_at, seq))
            && place.recorded_at < before
        {
            let text =
                format!("event {seq} was recorded before event {at}, which stands in front of it");
            self.report(FindingCode::RecordedBackwards, seq, text);
        }
        for touch in &place.touches {
            let (subject, n) = (touch.subject, touch.n);
            let before = self.counts.insert(subject, n).unwrap_or(0);
            if n == before + 1 {
                continue;
            }
            let (code, text) = if n > before {
                (
                    FindingCode::SubjectGap,
                    format!("{subject} goes from {before} to {n} at event {seq}"),
                )
            } else if n == before {
                (
                    FindingCode::SubjectTwice,
                    format!("{subject} has its count {n} a second time at event {seq}"),
                )
            } else {
                (
                    FindingCode::SubjectBackwards,
                    format!("{subject} goes back from {before} to {n} at event {seq}"),
                )
            };
            self.findings
                .push(Finding::new(code, text).at(seq).of(subject));
        }
    }
}

fn open(note: &[u8], key: &VerifyingKey) -> Result<Checkpoint, NoteError> {
    checkpoint::open(
        std::str::from_utf8(note).map_err(|_| NoteError::Malformed)?,
        key,
    )
}

/// A checkpoint this ledger signed does not fit its events. `found` is the root at that size, if there are so many.
fn stored_head(head: &Checkpoint, found: Option<Digest>, signed: u64, size: u64) -> Finding {
    let counted = head.size;
    if found.is_none() {
        let text = format!(
            "a signed checkpoint counts {counted} events; {} not there",
            are(size + 1, counted)
        );
        return Finding::new(FindingCode::TailMissing, text).over(size + 1, counted);
    }
    if counted <= signed {
        // Two checkpoints of the same size, one of which fits; or a size of nothing with a root of something.
        let text =
            format!("a signed checkpoint over {counted} events has another root than these events");
        return Finding::new(FindingCode::HistoryAltered, text);
    }
    let text = format!(
        "the signed checkpoint over {counted} events has another root than these events: something among {} was \
         altered, added or moved",
        events(signed + 1, counted)
    );
    Finding::new(FindingCode::HistoryAltered, text).over(signed + 1, counted)
}

fn external_head(head: &Checkpoint, found: Option<Digest>, size: u64) -> Finding {
    let counted = head.size;
    if found.is_none() {
        let text = format!(
            "the checkpoint given from outside counts {counted} events; {} not here",
            are(size + 1, counted)
        );
        return Finding::new(FindingCode::ExternalAhead, text).over(size + 1, counted);
    }
    let text = format!(
        "the checkpoint given from outside, over {counted} events, is not on this history: this ledger and that \
         checkpoint tell two different stories"
    );
    let finding = Finding::new(FindingCode::ExternalDiffers, text);
    if counted > 0 {
        finding.over(1, counted)
    } else {
        finding
    }
}

/// "event 7 is" or "events 7 to 9 are".
fn are(first: Seq, last: Seq) -> String {
    format!(
        "{} {}",
        events(first, last),
        if first == last { "is" } else { "are" }
    )
}
