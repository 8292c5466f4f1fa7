//! Findings: what somebody who asks about the continuity of custody must be told, each with the events it rests on, what would
//! answer it, and the answer that was given.
//!
//! Custody is continuous by construction: the ledger never has two holders or none. What can be missing is that
//! somebody vouches. A **gap** is a stretch for which nobody does: it begins at the last event at which a holder was
//! certain and ends when somebody took charge of what nobody had released to them.
//!
//! Whose finding it is follows from its events: of one subject, that subject's; of several, the piece's that is looked at. So a
//! finding that a box's hand-over gives has one key, whether it is found from the box or from the cast in it, and that subject's
//! own analysis always finds it again (`super::told::keys`).

mod alone;
mod answers;
mod climate;
mod held;
mod kind;
mod look;
mod now;
mod pictures;
mod seals;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, FixedOffset, TimeDelta, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::custody_rows::CustodyRow;
use super::trail::Step;
use super::words;
use crate::custody::State;
use crate::custody::finding::FindingKey;
use crate::ids::{ItemId, Piece, Seq, Subject};
use crate::zone::Zone;

pub use answers::AnswerWords;
pub use held::{Continuity, continuity, stretches};
pub use kind::{Kind, title_of};

/// An offer that nobody answers for longer than this is worth a look (our assumption, no source).
pub const OPEN_OFFER: TimeDelta = TimeDelta::hours(24);
/// A disposition that waits longer than this for its witness has none (our assumption, no source).
pub const NO_WITNESS: TimeDelta = TimeDelta::hours(24);
/// An entry later than this wants attention and not only a note (our assumption, no source).
pub const VERY_LATE: TimeDelta = TimeDelta::hours(24);

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; explained on the record.
    Note,
    /// Somebody should look into it.
    Attention,
    /// Continuity or the integrity of a seal is in question.
    Break,
}

impl Severity {
    /// The word for people.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Attention => "attention",
            Self::Break => "break",
        }
    }
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Finding {
    /// Its name, by which it is answered; the same whatever is recorded later.
    pub key: FindingKey,
    /// What it is, stable: `gap`, `seal-mismatch` …
    pub code: String,
    /// What it is called.
    pub title: String,
    /// How grave.
    pub severity: Severity,
    /// In a sentence, with times in the agency's zone.
    pub sentence: String,
    /// The events that it rests on, by their position in the ledger; at least one.
    pub events: Vec<u64>,
    /// What would answer it, in a sentence.
    pub would_answer: String,
    /// The answer that stands.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub answer: Option<AnswerWords>,
    /// The event at which it shows; none for what is so now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seq: Option<u64>,
    /// The row of the custody table, counted from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub row: Option<usize>,
    /// Since when.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<DateTime<FixedOffset>>,
    /// Until when.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<DateTime<FixedOffset>>,
}

impl Finding {
    /// The address of the form that answers it.
    #[must_use]
    pub fn answer_href(&self) -> String {
        format!("/do/answer-finding?finding={}", self.key)
    }
}

/// Nothing was found: the sentence that says so, and no more than so.
pub const NONE_FOUND: &str = "No finding: every hand-over has a release and a receipt, and every seal that was looked \
at bears the number on record. It says nothing about whether what people entered was true.";

/// How many findings there are of each severity, and how many have an answer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Tally {
    /// Breaks.
    pub breaks: usize,
    /// For attention.
    pub attention: usize,
    /// Notes.
    pub notes: usize,
    /// Of all of them, how many have an answer.
    pub answered: usize,
}

impl Tally {
    /// Counts.
    #[must_use]
    pub fn of<'a>(findings: impl IntoIterator<Item = &'a Finding>) -> Self {
        let mut tally = Self::default();
        for finding in findings {
            match finding.severity {
                Severity::Break => tally.breaks += 1,
                Severity::Attention => tally.attention += 1,
                Severity::Note => tally.notes += 1,
            }
            tally.answered += usize::from(finding.answer.is_some());
        }
        tally
    }

    /// All of them.
    #[must_use]
    pub fn all(&self) -> usize {
        self.breaks + self.attention + self.notes
    }

    /// In words: `1 break, 2 for attention, 1 answered`; `no finding`.
    #[must_use]
    pub fn words(&self) -> String {
        let mut parts = Vec::new();
        if self.breaks > 0 {
            parts.push(words::counted(self.breaks, "break"));
        }
        if self.attention > 0 {
            parts.push(format!("{} for attention", self.attention));
        }
        if self.notes > 0 {
            parts.push(words::counted(self.notes, "note"));
        }
        if parts.is_empty() {
            return "no finding".into();
        }
        if self.answered == self.all() {
            parts.push("all answered".into());
        } else if self.answered > 0 {
            parts.push(format!("{} answered", self.answered));
        }
        parts.join(", ")
    }
}

/// What is looked at.
pub struct Asked<'a> {
    /// The piece.
    pub piece: Piece,
    /// Its trail.
    pub steps: &'a [Step],
    /// The history of the mark that an item was recovered from; empty for a package.
    pub mark: &'a [Step],
    /// The events that recovered items in a package, where something of them is late now.
    pub recoveries: &'a BTreeMap<ItemId, Seq>,
    /// What it is now.
    pub state: &'a State,
    /// The agency's zone.
    pub zone: Zone,
    /// The server's clock.
    pub now: DateTime<Utc>,
}

/// A finding before it has its name.
struct Raw {
    kind: Kind,
    severity: Severity,
    sentence: String,
    of: Subject,
    events: BTreeSet<Seq>,
    detail: String,
    seq: Option<Seq>,
    row: Option<usize>,
    from: Option<DateTime<FixedOffset>>,
    to: Option<DateTime<FixedOffset>>,
}

impl Raw {
    fn named(self, asked: &Asked<'_>) -> Finding {
        let key = FindingKey {
            code: self.kind.code().to_owned(),
            of: self.of,
            events: self.events.iter().copied().collect(),
            detail: self.detail,
        };
        Finding {
            answer: answers::standing(asked.state, &key, asked.zone),
            code: key.code.clone(),
            title: self.kind.title().to_owned(),
            severity: self.severity,
            sentence: self.sentence,
            events: key.events.clone(),
            would_answer: self.kind.answer().to_owned(),
            seq: self.seq,
            row: self.row,
            from: self.from,
            to: self.to,
            key,
        }
    }
}

/// What there is to tell about a trail and about now, in order of the rows; what is of the mark comes where its events stand.
#[must_use]
pub fn findings(asked: &Asked<'_>) -> Vec<Finding> {
    // What a record lacks that was expunged by order is nothing to look into.
    if let Piece::Item(id) = asked.piece
        && let Some(item) = asked.state.items.get(&id)
        && item.expunged.is_some()
    {
        return Vec::new();
    }
    let mut found = look::trail(asked);
    found.extend(pictures::pictures(asked));
    found.extend(climate::climate(asked));
    found.extend(alone::alone(asked));
    // Stable: of one event in the order in which they were told.
    found.sort_by_key(|f| f.seq.unwrap_or(Seq::MAX));
    found.into_iter().map(|f| f.named(asked)).collect()
}

/// Puts the gravest finding of each row on it.
pub fn flag(rows: &mut [CustodyRow], findings: &[Finding]) {
    for row in rows {
        row.flag = findings
            .iter()
            .filter(|f| f.row == Some(row.row))
            .max_by_key(|f| f.severity)
            .map(|f| f.code.clone());
    }
}
