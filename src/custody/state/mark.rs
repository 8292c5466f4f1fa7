//! A mark, as the events left it.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ImageRef;
use crate::custody::expungement::Expunged;
use crate::custody::finding::Answer;
use crate::ids::{CaseId, ItemId, MarkId, PersonId};

/// How a mark was developed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Development {
    /// Processing code of the open standard, three characters.
    pub method: String,
    /// Note.
    pub note: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
}

/// A mark on a surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mark {
    /// Identifier.
    pub id: MarkId,
    /// Case.
    pub case: CaseId,
    /// Number in the case: M1, M2 …
    pub number: u32,
    /// What was noted, as amended.
    pub noted: crate::custody::mark::MarkNoted,
    /// When it was noted.
    pub noted_at: DateTime<FixedOffset>,
    /// By whom.
    pub noted_by: Option<PersonId>,
    /// How it was developed, in order.
    pub developments: Vec<Development>,
    /// Photographs of the mark.
    pub images: Vec<ImageRef>,
    /// Items recovered from it.
    pub items: Vec<ItemId>,
    /// The answers that stand to its findings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answer>,
    /// That it was expunged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expunged: Option<Expunged>,
}
