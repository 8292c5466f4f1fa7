//! The answer that stands to a finding, in words.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Serialize;

use super::super::words;
use crate::custody::State;
use crate::custody::finding::{Answer, FindingKey, answers};
use crate::zone::Zone;

/// An answer in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AnswerWords {
    /// What was said.
    pub text: String,
    /// By whom, with number.
    pub by_name: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The same in words.
    pub when: String,
    /// The event of the answer.
    pub seq: u64,
    /// The event that shows it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub evidence: Option<u64>,
    /// The events of earlier answers, oldest first; they stay on the record.
    pub earlier: Vec<u64>,
    /// Who, when and by which events, in one line.
    pub line: String,
}

/// The answer that stands to a finding of this key.
pub(super) fn standing(state: &State, key: &FindingKey, zone: Zone) -> Option<AnswerWords> {
    let answer = answers(state, key.of)?.iter().find(|a| a.finding == *key)?;
    Some(told(answer, zone))
}

fn told(answer: &Answer, zone: Zone) -> AnswerWords {
    // As it was then: whoever reads it later may not have that person loaded.
    let by_name = answer.by_name.clone();
    let when = words::minute(&answer.at, zone);
    let mut line = format!("{by_name}, {when}, event {}", answer.seq);
    if let Some(seq) = answer.evidence {
        line.push_str(&format!("; shown by event {seq}"));
    }
    if !answer.earlier.is_empty() {
        let earlier: Vec<String> = answer.earlier.iter().map(ToString::to_string).collect();
        line.push_str(&format!(
            "; answered before in event {}",
            words::listed(&earlier)
        ));
    }
    AnswerWords {
        text: answer.text.clone(),
        by_name,
        at: answer.at,
        when,
        seq: answer.seq,
        evidence: answer.evidence,
        earlier: answer.earlier.clone(),
        line,
    }
}
