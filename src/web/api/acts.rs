//! Every act there is.

use axum::Json;
use schemars::JsonSchema;
use serde::Serialize;

use super::caller::Caller;
use super::commands::address_of;
use crate::custody::Act;
use crate::people::{Action, Role};

/// An act.
#[derive(Serialize, JsonSchema)]
pub struct ActRow {
    /// The word that `do` takes.
    pub act: &'static str,
    /// What one must be allowed to do.
    pub action: Action,
    /// The same in words.
    pub words: &'static str,
    /// The roles that may.
    pub roles: &'static [Role],
    /// Whether the caller may.
    pub may: bool,
    /// Whether the password must come with it.
    pub must_be_signed: bool,
    /// Where it is sent: `/api/commands`, or the address whose answer puts it on the record.
    pub address: &'static str,
}

/// Every act.
pub async fn list(caller: Caller) -> Json<Vec<ActRow>> {
    let row = |(act, action, must_be_signed): &(&'static str, Action, bool)| ActRow {
        act,
        action: *action,
        words: action.words(),
        roles: action.roles(),
        may: caller.viewer.may(*action),
        must_be_signed: *must_be_signed,
        address: address_of(act),
    };
    Json(Act::TABLE.iter().map(row).collect())
}
