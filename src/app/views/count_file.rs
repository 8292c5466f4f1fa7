//! The count file: what a count's page and the interface for programs show. While everything is counted, nothing of what
//! should be there is in it.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::place_file::PlaceRef;
use super::words;
use crate::app::reader::{Page, Part, ReadError, Reader};
use crate::custody::count::{Count, Difference, Odd, OddLabel, Outcome};
use crate::custody::{Fact, State};
use crate::ids::{Code, CountId, Piece, Subject};
use crate::people::Action;
use crate::zone::Zone;

/// A count in a list.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CountLine {
    /// Which.
    pub id: CountId,
    /// The place that gives it its name.
    pub name: String,
    /// When it was begun.
    pub begun_at: DateTime<FixedOffset>,
    /// The same in words.
    pub begun: String,
    /// Whether it goes on.
    pub is_open: bool,
    /// How many differences it ended with.
    pub differences: usize,
    /// How many of them nobody has resolved.
    pub unresolved: usize,
    /// How far it is, in words.
    pub words: String,
}

/// A label that could not be placed.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OddWords {
    /// What was scanned.
    pub text: String,
    /// Why it could not be placed.
    pub why: Odd,
    /// The same in a sentence, with what to do.
    pub words: String,
}

/// What came of the last scans.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BatchWords {
    /// How many things were seen for the first time.
    pub new: usize,
    /// How many labels had been scanned before.
    pub again: u32,
    /// Labels that could not be placed.
    pub odd: Vec<OddWords>,
    /// All of it in a sentence.
    pub sentence: String,
}

/// A difference.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DifferenceWords {
    /// Its number in the count.
    pub number: u32,
    /// What kind.
    pub kind: Difference,
    /// The same in words.
    pub kind_words: String,
    /// Which thing; none for a label that is not of this ledger, and for a thing of a case that the viewer may not see.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub piece: Option<Piece>,
    /// Which thing, in words; the code alone where its case is restricted.
    pub name: String,
    /// The code or the label.
    pub label: String,
    /// Where the record had it.
    pub on_record: String,
    /// The event that put it on the record.
    pub seq: u64,
    /// What came of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<Outcome>,
    /// What came of it and who says so, in a sentence; empty while nobody has.
    pub resolved: String,
    /// Whether the viewer may resolve it.
    pub may_resolve: bool,
}

/// How a count ended.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct EndedWords {
    /// When, in words.
    pub when: String,
    /// By whom.
    pub by: String,
    /// How many things were to be seen.
    pub expected: u32,
    /// How many of them were seen.
    pub found: u32,
    /// How many came or went by the record meanwhile.
    pub moved: u32,
}

/// Everything about a count that the viewer may see now.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CountFile {
    /// Which.
    pub id: CountId,
    /// The place that gives it its name.
    pub name: String,
    /// Every place that is counted.
    pub places: Vec<PlaceRef>,
    /// When it was begun, in words.
    pub begun: String,
    /// By whom.
    pub begun_by: String,
    /// Who took part: none of them resolves its differences.
    pub counters: Vec<String>,
    /// Whether it goes on.
    pub is_open: bool,
    /// What a sample is to show, and how it was drawn; empty where everything is counted.
    pub sample: String,
    /// What a sample looks for, by code; empty where everything is counted.
    pub looked_for: Vec<Code>,
    /// How many things were seen.
    pub seen: usize,
    /// How often something was scanned again.
    pub again: u32,
    /// Labels that could not be placed.
    pub odd: Vec<OddWords>,
    /// How it ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended: Option<EndedWords>,
    /// What differs.
    pub differences: Vec<DifferenceWords>,
    /// How many of each kind, in words.
    pub tally: String,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

/// A kind of difference in words.
#[must_use]
pub fn kind_words(kind: Difference) -> &'static str {
    match kind {
        Difference::Missing => "missing",
        Difference::Misplaced => "misplaced",
        Difference::Unexpected => "unexpected",
        Difference::Unknown => "not of this ledger",
    }
}

/// An outcome in words.
#[must_use]
pub fn outcome_words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::FoundInPlace => "found where the record has it",
        Outcome::SetRight => "set right",
        Outcome::NotOurs => "not ours, given to whom it belongs",
        Outcome::NotFound => "looked for and not found",
        Outcome::Miscounted => "counted or scanned wrongly",
    }
}

/// Why a label could not be placed, and what to do.
#[must_use]
pub fn odd_words(odd: &OddLabel) -> OddWords {
    let words = match odd.why {
        Odd::Misread => "Misread or mistyped: its check character does not fit. Scan it again.",
        Odd::Foreign => {
            "No code of this kind: a label of another agency, or of a shop. If it stands there, it ends as a difference."
        }
        Odd::Unknown => {
            "A code of this kind that is not in this ledger, so of another agency's. If it stands there, it ends as a difference."
        }
        Odd::Place => "The label of a place. Scan the labels of things.",
    };
    OddWords {
        text: odd.text.clone(),
        why: odd.why,
        words: words.into(),
    }
}

fn line(count: &Count, zone: Zone) -> CountLine {
    let open = count.open();
    let words = if count.ended.is_none() {
        "being counted".to_owned()
    } else if count.found.is_empty() {
        "no difference".to_owned()
    } else if open == 0 {
        format!(
            "{}, all resolved",
            words::counted(count.found.len(), "difference")
        )
    } else {
        format!(
            "{}, {open} not resolved",
            words::counted(count.found.len(), "difference")
        )
    };
    CountLine {
        id: count.id,
        name: count.name().to_owned(),
        begun_at: count.begun_at,
        begun: words::minute(&count.begun_at, zone),
        is_open: count.ended.is_none(),
        differences: count.found.len(),
        unresolved: open,
        words,
    }
}

/// Counts, newest first.
///
/// # Errors
/// See [`ReadError`].
pub async fn list(
    reader: &Reader<'_>,
    active: Option<bool>,
    part: &Part,
) -> Result<Page<CountLine>, ReadError> {
    let zone = reader.house().zone().await?;
    let page = reader.counts(active, part).await?;
    Ok(Page {
        rows: page.rows.iter().map(|c| line(c, zone)).collect(),
        next: page.next,
    })
}

/// How many counts go on and how many differences nobody has resolved, of those that are not done with; for a desk.
///
/// # Errors
/// See [`ReadError`].
pub async fn waiting(reader: &Reader<'_>) -> Result<(usize, usize), ReadError> {
    let page = reader.counts(Some(true), &Part::first(100)).await?;
    let open = page.rows.iter().filter(|c| c.ended.is_none()).count();
    Ok((open, page.rows.iter().map(Count::open).sum()))
}

/// What a batch of scans came to.
#[must_use]
pub fn batch(fact: &Fact) -> Option<BatchWords> {
    let Fact::CodesScanned(x) = fact else {
        return None;
    };
    let odd: Vec<OddWords> = x.odd.iter().map(odd_words).collect();
    let mut parts = vec![format!("{} new", x.seen.len())];
    if x.again > 0 {
        parts.push(format!("{} scanned before", x.again));
    }
    if !odd.is_empty() {
        parts.push(format!("{} that cannot be placed", odd.len()));
    }
    Some(BatchWords {
        new: x.seen.len(),
        again: x.again,
        sentence: format!("Of what was scanned last: {}.", words::listed(&parts)),
        odd,
    })
}

/// Whether the viewer may read what is said of a piece here: nothing of a restricted case is.
fn shown(state: &State, piece: Piece) -> bool {
    state
        .case_of(piece.into())
        .and_then(|c| state.cases.get(&c))
        .is_some_and(|c| !c.restricted)
}

fn differences(
    count: &Count,
    state: &State,
    zone: Zone,
    may_resolve: bool,
) -> Vec<DifferenceWords> {
    let mut out = Vec::with_capacity(count.found.len());
    for f in &count.found {
        let piece = f.piece.filter(|p| shown(state, *p));
        let name = match (piece, f.piece) {
            (Some(p), _) => {
                let case = state
                    .case_of(p.into())
                    .and_then(|c| state.cases.get(&c))
                    .map(|c| format!(" of {}", c.number))
                    .unwrap_or_default();
                format!("{}{case}", words::title(state, p))
            }
            (None, Some(_)) => "A thing of a restricted case".to_owned(),
            (None, None) => "A label".to_owned(),
        };
        let resolved = f.resolved.as_ref().map_or_else(String::new, |r| {
            let by =
                r.by.map_or_else(|| "somebody".into(), |p| words::person_in(state, p));
            format!(
                "{}, by {by}, {}: {}",
                words::capital(outcome_words(r.outcome)),
                words::minute(&r.at, zone),
                r.reason
            )
        });
        let hidden = f.piece.is_some() && piece.is_none();
        out.push(DifferenceWords {
            number: f.number,
            kind: f.difference,
            kind_words: kind_words(f.difference).into(),
            piece,
            name,
            label: f
                .label
                .parse::<Code>()
                .map_or_else(|_| f.label.clone(), |c| c.grouped()),
            on_record: if hidden {
                String::new()
            } else {
                f.on_record.clone()
            },
            seq: f.seq,
            outcome: f.resolved.as_ref().map(|r| r.outcome),
            resolved: if hidden && !resolved.is_empty() {
                "resolved".into()
            } else {
                resolved
            },
            may_resolve: may_resolve && f.resolved.is_none(),
        });
    }
    out
}

fn tally(count: &Count) -> String {
    let mut of: BTreeMap<&str, usize> = BTreeMap::new();
    for f in &count.found {
        *of.entry(kind_words(f.difference)).or_insert(0) += 1;
    }
    if of.is_empty() {
        return "no difference".into();
    }
    let parts: Vec<String> = of.iter().map(|(kind, n)| format!("{n} {kind}")).collect();
    words::listed(&parts)
}

/// Everything about a count that the viewer may see now.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(reader: &Reader<'_>, id: CountId) -> Result<CountFile, ReadError> {
    let count = reader.count(id).await?;
    let zone = reader.house().zone().await?;
    let now = Utc::now();
    let mut asked: Vec<Subject> = count
        .found
        .iter()
        .filter_map(|f| f.piece.map(Subject::from))
        .collect();
    asked.extend(count.counters.iter().map(|p| Subject::Person(*p)));
    asked.extend(count.begun_by.map(Subject::Person));
    let resolvers = count.found.iter().filter_map(|f| f.resolved.as_ref()?.by);
    asked.extend(resolvers.map(Subject::Person));
    let state = reader.around(&asked).await?;
    let person = |id: Option<crate::ids::PersonId>| {
        id.map_or_else(|| "somebody".into(), |p| words::person_in(&state, p))
    };
    let me = reader.viewer().id();
    let counted = me.is_some_and(|me| count.counters.contains(&me));
    let may_resolve = me.is_some() && !counted && reader.viewer().may(Action::ResolveCount);
    let sample = count.sample.as_ref().map_or_else(String::new, |s| {
        format!(
            "{} of {} things, drawn by seed {}: if {} or more were missing, one of them would be among these with probability {} \
             or more.",
            s.drawn.len(),
            count.expected.len(),
            s.seed,
            s.missing,
            s.confidence
        )
    });
    let looked_for = count
        .sample
        .iter()
        .flat_map(|s| &s.drawn)
        .filter_map(|p| Code::of((*p).into()))
        .collect();
    Ok(CountFile {
        id,
        name: count.name().to_owned(),
        places: count
            .places
            .iter()
            .zip(&count.place_names)
            .map(|(id, name)| PlaceRef {
                id: *id,
                name: name.clone(),
            })
            .collect(),
        begun: words::minute(&count.begun_at, zone),
        begun_by: person(count.begun_by),
        counters: count.counters.iter().map(|p| person(Some(*p))).collect(),
        is_open: count.ended.is_none(),
        sample,
        looked_for,
        seen: count.seen.len(),
        again: count.again,
        odd: count.odd.iter().map(odd_words).collect(),
        ended: count.ended.as_ref().map(|e| EndedWords {
            when: words::minute(&e.at, zone),
            by: person(e.by),
            expected: e.expected,
            found: e.found,
            moved: e.moved,
        }),
        differences: differences(&count, &state, zone, may_resolve),
        tally: tally(&count),
        as_of: now,
        as_of_words: words::when(&now, zone),
    })
}

/// A difference that nobody has resolved.
pub struct Unresolved {
    /// Which count.
    pub count: CountId,
    /// The count's name and the number of the difference.
    pub name: String,
    /// When the count was ended.
    pub at: DateTime<FixedOffset>,
}

/// How many counts that are not done with are looked through for differences.
const MOST_COUNTS: u32 = 50;

/// The differences that nobody has resolved, of the newest so many counts.
///
/// # Errors
/// See [`ReadError`].
pub async fn unresolved(reader: &Reader<'_>) -> Result<Vec<Unresolved>, ReadError> {
    let page = reader.counts(Some(true), &Part::first(MOST_COUNTS)).await?;
    let mut out = Vec::new();
    for count in &page.rows {
        let Some(ended) = &count.ended else { continue };
        let open = count.found.iter().filter(|f| f.resolved.is_none());
        out.extend(open.map(|f| Unresolved {
            count: count.id,
            name: format!("Count of {}, difference {}", count.name(), f.number),
            at: ended.at,
        }));
    }
    Ok(out)
}
