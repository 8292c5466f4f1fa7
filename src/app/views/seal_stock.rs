//! The seals in stock at a place: who was issued which numbers, which of them were used, and which nobody accounts for.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::Serialize;

use super::boxes::MOST_PARTS;
use crate::app::reader::{Part, ReadError, Reader};
use crate::custody::seal_stock::{SealRange, SealSpan};
use crate::custody::state::Place;
use crate::ids::{PersonId, Subject};

/// How many numbers are asked for at once.
const AT_ONCE: usize = 200;
/// How many unaccounted numbers are named; all are counted.
const NAMED: usize = 20;

/// A range of seals.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct SealRangeFile {
    /// Which numbers: `SB-004401 to SB-004500`.
    pub range: String,
    /// How many there are.
    pub count: u64,
    /// How many nobody was issued, those used or written off left out.
    pub not_issued: u64,
    /// The lowest number that nobody was issued, that was not used and not written off; empty where there is none.
    pub next: String,
    /// How many were used though nobody was issued them.
    pub used_unissued: u64,
    /// What was issued, in the order in which it was.
    pub issued: Vec<IssuedFile>,
    /// What was written off, and why.
    pub spoiled: Vec<SpoiledFile>,
    /// Which were put on a package though they were written off before: what was torn cannot be there, so one of the two
    /// records is wrong. The lowest first, at most the first 20.
    pub spoiled_and_used: Vec<String>,
}

/// A part of a range that was issued to a person.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct IssuedFile {
    /// Which numbers.
    pub range: String,
    /// To whom.
    pub to: PersonId,
    /// Their name.
    pub name: String,
    /// How many of them were put on packages, by whomever.
    pub used: u64,
    /// How many were written off.
    pub spoiled: u64,
    /// How many are left: neither used nor written off, and none above them was used.
    pub left: u64,
    /// The lowest of those that are left; empty where there is none.
    pub next: String,
    /// How many are unaccounted for: neither used nor written off, while one above them was used.
    pub unaccounted: u64,
    /// Which, the lowest first, at most the first 20.
    pub unaccounted_numbers: Vec<String>,
}

/// A part of a range that was written off.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct SpoiledFile {
    /// Which numbers.
    pub range: String,
    /// Why.
    pub reason: String,
}

/// The numbers of a span that were used, in order.
///
/// # Errors
/// See [`ReadError`].
async fn used(reader: &Reader<'_>, span: &SealSpan) -> Result<BTreeSet<u64>, ReadError> {
    let all: Vec<String> = span.numbers().collect();
    let mut out = BTreeSet::new();
    for some in all.chunks(AT_ONCE) {
        let rows = reader.house().store.seals(some).await?;
        out.extend(rows.iter().filter_map(|r| span.place_of(&r.number)));
    }
    Ok(out)
}

/// What became of the numbers of an issued part.
#[derive(Default)]
struct Account {
    used: u64,
    spoiled: u64,
    /// Neither used nor written off, in order.
    left: Vec<u64>,
    /// The same, while one above them was used.
    unaccounted: Vec<u64>,
}

impl Account {
    fn of(range: &SealRange, part: &SealSpan, used: &BTreeSet<u64>) -> Self {
        let last_used = used.range(part.first..=part.last).next_back();
        let mut out = Self::default();
        for n in part.first..=part.last {
            if used.contains(&n) {
                out.used += 1;
            } else if range.is_spoiled(n) {
                out.spoiled += 1;
            } else if last_used.is_some_and(|last| n < *last) {
                out.unaccounted.push(n);
            } else {
                out.left.push(n);
            }
        }
        out
    }
}

/// The first of these numbers, as printed; empty where there is none.
fn first(span: &SealSpan, numbers: &[u64]) -> String {
    numbers
        .first()
        .map_or_else(String::new, |n| span.number(*n))
}

fn len(numbers: &[u64]) -> u64 {
    u64::try_from(numbers.len()).unwrap_or(u64::MAX)
}

/// The ranges of a place. At most 20 of 1,000 numbers, so the reading has a bound.
///
/// # Errors
/// See [`ReadError`].
pub async fn ranges(reader: &Reader<'_>, place: &Place) -> Result<Vec<SealRangeFile>, ReadError> {
    let people: BTreeSet<PersonId> = place
        .seals
        .iter()
        .flat_map(|r| r.issued.iter().map(|i| i.to))
        .collect();
    let asked: Vec<Subject> = people.into_iter().map(Subject::Person).collect();
    let state = reader.around(&asked).await?;
    let mut out = Vec::new();
    for range in &place.seals {
        let used = used(reader, &range.span).await?;
        let issued = range.issued.iter().map(|part| {
            let became = Account::of(range, &part.span, &used);
            IssuedFile {
                range: part.span.to_string(),
                to: part.to,
                name: state
                    .people
                    .get(&part.to)
                    .map_or_else(String::new, |p| p.name.clone()),
                used: became.used,
                spoiled: became.spoiled,
                left: len(&became.left),
                next: first(&range.span, &became.left),
                unaccounted: len(&became.unaccounted),
                unaccounted_numbers: became
                    .unaccounted
                    .iter()
                    .take(NAMED)
                    .map(|n| range.span.number(*n))
                    .collect(),
            }
        });
        let issued = issued.collect();
        let nobodys: Vec<u64> = (range.span.first..=range.span.last)
            .filter(|n| !range.issued.iter().any(|i| i.span.has(*n)))
            .collect();
        let free: Vec<u64> = nobodys
            .iter()
            .copied()
            .filter(|n| !used.contains(n) && !range.is_spoiled(*n))
            .collect();
        let taken: Vec<u64> = nobodys.into_iter().filter(|n| used.contains(n)).collect();
        let spoiled_and_used = used
            .iter()
            .filter(|n| range.is_spoiled(**n))
            .take(NAMED)
            .map(|n| range.span.number(*n))
            .collect();
        out.push(SealRangeFile {
            range: range.span.to_string(),
            count: range.span.count(),
            not_issued: len(&free),
            next: first(&range.span, &free),
            used_unissued: len(&taken),
            issued,
            spoiled: range
                .spoiled
                .iter()
                .map(|s| SpoiledFile {
                    range: s.span.to_string(),
                    reason: s.reason.clone(),
                })
                .collect(),
            spoiled_and_used,
        });
    }
    Ok(out)
}

/// The lowest number that was issued to a person, was not used and not written off: which seal they may take next. Looks
/// through as many places as the list of boxes does, and stops at the first part that has one left.
///
/// # Errors
/// See [`ReadError`].
pub async fn next_of(reader: &Reader<'_>, person: PersonId) -> Result<Option<String>, ReadError> {
    let mut part = Part::default();
    for _ in 0..MOST_PARTS {
        let page = reader.places(&part).await?;
        for range in page.rows.iter().flat_map(|p| &p.seals) {
            for mine in range.issued.iter().filter(|i| i.to == person) {
                let used = used(reader, &mine.span).await?;
                let became = Account::of(range, &mine.span, &used);
                if let Some(n) = became.left.first() {
                    return Ok(Some(range.span.number(*n)));
                }
            }
        }
        match page.next {
            Some(next) => part.after = Some(next),
            None => break,
        }
    }
    Ok(None)
}
