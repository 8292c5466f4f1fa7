//! What a thing needs, packing and place together: derived once at recovery and stored with the item, so that a later
//! change of the rules does not change what was asked when it was recovered.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{
    KeepingRules, NeedKind, PlaceNeed, Requirement,
    packaging::{Conflict, Facts, no_container, requirement},
    storing::{container_place_needs, place_needs},
};
use crate::lifting::Medium;

/// The needs of a thing, or of a package.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct KeepNeeds {
    /// What it must be packed in.
    pub packing: Requirement,
    /// What it asks of its place.
    pub place: Vec<PlaceNeed>,
}

/// The needs of several things together, and what does not go together.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Joined {
    /// The union.
    pub needs: KeepNeeds,
    /// What does not go together. Also in the needs' packing, as far as packing is concerned.
    pub conflicts: Vec<Conflict>,
}

impl KeepNeeds {
    /// Derives the needs of a recovery.
    #[must_use]
    pub fn derive(rules: &KeepingRules, medium: &Medium, facts: &Facts) -> Self {
        Self {
            packing: requirement(rules, medium, facts),
            place: place_needs(rules, medium, facts),
        }
    }

    /// The needs of things that go into one container together: every prohibition, the containers that suit all of
    /// them, everything asked of the place, and a report of what does not go together.
    #[must_use]
    pub fn join<'a>(parts: impl IntoIterator<Item = &'a KeepNeeds>) -> Joined {
        let parts: Vec<&KeepNeeds> = parts.into_iter().collect();
        let mut all = KeepNeeds::default();
        let mut containers: Option<Vec<String>> = None;
        let mut conflicts: Vec<Conflict> = Vec::new();
        for part in &parts {
            let p = &part.packing;
            all.packing.must_not.extend(p.must_not.iter().cloned());
            all.packing.alone.extend(p.alone.iter().cloned());
            all.packing.labels.extend(p.labels.iter().cloned());
            all.packing.drying.extend(p.drying.iter().cloned());
            all.packing.limits.extend(p.limits.iter().cloned());
            all.packing.clearances.extend(p.clearances.iter().cloned());
            all.packing.cautions.extend(p.cautions.iter().cloned());
            all.packing.reasons.extend(p.reasons.iter().cloned());
            conflicts.extend(p.conflicts.iter().cloned());
            all.place.extend(part.place.iter().cloned());
            if !p.must_one_of.is_empty() {
                containers = Some(match containers {
                    None => p.must_one_of.clone(),
                    Some(so_far) => so_far
                        .into_iter()
                        .filter(|c| p.must_one_of.contains(c))
                        .collect(),
                });
            }
        }
        if let Some(list) = containers {
            let list: Vec<String> = list
                .into_iter()
                .filter(|c| !all.packing.must_not.iter().any(|f| f.container == *c))
                .collect();
            if list.is_empty() && parts.iter().all(|p| p.packing.conflicts.is_empty()) {
                conflicts.push(no_container(
                    all.packing.must_not.iter().map(|f| f.rule.clone()),
                ));
            }
            all.packing.must_one_of = list;
        }
        if parts.len() > 1 && !all.packing.alone.is_empty() {
            let mut rules = all.packing.alone.clone();
            rules.sort();
            rules.dedup();
            conflicts.push(Conflict {
                rules,
                sentence: "One of these things is to be packed by itself. Give it its own container; the containers may then go into one box.".into(),
            });
        }
        all.packing.conflicts.clone_from(&conflicts);
        all.packing.tidy();
        all.place.sort();
        all.place.dedup();
        conflicts.extend(climate_conflict(&all.place));
        conflicts.sort();
        conflicts.dedup();
        Joined {
            needs: all,
            conflicts,
        }
    }

    /// The needs of a package once its contents are in a container that they allow, as far as a package around it is
    /// concerned: what the container was asked for is met, what reaches through it stays, and the container's own
    /// needs are added.
    #[must_use]
    pub fn enclosed(&self, rules: &KeepingRules, container: &str) -> Self {
        let mut outside = self.enclosed_plain();
        outside
            .place
            .extend(container_place_needs(rules, container));
        outside.place.sort();
        outside.place.dedup();
        outside
    }

    /// As [`KeepNeeds::enclosed`], without the container's own needs: for a decision that has no rules at hand.
    #[must_use]
    pub fn enclosed_plain(&self) -> Self {
        let mut outside = self.clone();
        outside.packing.must_one_of.clear();
        outside.packing.must_not.retain(|f| f.outer);
        outside.packing.alone.clear();
        outside.packing.clearances.clear();
        outside.packing.conflicts.clear();
        outside
    }

    /// The same needs with the container's own place needs added.
    #[must_use]
    pub fn in_container(mut self, rules: &KeepingRules, container: &str) -> Self {
        self.place.extend(container_place_needs(rules, container));
        self.place.sort();
        self.place.dedup();
        self
    }
}

/// Whether no climate class can satisfy all the needs.
fn climate_conflict(place: &[PlaceNeed]) -> Option<Conflict> {
    let mut allowed: Option<Vec<&String>> = None;
    let mut rules: Vec<String> = Vec::new();
    for need in place.iter().filter(|n| n.kind == NeedKind::ClimateOneOf) {
        rules.push(need.rule.clone());
        allowed = Some(match allowed {
            None => need.climates.iter().collect(),
            Some(so_far) => so_far
                .into_iter()
                .filter(|c| need.climates.contains(c))
                .collect(),
        });
    }
    let mut allowed = allowed?;
    for need in place.iter().filter(|n| n.kind == NeedKind::NotFrozen) {
        let before = allowed.len();
        allowed.retain(|c| !need.climates.contains(c));
        if allowed.len() < before {
            rules.push(need.rule.clone());
        }
    }
    if !allowed.is_empty() {
        return None;
    }
    rules.sort();
    rules.dedup();
    Some(Conflict {
        rules,
        sentence: "No climate class keeps all these rules. Pack the things apart and store each in its own class.".into(),
    })
}
