//! Desks: what waits for somebody.

use std::str::FromStr;

use axum::Json;
use axum::extract::State;

use super::body::Id;
use super::caller::Caller;
use crate::app::views::desk::{self, Desk, Which};
use crate::web::App;
use crate::web::error::Failure;

/// A desk by the word in addresses.
pub struct Named(Which);

impl FromStr for Named {
    type Err = ();
    fn from_str(s: &str) -> Result<Self, ()> {
        let which = Which::ALL.into_iter().find(|w| w.word() == s).ok_or(())?;
        Ok(Self(which))
    }
}

/// A desk of the caller's roles.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(Named(which)): Id<Named>,
) -> Result<Json<Desk>, Failure> {
    Ok(Json(desk::load(&caller.reader(&app), which).await?))
}
