//! The steps of a medium as a checklist: each caution stands at the step where what it warns of is done.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Knowledge;
use crate::lifting::caution::Caution;
use crate::lifting::medium::{Form, Medium};

/// Where the cautions of a medium stand.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Checklist {
    /// The medium.
    pub id: String,
    /// Where it comes from.
    pub source: String,
    /// For each caution of the medium, the steps at which it stands, counted from 1.
    pub at: BTreeMap<String, Vec<usize>>,
}

/// A step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CheckStep {
    /// Its number, from 1.
    pub n: usize,
    /// What is done.
    pub text: String,
    /// What can hurt in it. Local rules and safety data sheets come first; each caution names those that it defers to.
    pub cautions: Vec<Caution>,
}

impl Checklist {
    /// Whether it fits its medium: every caution of the medium stands at a step that there is, and no other does.
    ///
    /// # Errors
    /// A sentence naming what does not fit.
    pub fn check(&self, medium: &Medium) -> Result<(), String> {
        for (caution, steps) in &self.at {
            if !medium.cautions.contains(caution) {
                return Err(format!("the medium names no caution \"{caution}\""));
            }
            if steps.is_empty() {
                return Err(format!("the caution \"{caution}\" stands at no step"));
            }
            if let Some(n) = steps.iter().find(|n| !(1..=medium.how.len()).contains(n)) {
                return Err(format!("the medium has no step {n}"));
            }
        }
        match medium.cautions.iter().find(|c| !self.at.contains_key(*c)) {
            Some(c) => Err(format!(
                "the caution \"{c}\" of the medium stands at no step"
            )),
            None => Ok(()),
        }
    }
}

/// Whether the steps of a medium begin with the photograph: nothing touches a mark that was not photographed. What is an
/// image needs no other.
///
/// # Errors
/// A sentence.
pub fn photograph_first(medium: &Medium) -> Result<(), String> {
    let first = medium.how.first().map_or("", String::as_str);
    if medium.form == Form::Image || first.starts_with("Photograph ") {
        Ok(())
    } else {
        Err("the first step is to photograph".into())
    }
}

/// The steps of a medium. Where the data does not say at which step its cautions stand (an agency's own medium), they all
/// stand at the first step after the photograph.
#[must_use]
pub fn steps(knowledge: &Knowledge<'_>, medium: &Medium) -> Vec<CheckStep> {
    let placed = knowledge
        .advice
        .checklists
        .iter()
        .find(|c| c.id == medium.id);
    let otherwise = if medium.how.len() > 1 { 2 } else { 1 };
    let stands = |caution: &String, n: usize| {
        placed
            .and_then(|c| c.at.get(caution))
            .map_or(n == otherwise, |at| at.contains(&n))
    };
    medium
        .how
        .iter()
        .enumerate()
        .map(|(i, text)| CheckStep {
            n: i + 1,
            text: text.clone(),
            cautions: medium
                .cautions
                .iter()
                .filter(|c| stands(c, i + 1))
                .filter_map(|c| knowledge.caution(c).cloned())
                .collect(),
        })
        .collect()
}
