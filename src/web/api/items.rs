//! Items.

use axum::Json;
use axum::extract::State;

use super::body::{Asked, Id};
use super::caller::Caller;
use super::events::{self, History};
use crate::app::views::item_file::{self, ItemFile};
use crate::ids::{ItemId, Subject};
use crate::web::App;
use crate::web::error::Failure;

/// Everything about an item.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<ItemId>,
) -> Result<Json<ItemFile>, Failure> {
    let item = caller.reader(&app).item(id).await?;
    let what = format!("item {}", item.number);
    caller.noted_of(&app, item.case, &what).await?;
    Ok(Json(item_file::load(&caller.reader(&app), id).await?))
}

/// Its events.
pub async fn history(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<ItemId>,
    asked: Asked,
) -> Result<Json<History>, Failure> {
    let since = asked.since()?;
    let item = caller.reader(&app).item(id).await?;
    let what = format!("events of item {}", item.number);
    caller.noted_of(&app, item.case, &what).await?;
    Ok(Json(events::of(&app, Subject::Item(id), since).await?))
}
