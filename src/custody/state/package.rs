//! A package, as the events left it, and what is in it.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Custody, Item};
use crate::custody::expungement::Expunged;
use crate::custody::finding::Answer;
use crate::ids::{CaseId, Code, PackageId, PersonId, Piece};
use crate::keeping::fitting::Sides;

/// A seal on a package.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SealOn {
    /// Number.
    pub number: String,
    /// Applied.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
    /// Cut, when it was opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut_at: Option<DateTime<FixedOffset>>,
    /// Why it was opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut_reason: Option<String>,
}

/// A package.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Package {
    /// Identifier.
    pub id: PackageId,
    /// Case.
    pub case: CaseId,
    /// Number in the case: P1, P2 …
    pub number: u32,
    /// The code on its label.
    pub code: Code,
    /// Kind of container, by the trade rules' identifier.
    pub container: String,
    /// Inside length, width and height in millimetres, where they are on record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inner_mm: Option<Sides>,
    /// What is in it now.
    pub contents: Vec<Piece>,
    /// Every seal it ever had; the last one without a cut is on it now.
    pub seals: Vec<SealOn>,
    /// The answers that stand to its findings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answer>,
    /// Where custody stands.
    pub custody: Custody,
    /// The packages whose contents it was made of, where it was made by packing anew.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repacked_from: Vec<PackageId>,
    /// The packages into which its contents went.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repacked_into: Vec<PackageId>,
    /// Since when nothing goes into it any more: it was emptied by packing anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_at: Option<DateTime<FixedOffset>>,
    /// That it was expunged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expunged: Option<Expunged>,
}

impl Package {
    /// The seal that is on it now.
    #[must_use]
    pub fn seal(&self) -> Option<&SealOn> {
        self.seals.last().filter(|s| s.cut_at.is_none())
    }
}

/// A piece as the keep rules see it: what stands in what.
#[derive(Clone, Debug)]
pub enum Thing<'a> {
    /// An item.
    Item(&'a Item),
    /// A package, with what is in it.
    Package {
        /// Kind of container.
        container: &'a str,
        /// Its inside in millimetres, where it is on record.
        inner_mm: Option<Sides>,
        /// What is in it.
        contents: Vec<Thing<'a>>,
    },
}
