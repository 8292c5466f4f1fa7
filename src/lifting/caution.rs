//! A caution: what can hurt someone, said where the step is taken.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One caution. It never replaces the safety data sheet, local rules or licensed practice: it names them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// Stable identifier, kebab-case.
    pub id: String,
    /// Where the caution comes from; "common practice, no source" or "from memory" where that is the truth.
    pub source: String,
    /// What can hurt, and the usual precaution.
    pub text: String,
    /// What it defers to, as a sentence of its own.
    pub defers_to: String,
}

impl Caution {
    /// The caution as it is shown: the text, then what it defers to.
    #[must_use]
    pub fn shown(&self) -> String {
        format!("{} {}", self.text, self.defers_to)
    }
}
