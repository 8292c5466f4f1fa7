//! The intake counter: what is on its way to the caller. It is taken in by the act `intake`, as a command.

use axum::Json;
use axum::extract::State;

use super::caller::Caller;
use crate::app::views::intake::{Queue, queue};
use crate::web::App;
use crate::web::error::Failure;

/// What is on its way to the caller.
pub async fn on_its_way(State(app): State<App>, caller: Caller) -> Result<Json<Queue>, Failure> {
    Ok(Json(queue(&caller.reader(&app)).await?))
}
