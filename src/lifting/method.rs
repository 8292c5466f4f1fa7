//! Development: how a latent mark was made visible.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::handedness::Step;

/// How the ridges of a developed mark stand against their ground.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum MarkTone {
    /// Ridges darker than the ground.
    Dark,
    /// Ridges lighter than the ground.
    Light,
    /// Ridges glow under the right light.
    Fluorescent,
    /// Depends on how it was done or lit: whoever makes the image says which.
    Varies,
}

impl MarkTone {
    /// The step that this tone adds to the chain of an image.
    #[must_use]
    pub fn step(self) -> Step {
        match self {
            Self::Dark => Step::DarkPowder,
            Self::Light => Step::LightPowder,
            Self::Fluorescent => Step::Fluorescent,
            Self::Varies => Step::ToneUnknown,
        }
    }
}

/// A processing method of ANSI/NIST-ITL field 9.352.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Method {
    /// The three-character code.
    pub id: String,
    /// Where the code was read.
    pub source: String,
    /// What it stands for.
    pub name: String,
    /// The usual tone of a mark so developed.
    pub tone: MarkTone,
    /// Where the tone comes from.
    pub tone_source: String,
    /// Cautions by identifier; empty where the method itself brings no hazard.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// Something a reader of the code should know.
    #[serde(default)]
    pub note: Option<String>,
}
