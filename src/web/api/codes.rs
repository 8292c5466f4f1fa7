//! What bears a label's code.

use axum::Json;
use axum::extract::State;
use schemars::JsonSchema;
use serde::Serialize;

use super::body::Id;
use super::caller::Caller;
use crate::app::ReadError;
use crate::ids::{Code, Subject};
use crate::web::App;
use crate::web::error::Failure;

/// What bears the code.
#[derive(Serialize, JsonSchema)]
pub struct Bearer {
    /// The code as it is written on labels, without spaces.
    pub code: Code,
    /// What bears it.
    pub subject: Subject,
    /// Where to read it.
    pub address: String,
}

/// What bears a code; read forgivingly, small letters and spaces too.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(code): Id<Code>,
) -> Result<Json<Bearer>, Failure> {
    let reader = caller.reader(&app);
    let subject = reader.subject_of_code(&code).await?;
    let kind = match subject {
        Subject::Item(id) => reader.item(id).await.map(|_| "items"),
        Subject::Package(id) => reader.package(id).await.map(|_| "packages"),
        Subject::Place(id) => reader.place(id).await.map(|_| "places"),
        _ => Err(ReadError::NotFound("item, package or place")),
    }?;
    Ok(Json(Bearer {
        address: format!("/api/{kind}/{}", subject.uuid()),
        code,
        subject,
    }))
}
