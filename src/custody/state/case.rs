//! A case and its scenes, as the events left them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::custody::expungement::Expunged;
use crate::custody::hold::Hold;
use crate::ids::{CaseId, ItemId, PersonId, SceneId};

/// A scene of a case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Scene {
    /// Identifier.
    pub id: SceneId,
    /// Short name.
    pub name: String,
    /// Address or description of the place.
    pub address: String,
}

/// A case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Case {
    /// Identifier.
    pub id: CaseId,
    /// The agency's case number.
    pub number: String,
    /// Title.
    pub title: String,
    /// Offence.
    pub offence: String,
    /// Who opened it.
    pub opened_by: Option<PersonId>,
    /// When.
    pub opened_at: DateTime<FixedOffset>,
    /// Whether only those assigned may see it.
    pub restricted: bool,
    /// Who is assigned.
    pub assigned: BTreeSet<PersonId>,
    /// Scenes, in the order in which they were opened.
    pub scenes: Vec<Scene>,
    /// How many marks, items and packages were numbered so far.
    pub marks: u32,
    /// Items numbered so far.
    pub items: u32,
    /// Packages numbered so far.
    pub packages: u32,
    /// Every hold that was ever placed on the whole case.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<Hold>,
    /// How long its evidence is kept, once somebody has said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retention: Option<crate::custody::retention::Retention>,
    /// Exhibit numbers that an item of it has or had, as they are compared.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub exhibits: BTreeMap<String, ItemId>,
    /// The hand-over sheets that were printed of it, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sheets: Vec<crate::custody::sheet::PaperSheet>,
    /// Every order to expunge that was put on the record.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub expungements: Vec<crate::custody::expungement::Expungement>,
    /// That the whole case was expunged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expunged: Option<Expunged>,
}

impl Case {
    /// Whether this person may see the case: anybody with the role while it is open to all, only those assigned once it
    /// is restricted.
    #[must_use]
    pub fn seen_by(&self, person: Option<PersonId>) -> bool {
        !self.restricted || person.is_none_or(|p| self.assigned.contains(&p))
    }
}
