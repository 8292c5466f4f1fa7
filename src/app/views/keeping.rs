//! What a thing, or what is in a package, must be packed in and where it may be put, with reasons and sources.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::keeping::choosing::{Verdict, judge};
use crate::keeping::{KeepNeeds, LimitKind, Reason, TimeLimit};
use crate::lifting::Caution;
use crate::trade::TradeRules;

/// A container by name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ContainerName {
    /// The trade rules' identifier.
    pub id: String,
    /// Its name.
    pub name: String,
}

/// A container that is shut out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ShutOut {
    /// The container.
    pub container: ContainerName,
    /// The rule.
    pub rule: String,
    /// Why.
    pub sentence: String,
    /// Where the rule comes from.
    pub source: String,
}

/// A container judged for a thing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ContainerWords {
    /// The container.
    pub container: ContainerName,
    /// What it is and how it is used.
    pub description: String,
    /// What the rules say of it.
    pub verdict: Verdict,
    /// The rules behind it, each with its sentence and its source.
    pub reasons: Vec<RuleWords>,
}

/// A rule that applies.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct RuleWords {
    /// The rule's identifier.
    pub rule: String,
    /// What it says.
    pub sentence: String,
    /// The next step; empty where it asks for nothing.
    pub next: String,
    /// Where it comes from.
    pub source: String,
}

impl From<&Reason> for RuleWords {
    fn from(r: &Reason) -> Self {
        Self {
            rule: r.rule.clone(),
            sentence: r.sentence.clone(),
            next: r.next.clone(),
            source: r.source.clone(),
        }
    }
}

/// A caution as it is shown.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct CautionWords {
    /// Its identifier.
    pub id: String,
    /// What can hurt, and the usual precaution.
    pub text: String,
    /// What it defers to.
    pub defers_to: String,
    /// Where it comes from.
    pub source: String,
}

impl From<&Caution> for CautionWords {
    fn from(c: &Caution) -> Self {
        Self {
            id: c.id.clone(),
            text: c.text.clone(),
            defers_to: c.defers_to.clone(),
            source: c.source.clone(),
        }
    }
}

/// What it must be packed in and where it may be put.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Keeping {
    /// One of these; empty where any will do that is not shut out.
    pub one_of: Vec<ContainerName>,
    /// None of these.
    pub must_not: Vec<ShutOut>,
    /// Every container judged: first what it must or may go into, the best first, then what it must not go into.
    pub containers: Vec<ContainerWords>,
    /// Room that must stay free on every side in a box of fixed size, in millimetres.
    pub clearance_mm: u32,
    /// Whether it is packed by itself.
    pub alone: bool,
    /// What the label must carry.
    pub labels: Vec<String>,
    /// Drying and other times, in words.
    pub times: Vec<String>,
    /// Every packing rule that applies.
    pub packing: Vec<RuleWords>,
    /// Every rule for its place.
    pub place: Vec<RuleWords>,
    /// What does not go together.
    pub conflicts: Vec<String>,
    /// Cautions for whoever packs it.
    pub cautions: Vec<CautionWords>,
    /// The first question answered in a sentence: what to pack it in.
    pub sentence: String,
}

impl Keeping {
    /// The containers it must or may go into, the best first; empty where the rules leave all of them open.
    #[must_use]
    pub fn good(&self) -> Vec<&ContainerWords> {
        self.containers
            .iter()
            .filter(|c| c.verdict != Verdict::MustNot)
            .collect()
    }

    /// Whether the rules say anything of containers.
    #[must_use]
    pub fn has_good(&self) -> bool {
        (!self.one_of.is_empty() || !self.must_not.is_empty()) && !self.good().is_empty()
    }

    /// Their names in one line.
    #[must_use]
    pub fn good_names(&self) -> String {
        let names: Vec<&str> = self
            .good()
            .iter()
            .map(|c| c.container.name.as_str())
            .collect();
        names.join(", ")
    }
}

/// Needs in words.
#[must_use]
pub fn keeping(rules: &TradeRules, needs: &KeepNeeds) -> Keeping {
    let named = |id: &String| ContainerName {
        id: id.clone(),
        name: rules
            .container(id)
            .map_or_else(|| id.clone(), |c| c.name.clone()),
    };
    let p = &needs.packing;
    let judged = judge(rules.keeping(), p);
    // The best first; what the rules in force no longer have, last.
    let mut one_of: Vec<ContainerName> = judged
        .iter()
        .filter(|j| j.verdict == Verdict::Must)
        .map(|j| named(&j.container.id))
        .collect();
    one_of.extend(
        p.must_one_of
            .iter()
            .filter(|id| rules.container(id).is_none())
            .map(named),
    );
    let names: Vec<String> = one_of.iter().map(|c| c.name.clone()).collect();
    let sentence = if p.reasons.is_empty() && p.must_not.is_empty() {
        "The rules ask for no particular container.".to_owned()
    } else if !p.conflicts.is_empty() {
        "No container suits all of it: see what does not go together.".to_owned()
    } else if names.is_empty() {
        "Any container will do that is not shut out.".to_owned()
    } else {
        format!(
            "Pack it in one of these, the best first: {}.",
            names.join(", ")
        )
    };
    Keeping {
        one_of,
        must_not: p
            .must_not
            .iter()
            .map(|f| ShutOut {
                container: named(&f.container),
                rule: f.rule.clone(),
                sentence: f.sentence.clone(),
                source: p.source_of(&f.rule).to_owned(),
            })
            .collect(),
        containers: judged
            .into_iter()
            .map(|j| ContainerWords {
                container: named(&j.container.id),
                description: j.container.description.clone(),
                verdict: j.verdict,
                reasons: j.reasons.iter().map(RuleWords::from).collect(),
            })
            .collect(),
        clearance_mm: p.clearance_mm(),
        alone: !p.alone.is_empty(),
        labels: p.labels.iter().map(|l| l.text.clone()).collect(),
        times: p.drying.iter().chain(&p.limits).map(time).collect(),
        packing: p.reasons.iter().map(RuleWords::from).collect(),
        place: needs
            .place
            .iter()
            .map(|n| RuleWords {
                rule: n.rule.clone(),
                sentence: n.sentence.clone(),
                next: String::new(),
                source: n.source.clone(),
            })
            .collect(),
        conflicts: p.conflicts.iter().map(|c| c.sentence.clone()).collect(),
        cautions: p.cautions.iter().map(CautionWords::from).collect(),
        sentence,
    }
}

fn time(limit: &TimeLimit) -> String {
    let what = words::capital(&limit.what);
    let minutes = limit
        .minutes
        .map(|m| words::duration_words(chrono::TimeDelta::minutes(i64::from(m))));
    match (limit.kind, minutes) {
        (LimitKind::AtOnce, _) => format!("{what}: without delay."),
        (LimitKind::AtLeast, Some(m)) => format!("{what}: at least {m}."),
        (LimitKind::AtMost, Some(m)) => format!("{what}: within {m}."),
        (_, None) => format!("{what}."),
    }
}

/// The cautions of several lists, each once, in order.
#[must_use]
pub fn cautions<'a>(lists: impl IntoIterator<Item = &'a Caution>) -> Vec<CautionWords> {
    let mut seen = BTreeSet::new();
    lists
        .into_iter()
        .filter(|c| seen.insert(c.id.as_str()))
        .map(CautionWords::from)
        .collect()
}
