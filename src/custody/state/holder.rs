//! Who or what has a thing.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::custody::disposition::Method;
use crate::ids::{PersonId, PlaceId, Subject};

/// Who has a thing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Holder {
    /// A person with an account.
    Person {
        /// Who.
        person: PersonId,
    },
    /// A place in the storeroom.
    Place {
        /// Where.
        place: PlaceId,
    },
    /// Somebody without an account.
    Outside {
        /// Name.
        name: String,
        /// Organisation.
        organisation: String,
    },
    /// Nobody any more: it was disposed of.
    Disposed {
        /// How it ended.
        method: Method,
    },
}

impl Holder {
    /// The place, where it stands in one.
    #[must_use]
    pub fn place(&self) -> Option<PlaceId> {
        match self {
            Self::Place { place } => Some(*place),
            _ => None,
        }
    }

    /// `person:…`, `place:…` or `outside`, as an index column holds it.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::Person { person } => Subject::Person(*person).to_string(),
            Self::Place { place } => Subject::Place(*place).to_string(),
            Self::Outside { .. } => "outside".into(),
            Self::Disposed { .. } => "disposed".into(),
        }
    }
}
