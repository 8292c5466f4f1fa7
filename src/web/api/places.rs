//! Places in the storeroom.

use axum::Json;
use axum::extract::State;

use super::body::{Asked, Id};
use super::caller::Caller;
use crate::app::Page;
use crate::app::views::place_file::{self, PlaceFile};
use crate::custody::state::Place;
use crate::ids::PlaceId;
use crate::web::App;
use crate::web::error::Failure;

/// Places by name.
pub async fn list(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<Page<Place>>, Failure> {
    let part = asked.part()?;
    Ok(Json(caller.reader(&app).places(&part).await?))
}

/// A place and what stands in it.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PlaceId>,
    asked: Asked,
) -> Result<Json<PlaceFile>, Failure> {
    let part = asked.part()?;
    let file = place_file::load(&caller.reader(&app), id, &part).await?;
    let cases = file.contents.rows.iter().map(|l| l.case);
    caller
        .noted_each(&app, cases, "what stands in a place")
        .await?;
    Ok(Json(file))
}
