//! Ready for court: whether every finding of everything in a case has an answer, and what is left.
//!
//! It says nothing about whether an answer is a good one, and nothing about what a court asks for: that is for counsel and local
//! law. Where a case is too large to be looked through, the answer is no, and says that it is not known.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::case_findings::{self, CaseFinding};
use super::case_ref::CaseRef;
use super::words;
use crate::app::reader::{ReadError, Reader};
use crate::ids::CaseId;

/// How many items, and how many packages, of a case are looked through at the most.
pub const MOST: usize = 2_000;
/// How many findings without an answer are listed at the most.
pub const LEFT_LISTED: usize = 500;

/// Whether a case is ready for court.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Ready {
    /// The case.
    pub case: CaseRef,
    /// Whether every finding of every item and package has an answer.
    pub ready: bool,
    /// The same in a sentence, with what is left.
    pub sentence: String,
    /// How many items were looked through.
    pub items: usize,
    /// How many packages were looked through.
    pub packages: usize,
    /// How many findings there are.
    pub findings: usize,
    /// How many of them have an answer.
    pub answered: usize,
    /// Whether there is more than was looked through; then it is not ready, since nobody can tell.
    pub too_many: bool,
    /// Findings without an answer, the gravest first; at most 500 are listed.
    pub left: Vec<CaseFinding>,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

/// Whether a case is ready for court, by everything in it up to [`MOST`] items and as many packages.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(reader: &Reader<'_>, id: CaseId) -> Result<Ready, ReadError> {
    load_within(reader, id, MOST).await
}

/// The same by at most so many items and packages.
///
/// # Errors
/// See [`ReadError`].
pub async fn load_within(reader: &Reader<'_>, id: CaseId, most: usize) -> Result<Ready, ReadError> {
    let case = reader.case(id).await?;
    let zone = reader.house().zone().await?;
    let now = Utc::now();
    let all = case_findings::load(reader, id, zone, now, most).await?;
    let (findings, answered) = (all.tally.all(), all.tally.answered);
    let ready = all.ready();
    let sentence = sentence(ready, all.more, most, findings, answered);
    let mut left = all.findings;
    left.retain(|f| f.finding.answer.is_none());
    left.truncate(LEFT_LISTED);
    Ok(Ready {
        case: CaseRef::from(&case),
        ready,
        sentence,
        items: all.items,
        packages: all.packages,
        findings,
        answered,
        too_many: all.more,
        left,
        as_of: now,
        as_of_words: words::when(&now, zone),
    })
}

/// The answer in a sentence.
#[must_use]
pub fn sentence(ready: bool, more: bool, most: usize, findings: usize, answered: usize) -> String {
    let left = findings - answered;
    if more {
        return format!(
            "No, too many to tell: the case has more than {most} items or packages, or a longer history, than are looked through. Of those looked through, {left} of {} have no answer.",
            words::counted(findings, "finding")
        );
    }
    if ready && findings == 0 {
        return "Yes: there is no finding.".to_owned();
    }
    if ready {
        return format!(
            "Yes: {} there, and each has an answer.",
            if findings == 1 {
                "1 finding is".to_owned()
            } else {
                format!("{findings} findings are")
            }
        );
    }
    format!(
        "No: {left} of {} {} no answer.",
        words::counted(findings, "finding"),
        if left == 1 { "has" } else { "have" }
    )
}
