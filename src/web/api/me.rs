//! Who calls.

use axum::Json;
use schemars::JsonSchema;
use serde::Serialize;

use super::caller::Caller;
use crate::app::views::desk::Which;
use crate::custody::Signed;
use crate::custody::state::Person;
use crate::people::Action;

/// Who calls, and what they may.
#[derive(Serialize, JsonSchema)]
pub struct Me {
    /// The person.
    pub person: Person,
    /// How they called: `token` or `session`.
    pub signed: Signed,
    /// What their roles let them do.
    pub may: Vec<Action>,
    /// Their desks.
    pub desks: Vec<Which>,
}

/// Who calls.
pub async fn show(caller: Caller) -> Json<Me> {
    let may = |a: &Action| caller.viewer.may(*a);
    Json(Me {
        may: Action::ALL.into_iter().filter(may).collect(),
        desks: Which::of(&caller.viewer),
        person: caller.person,
        signed: caller.signed,
    })
}
