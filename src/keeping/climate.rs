//! Climate classes of storage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A climate class. Temperatures are tenths of a degree Celsius, so that they stay integers; humidity is per cent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Climate {
    /// Stable identifier, kebab-case.
    pub id: String,
    /// Where the class comes from.
    pub source: String,
    /// Its plain name.
    pub name: String,
    /// What it is.
    pub description: String,
    /// Lowest temperature, tenths of a degree Celsius.
    #[serde(default)]
    pub min_tenths_c: Option<i32>,
    /// Highest temperature, tenths of a degree Celsius.
    #[serde(default)]
    pub max_tenths_c: Option<i32>,
    /// Relative humidity stays below this, per cent.
    #[serde(default)]
    pub humidity_below: Option<u8>,
    /// True where the figures are remembered and have not been read in the source.
    pub from_memory: bool,
}

impl Climate {
    /// Whether everything kept in it freezes.
    #[must_use]
    pub fn freezes(&self) -> bool {
        self.max_tenths_c.is_some_and(|max| max <= 0)
    }

    /// Whether a measurement lies within the class. A class without figures holds everything.
    #[must_use]
    pub fn holds(&self, tenths_c: i32, humidity: Option<u8>) -> bool {
        self.min_tenths_c.is_none_or(|min| tenths_c >= min)
            && self.max_tenths_c.is_none_or(|max| tenths_c <= max)
            && match (self.humidity_below, humidity) {
                (Some(below), Some(measured)) => measured < below,
                _ => true,
            }
    }
}
