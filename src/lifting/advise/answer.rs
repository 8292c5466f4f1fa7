//! What comes back: the media in order with reasons, what is excluded and why, and what each choice brings with it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::checklist::CheckStep;
use super::question::KitLot;
use crate::lifting::contrast::Ground;
use crate::lifting::handedness::Reading;
use crate::lifting::medium::SetWindow;

/// A reason: the rule, what it says, where it comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Why {
    /// The rule's identifier.
    pub rule: String,
    /// What it says.
    pub sentence: String,
    /// Where it comes from.
    pub source: String,
}

/// What follows from a choice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Consequences {
    /// How it is usually looked at.
    pub view: String,
    /// How its image reads then: left and right, depth, tone, and why.
    pub reading: Reading,
    /// How long it sets.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set: Option<SetWindow>,
    /// The card that contrasts, where there is a card and the tone is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub card: Option<Ground>,
}

/// A medium that can be used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Ranked {
    /// Medium.
    pub medium: String,
    /// Its name.
    pub name: String,
    /// Whether the medium's own entry names this surface among those that it suits.
    pub suited: bool,
    /// What the order goes by: the higher the better. The weights are our assumption.
    pub score: i32,
    /// What speaks for it.
    pub reasons: Vec<Why>,
    /// What speaks against it.
    pub against: Vec<Why>,
    /// The lots in the kit that may be used, the one that expires first before the others.
    pub lots: Vec<KitLot>,
    /// What follows from it.
    pub consequences: Consequences,
    /// What to do, in order.
    pub steps: Vec<CheckStep>,
}

/// A medium that is not advised.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Excluded {
    /// Medium.
    pub medium: String,
    /// Its name.
    pub name: String,
    /// Every rule that excludes it.
    pub reasons: Vec<Why>,
}

/// Why nothing can be taken away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NothingCode {
    /// The kit is empty.
    KitEmpty,
    /// What would do is in the kit and has expired.
    KitExpired,
    /// What would do is not in the kit.
    KitLacks,
    /// The surface is wet.
    WetSurface,
    /// Nothing takes such a mark off such a surface.
    PhotographOnly,
}

/// Nothing can be taken away: the reason, and what is left to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Nothing {
    /// The reason.
    pub code: NothingCode,
    /// The same in a sentence.
    pub sentence: String,
    /// What to do.
    pub next: String,
}

/// Advice. It never decides: any medium may be chosen.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Advice {
    /// What comes before everything else: the photograph.
    pub first: Vec<CheckStep>,
    /// What takes the mark away, the best first. The photograph alone is not among them: it is always possible.
    pub ranked: Vec<Ranked>,
    /// What is not advised, in the order of the data.
    pub excluded: Vec<Excluded>,
    /// Why nothing can be taken away, where nothing can.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nothing: Option<Nothing>,
    /// What should be known besides.
    pub notes: Vec<Why>,
}

impl Advice {
    /// A medium's place among those that can be used, from 1.
    #[must_use]
    pub fn place(&self, medium: &str) -> Option<usize> {
        self.ranked
            .iter()
            .position(|r| r.medium == medium)
            .map(|i| i + 1)
    }

    /// Why a medium is not advised.
    #[must_use]
    pub fn exclusion(&self, medium: &str) -> Option<&Excluded> {
        self.excluded.iter().find(|e| e.medium == medium)
    }
}
