//! The caller's kit, and what was made with a lot.

use axum::Json;
use axum::extract::State;

use super::body::{Asked, bad_query};
use super::caller::Caller;
use crate::app::views::lot_file::{self, LotFile};
use crate::custody::kit::KitEntry;
use crate::web::App;
use crate::web::error::Failure;

/// What the caller carries. Acts `kit-add` and `kit-remove` change it.
pub async fn mine(caller: Caller) -> Json<Vec<KitEntry>> {
    let person = caller.viewer.person.as_ref();
    Json(person.map(|p| p.kit.clone()).unwrap_or_default())
}

/// Everything that was made with a lot.
pub async fn lot(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<LotFile>, Failure> {
    let part = asked.part()?;
    let medium: String = asked.required("medium", "a medium of the trade rules")?;
    let lot: String = asked.required("lot", "a lot")?;
    if app.house().rules.medium_ever(&medium).is_none() {
        return Err(bad_query("medium", "a medium of the trade rules"));
    }
    Ok(Json(
        lot_file::load(&caller.reader(&app), &medium, &lot, &part).await?,
    ))
}
