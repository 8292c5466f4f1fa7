//! What things are packed in.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a container is good for or made of, as far as rules ask.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Property {
    /// Keeps its shape.
    Rigid,
    /// Lets moisture out.
    Breathable,
    /// Clean inside and closed against dust.
    DustFree,
    /// Stops a point or an edge.
    PunctureResistant,
    /// Closed against air and liquid.
    Airtight,
    /// Holds a flat thing flat.
    KeepsFlat,
    /// Plastic.
    Plastic,
    /// Glass.
    Glass,
}

impl Property {
    /// The property as an adjective.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Rigid => "rigid",
            Self::Breathable => "breathable",
            Self::DustFree => "dust-free",
            Self::PunctureResistant => "puncture-resistant",
            Self::Airtight => "airtight",
            Self::KeepsFlat => "flat",
            Self::Plastic => "plastic",
            Self::Glass => "glass",
        }
    }
}

/// A kind of container.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Container {
    /// Stable identifier, kebab-case.
    pub id: String,
    /// Where the entry comes from.
    pub source: String,
    /// Its plain name.
    pub name: String,
    /// What it is and how it is used.
    pub description: String,
    /// Its properties.
    pub properties: Vec<Property>,
    /// Inside length, width and height in millimetres, where they are fixed.
    #[serde(default)]
    pub inner_mm: Option<[u32; 3]>,
}

impl Container {
    /// Whether it has the property.
    #[must_use]
    pub fn is(&self, property: Property) -> bool {
        self.properties.contains(&property)
    }
}
