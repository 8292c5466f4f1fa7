//! Where custody of a thing stands.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Holder;
use crate::custody::disposition::Disposition;
use crate::ids::{PackageId, PersonId};

/// An open offer: released, not yet received.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Offer {
    /// Who released.
    pub by: PersonId,
    /// To whom.
    pub to: PersonId,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Why.
    pub purpose: String,
    /// By whose authority; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// Due back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Whether it leaves the storeroom by this offer.
    pub from_place: bool,
}

/// Something is out of the storeroom. The loan stands on the outermost piece: what goes into a package brings its loan
/// to it, and what comes out takes it along.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Loan {
    /// Why.
    pub purpose: String,
    /// By whose authority it went to a colleague; empty for none, and for what is outside (see [`Out::authority`]).
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// Due back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Since when.
    pub since: DateTime<FixedOffset>,
    /// Lent by a hand-out to somebody outside alone; taking it back ends it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub outside: bool,
}

/// How something went to somebody without an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Out {
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whose authority; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// The carrier's tracking number; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub tracking: String,
    /// Its weight in milligrams, where it was weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weight_mg: Option<u64>,
    /// The scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
}

/// Where custody stands. What few things have at a moment lies beside it, since there is one of these for every item.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Custody {
    /// Who has it, while it is not inside a package.
    pub holder: Holder,
    /// The package it is in; then the outermost package's holder has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inside: Option<PackageId>,
    /// The open offer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offer: Option<Offer>,
    /// Out of the storeroom.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loan: Option<Box<Loan>>,
    /// What is known of how it went outside, while it is there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub out: Option<Box<Out>>,
    /// How far its disposition is, once it is authorised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub disposition: Option<Box<Disposition>>,
    /// The claimed time of the last custody event.
    pub last_at: DateTime<FixedOffset>,
}

impl Custody {
    /// Custody begins: with whoever recovered an item or made a package.
    #[must_use]
    pub fn begin(person: PersonId, at: DateTime<FixedOffset>) -> Self {
        Self {
            holder: Holder::Person { person },
            inside: None,
            offer: None,
            loan: None,
            out: None,
            disposition: None,
            last_at: at,
        }
    }
}
