//! The room in figures.

use axum::Json;
use axum::extract::{RawQuery, State};

use super::caller::Caller;
use crate::app::views::room::{self, Room};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;

/// The room as it is now; with `of`, the occupancy of the places in one place.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    RawQuery(query): RawQuery,
) -> Result<Json<Room>, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let of = if typed.get("of").is_empty() {
        None
    } else {
        Some(typed.read("of")?)
    };
    Ok(Json(room::load(&caller.reader(&app), of).await?))
}
