//! What a recovered thing must be packed in.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fitting::{self, TOO_SMALL};
use super::times::TimeLimit;
use super::{Container, KeepingRules, Property, Reason};
use crate::lifting::{Caution, Form, Medium, SubstrateClass};

/// What is known of the thing, beside its medium.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Facts {
    /// Not dry yet.
    pub wet: bool,
    /// Blood, saliva or anything else of a body is on it or in it.
    pub biological: bool,
    /// Breaks or crumbles easily.
    pub fragile: bool,
    /// Has a point or an edge that cuts.
    pub sharp: bool,
    /// Bears a mark of friction ridges that is not lifted from it: a thing collected for its latent prints.
    pub ridge: bool,
    /// Length, width and height in millimetres, any order.
    pub size_mm: Option<[u32; 3]>,
    /// The class of the surface, for a collected object.
    pub surface: Option<SubstrateClass>,
}

/// A fact that a rule asks for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum When {
    /// Not dry yet.
    Wet,
    /// Dry.
    Dry,
    /// Of a body.
    Biological,
    /// Fragile.
    Fragile,
    /// Sharp.
    Sharp,
    /// Bears a mark of friction ridges.
    Ridge,
}

impl When {
    /// Whether the facts have it.
    #[must_use]
    pub fn holds(self, facts: &Facts) -> bool {
        match self {
            Self::Wet => facts.wet,
            Self::Dry => !facts.wet,
            Self::Biological => facts.biological,
            Self::Fragile => facts.fragile,
            Self::Sharp => facts.sharp,
            Self::Ridge => facts.ridge,
        }
    }
}

/// A packing rule. It applies where every selector that is given matches; a rule without a medium or a form applies to
/// everything but an image.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct PackingRule {
    /// Stable identifier, kebab-case.
    pub id: String,
    /// Where the rule comes from.
    pub source: String,
    /// What it says.
    pub sentence: String,
    /// Selector: media.
    pub media: Vec<String>,
    /// Selector: forms.
    pub forms: Vec<Form>,
    /// Selector: classes of surface.
    pub surfaces: Vec<SubstrateClass>,
    /// Selector: facts, all of which must hold.
    pub when: Vec<When>,
    /// Only these containers.
    pub one_of: Vec<String>,
    /// Only containers with all these properties.
    pub must_be: Vec<Property>,
    /// Never these containers.
    pub must_not: Vec<String>,
    /// Never a container with one of these properties.
    pub must_not_be: Vec<Property>,
    /// Whether what is forbidden stays forbidden for a package around the package.
    pub outer: bool,
    /// Whether the thing is packed by itself.
    pub alone: bool,
    /// What the label must carry.
    pub labels: Vec<String>,
    /// Drying time.
    pub drying: Option<TimeLimit>,
    /// Any other time.
    pub limit: Option<TimeLimit>,
    /// Millimetres that stay free on every side of it in a box of fixed size.
    pub clearance_mm: Option<u32>,
    /// Cautions by identifier.
    pub cautions: Vec<String>,
}

impl PackingRule {
    /// Whether the rule applies.
    #[must_use]
    pub fn applies(&self, medium: &Medium, facts: &Facts) -> bool {
        selects(&self.media, &self.forms, medium)
            && (self.surfaces.is_empty()
                || facts.surface.is_some_and(|s| self.surfaces.contains(&s)))
            && self.when.iter().all(|w| w.holds(facts))
    }

    /// Why the rule shuts a container out, if it does.
    fn excludes(&self, container: &Container) -> Option<String> {
        let name = &container.name;
        if self.must_not.contains(&container.id) {
            return Some(format!("{} A {name} is not to be used.", self.sentence));
        }
        if let Some(p) = self.must_not_be.iter().find(|p| container.is(**p)) {
            return Some(format!("{} A {name} is {}.", self.sentence, p.word()));
        }
        if !self.one_of.is_empty() && !self.one_of.contains(&container.id) {
            return Some(format!(
                "{} A {name} is not one of the containers for it.",
                self.sentence
            ));
        }
        if let Some(p) = self.must_be.iter().find(|p| !container.is(**p)) {
            return Some(format!("{} A {name} is not {}.", self.sentence, p.word()));
        }
        None
    }

    /// Whether what shuts the container out is a prohibition, which an outer package can break too.
    fn prohibits(&self, container: &Container) -> bool {
        self.must_not.contains(&container.id) || self.must_not_be.iter().any(|p| container.is(*p))
    }
}

/// Whether selectors by medium and form match; an image is matched only by name.
#[must_use]
pub fn selects(media: &[String], forms: &[Form], medium: &Medium) -> bool {
    if media.is_empty() && forms.is_empty() {
        return medium.form != Form::Image;
    }
    media.contains(&medium.id) || forms.contains(&medium.form)
}

/// A container that is shut out, and by which rule.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Forbidden {
    /// The container's identifier.
    pub container: String,
    /// The rule.
    pub rule: String,
    /// Why, of this container.
    pub sentence: String,
    /// Whether it stays forbidden around the package, too.
    pub outer: bool,
}

/// Something the label must carry.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Label {
    /// The words or the element.
    pub text: String,
    /// The rule that asks for it.
    pub rule: String,
}

/// Room that a rule asks for around a thing.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Clearance {
    /// Millimetres on every side.
    pub mm: u32,
    /// The rule that asks for it.
    pub rule: String,
}

/// Rules that cannot all be kept at once.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Conflict {
    /// The rules, sorted.
    pub rules: Vec<String>,
    /// What does not go together, and the next step.
    pub sentence: String,
}

/// What a thing, or the contents of a package, must be packed in.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Requirement {
    /// One of these; empty where any container will do that is not forbidden.
    pub must_one_of: Vec<String>,
    /// None of these.
    pub must_not: Vec<Forbidden>,
    /// Rules by which it is packed by itself.
    pub alone: Vec<String>,
    /// What the label must carry.
    pub labels: Vec<Label>,
    /// Drying times.
    pub drying: Vec<TimeLimit>,
    /// Other times.
    pub limits: Vec<TimeLimit>,
    /// Room around it in a box of fixed size.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub clearances: Vec<Clearance>,
    /// Cautions for whoever packs it.
    pub cautions: Vec<Caution>,
    /// Every rule that applies, with what it says and where it comes from.
    pub reasons: Vec<Reason>,
    /// Rules that cannot all be kept.
    pub conflicts: Vec<Conflict>,
}

/// What a medium, given the facts, must be packed in. An image asks for nothing.
#[must_use]
pub fn requirement(rules: &KeepingRules, medium: &Medium, facts: &Facts) -> Requirement {
    let mut req = Requirement::default();
    let mut asks = false;
    for rule in rules.packing.iter().filter(|r| r.applies(medium, facts)) {
        asks |= !rule.one_of.is_empty() || !rule.must_be.is_empty();
        for container in &rules.containers {
            if let Some(sentence) = rule.excludes(container) {
                req.must_not.push(Forbidden {
                    container: container.id.clone(),
                    rule: rule.id.clone(),
                    sentence,
                    outer: rule.outer && rule.prohibits(container),
                });
            }
        }
        if rule.alone {
            req.alone.push(rule.id.clone());
        }
        req.labels.extend(rule.labels.iter().map(|text| Label {
            text: text.clone(),
            rule: rule.id.clone(),
        }));
        let named = |limit: &TimeLimit| TimeLimit {
            rule: rule.id.clone(),
            ..limit.clone()
        };
        req.drying.extend(rule.drying.as_ref().map(named));
        req.limits.extend(rule.limit.as_ref().map(named));
        req.clearances.extend(rule.clearance_mm.map(|mm| Clearance {
            mm,
            rule: rule.id.clone(),
        }));
        req.cautions.extend(
            rules
                .cautions
                .iter()
                .filter(|c| rule.cautions.contains(&c.id))
                .cloned(),
        );
        req.reasons.push(Reason {
            rule: rule.id.clone(),
            sentence: rule.sentence.clone(),
            next: String::new(),
            source: rule.source.clone(),
        });
    }
    let by_rules: Vec<&Container> = rules
        .containers
        .iter()
        .filter(|c| !req.must_not.iter().any(|f| f.container == c.id))
        .collect();
    let clearance = req.clearance_mm();
    let too_small = |c: &Container| {
        let (size, inner) = (facts.size_mm?, c.inner_mm?);
        fitting::goes_in(&[size], inner, clearance).err()
    };
    let mut fitting: Vec<&Container> = Vec::new();
    for container in by_rules {
        // An image has no sides.
        match too_small(container).filter(|_| medium.form != Form::Image) {
            None => fitting.push(container),
            Some(why) => req.must_not.push(Forbidden {
                container: container.id.clone(),
                rule: TOO_SMALL.into(),
                sentence: format!("A {} is too small. {}", container.name, why.sentence),
                outer: false,
            }),
        }
    }
    if req.must_not.iter().any(|f| f.rule == TOO_SMALL) {
        asks = true;
        req.reasons.push(Reason {
            rule: TOO_SMALL.into(),
            sentence: "A container must be large enough inside.".into(),
            next: String::new(),
            source: "geometry, turned by right angles only".into(),
        });
    }
    if asks {
        req.must_one_of = fitting.iter().map(|c| c.id.clone()).collect();
        if req.must_one_of.is_empty() {
            req.conflicts
                .push(no_container(req.must_not.iter().map(|f| f.rule.clone())));
        }
    }
    req.tidy();
    req
}

/// The rule that names a container the requirement does not list.
pub const NOT_LISTED: &str = "container-not-listed";
/// The rule that names rules which cannot all be kept.
pub const CONFLICT: &str = "packing-conflict";

pub(super) fn no_container(rules: impl Iterator<Item = String>) -> Conflict {
    let mut rules: Vec<String> = rules.collect();
    rules.sort();
    rules.dedup();
    Conflict {
        sentence: "No container on the list keeps all these rules. Pack the things apart; what no container suits is handed over or stored unpacked, with the reason on the record."
            .into(),
        rules,
    }
}

impl Requirement {
    /// Sorts and removes what is there twice, so that equal requirements are equal texts. The list of containers keeps
    /// the order of the rules' list.
    pub(super) fn tidy(&mut self) {
        self.must_not.sort();
        self.must_not.dedup();
        self.alone.sort();
        self.alone.dedup();
        self.labels.sort();
        self.labels.dedup();
        self.drying.sort();
        self.drying.dedup();
        self.limits.sort();
        self.limits.dedup();
        self.clearances.sort();
        self.clearances.dedup();
        self.cautions.sort_by(|a, b| a.id.cmp(&b.id));
        self.cautions.dedup();
        self.reasons.sort();
        self.reasons.dedup();
        self.conflicts.sort();
        self.conflicts.dedup();
    }

    /// The room that must stay free on every side, in millimetres: the most that a rule asks for.
    #[must_use]
    pub fn clearance_mm(&self) -> u32 {
        self.clearances.iter().map(|c| c.mm).max().unwrap_or(0)
    }

    /// The source of a rule that applies; empty where the rule is not among the reasons.
    #[must_use]
    pub fn source_of(&self, rule: &str) -> &str {
        self.reasons
            .iter()
            .find(|r| r.rule == rule)
            .map_or("", |r| r.source.as_str())
    }
}

/// Whether the container may be used.
///
/// # Errors
/// The reason why not: a rule that forbids it, a conflict of rules, or a container that the list does not have.
pub fn allows_container(req: &Requirement, container: &str) -> Result<(), Reason> {
    allows(req, container, false)
}

/// Whether a box whose inside is measured may be used, as far as its kind goes: what the list of containers takes its
/// inside to be is then no reason. Whether it is large enough, [`fitting::goes_in`] says.
///
/// # Errors
/// As [`allows_container`].
pub fn allows_kind(req: &Requirement, container: &str) -> Result<(), Reason> {
    allows(req, container, true)
}

fn allows(req: &Requirement, container: &str, measured: bool) -> Result<(), Reason> {
    let instead = if req.must_one_of.is_empty() {
        "Choose another container.".to_owned()
    } else {
        format!("Use one of these: {}.", req.must_one_of.join(", "))
    };
    let too_small = |rule: &String| rule == TOO_SMALL;
    let mut against = req.must_not.iter().filter(|f| f.container == container);
    if let Some(f) = against.clone().find(|f| !(measured && too_small(&f.rule))) {
        return Err(Reason {
            rule: f.rule.clone(),
            sentence: f.sentence.clone(),
            next: instead,
            source: req.source_of(&f.rule).to_owned(),
        });
    }
    // Nothing speaks against it but the inside that the list takes it to have.
    if against.next().is_some() {
        return Ok(());
    }
    let counts = |c: &&Conflict| !(measured && c.rules.iter().any(too_small));
    if let Some(conflict) = req.conflicts.iter().find(counts) {
        return Err(Reason {
            rule: CONFLICT.into(),
            sentence: format!("Rules do not go together: {}.", conflict.rules.join(", ")),
            next: conflict.sentence.clone(),
            source: "the rules named".into(),
        });
    }
    if !req.must_one_of.is_empty() && !req.must_one_of.iter().any(|c| c == container) {
        return Err(Reason {
            rule: NOT_LISTED.into(),
            sentence: format!("\"{container}\" is not on the list of containers for this thing."),
            next: instead,
            source: "the list made when the thing was recovered".into(),
        });
    }
    Ok(())
}
