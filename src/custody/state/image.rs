//! Pictures on the record of a mark or an item, and the copies made of them.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::ids::{Digest, PersonId};
use crate::imaging::recipe::Recipe;
use crate::imaging::resolution::Scale;

/// A photograph or scan: which bytes, and how it was taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ImageRef {
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// The file's name as it came.
    pub name: String,
    /// Media type.
    pub media_type: String,
    /// Bytes.
    pub bytes: u64,
    /// Width in pixels, where it could be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<u32>,
    /// Height in pixels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height: Option<u32>,
    /// View steps, by name.
    pub view: Vec<String>,
    /// `direct`, `reversed` or `unknown`.
    pub reads: String,
    /// Why, in a sentence.
    pub because: String,
    /// What the file says of itself.
    #[serde(
        default,
        skip_serializing_if = "crate::imaging::metadata::FileSays::is_silent"
    )]
    pub says: crate::imaging::metadata::FileSays,
    /// How the camera's clock differs from the time stated, where that is to be looked into.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_note: Option<String>,
    /// When it was taken.
    pub taken_at: DateTime<FixedOffset>,
    /// How its density is known; none while it is not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<Scale>,
    /// Working copies made from it, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub copies: Vec<CopyRef>,
    /// What an examiner said last of its value; none while nobody did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub assessed: Option<Assessed>,
}

/// What an examiner said of a picture's value for comparison.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Assessed {
    /// The value.
    pub value: crate::custody::value::Value,
    /// Why.
    pub reason: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: PersonId,
    /// Their name, as it was then.
    pub examiner: String,
}

/// A working copy of a picture: which bytes, and how they were made from the original.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CopyRef {
    /// SHA-256 of the copy's bytes, a PNG.
    pub digest: Digest,
    /// What was done to the original.
    pub recipe: Recipe,
    /// The scale by which it was made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<Scale>,
    /// The picture's view steps when it was made.
    pub view: Vec<String>,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Whether it has no colour.
    pub grey: bool,
    /// Pixels an inch at 1:1, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ppi: Option<u32>,
    /// `direct`, `reversed` or `unknown`, by the picture's view steps as they are now and the recipe.
    pub reads: String,
    /// Bytes.
    pub bytes: u64,
    /// SHA-256 of its pixels, whatever compressed them.
    pub pixels: Digest,
    /// When it was made.
    pub made_at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
}
