//! Where a thing may be put.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{
    KeepNeeds, KeepingRules, Reason,
    packaging::{Facts, When, selects},
};
use crate::lifting::{Form, Medium};

/// What a thing asks of its place.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum NeedKind {
    /// One of the named climate classes.
    ClimateOneOf,
    /// Never frozen; the classes that freeze are named.
    NotFrozen,
    /// Not damp.
    NotDamp,
    /// Not hot.
    NotHot,
    /// Not in direct or strong light.
    NotLit,
    /// Not dusty.
    NotDusty,
    /// Lying flat.
    Flat,
    /// Nothing stacked on it.
    NotUnderLoad,
    /// In a place marked for biological hazards.
    BiohazardPlace,
}

impl NeedKind {
    fn next(self, climates: &[String]) -> String {
        let choose = match self {
            Self::ClimateOneOf => {
                return format!(
                    "Choose a place with one of these climate classes: {}.",
                    climates.join(", ")
                );
            }
            Self::NotFrozen => "that does not freeze",
            Self::NotDamp => "that is dry",
            Self::NotHot => "that is cool",
            Self::NotLit => "that is dark",
            Self::NotDusty => "that is free of dust",
            Self::Flat => "where it can lie flat",
            Self::NotUnderLoad => "where nothing is stacked on it",
            Self::BiohazardPlace => "marked for biological hazards",
        };
        format!("Choose a place {choose}.")
    }
}

/// A place rule. Selectors work as in a packing rule; a rule for containers applies to a package and not to a medium.
#[derive(Clone, Debug, Serialize, Deserialize, PartialEq, Eq, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlaceRule {
    /// Stable identifier, kebab-case.
    pub id: String,
    /// Where the rule comes from.
    pub source: String,
    /// What it says.
    pub sentence: String,
    /// What it asks.
    pub need: NeedKind,
    /// Climate classes, for a rule that names them.
    #[serde(default)]
    pub climates: Vec<String>,
    /// Selector: media.
    #[serde(default)]
    pub media: Vec<String>,
    /// Selector: forms.
    #[serde(default)]
    pub forms: Vec<Form>,
    /// Selector: facts, all of which must hold.
    #[serde(default)]
    pub when: Vec<When>,
    /// Selector: containers.
    #[serde(default)]
    pub containers: Vec<String>,
}

/// What a place is. The default is an ordinary shelf whose climate class nobody has recorded.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct PlaceFacts {
    /// Identifier of its climate class.
    pub climate: Option<String>,
    /// Freezes, or may freeze.
    pub freezing: bool,
    /// Damp.
    pub damp: bool,
    /// Hot, or near something hot.
    pub hot: bool,
    /// In direct or strong light.
    pub light: bool,
    /// Dusty.
    pub dusty: bool,
    /// Things stand on edge.
    pub on_edge: bool,
    /// Things are stacked.
    pub stacked: bool,
    /// Marked for biological hazards.
    pub biohazard: bool,
}

/// One thing asked of a place, with all that is needed to judge and to say why.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlaceNeed {
    /// The rule.
    pub rule: String,
    /// What it asks.
    pub kind: NeedKind,
    /// The climate classes it names: those allowed, or those that freeze.
    pub climates: Vec<String>,
    /// What it says.
    pub sentence: String,
    /// Where it comes from.
    pub source: String,
}

impl PlaceNeed {
    fn of(rules: &KeepingRules, rule: &PlaceRule) -> Self {
        let climates = match rule.need {
            // Resolved here, so that a place which gives only its class is judged rightly later, without the rules.
            NeedKind::NotFrozen => rules
                .climates
                .iter()
                .filter(|c| c.freezes())
                .map(|c| c.id.clone())
                .collect(),
            _ => rule.climates.clone(),
        };
        Self {
            rule: rule.id.clone(),
            kind: rule.need,
            climates,
            sentence: rule.sentence.clone(),
            source: rule.source.clone(),
        }
    }

    /// What speaks against the place, as the end of a sentence.
    fn against(&self, place: &PlaceFacts) -> Option<String> {
        let class_named = || place.climate.as_ref().filter(|c| self.climates.contains(c));
        let said = |yes: bool, what: &str| yes.then(|| what.to_owned());
        match self.kind {
            NeedKind::ClimateOneOf => match &place.climate {
                None => Some("The place has no recorded climate class.".into()),
                Some(class) if !self.climates.contains(class) => {
                    Some(format!("The place is of the class {class}."))
                }
                Some(_) => None,
            },
            NeedKind::NotFrozen => class_named()
                .map(|c| format!("The place is of the class {c}, which freezes."))
                .or_else(|| said(place.freezing, "The place can freeze.")),
            NeedKind::NotDamp => said(place.damp, "The place is damp."),
            NeedKind::NotHot => said(place.hot, "The place is hot."),
            NeedKind::NotLit => said(place.light, "The place is in strong light."),
            NeedKind::NotDusty => said(place.dusty, "The place is dusty."),
            NeedKind::Flat => said(place.on_edge, "Things stand on edge there."),
            NeedKind::NotUnderLoad => said(place.stacked, "Things are stacked there."),
            NeedKind::BiohazardPlace => said(
                !place.biohazard,
                "The place is not marked for biological hazards.",
            ),
        }
    }
}

/// What a medium, given the facts, asks of its place. An image asks for nothing.
#[must_use]
pub fn place_needs(rules: &KeepingRules, medium: &Medium, facts: &Facts) -> Vec<PlaceNeed> {
    let mut needs: Vec<PlaceNeed> = rules
        .places
        .iter()
        .filter(|r| r.containers.is_empty() && selects(&r.media, &r.forms, medium))
        .filter(|r| r.when.iter().all(|w| w.holds(facts)))
        .map(|r| PlaceNeed::of(rules, r))
        .collect();
    needs.sort();
    needs.dedup();
    needs
}

/// What a container itself asks of a place, whatever is in it.
#[must_use]
pub fn container_place_needs(rules: &KeepingRules, container: &str) -> Vec<PlaceNeed> {
    let mut needs: Vec<PlaceNeed> = rules
        .places
        .iter()
        .filter(|r| r.containers.iter().any(|c| c == container))
        .map(|r| PlaceNeed::of(rules, r))
        .collect();
    needs.sort();
    needs
}

/// Whether the place may hold what has these needs.
///
/// # Errors
/// Every reason why not, in the order of the needs.
pub fn allows_place(needs: &KeepNeeds, place: &PlaceFacts) -> Result<(), Vec<Reason>> {
    let reasons: Vec<Reason> = needs
        .place
        .iter()
        .filter_map(|need| {
            need.against(place).map(|against| Reason {
                rule: need.rule.clone(),
                sentence: format!("{} {against}", need.sentence),
                next: need.kind.next(&need.climates),
                source: need.source.clone(),
            })
        })
        .collect();
    if reasons.is_empty() {
        Ok(())
    } else {
        Err(reasons)
    }
}
