//! Finding.

use axum::Json;
use axum::extract::State;

use super::body::Asked;
use super::caller::Caller;
use crate::app::views::find::{self, Hit};
use crate::web::App;
use crate::web::error::Failure;

/// What there is under what was typed.
pub async fn find(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<Vec<Hit>>, Failure> {
    let q: String = asked.0.get("q").to_owned();
    Ok(Json(find::find(&caller.reader(&app), &q).await?))
}
