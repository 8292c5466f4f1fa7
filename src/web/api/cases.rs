//! Cases and their lists.

use axum::Json;
use axum::extract::State;
use schemars::SchemaGenerator;

use super::body::{Asked, Id};
use super::caller::Caller;
use super::events::{self, History};
use super::openapi::Op;
use crate::app::Page;
use crate::app::views::case_file::{self, CaseFile, Parts};
use crate::app::views::case_row::CaseRow;
use crate::app::views::eligible::{self, EligibleLine};
use crate::app::views::expungements;
use crate::app::views::ready::{self, Ready};
use crate::custody::state::{Item, Mark, Package};
use crate::ids::{CaseId, Subject};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::path::Path;

/// Cases that the caller may see.
pub async fn list(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<Page<CaseRow>>, Failure> {
    let part = asked.part()?;
    let page = caller.reader(&app).cases(&part).await?;
    Ok(Json(Page {
        rows: page.rows.iter().map(CaseRow::from).collect(),
        next: page.next,
    }))
}

/// For the description.
pub fn described(g: &mut SchemaGenerator) -> Op {
    Op::new("A case with the first of its marks, items and packages, and what its records lack")
        .query("marks_after", false, "`next` of the list of marks")
        .query("items_after", false, "`next` of the list of items")
        .query("packages_after", false, "`next` of the list of packages")
        .limited()
        .json::<CaseFile>(g)
}

/// A case.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    asked: Asked,
) -> Result<Json<CaseFile>, Failure> {
    let parts = Parts {
        marks: asked.part_of("marks_after")?,
        items: asked.part_of("items_after")?,
        packages: asked.part_of("packages_after")?,
    };
    caller.noted_of(&app, id, "case").await?;
    Ok(Json(
        case_file::load(&caller.reader(&app), id, &parts).await?,
    ))
}

/// Whether a case is ready for court, and what is left.
pub async fn ready(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
) -> Result<Json<Ready>, Failure> {
    caller.noted_of(&app, id, "ready for court").await?;
    Ok(Json(ready::load(&caller.reader(&app), id).await?))
}

/// Marks of a case.
pub async fn marks(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    asked: Asked,
) -> Result<Json<Page<Mark>>, Failure> {
    let part = asked.part()?;
    caller.noted_of(&app, id, "marks of the case").await?;
    Ok(Json(caller.reader(&app).marks_of(id, &part).await?))
}

/// Items of a case.
pub async fn items(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    asked: Asked,
) -> Result<Json<Page<Item>>, Failure> {
    let part = asked.part()?;
    caller.noted_of(&app, id, "items of the case").await?;
    Ok(Json(caller.reader(&app).items_of(id, &part).await?))
}

/// Items of a case, each with every reason why it may not be disposed of.
pub async fn disposition(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    asked: Asked,
) -> Result<Json<Page<EligibleLine>>, Failure> {
    let part = asked.part()?;
    caller.noted_of(&app, id, "what may be disposed of").await?;
    Ok(Json(
        eligible::items(&caller.reader(&app), id, &part).await?,
    ))
}

/// An order to expunge of a case, with what is to be called back.
pub async fn expungement(
    State(app): State<App>,
    caller: Caller,
    Path((id, number)): Path<(CaseId, u32)>,
) -> Result<Json<expungements::Instruction>, Failure> {
    caller.noted_of(&app, id, "an order to expunge").await?;
    let reader = caller.reader(&app);
    let case = expungements::case(&reader, id).await?;
    Ok(Json(
        expungements::instruction(&reader, &case, number).await?,
    ))
}

/// Packages of a case.
pub async fn packages(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    asked: Asked,
) -> Result<Json<Page<Package>>, Failure> {
    let part = asked.part()?;
    caller.noted_of(&app, id, "packages of the case").await?;
    Ok(Json(caller.reader(&app).packages_of(id, &part).await?))
}

/// Events of a case itself; those of its marks, items and packages are theirs.
pub async fn history(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    asked: Asked,
) -> Result<Json<History>, Failure> {
    let since = asked.since()?;
    caller.noted_of(&app, id, "events of the case").await?;
    Ok(Json(events::of(&app, Subject::Case(id), since).await?))
}
