//! A person with an account, as the events left them.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::ids::PersonId;
use crate::people::Role;

/// A person with an account.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Person {
    /// Identifier.
    pub id: PersonId,
    /// The name they sign in with.
    pub user_name: String,
    /// Full name.
    pub name: String,
    /// Staff or badge number.
    pub number: String,
    /// Roles.
    pub roles: BTreeSet<Role>,
    /// Whether the account is switched on.
    pub active: bool,
    /// What they carry, in the order in which it was put in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub kit: Vec<crate::custody::kit::KitEntry>,
}
