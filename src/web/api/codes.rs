//! What bears a label's code, and which codes are on a photograph.

use axum::Json;
use axum::body::{Body, to_bytes};
use axum::extract::State;
use schemars::{JsonSchema, SchemaGenerator};
use serde::Serialize;

use super::body::Id;
use super::caller::Caller;
use super::openapi::Op;
use crate::app::ReadError;
use crate::app::label_photo::{MAX_BYTES, texts, too_large, turn};
use crate::app::views::sighting::{Sighting, sighted};
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

/// The codes on a photograph.
#[derive(Serialize, JsonSchema)]
pub struct Read {
    /// Each of them, at least one.
    pub codes: Vec<Sighting>,
}

/// Reads the codes on a photograph of a label. Nothing of it is kept.
pub async fn read(
    State(app): State<App>,
    caller: Caller,
    body: Body,
) -> Result<Json<Read>, Failure> {
    let turn = turn().await?;
    let bytes = to_bytes(body, MAX_BYTES)
        .await
        .map_err(|_| Failure::from(too_large()))?;
    let reader = caller.reader(&app);
    let mut codes = Vec::new();
    for text in texts(bytes.to_vec(), &turn).await? {
        codes.push(sighted(&reader, &text).await?);
    }
    Ok(Json(Read { codes }))
}

/// Describes [`read`].
pub fn described_read(g: &mut SchemaGenerator) -> Op {
    Op::new("Read the QR codes on a photograph of a label")
        .more(
            "The body is a JPEG, PNG or TIFF file of at most 25 MB and 64 million pixels. It is read and not kept. Of what \
             the caller may not see nothing is said: its code counts as unknown. Where no code is seen the answer is the \
             refusal no-code-seen, with advice for the next photograph.",
        )
        .raw_body(&["image/png", "image/jpeg", "image/tiff"])
        .json::<Read>(g)
}
