//! A place, as the events left it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::ids::{Code, PlaceId};
use crate::keeping::StockLine;

/// A place in the storeroom.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Place {
    /// Identifier.
    pub id: PlaceId,
    /// The code on its label.
    pub code: Code,
    /// What was added.
    pub added: crate::custody::place::PlaceAdded,
    /// The boxes in stock there, by kind.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stock: Vec<StockLine>,
    /// The ranges of seals that were delivered there, in the order in which they came.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub seals: Vec<crate::custody::seal_stock::SealRange>,
    /// What loggers there have shown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub climate_log: Option<Box<crate::custody::climate_log::ClimateLog>>,
    /// How many packages and loose items it takes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub capacity: Option<u32>,
    /// That two people are needed there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub two_person: Option<crate::custody::two_person::TwoPerson>,
    /// How many packages and loose items stand there, those in the places in it left out.
    #[serde(default, skip_serializing_if = "crate::custody::capacity::is_none")]
    pub standing: u32,
    /// What stands there and in the places in it.
    #[serde(
        default,
        skip_serializing_if = "crate::custody::capacity::Fill::is_empty"
    )]
    pub fill: crate::custody::capacity::Fill,
}
