//! Marks.

use axum::Json;
use axum::extract::State;

use super::body::{Asked, Id};
use super::caller::Caller;
use super::events::{self, History};
use crate::app::views::mark_file::{self, MarkFile};
use crate::ids::{MarkId, Subject};
use crate::web::App;
use crate::web::error::Failure;

/// Everything about a mark.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<MarkId>,
) -> Result<Json<MarkFile>, Failure> {
    let mark = caller.reader(&app).mark(id).await?;
    let what = format!("mark {}", mark.number);
    caller.noted_of(&app, mark.case, &what).await?;
    Ok(Json(mark_file::load(&caller.reader(&app), id).await?))
}

/// Its events.
pub async fn history(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<MarkId>,
    asked: Asked,
) -> Result<Json<History>, Failure> {
    let since = asked.since()?;
    let mark = caller.reader(&app).mark(id).await?;
    let what = format!("events of mark {}", mark.number);
    caller.noted_of(&app, mark.case, &what).await?;
    Ok(Json(events::of(&app, Subject::Mark(id), since).await?))
}
