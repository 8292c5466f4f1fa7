//! Advice beside a recovery: what was asked of the surface, and what was shown. It decides nothing.

use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::state::{Mark, Person};
use crate::lifting::advise::{Advice, KitLot, MarkAsked, Question, Surface};
use crate::lifting::surface::MarkDepth;

/// What is said of a surface at the recovery, beside what was noted of the mark.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct SurfaceSaid {
    /// The mark lies in a recess or runs into one.
    pub recess: bool,
    /// The surface is wet.
    pub wet: bool,
    /// It may come away or break.
    pub fragile: bool,
    /// The object, or the piece that bears the mark, can be taken away.
    pub collectable: bool,
    /// The mark is in dry dust.
    pub dusty: bool,
    /// Pressed in, raised, or neither, where it was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub depth: Option<MarkDepth>,
}

/// How a choice stands to the advice that was shown with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ChoiceStood {
    /// The first of the list.
    First,
    /// On the list, further down.
    Listed,
    /// Not advised.
    Excluded,
    /// On neither list: the photograph alone.
    Photograph,
}

impl ChoiceStood {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::First => "the first of what was advised",
            Self::Listed => "among what was advised",
            Self::Excluded => "not advised, and chosen all the same",
            Self::Photograph => "the photograph alone, which is always possible",
        }
    }
}

/// The advice that was shown, in short.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AdviceShown {
    /// The version of the trade rules that it was computed by.
    pub rules: String,
    /// What was asked of the surface, word by word: `wet`, `recess`; empty where nothing was said.
    pub said: Vec<String>,
    /// The media that were advised, the best first.
    pub ranked: Vec<String>,
    /// How the choice stood to it.
    pub choice: ChoiceStood,
    /// Why the chosen medium was not advised: a sentence for each rule.
    pub because: Vec<String>,
}

/// The question that a recovery from this mark asks. An empty kit has nothing to say: then every medium is at hand.
#[must_use]
pub fn question(
    mark: &Mark,
    said: &SurfaceSaid,
    person: Option<&Person>,
    date: NaiveDate,
    air_c: Option<i16>,
) -> Question {
    /// A word of the trade rules, where the mark's note has one.
    fn word<T: serde::de::DeserializeOwned>(text: &str) -> Option<T> {
        serde_json::from_value(serde_json::Value::String(text.to_owned())).ok()
    }
    let kit: Vec<KitLot> = person
        .map(|p| p.kit.iter().map(|e| e.as_lot()).collect())
        .unwrap_or_default();
    Question {
        surface: Surface {
            texture: word(&mark.noted.texture),
            curvature: word(&mark.noted.curvature),
            recess: said.recess,
            substrate: mark.noted.substrate.clone(),
            porosity: None,
            wet: said.wet,
            fragile: said.fragile,
            collectable: said.collectable,
            dusty: said.dusty,
        },
        mark: MarkAsked {
            kind: mark.noted.mark_kind,
            depth: said.depth,
            methods: mark.developments.iter().map(|d| d.method.clone()).collect(),
            tone: None,
        },
        kit: (!kit.is_empty()).then_some(kit),
        date: Some(date),
        air_c,
    }
}

impl SurfaceSaid {
    /// What was said, word by word.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        let depth = self.depth.map(|d| match d {
            MarkDepth::OnSurface => "on the surface",
            MarkDepth::Pressed => "pressed in",
            MarkDepth::Raised => "raised",
        });
        [
            (self.recess, "in a recess"),
            (self.wet, "wet"),
            (self.fragile, "fragile"),
            (self.collectable, "can be taken away"),
            (self.dusty, "in dry dust"),
        ]
        .into_iter()
        .filter(|(is, _)| *is)
        .map(|(_, word)| word)
        .chain(depth)
        .map(str::to_owned)
        .collect()
    }
}

/// The advice in short, beside the medium that was chosen.
#[must_use]
pub fn shown(rules: &str, said: &SurfaceSaid, advice: &Advice, medium: &str) -> AdviceShown {
    let excluded = advice.exclusion(medium);
    AdviceShown {
        rules: rules.to_owned(),
        said: said.words(),
        ranked: advice.ranked.iter().map(|r| r.medium.clone()).collect(),
        choice: match (advice.place(medium), excluded) {
            (Some(1), _) => ChoiceStood::First,
            (Some(_), _) => ChoiceStood::Listed,
            (None, Some(_)) => ChoiceStood::Excluded,
            (None, None) => ChoiceStood::Photograph,
        },
        because: excluded
            .map(|e| e.reasons.iter().map(|r| r.sentence.clone()).collect())
            .unwrap_or_default(),
    }
}
