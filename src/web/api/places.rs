//! Places in the storeroom.

use axum::Json;
use axum::extract::State;
use serde_json::Value;

use super::body::{Asked, Id};
use super::caller::Caller;
use crate::app::Page;
use crate::app::views::place_file::{self, PlaceFile};
use crate::ids::PlaceId;
use crate::web::App;
use crate::web::error::Failure;

/// Places by name.
pub async fn list(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<Page<Value>>, Failure> {
    let part = asked.part()?;
    let reader = caller.reader(&app);
    let page = reader.places(&part).await?;
    // Whoever may count is not told what should be there.
    let blind = place_file::blind_places(&reader).await?;
    let mut rows = Vec::with_capacity(page.rows.len());
    for place in &page.rows {
        let mut row = serde_json::to_value(place).map_err(|_| Failure::internal())?;
        if let Some(fields) = row.as_object_mut().filter(|_| blind.contains(&place.id)) {
            fields.remove("standing");
            fields.remove("fill");
        }
        rows.push(row);
    }
    Ok(Json(Page {
        rows,
        next: page.next,
    }))
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
