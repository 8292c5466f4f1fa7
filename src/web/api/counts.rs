//! Counts of places in the storeroom.

use axum::Json;
use axum::extract::State;

use super::body::{Asked, Id};
use super::caller::Caller;
use crate::app::Page;
use crate::app::views::count_file::{self, CountFile, CountLine};
use crate::ids::CountId;
use crate::web::App;
use crate::web::error::Failure;

/// Counts, newest first.
pub async fn list(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<Page<CountLine>>, Failure> {
    let active = asked.optional("active", "true or false")?;
    let part = asked.part()?;
    Ok(Json(
        count_file::list(&caller.reader(&app), active, &part).await?,
    ))
}

/// A count.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CountId>,
) -> Result<Json<CountFile>, Failure> {
    Ok(Json(count_file::load(&caller.reader(&app), id).await?))
}
