//! Checks an export folder without the server: given the bytes of its files, what does not fit.
//!
//! A whole export shows that nothing was altered, inserted, left out or moved up to its checkpoint. A part shows that
//! each of its events is in the tree of the checkpoint as it stands, and that of each subject it states no event is
//! missing from the first to the stated count. Whether that count is the one the ledger had is shown by the papers that
//! state it. Neither shows a history rewritten whole before the checkpoint; a witness's checkpoint does.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;
use serde_json::Value;

use super::{
    Options, Verifier,
    expunged::Expungements,
    finding::{Finding, FindingCode, Report},
    row::{Checked, Payload, Place},
};
use crate::{
    ids::{Digest, Seq, Subject},
    ledger::{
        checkpoint::{Checkpoint, NoteError, VerifyingKey},
        event::RawHeader,
        export::{self, Line, Proof, Shown},
        expunged, merkle,
    },
};

/// Most missing counts of one subject that a finding lists one by one.
const MAX_LISTED: usize = 20;

/// The files of an export folder.
#[derive(Clone, Copy, Debug)]
pub struct Files<'a> {
    /// `events.jsonl`
    pub events: &'a [u8],
    /// `checkpoint.txt`
    pub checkpoint: &'a [u8],
    /// `vkey.txt`
    pub vkey: &'a [u8],
    /// `proofs.jsonl`, in an export of a part.
    pub proofs: Option<&'a [u8]>,
    /// `subjects.json`; an export of a part must have it.
    pub subjects: Option<&'a [u8]>,
}

/// Checks an export of the whole ledger.
///
/// `trusted` is the ledger's key as the reader has it from elsewhere; without one the folder's own is used, which shows
/// only that the folder agrees with itself.
#[must_use]
pub fn whole(files: &Files<'_>, trusted: Option<&VerifyingKey>) -> Report {
    let mut findings = Vec::new();
    let Some(key) = key(files, trusted, &mut findings) else {
        return Report::new(0, merkle::empty_root(), findings);
    };
    let mut verifier = Verifier::new(key, Options { nodes: false });
    let lines = lines(files.events, FindingCode::LineUnreadable, &mut findings);
    let checked: Vec<_> = lines
        .par_iter()
        .map(|(at, bytes)| check(*at, bytes))
        .collect();
    let mut touched: BTreeMap<Subject, Vec<(u64, Seq)>> = BTreeMap::new();
    for one in checked {
        if let Some(place) = &one.place {
            note(&mut touched, place);
        }
        // A line that cannot be read has no place; the events around it show that one is missing.
        if one.seq > 0 {
            verifier.take(one);
        } else {
            findings.extend(one.findings);
        }
    }
    match head(files, &verifier.key) {
        Ok(head) => verifier.heads.push(head),
        Err(finding) => findings.push(finding),
    }
    if let Some(bytes) = files.subjects {
        match export::parse_subjects(bytes) {
            Ok(stated) => complete(&stated, &touched, &mut findings),
            Err(e) => findings.push(subjects_unreadable(e)),
        }
    }
    verifier.findings.extend(findings);
    verifier.finish()
}

/// Checks an export of a part of the ledger, such as one case. `trusted` as for [`whole`].
#[must_use]
pub fn part(files: &Files<'_>, trusted: Option<&VerifyingKey>) -> Report {
    let mut findings = Vec::new();
    let Some(key) = key(files, trusted, &mut findings) else {
        return Report::new(0, merkle::empty_root(), findings);
    };
    let head = head(files, &key)
        .map_err(|finding| findings.push(finding))
        .ok();
    let proofs = proofs(files.proofs.unwrap_or_default(), &mut findings);
    let lines = lines(files.events, FindingCode::LineUnreadable, &mut findings);
    let checked: Vec<_> = lines
        .par_iter()
        .map(|(at, bytes)| check(*at, bytes))
        .collect();
    let count = checked.len() as u64;
    let mut touched: BTreeMap<Subject, Vec<(u64, Seq)>> = BTreeMap::new();
    let (mut seen, mut last, mut recorded) = (BTreeSet::new(), 0, None);
    let mut expungements = Expungements::default();
    for one in checked {
        findings.extend(one.findings);
        let Some(place) = one.place else { continue };
        let seq = place.seq;
        if !seen.insert(seq) {
            let text = format!("event {seq} stands in the export more than once");
            findings.push(Finding::new(FindingCode::SeqTwice, text).at(seq));
            continue;
        }
        if seq < last {
            let text = format!("event {seq} stands behind event {last}");
            findings.push(Finding::new(FindingCode::OutOfOrder, text).at(seq));
        } else {
            if recorded.is_some_and(|before| place.recorded_at < before) {
                let text = format!(
                    "event {seq} was recorded before event {last}, which stands in front of it"
                );
                findings.push(Finding::new(FindingCode::RecordedBackwards, text).at(seq));
            }
            last = seq;
            recorded = Some(place.recorded_at);
        }
        note(&mut touched, &place);
        expungements.take(seq, one.payload);
        if let Some(head) = &head {
            findings.extend(included(seq, &one.leaf, proofs.get(&seq), head));
        }
    }
    for seq in proofs.keys().filter(|seq| !seen.contains(seq)) {
        let text = format!("a proof for event {seq}, which is not in the export");
        findings.push(Finding::new(FindingCode::ProofExtra, text).at(*seq));
    }
    match export::parse_subjects(files.subjects.unwrap_or_default()) {
        Ok(stated) if stated.is_empty() => {
            let text = "the export states no subject, so it shows nothing to be complete";
            findings.push(Finding::new(FindingCode::SubjectsEmpty, text));
        }
        Ok(stated) => complete(&stated, &touched, &mut findings),
        Err(e) => findings.push(subjects_unreadable(e)),
    }
    let expunged = expungements.finish(&mut findings, |seq| seen.contains(&seq));
    Report::new(
        count,
        head.map_or_else(merkle::empty_root, |head| head.root),
        findings,
    )
    .with_expunged(expunged)
}

/// The key to trust, and what is wrong with the folder's own.
fn key(
    files: &Files<'_>,
    trusted: Option<&VerifyingKey>,
    findings: &mut Vec<Finding>,
) -> Option<VerifyingKey> {
    let text = std::str::from_utf8(files.vkey)
        .ok()
        .and_then(|s| s.strip_suffix('\n'));
    let own = text
        .ok_or(NoteError::Key)
        .and_then(|s| s.parse::<VerifyingKey>());
    match (own, trusted) {
        (Ok(own), Some(trusted)) if own != *trusted => {
            let text =
                format!("the folder comes with the key {own}, but the trusted one is {trusted}");
            findings.push(Finding::new(FindingCode::KeyDiffers, text));
            Some(trusted.clone())
        }
        (Ok(own), _) => Some(own),
        (Err(e), trusted) => {
            findings.push(Finding::new(
                FindingCode::KeyUnreadable,
                format!("{}: {e}", export::VKEY),
            ));
            trusted.cloned()
        }
    }
}

fn head(files: &Files<'_>, key: &VerifyingKey) -> Result<Checkpoint, Finding> {
    super::open(files.checkpoint, key).map_err(|e| {
        let code = match e {
            NoteError::Signature | NoteError::NotSigned | NoteError::Origin => {
                FindingCode::CheckpointForged
            }
            _ => FindingCode::CheckpointUnreadable,
        };
        Finding::new(code, format!("{}: {e}", export::CHECKPOINT))
    })
}

/// The lines with their numbers from 1. The last one ends in a newline too; one that does not was cut off.
fn lines<'a>(
    bytes: &'a [u8],
    code: FindingCode,
    findings: &mut Vec<Finding>,
) -> Vec<(usize, &'a [u8])> {
    let Some(body) = bytes.strip_suffix(b"\n") else {
        if bytes.is_empty() {
            return Vec::new();
        }
        findings.push(Finding::new(
            code,
            "the last line was cut off: it does not end in a newline",
        ));
        return (1..).zip(bytes.split(|&b| b == b'\n')).collect();
    };
    (1..).zip(body.split(|&b| b == b'\n')).collect()
}

/// Checks one line by itself. Its number is the header's, and 0 if there is none to be read.
fn check(at: usize, bytes: &[u8]) -> Checked {
    let lost = |findings, place: Option<Place>| Checked {
        seq: place
            .as_ref()
            .map_or(0, |p| i64::try_from(p.seq).unwrap_or(0)),
        leaf: Digest([0; 32]),
        place,
        findings,
        payload: Payload::default(),
    };
    let line = match Line::parse(bytes) {
        Ok(line) => line,
        Err(e) => {
            // The header may still say which event this was; that much helps, but nothing else of it is used.
            let finding = Finding::new(
                FindingCode::LineUnreadable,
                format!("{} line {at}: {e}", export::EVENTS),
            );
            let finding = match salvage(bytes) {
                Some(seq) => finding.at(seq),
                None => finding,
            };
            return lost(vec![finding], None);
        }
    };
    let header = match RawHeader::parse(line.header.as_bytes()) {
        Ok(header) => header,
        Err(e) => {
            let text = format!("{} line {at}: {e}", export::EVENTS);
            return lost(
                vec![Finding::new(FindingCode::HeaderUnreadable, text)],
                None,
            );
        }
    };
    let mut findings = Vec::new();
    let seq = header.seq;
    let mut about = Payload::default();
    if let Shown::Expunged { by } = line.payload {
        about.gone = true;
        about.by = Some(by);
    } else if line.payload.root() == Some(header.payload_root) {
        about.names = expunged::names(header.kind, line.payload.fields());
    } else {
        let text = format!("the payload of event {seq} is not the one its header commits to");
        findings.push(Finding::new(FindingCode::PayloadAltered, text).at(seq));
    }
    let leaf = merkle::leaf_hash(line.header.as_bytes());
    Checked {
        leaf,
        payload: about,
        ..lost(findings, Some(Place::of(header)))
    }
}

/// The event's number from a line that is JSON, but not as it should be.
fn salvage(bytes: &[u8]) -> Option<Seq> {
    if bytes.len() > export::MAX_LINE {
        return None;
    }
    let value: Value = serde_json::from_slice(bytes).ok()?;
    Some(
        RawHeader::parse(value.get("header")?.as_str()?.as_bytes())
            .ok()?
            .seq,
    )
}

fn note(touched: &mut BTreeMap<Subject, Vec<(u64, Seq)>>, place: &Place) {
    for touch in &place.touches {
        touched
            .entry(touch.subject)
            .or_default()
            .push((touch.n, place.seq));
    }
}

fn proofs(bytes: &[u8], findings: &mut Vec<Finding>) -> BTreeMap<Seq, Vec<Digest>> {
    let mut out = BTreeMap::new();
    for (at, bytes) in lines(bytes, FindingCode::ProofUnreadable, findings) {
        match Proof::parse(bytes) {
            Err(e) => {
                let text = format!("{} line {at}: {e}", export::PROOFS);
                findings.push(Finding::new(FindingCode::ProofUnreadable, text));
            }
            Ok(proof) => {
                let seq = proof.seq;
                if out.insert(seq, proof.path).is_some() {
                    let text = format!("more than one proof for event {seq}");
                    findings.push(Finding::new(FindingCode::ProofExtra, text).at(seq));
                }
            }
        }
    }
    out
}

fn included(
    seq: Seq,
    leaf: &Digest,
    proof: Option<&Vec<Digest>>,
    head: &Checkpoint,
) -> Option<Finding> {
    let Some(path) = proof else {
        let text = format!("event {seq} comes without a proof");
        return Some(Finding::new(FindingCode::ProofMissing, text).at(seq));
    };
    let e = merkle::verify_inclusion(leaf, seq - 1, head.size, path, &head.root).err()?;
    let text = format!(
        "event {seq} is not shown to be under the checkpoint over {} events: {e}",
        head.size
    );
    Some(Finding::new(FindingCode::ProofWrong, text).at(seq))
}

/// Whether each stated subject has its events from 1 to its count, in order and once each.
fn complete(
    stated: &BTreeMap<Subject, u64>,
    touched: &BTreeMap<Subject, Vec<(u64, Seq)>>,
    findings: &mut Vec<Finding>,
) {
    let none = Vec::new();
    for (&subject, &count) in stated {
        let found = touched.get(&subject).unwrap_or(&none);
        let mut last = 0;
        for &(n, seq) in found {
            if n > count {
                let text =
                    format!("event {seq} is number {n} of {subject}, of which {count} are stated");
                findings.push(
                    Finding::new(FindingCode::SubjectExceeded, text)
                        .at(seq)
                        .of(subject),
                );
            }
            if n == last {
                let text = format!("{subject} has its count {n} a second time at event {seq}");
                findings.push(
                    Finding::new(FindingCode::SubjectTwice, text)
                        .at(seq)
                        .of(subject),
                );
            } else if n < last {
                let text = format!("{subject} goes back from {last} to {n} at event {seq}");
                findings.push(
                    Finding::new(FindingCode::SubjectBackwards, text)
                        .at(seq)
                        .of(subject),
                );
            }
            last = last.max(n);
        }
        let there: BTreeSet<u64> = found
            .iter()
            .map(|&(n, _)| n)
            .filter(|&n| n <= count)
            .collect();
        let missing = count - there.len() as u64;
        if missing > 0 {
            let some: Vec<_> = gaps(&there, count).take(MAX_LISTED).collect();
            let more = if some.len() == MAX_LISTED {
                " and perhaps more"
            } else {
                ""
            };
            let text = format!(
                "of the {count} events of {subject}, {missing} are missing: {}{more}",
                some.join(", ")
            );
            findings.push(Finding::new(FindingCode::SubjectIncomplete, text).of(subject));
        }
    }
}

/// The runs of numbers from 1 to `count` that are not there.
fn gaps(there: &BTreeSet<u64>, count: u64) -> impl Iterator<Item = String> {
    let ends = there.iter().copied().chain([count + 1]);
    let starts = [0].into_iter().chain(there.iter().copied());
    starts.zip(ends).filter(|(a, b)| a + 1 < *b).map(|(a, b)| {
        let (first, last) = (a + 1, b - 1);
        if first == last {
            format!("number {first}")
        } else {
            format!("numbers {first} to {last}")
        }
    })
}

fn subjects_unreadable(e: export::ExportError) -> Finding {
    Finding::new(
        FindingCode::SubjectsUnreadable,
        format!("{}: {e}", export::SUBJECTS),
    )
}
