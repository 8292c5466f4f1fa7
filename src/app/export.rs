//! An export folder's files from events: the whole ledger, or the part that belongs to some subjects.

use std::collections::BTreeMap;

use crate::ids::{Digest, Subject};
use crate::ledger::event::{Event, Header};
use crate::ledger::export::{Line, Proof, subjects_to_bytes};
use crate::ledger::merkle::{TreeError, inclusion};

/// The files of an export folder, by content; their names are in [`crate::ledger::export`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Folder {
    /// `events.jsonl`
    pub events: Vec<u8>,
    /// `checkpoint.txt`
    pub checkpoint: Vec<u8>,
    /// `vkey.txt`
    pub vkey: Vec<u8>,
    /// `proofs.jsonl`, for a part.
    pub proofs: Option<Vec<u8>>,
    /// `subjects.json`
    pub subjects: Vec<u8>,
}

fn counts<'a>(
    headers: impl IntoIterator<Item = &'a Header>,
    of: impl Fn(Subject) -> bool,
) -> BTreeMap<Subject, u64> {
    let mut counts = BTreeMap::new();
    for header in headers {
        count(&mut counts, header, &of);
    }
    counts
}

/// Counts an event for those of its subjects that are asked for.
pub(crate) fn count(
    counts: &mut BTreeMap<Subject, u64>,
    header: &Header,
    of: impl Fn(Subject) -> bool,
) {
    for touch in header.touches.iter().filter(|t| of(t.subject)) {
        let n = counts.entry(touch.subject).or_insert(0);
        *n = (*n).max(touch.n);
    }
}

/// The whole ledger, up to a checkpoint over exactly these events.
#[must_use]
pub fn whole(events: &[Event], checkpoint: &str, vkey: &str) -> Folder {
    Folder {
        events: events
            .iter()
            .flat_map(|e| Line::whole(e).to_bytes())
            .collect(),
        checkpoint: checkpoint.as_bytes().to_vec(),
        vkey: format!("{vkey}\n").into_bytes(),
        proofs: None,
        subjects: subjects_to_bytes(&counts(events.iter().map(|e| &e.header), |_| true)),
    }
}

/// The events that touch one of these subjects, each with its proof in a tree of `size` leaves; `lookup` gives the tree's
/// nodes. The counts stated are of these subjects only: of any other the part holds some events but not all.
///
/// # Errors
/// [`TreeError`] where a node is missing.
pub fn part(
    events: &[Event],
    subjects: &[Subject],
    size: u64,
    lookup: impl Fn(u8, u64) -> Option<Digest>,
    checkpoint: &str,
    vkey: &str,
) -> Result<Folder, TreeError> {
    let of = |s: Subject| subjects.contains(&s);
    let mine: Vec<(Header, Line)> = events
        .iter()
        .filter(|e| e.header.touches.iter().any(|t| of(t.subject)))
        .map(|e| (e.header.clone(), Line::whole(e)))
        .collect();
    part_of(&mine, subjects, size, lookup, checkpoint, vkey)
}

/// The same of lines that are made already, with fields withheld or not; each touches one of these subjects.
///
/// # Errors
/// [`TreeError`] where a node is missing.
pub fn part_of(
    lines: &[(Header, Line)],
    subjects: &[Subject],
    size: u64,
    lookup: impl Fn(u8, u64) -> Option<Digest>,
    checkpoint: &str,
    vkey: &str,
) -> Result<Folder, TreeError> {
    let mut proofs = Vec::new();
    for (header, _) in lines {
        let seq = header.seq;
        proofs.extend(
            Proof {
                seq,
                path: inclusion(seq - 1, size, &lookup)?,
            }
            .to_bytes(),
        );
    }
    Ok(Folder {
        events: lines.iter().flat_map(|(_, l)| l.to_bytes()).collect(),
        checkpoint: checkpoint.as_bytes().to_vec(),
        vkey: format!("{vkey}\n").into_bytes(),
        proofs: Some(proofs),
        subjects: subjects_to_bytes(&counts(lines.iter().map(|(h, _)| h), |s| {
            subjects.contains(&s)
        })),
    })
}
