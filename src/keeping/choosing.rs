//! Every container judged for a thing, the best first: what the rules ask for, what they leave open, what they forbid.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Container, KeepingRules, Reason, packaging::Requirement};

/// What the rules say of a container for a thing.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// It must go into one of these.
    Must,
    /// It may go into it.
    May,
    /// It must not go into it.
    MustNot,
}

impl Verdict {
    /// The verdict for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Must => "one of those it must go into",
            Self::May => "allowed",
            Self::MustNot => "must not",
        }
    }
}

/// A container judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judged<'a> {
    /// The container.
    pub container: &'a Container,
    /// The verdict.
    pub verdict: Verdict,
    /// The rules behind it, each with its sentence of this container and its source.
    pub reasons: Vec<Reason>,
}

/// How far down a container stands in the lists of the rules that apply: each rule names the best first. A container
/// that a rule does not name stands behind all that it names.
fn rank(rules: &KeepingRules, req: &Requirement, container: &Container) -> usize {
    rules
        .packing
        .iter()
        .filter(|r| !r.one_of.is_empty() && req.reasons.iter().any(|x| x.rule == r.id))
        .map(|r| {
            let at = r.one_of.iter().position(|c| *c == container.id);
            at.unwrap_or(r.one_of.len())
        })
        .sum()
}

/// All containers of the rules in force, judged by what is asked for: first what it must or may go into, in the order of
/// the rules' own lists and then of the list of containers, in which the plainer and smaller stand first; then what it
/// must not go into.
#[must_use]
pub fn judge<'a>(rules: &'a KeepingRules, req: &Requirement) -> Vec<Judged<'a>> {
    let mut good: Vec<(usize, Judged<'a>)> = Vec::new();
    let mut bad: Vec<Judged<'a>> = Vec::new();
    for container in &rules.containers {
        let against: Vec<Reason> = req
            .must_not
            .iter()
            .filter(|f| f.container == container.id)
            .map(|f| Reason {
                rule: f.rule.clone(),
                sentence: f.sentence.clone(),
                next: String::new(),
                source: req.source_of(&f.rule).to_owned(),
            })
            .collect();
        let listed = req.must_one_of.contains(&container.id);
        let shut = !req.must_one_of.is_empty() && !listed;
        if !against.is_empty() || shut {
            bad.push(Judged {
                container,
                verdict: Verdict::MustNot,
                reasons: against,
            });
            continue;
        }
        // The rules that ask: those that name it, or a property that it has.
        let reasons: Vec<Reason> = rules
            .packing
            .iter()
            .filter(|r| r.one_of.contains(&container.id) || !r.must_be.is_empty())
            .filter_map(|r| req.reasons.iter().find(|x| x.rule == r.id).cloned())
            .collect();
        let verdict = if listed { Verdict::Must } else { Verdict::May };
        good.push((
            rank(rules, req, container),
            Judged {
                container,
                verdict,
                reasons,
            },
        ));
    }
    // Stable: the order of the list decides between equals.
    good.sort_by_key(|(rank, _)| *rank);
    good.into_iter().map(|(_, j)| j).chain(bad).collect()
}
