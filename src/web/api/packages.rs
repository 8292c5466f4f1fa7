//! Packages.

use axum::Json;
use axum::extract::State;

use super::body::{Asked, Id};
use super::caller::Caller;
use super::events::{self, History};
use crate::app::views::package_file::{self, PackageFile};
use crate::ids::{PackageId, Subject};
use crate::web::App;
use crate::web::error::Failure;

/// Everything about a package.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PackageId>,
) -> Result<Json<PackageFile>, Failure> {
    let package = caller.reader(&app).package(id).await?;
    let what = format!("package {}", package.number);
    caller.noted_of(&app, package.case, &what).await?;
    Ok(Json(package_file::load(&caller.reader(&app), id).await?))
}

/// Its events.
pub async fn history(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PackageId>,
    asked: Asked,
) -> Result<Json<History>, Failure> {
    let since = asked.since()?;
    let package = caller.reader(&app).package(id).await?;
    let what = format!("events of package {}", package.number);
    caller.noted_of(&app, package.case, &what).await?;
    Ok(Json(events::of(&app, Subject::Package(id), since).await?))
}
