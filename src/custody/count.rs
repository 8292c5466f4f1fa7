//! Counts: a place looked through with a scanner, without being told what should be there, and what came of it.
//!
//! What is expected is what the record says stands there when the count begins. It is not in the event that begins the
//! count, which everybody may read, but its SHA-256 is; so nobody can say afterwards that something else was looked for.
//! What differs becomes one event each, and each is resolved by somebody who did not count.

mod begin;
mod end;
mod resolve;
mod scan;

use std::collections::BTreeSet;

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::refusal::{Refusal, Rule};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::State;
use crate::ids::{CountId, PersonId, Piece, PlaceId};
use crate::keeping::sampling::Confidence;

pub use self::begin::{BeginCount, CountBegun, SampleAsked};
pub(super) use self::begin::{begin, begun};
pub use self::end::{CountDiffers, CountEnded, Difference, EndCount};
pub(super) use self::end::{differs, end, ended};
pub use self::resolve::{DifferenceResolved, Outcome, ResolveDifference};
pub(super) use self::resolve::{resolve, resolved};
pub use self::scan::{CodesScanned, Odd, OddLabel, ScanCodes, read_label};
pub(super) use self::scan::{scan, scanned};

/// How many places one count may cover.
pub const MAX_PLACES: usize = 200;

/// How many things may stand in them.
pub const MAX_EXPECTED: usize = 4_000;

/// How many codes one batch of scans may have.
pub const MAX_BATCH: usize = 500;

/// How many things may be seen in one count.
pub const MAX_SEEN: usize = 5_000;

/// How many labels that cannot be placed are kept.
pub const MAX_ODD: usize = 500;

/// How many differences a count may end with.
pub const MAX_DIFFERENCES: usize = 1_000;

/// The longest text of a label, in characters.
pub const MAX_LABEL: usize = 100;

/// A sample that is looked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Sample {
    /// If so many were missing …
    pub missing: u32,
    /// … the sample shows one of them with this probability.
    pub confidence: Confidence,
    /// What draws it.
    pub seed: String,
    /// What is looked for, by code.
    pub drawn: Vec<Piece>,
}

/// A difference as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Found {
    /// What was found.
    pub number: u32,
    /// What kind.
    pub difference: Difference,
    /// Which thing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<Piece>,
    /// The code or the label.
    pub label: String,
    /// Where the record had it.
    pub on_record: String,
    /// The event that put it on the record.
    pub seq: u64,
    /// What came of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resolved: Option<Resolved>,
}

/// What came of a difference, and who says so.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Resolved {
    /// What.
    pub outcome: Outcome,
    /// How that is known.
    pub reason: String,
    /// Who.
    pub by: Option<PersonId>,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The event.
    pub seq: u64,
}

/// How a count ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Ended {
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
    /// How many things were to be seen.
    pub expected: u32,
    /// How many of them were seen.
    pub found: u32,
    /// How many came or went meanwhile.
    pub moved: u32,
}

/// A count.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Count {
    /// Identifier.
    pub id: CountId,
    /// The places.
    pub places: Vec<PlaceId>,
    /// Their names when it was begun.
    pub place_names: Vec<String>,
    /// When it was begun.
    pub begun_at: DateTime<FixedOffset>,
    /// By whom.
    pub begun_by: Option<PersonId>,
    /// Everybody who began, scanned or ended it: none of them resolves its differences.
    pub counters: BTreeSet<PersonId>,
    /// What stood there by the record when it was begun, by code. Never shown while it is open.
    pub expected: Vec<Piece>,
    /// A sample instead of everything.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<Sample>,
    /// What was seen.
    pub seen: Vec<Piece>,
    /// How often something was scanned again.
    pub again: u32,
    /// Labels that could not be placed.
    pub odd: Vec<OddLabel>,
    /// How it ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended: Option<Ended>,
    /// What differs.
    pub found: Vec<Found>,
}

impl Count {
    /// What is looked for.
    #[must_use]
    pub fn looked_for(&self) -> &[Piece] {
        self.sample.as_ref().map_or(&self.expected, |s| &s.drawn)
    }

    /// Which thing a difference is about.
    #[must_use]
    pub fn piece(&self, number: u32) -> Option<Piece> {
        self.found.iter().find(|f| f.number == number)?.piece
    }

    /// Differences that nobody has resolved yet.
    #[must_use]
    pub fn open(&self) -> usize {
        self.found.iter().filter(|f| f.resolved.is_none()).count()
    }

    /// Whether there is still something to do.
    #[must_use]
    pub fn is_active(&self) -> bool {
        self.ended.is_none() || self.open() > 0
    }

    /// The name of the first place.
    #[must_use]
    pub fn name(&self) -> &str {
        self.place_names.first().map_or("", String::as_str)
    }
}

fn now_only(ctx: &Context<'_>) -> Result<(), Refusal> {
    if ctx.command.claimed_at.is_some() {
        return Err(Refusal::new(
            Rule::BadValue,
            "A count is held against the record as it is at this moment.",
            "Leave the time empty.",
        )
        .on("claimed_at"));
    }
    Ok(())
}

fn open_count<'a>(ctx: &'a Context<'_>, id: CountId) -> Result<&'a Count, Refusal> {
    let count = ctx
        .state
        .counts
        .get(&id)
        .ok_or_else(|| not_found("count"))?;
    if count.ended.is_some() {
        return Err(Refusal::new(
            Rule::CountOver,
            format!("The count of {} is over.", count.name()),
            "Begin another one.",
        ));
    }
    Ok(count)
}

fn count_mut<'a>(state: &'a mut State, id: CountId, meta: &Meta) -> Result<&'a mut Count, Misfit> {
    state
        .counts
        .get_mut(&id)
        .ok_or_else(|| meta.misfit("no such count"))
}
