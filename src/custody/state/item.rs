//! An item of evidence, as the events left it.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Custody, ImageRef};
use crate::custody::expungement::Expunged;
use crate::custody::finding::Answer;
use crate::custody::hold::Hold;
use crate::ids::{CaseId, Code, ItemId, MarkId, PersonId};
use crate::keeping::{KeepNeeds, Moments};

/// An item of evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Item {
    /// Identifier.
    pub id: ItemId,
    /// Case.
    pub case: CaseId,
    /// The mark it was recovered from.
    pub mark: MarkId,
    /// Number in the case.
    pub number: u32,
    /// The code on its label.
    pub code: Code,
    /// The recovery, as amended.
    pub recovered: crate::custody::item::ItemRecovered,
    /// When it was recovered.
    pub recovered_at: DateTime<FixedOffset>,
    /// By whom.
    pub recovered_by: Option<PersonId>,
    /// Pictures of the item.
    pub images: Vec<ImageRef>,
    /// Since when it is dry, where it was recovered wet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dried: Option<crate::custody::drying::Dried>,
    /// Every hold that was ever placed on it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<Hold>,
    /// What was taken from it, each an item of its own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub samples: Vec<ItemId>,
    /// What examinations used up of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub consumed: Vec<crate::custody::consumed::Consumed>,
    /// The answers that stand to its findings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answer>,
    /// Every exhibit number that it ever had; the last one holds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub exhibits: Vec<crate::custody::exhibit::Exhibit>,
    /// What the former record said, where it was taken over from one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub imported: Option<Box<crate::custody::import::ItemImported>>,
    /// What was said at the counter, where it was brought in without a record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub brought: Option<Box<crate::custody::brought::Brought>>,
    /// Where custody stands.
    pub custody: Custody,
    /// When it first came onto a shelf, by itself or in a package; none of what was imported.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shelved_at: Option<DateTime<FixedOffset>>,
    /// That it was expunged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expunged: Option<Expunged>,
}

impl Item {
    /// How it came, where this ledger saw nothing of what was before: `imported`, `brought in`.
    #[must_use]
    pub fn came(&self) -> Option<&'static str> {
        let imported = self.imported.is_some().then_some("imported");
        imported.or(self.brought.is_some().then_some("brought in"))
    }

    /// What it asks for, by its record: since it is dry, or since its recovery. None on old records.
    #[must_use]
    pub fn needs(&self) -> Option<&KeepNeeds> {
        let dried = self.dried.as_ref().and_then(|d| d.needs.as_deref());
        dried.or(self.recovered.needs.as_deref())
    }

    /// Whether it is wet by its record.
    #[must_use]
    pub fn is_wet(&self) -> bool {
        self.recovered.wet && self.dried.is_none()
    }

    /// The times of it that rules ask about, as claimed.
    #[must_use]
    pub fn moments(&self) -> Moments {
        Moments {
            since: self.recovered.set_at.unwrap_or(self.recovered_at),
            recovered: self.recovered_at,
            photographed: self.images.iter().map(|i| i.taken_at).min(),
            dry: self.dried.as_ref().map(|d| d.at),
        }
    }
}
