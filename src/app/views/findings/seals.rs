//! What a trail tells of seals: what was seen of them, and whether something went without one.

use super::super::custody_rows::claimed_at;
use super::super::words;
use super::look::Look;
use super::{Kind, Severity};
use crate::custody::disposition::DispositionExecuted;
use crate::custody::hand_over::{ChargeTaken, Condition, Received, TakenBack};
use crate::custody::package::PackageOpened;
use crate::ids::Piece;

/// What was seen of a seal.
pub(super) struct Seen<'a> {
    on: &'a str,
    seen: &'a str,
    condition: Condition,
    note: &'a str,
}

macro_rules! seen {
    ($($fact:ident),*) => {$(
        impl<'a> From<&'a $fact> for Seen<'a> {
            fn from(x: &'a $fact) -> Self {
                Self {
                    on: &x.seal,
                    seen: &x.seal_seen,
                    condition: x.condition,
                    note: &x.note,
                }
            }
        }
    )*};
}

seen!(
    Received,
    TakenBack,
    ChargeTaken,
    PackageOpened,
    DispositionExecuted
);

impl Look<'_> {
    /// It comes into somebody's hands: the seal is looked at, and held against the one with which it was sent.
    pub(super) fn arrives(&mut self, i: usize, seen: Seen<'_>) {
        let sent = self.sent.take();
        let (on, number) = (seen.on.to_owned(), seen.seen.to_owned());
        let told = self.seal(i, seen);
        if let Some((sent, by)) = sent
            && !told
            && !sent.is_empty()
            && !number.is_empty()
            && sent != number
        {
            let sentence = format!(
                "It was sent with seal {sent} and came with seal {number}, which is{} the one on record then.",
                if number == on { "" } else { " not" }
            );
            self.at(i, Kind::SealNotAsSent, Severity::Break, sentence);
            self.rests_on(by);
        }
    }

    /// What was seen of the seal, and of what it closes. Whether the seal was told to be another one.
    pub(super) fn seal(&mut self, i: usize, seen: Seen<'_>) -> bool {
        let Seen {
            on,
            seen,
            condition,
            note,
        } = seen;
        let noted = if note.trim().is_empty() {
            String::new()
        } else {
            format!(" Noted: {}.", note.trim().trim_end_matches('.'))
        };
        let differs = !on.is_empty() && !seen.is_empty() && on != seen;
        if differs || condition == Condition::Mismatch {
            let record = if on.is_empty() {
                "no seal".to_owned()
            } else {
                format!("seal {on}")
            };
            let found = if seen.is_empty() {
                "none was read".to_owned()
            } else {
                format!("{seen} was seen")
            };
            let sentence = format!("On record is {record}; {found}.{noted}");
            self.at(i, Kind::SealMismatch, Severity::Break, sentence);
            return true;
        }
        if condition == Condition::Open && !on.is_empty() {
            let sentence = format!("It was found open although seal {on} is on record.{noted}");
            self.at(i, Kind::FoundOpen, Severity::Break, sentence);
        } else {
            if !on.is_empty() && seen.is_empty() {
                let sentence = format!(
                    "Seal {on} is on record, and nobody said which seal they saw when it came into their hands."
                );
                self.at(i, Kind::SealNotSeen, Severity::Attention, sentence);
            }
            if condition != Condition::Intact {
                let sentence = format!("It was found {}.{noted}", words::condition(condition));
                self.at(i, Kind::Condition, Severity::Attention, sentence);
            }
        }
        false
    }

    /// It leaves somebody's hands: was it sealed?
    pub(super) fn leaves(&mut self, i: usize, piece: Piece, unsealed: Option<&str>) {
        if let Piece::Package(package) = piece
            && let Some(at) = self.open.iter().position(|(p, _)| *p == package)
        {
            let (_, opened) = self.open.remove(at);
            let since = claimed_at(&self.asked.steps[opened]);
            let sentence = format!(
                "{} was opened at {} and left without a new seal.",
                words::title(self.asked.state, piece),
                self.minute(&since)
            );
            self.at(i, Kind::NotResealed, Severity::Attention, sentence);
            self.since(since);
            self.rests_on(opened);
        }
        let sealed = matches!(piece, Piece::Package(p) if self.sealed.contains(&p));
        // A reason that was given although it was sealed is no finding.
        if let Some(why) = unsealed.filter(|_| !sealed) {
            let sentence = format!("It went unsealed; the reason given: {why}");
            self.at(i, Kind::Unsealed, Severity::Note, sentence);
        }
    }
}
