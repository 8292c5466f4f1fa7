//! Findings by name, and what people answer to them.
//!
//! A finding is computed from events and never stored: it is there as long as its events say so, and nobody deletes it. What is
//! stored is an answer, which names the finding by its [`FindingKey`]. The key is made of what the finding rests on alone, so that an
//! answer stays with its finding whatever is recorded later, and an answer to something that is not found is refused.

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, FixedOffset};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::State;
use crate::ids::{PersonId, Seq, Subject};

/// How many findings of one subject may be answered.
pub const MAX_ANSWERED: usize = 2_000;
/// How often one finding may be answered.
pub const MAX_AGAIN: usize = 50;
/// The most characters of an answer.
pub const MAX_TEXT: usize = 2_000;
/// The most events that a finding rests on.
pub const MAX_EVENTS: usize = 20;
/// The most characters of a code, and of a detail.
const MAX_WORD: usize = 60;

/// The name of a finding: what kind it is, whose, on which events it rests, and which of several it is where one event gives
/// several. As a text: `gap@package:UUID@812.845`, or `recovery-warning@item:UUID@70@2`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FindingKey {
    /// The kind, by its code.
    pub code: String,
    /// The item, package or mark whose events they are.
    pub of: Subject,
    /// The events, in the order of the ledger; at least one.
    pub events: Vec<Seq>,
    /// Which of several; empty for the only one.
    pub detail: String,
}

/// The text names no finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("this names no finding: a kind, a subject and events, as in gap@package:UUID@812.845")]
pub struct NotAKey;

impl fmt::Display for FindingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}@", self.code, self.of)?;
        for (i, seq) in self.events.iter().enumerate() {
            write!(f, "{}{seq}", if i == 0 { "" } else { "." })?;
        }
        if !self.detail.is_empty() {
            write!(f, "@{}", self.detail)?;
        }
        Ok(())
    }
}

/// Whether it is a word as codes and rules have them: small letters, digits and hyphens.
fn is_word(text: &str) -> bool {
    (1..=MAX_WORD).contains(&text.len())
        && text
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

impl FromStr for FindingKey {
    type Err = NotAKey;
    fn from_str(s: &str) -> Result<Self, NotAKey> {
        let parts: Vec<&str> = s.splitn(5, '@').collect();
        let (code, of, events, detail) = match parts.as_slice() {
            [code, of, events] => (*code, *of, *events, None),
            [code, of, events, detail] => (*code, *of, *events, Some(*detail)),
            _ => return Err(NotAKey),
        };
        let of: Subject = of.parse().map_err(|_| NotAKey)?;
        if !is_word(code) || detail.is_some_and(|d| !is_word(d)) {
            return Err(NotAKey);
        }
        let events: Vec<Seq> = events
            .split('.')
            .take(MAX_EVENTS + 1)
            .map(|n| n.parse().map_err(|_| NotAKey))
            .collect::<Result<_, _>>()?;
        let key = Self {
            code: code.to_owned(),
            of,
            events,
            detail: detail.unwrap_or_default().to_owned(),
        };
        // One name for one finding: in order, none twice, written as it is written here.
        let ordered = key.events.windows(2).all(|w| w[0] < w[1]);
        if ordered && key.events.len() <= MAX_EVENTS && key.to_string() == s {
            Ok(key)
        } else {
            Err(NotAKey)
        }
    }
}

impl Serialize for FindingKey {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for FindingKey {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let s = Cow::<'de, str>::deserialize(d)?;
        s.parse().map_err(D::Error::custom)
    }
}

impl JsonSchema for FindingKey {
    fn schema_name() -> Cow<'static, str> {
        "FindingKey".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "pattern": "^[a-z0-9-]{1,60}@(item|package|mark):[0-9a-f-]{36}@[0-9]+(\\.[0-9]+)*(@[a-z0-9-]{1,60})?$"
        })
    }
}

/// Answer a finding. A later answer stands in front of an earlier one; both stay on the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AnswerFinding {
    /// The finding, by its key.
    pub finding: FindingKey,
    /// What there is to say to it.
    pub text: String,
    /// The event that shows it, by its position in the ledger, where there is one.
    #[serde(default)]
    pub evidence: Option<Seq>,
}

/// A finding was answered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FindingAnswered {
    /// The finding.
    pub finding: FindingKey,
    /// What was said to it.
    pub text: String,
    /// The event that shows it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Seq>,
    /// Who answered, by their name and number at that moment.
    pub answered_by: String,
}

/// The answer that stands to a finding.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Answer {
    /// The finding.
    pub finding: FindingKey,
    /// What was said to it.
    pub text: String,
    /// The event that shows it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Seq>,
    /// By whom.
    pub by: Option<PersonId>,
    /// Their name, as it was then.
    pub by_name: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The event of the answer.
    pub seq: Seq,
    /// The events of earlier answers to the same finding, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub earlier: Vec<Seq>,
}

/// The answers that stand to the findings of a subject; none where it has no findings.
#[must_use]
pub fn answers(state: &State, of: Subject) -> Option<&Vec<Answer>> {
    match of {
        Subject::Item(id) => state.items.get(&id).map(|x| &x.answers),
        Subject::Package(id) => state.packages.get(&id).map(|x| &x.answers),
        Subject::Mark(id) => state.marks.get(&id).map(|x| &x.answers),
        _ => None,
    }
}

pub(super) fn answer(ctx: &Context<'_>, x: &AnswerFinding) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    let of = x.finding.of;
    let case = ctx
        .state
        .case_of(of)
        .ok_or_else(|| not_found("item, package or mark").on("finding"))?;
    text("text", &x.text, MAX_TEXT, true)?;
    let other_case = x
        .evidence
        .and_then(|seq| ctx.state.events.get(&seq))
        .and_then(|past| past.case)
        .is_some_and(|of| of != case);
    if other_case {
        return Err(Refusal::new(
            Rule::BadValue,
            "The event that is to show it belongs to another case.",
            "Name an event of this case, or leave it out and say in the answer where to look.",
        )
        .on("evidence"));
    }
    let standing =
        answers(ctx.state, of).ok_or_else(|| not_found("item, package or mark").on("finding"))?;
    let before = standing.iter().find(|a| a.finding == x.finding);
    let full = before.map_or(standing.len() >= MAX_ANSWERED, |a| {
        a.earlier.len() + 1 >= MAX_AGAIN
    });
    if full {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("A finding is answered at most {MAX_AGAIN} times, and of one thing at most {MAX_ANSWERED} findings."),
            "Say it in a report of your own.",
        )
        .on("finding"));
    }
    let found = ctx.state.findings.get(&of);
    if !found.is_some_and(|keys| keys.contains(&x.finding)) {
        return Err(Refusal::new(
            Rule::NoFinding,
            format!(
                "There is no such finding now: {} of event {}.",
                x.finding.code,
                x.finding
                    .events
                    .iter()
                    .map(ToString::to_string)
                    .collect::<Vec<_>>()
                    .join(", ")
            ),
            "Open the page of the thing and answer a finding that stands there.",
        )
        .on("finding"));
    }
    let same = before.is_some_and(|a| a.text == x.text && a.evidence == x.evidence);
    if same && before.is_some_and(|a| a.by == Some(me)) {
        return Err(Refusal::new(
            Rule::BadValue,
            "You gave exactly this answer already.",
            "Nothing is left to do.",
        )
        .on("text"));
    }
    let fact = Fact::FindingAnswered(FindingAnswered {
        finding: x.finding.clone(),
        text: x.text.clone(),
        evidence: x.evidence,
        answered_by: ctx.state.people.get(&me).map_or_else(
            || "somebody".into(),
            |p| match p.number.as_str() {
                "" => p.name.clone(),
                number => format!("{}, no. {number}", p.name),
            },
        ),
    });
    Ok(ctx.draft(Some(case), vec![of], fact))
}

pub(super) fn answered(state: &mut State, x: &FindingAnswered, meta: &Meta) -> Result<(), Misfit> {
    let list = match x.finding.of {
        Subject::Item(id) => state.items.get_mut(&id).map(|i| &mut i.answers),
        Subject::Package(id) => state.packages.get_mut(&id).map(|p| &mut p.answers),
        Subject::Mark(id) => state.marks.get_mut(&id).map(|m| &mut m.answers),
        _ => None,
    }
    .ok_or_else(|| meta.misfit("no such item, package or mark"))?;
    let mut answer = Answer {
        finding: x.finding.clone(),
        text: x.text.clone(),
        evidence: x.evidence,
        by: meta.actor,
        by_name: x.answered_by.clone(),
        at: meta.at,
        seq: meta.seq,
        earlier: Vec::new(),
    };
    match list.iter_mut().find(|a| a.finding == x.finding) {
        Some(standing) => {
            answer.earlier = std::mem::take(&mut standing.earlier);
            answer.earlier.push(standing.seq);
            *standing = answer;
        }
        None => list.push(answer),
    }
    Ok(())
}
