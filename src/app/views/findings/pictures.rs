//! Findings about pictures of an item and of its mark: a camera's clock, and mirrored ones that were used as they were.

use std::collections::{BTreeMap, BTreeSet};

use super::super::custody_rows::claimed_at;
use super::super::trail::Step;
use super::{Asked, Kind, Raw, Severity};
use crate::custody::Fact;
use crate::ids::{Digest, Seq, Subject};

const REVERSED: &str = "reversed";
const DIRECT: &str = "direct";

/// A picture, as far as the events have been walked.
struct Picture {
    name: String,
    added: Seq,
    reads: String,
    /// How its working copies read.
    copies: BTreeMap<Digest, String>,
}

impl Picture {
    fn mirrored(&self) -> bool {
        self.reads == REVERSED && self.copies.values().all(|reads| reads != DIRECT)
    }
}

/// The steps of the piece and of its mark in the ledger's order, each once, with the row of those that have one.
pub(super) fn merged<'a>(asked: &'a Asked<'_>) -> Vec<(Option<usize>, &'a Step)> {
    let own: BTreeSet<Seq> = asked.steps.iter().map(Step::seq).collect();
    let rows = asked
        .steps
        .iter()
        .enumerate()
        .map(|(i, s)| (Some(i + 1), s));
    let mark = asked.mark.iter().filter(|s| !own.contains(&s.seq()));
    let mut all: Vec<_> = rows.chain(mark.map(|s| (None, s))).collect();
    all.sort_by_key(|(_, s)| s.seq());
    all
}

pub(super) fn pictures(asked: &Asked<'_>) -> Vec<Raw> {
    let mut known: BTreeMap<(Subject, Digest), Picture> = BTreeMap::new();
    let mut out = Vec::new();
    for (row, step) in merged(asked) {
        let told = |kind, of, sentence, events: &[Seq]| Raw {
            kind,
            severity: Severity::Attention,
            sentence,
            of,
            events: events.iter().copied().chain([step.seq()]).collect(),
            detail: String::new(),
            seq: Some(step.seq()),
            row,
            from: None,
            to: Some(claimed_at(step)),
        };
        match &step.past.fact {
            Some(Fact::ImageAdded(x)) => {
                if let Some(note) = &x.clock_note {
                    let sentence = format!("Picture {}: {note}.", x.name);
                    out.push(told(Kind::CameraClock, x.of, sentence, &[]));
                }
                let picture = Picture {
                    name: x.name.clone(),
                    added: step.seq(),
                    reads: x.reads.clone(),
                    copies: BTreeMap::new(),
                };
                known.insert((x.of, x.digest), picture);
            }
            Some(Fact::ViewSet(x)) => {
                if let Some(picture) = known.get_mut(&(x.of, x.digest)) {
                    picture.reads.clone_from(&x.reads);
                    for copy in &x.copies {
                        picture.copies.insert(copy.copy, copy.reads.clone());
                    }
                }
            }
            Some(Fact::CopyMade(x)) => {
                if let Some(picture) = known.get_mut(&(x.of, x.digest)) {
                    picture.copies.insert(x.copy, x.reads.clone());
                }
            }
            Some(Fact::ValueAssessed(x)) => {
                if let Some(picture) = known.get(&(x.of, x.digest)).filter(|p| p.mirrored()) {
                    let sentence = format!(
                        "{} said that picture {} is {} while it read reversed and no copy of it read direct.",
                        x.examiner,
                        picture.name,
                        x.value.words()
                    );
                    let events = [picture.added];
                    out.push(told(Kind::MirroredValued, x.of, sentence, &events));
                }
            }
            Some(Fact::AfisExported(x)) if x.reads == REVERSED => {
                let picture = known.get(&(x.shown, x.image));
                let sentence = format!(
                    "Picture {} was handed off to {} as it was: the image in the file reads reversed.",
                    picture.map_or("", |p| p.name.as_str()),
                    x.receiver_name
                );
                let events: Vec<Seq> = picture.iter().map(|p| p.added).collect();
                out.push(told(Kind::MirroredHandedOff, x.shown, sentence, &events));
            }
            _ => {}
        }
    }
    out
}
