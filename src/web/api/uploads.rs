//! Uploads in parts: begun, sent from wherever they have come to, recorded as a photograph. An upload is its caller's own.

use axum::Json;
use axum::body::Body as Bytes;
use axum::extract::State;
use schemars::{JsonSchema, SchemaGenerator};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::body::{Asked, Body, Id};
use super::caller::Caller;
use super::images::{Described, ImageAdded, asked_of};
use super::openapi::Op;
use crate::ids::{Digest, UploadId};
use crate::uploads::{Announced, Told};
use crate::web::App;
use crate::web::error::Failure;

/// A file that is going to be sent.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Begin {
    /// The file's name.
    #[serde(default)]
    name: String,
    /// How long it is, in bytes: at most 200 MB.
    bytes: u64,
    /// Its SHA-256, where it is known; what comes is held against it.
    #[serde(default)]
    sha256: Option<Digest>,
}

/// For the description.
pub fn described_begin(g: &mut SchemaGenerator) -> Op {
    Op::new("Begin an upload in parts")
        .more(
            "For long files and lines that break: begin it with the file's length, send parts with PUT …/bytes from the offset that \
             the answer names as received, and record it with POST …/photograph. After an interruption, also one of the \
             server, ask with GET how far it is, and go on from there. A person may have 8 under way; what nobody goes on \
             with ends after 24 hours.",
        )
        .body::<Begin>(g)
        .example(json!({"name": "IMG_0931.tif", "bytes": 72_351_744}))
        .json::<Told>(g)
}

/// For the description.
pub fn described_put(g: &mut SchemaGenerator) -> Op {
    Op::new("Send a part of an upload")
        .more("The body is the bytes from the offset on, as many as you like up to the file's end. What comes before the line \
               breaks is kept.")
        .query("offset", true, "At which byte of the file the part begins; must be what received was")
        .raw_body(&["application/octet-stream"])
        .json::<Told>(g)
}

/// For the description.
pub fn described_photograph(g: &mut SchemaGenerator) -> Op {
    asked_of(Op::new("Record a whole upload as a photograph of a mark or an item").more(
        "As POST /api/images, of which this is the last step for an upload in parts. Sent again with the same id, it is \
         recorded once and answered again.",
    ))
    .json::<ImageAdded>(g)
}

/// Begins one.
pub async fn begin(
    State(app): State<App>,
    caller: Caller,
    Body(file): Body<Begin>,
) -> Result<Json<Told>, Failure> {
    let file = Announced {
        name: file.name,
        bytes: file.bytes,
        sha256: file.sha256,
    };
    let uploads = &app.house().uploads;
    Ok(Json(
        uploads.begin(caller.person.id, file, app.now()).await?,
    ))
}

/// The caller's own that are under way.
#[derive(Serialize, JsonSchema)]
pub struct Own {
    /// The oldest first.
    uploads: Vec<Told>,
}

/// The caller's own that are under way.
pub async fn list(State(app): State<App>, caller: Caller) -> Json<Own> {
    Json(Own {
        uploads: app.house().uploads.of(caller.person.id),
    })
}

/// How far one is.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<UploadId>,
) -> Result<Json<Told>, Failure> {
    let uploads = &app.house().uploads;
    Ok(Json(uploads.told(id, caller.person.id, app.now())?))
}

/// Takes a part.
pub async fn put(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<UploadId>,
    asked: Asked,
    body: Bytes,
) -> Result<Json<Told>, Failure> {
    let offset = asked.required("offset", "the byte at which the part begins")?;
    let uploads = &app.house().uploads;
    let told = uploads.take(
        id,
        caller.person.id,
        offset,
        body.into_data_stream(),
        app.now(),
    );
    Ok(Json(told.await?))
}

/// An upload was thrown away.
#[derive(Serialize, JsonSchema)]
pub struct Abandoned {
    /// Which.
    abandoned: UploadId,
}

/// Throws one away.
pub async fn abandon(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<UploadId>,
) -> Result<Json<Abandoned>, Failure> {
    let uploads = &app.house().uploads;
    uploads.abandon(id, caller.person.id, app.now())?;
    Ok(Json(Abandoned { abandoned: id }))
}

/// Records a whole one.
pub async fn photograph(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<UploadId>,
    asked: Asked,
) -> Result<Json<ImageAdded>, Failure> {
    let described = Described::read(&app, &caller, &asked).await?;
    let uploads = &app.house().uploads;
    let (kept, name) = uploads.finish(id, caller.person.id, app.now()).await?;
    described.record(&app, &caller, kept, &name).await
}
