//! What a person is at work. One person may have several roles.

use std::{fmt, str::FromStr};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A role. Order is the order in which pages list them.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Works the scene: notes, develops, lifts, packs, seals, releases.
    Technician,
    /// Runs the storeroom: receives, stores, checks out.
    Custodian,
    /// Examines at the laboratory: takes out on loan, opens, returns.
    Examiner,
    /// Prepares the case for court: reads, prints, discloses.
    CourtLiaison,
    /// Leads: assigns and restricts cases, answers for overrides.
    Supervisor,
    /// Reads everything that is not restricted, changes nothing.
    Auditor,
    /// Keeps the accounts of people; has no access to evidence.
    Administrator,
}

impl Role {
    /// Every role, in order.
    pub const ALL: [Self; 7] = [
        Self::Technician,
        Self::Custodian,
        Self::Examiner,
        Self::CourtLiaison,
        Self::Supervisor,
        Self::Auditor,
        Self::Administrator,
    ];

    /// The word in addresses, forms and the API.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Technician => "technician",
            Self::Custodian => "custodian",
            Self::Examiner => "examiner",
            Self::CourtLiaison => "court-liaison",
            Self::Supervisor => "supervisor",
            Self::Auditor => "auditor",
            Self::Administrator => "administrator",
        }
    }

    /// The word for people.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::CourtLiaison => "court liaison",
            other => other.word(),
        }
    }

    /// Whether someone with this role may be the holder of evidence.
    #[must_use]
    pub fn may_hold(self) -> bool {
        matches!(
            self,
            Self::Technician | Self::Custodian | Self::Examiner | Self::CourtLiaison
        )
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.title())
    }
}

/// The text names no role.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("there is no such role")]
pub struct NoSuchRole;

impl FromStr for Role {
    type Err = NoSuchRole;
    fn from_str(s: &str) -> Result<Self, NoSuchRole> {
        Self::ALL
            .into_iter()
            .find(|r| r.word() == s)
            .ok_or(NoSuchRole)
    }
}
