//! The arithmetic of continuity: stretches of time for which somebody vouches, the gaps between them, and where two vouch
//! for the same time.

use chrono::{DateTime, TimeDelta, Utc};

use crate::ids::Seq;

/// A stretch of time for which one holder vouches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// Who, in words.
    pub holder: String,
    /// Since when.
    pub from: DateTime<Utc>,
    /// Until when; never before `from`.
    pub to: DateTime<Utc>,
    /// The event with which it began.
    pub begun: Seq,
    /// The last event that says it went on.
    pub last: Seq,
}

/// A stretch of time that is vouched for by nobody, or by two.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Since when.
    pub from: DateTime<Utc>,
    /// Until when.
    pub to: DateTime<Utc>,
    /// The stretch before it, or the earlier of the two, by its place in the list.
    pub before: usize,
    /// The stretch after it, or the later of the two.
    pub after: usize,
}

impl Part {
    /// How long it is.
    #[must_use]
    pub fn length(&self) -> TimeDelta {
        self.to - self.from
    }
}

/// How much of the time from the first stretch to the end is accounted for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Accounted {
    /// All of it, in seconds.
    pub seconds: i64,
    /// For which nobody vouches.
    pub by_nobody: i64,
    /// For which two vouch, or more.
    pub by_several: i64,
}

/// The places of the stretches, in order of their beginnings.
fn ordered(stretches: &[Stretch]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..stretches.len()).collect();
    order.sort_by_key(|i| (stretches[*i].from, stretches[*i].to, *i));
    order
}

/// The times between the first beginning and the last end for which nobody vouches, in order.
#[must_use]
pub fn gaps(stretches: &[Stretch]) -> Vec<Part> {
    sweep(stretches, |reach, next| (reach, next))
}

/// The times for which two vouch, in order of the later one's beginning. Where three do, they may overlap themselves.
#[must_use]
pub fn overlaps(stretches: &[Stretch]) -> Vec<Part> {
    sweep(stretches, |reach, next| (next, reach))
}

/// Goes through the stretches by their beginnings, and holds each against the one that reaches farthest so far. `bounds`
/// says from where to where, given how far that reaches and where the next begins.
fn sweep(
    stretches: &[Stretch],
    bounds: impl Fn(DateTime<Utc>, DateTime<Utc>) -> (DateTime<Utc>, DateTime<Utc>),
) -> Vec<Part> {
    let mut out = Vec::new();
    let mut farthest: Option<usize> = None;
    for i in ordered(stretches) {
        let next = &stretches[i];
        if let Some(f) = farthest {
            let (from, to) = bounds(stretches[f].to, next.from);
            // Two vouch no longer than the shorter of them does.
            let to = if from == next.from {
                to.min(next.to)
            } else {
                to
            };
            if to > from {
                out.push(Part {
                    from,
                    to,
                    before: f,
                    after: i,
                });
            }
        }
        if farthest.is_none_or(|f| next.to > stretches[f].to) {
            farthest = Some(i);
        }
    }
    out
}

/// How much of the time is accounted for.
#[must_use]
pub fn accounted(stretches: &[Stretch]) -> Accounted {
    let (Some(from), Some(to)) = (
        stretches.iter().map(|s| s.from).min(),
        stretches.iter().map(|s| s.to).max(),
    ) else {
        return Accounted::default();
    };
    let sum = |parts: &[Part]| {
        let (mut total, mut reach) = (TimeDelta::zero(), from);
        // In order of their beginnings; what overlaps is counted once.
        for part in parts {
            let begin = part.from.max(reach);
            if part.to > begin {
                total += part.to - begin;
                reach = part.to;
            }
        }
        total.num_seconds()
    };
    Accounted {
        seconds: (to - from).num_seconds(),
        by_nobody: sum(&gaps(stretches)),
        by_several: sum(&overlaps(stretches)),
    }
}
