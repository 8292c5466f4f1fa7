//! What an examiner finds a picture worth for comparison. Comparison itself is no part of this program.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The value of a picture for comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Value {
    /// Of value.
    Value,
    /// Of limited value.
    Limited,
    /// Of no value.
    NoValue,
}

impl Value {
    /// All, best first.
    pub const ALL: [Self; 3] = [Self::Value, Self::Limited, Self::NoValue];

    /// The word in commands and forms.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Value => "value",
            Self::Limited => "limited",
            Self::NoValue => "no-value",
        }
    }

    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Value => "of value for comparison",
            Self::Limited => "of limited value for comparison",
            Self::NoValue => "of no value for comparison",
        }
    }
}
