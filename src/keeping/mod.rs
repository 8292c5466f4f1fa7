//! Keeping is physical: packaging, shelves, climate.
//!
//! Reading order: [`container`], [`climate`], [`fitting`] (boxes and sizes), [`times`] (drying, and what is done at once),
//! [`packaging`] (what a thing must be packed in), [`choosing`] (containers judged, the best first), [`storing`] (where it
//! may be put), [`needs`] (both together, derived once at recovery and stored with the item). Everything that a decision
//! about custody asks is answered from [`KeepNeeds`] and [`PlaceFacts`] alone, without the rules. Apart from these,
//! [`excursion`]: when a place was outside its class, and which stays that concerns; and
//! [`sampling`]: how large a sample of a place shows that something is missing, and which things are in it.

pub mod choosing;
pub mod climate;
pub mod container;
pub mod excursion;
pub mod fitting;
pub mod needs;
pub mod packaging;
pub mod sampling;
pub mod storing;
pub mod times;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use climate::Climate;
pub use container::{Container, Property};
pub use excursion::{Excursion, Exposure, Reading};
pub use fitting::StockLine;
pub use needs::{Joined, KeepNeeds};
pub use packaging::{
    Clearance, Conflict, Facts, Forbidden, Label, PackingRule, Requirement, When, allows_container,
    requirement,
};
pub use storing::{NeedKind, PlaceFacts, PlaceNeed, PlaceRule, allows_place};
pub use times::{LimitKind, Met, Moments, Stand, TimeLimit};

use crate::lifting::Caution;

/// Why something is asked for or refused: the rule, what it says, what to do next, and where it comes from.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    /// The rule's identifier.
    pub rule: String,
    /// What it says of this thing.
    pub sentence: String,
    /// The next step; empty where the reason asks for nothing.
    pub next: String,
    /// Where the rule comes from.
    pub source: String,
}

/// The rules of keeping, as loaded.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct KeepingRules {
    /// Containers.
    pub containers: Vec<Container>,
    /// Climate classes.
    pub climates: Vec<Climate>,
    /// Packing rules.
    pub packing: Vec<PackingRule>,
    /// Place rules.
    pub places: Vec<PlaceRule>,
    /// Cautions that rules name.
    pub cautions: Vec<Caution>,
}

impl KeepingRules {
    /// A container by its identifier.
    #[must_use]
    pub fn container(&self, id: &str) -> Option<&Container> {
        self.containers.iter().find(|c| c.id == id)
    }

    /// A climate class by its identifier.
    #[must_use]
    pub fn climate(&self, id: &str) -> Option<&Climate> {
        self.climates.iter().find(|c| c.id == id)
    }
}
