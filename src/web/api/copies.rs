//! Working copies: made by the server from an untouched original, by a recipe.

use axum::Json;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use schemars::{JsonSchema, SchemaGenerator};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::body::{Asked, Body, Id};
use super::caller::Caller;
use super::images::{case_of, content_digest};
use super::openapi::Op;
use crate::app::Recorded;
use crate::app::copies::{self, Wanted};
use crate::app::papers::By;
use crate::app::views::images::{WorkingCopy, copies as told};
use crate::ids::{CommandId, Digest, Subject};
use crate::imaging::recipe::Recipe;
use crate::ledger::event::Source;
use crate::web::App;
use crate::web::error::Failure;

/// Which working copy is wanted.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CopyWanted {
    /// Identifier of the command: the same request sent again is recorded once.
    #[serde(default)]
    pub id: Option<CommandId>,
    /// The mark or item that the picture shows.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// What is to be done. Without it, the copy that reads direct, ridges dark, as the view steps ask for it.
    #[serde(default)]
    pub recipe: Option<Recipe>,
}

/// A working copy that is on the record.
#[derive(Serialize, JsonSchema)]
pub struct CopyMade {
    /// SHA-256 of the copy's bytes.
    pub copy: Digest,
    /// What was recorded; absent where the same copy was there before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recorded: Option<Recorded>,
}

/// For the description.
pub fn described(g: &mut SchemaGenerator) -> Op {
    Op::new("Make a working copy of a picture")
        .more(
            "The server reads the untouched original, applies its orientation tag, carries the steps of the recipe out in \
             their order, keeps the result as a lossless PNG under its SHA-256, and puts it on the record. The same recipe \
             gives the same bytes; asked for again, the copy that is there is named. Nothing changes the original.",
        )
        .body::<CopyWanted>(g)
        .example(json!({
            "of": "item:0197f39e-11d0-7b52-9d0e-6f1a2b3c4d5e",
            "digest": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
            "recipe": {"version": 1, "ops": [
                {"op": "flip"},
                {"op": "crop", "x": 120, "y": 80, "width": 1600, "height": 2000},
                {"op": "grey"},
                {"op": "resample", "ppi": 1000},
            ]},
        }))
        .json::<CopyMade>(g)
}

/// Makes a working copy.
pub async fn make(
    State(app): State<App>,
    caller: Caller,
    Body(wanted): Body<CopyWanted>,
) -> Result<Json<CopyMade>, Failure> {
    let by = By {
        signed: caller.signed,
        source: Source::Api,
    };
    let recipe = wanted.recipe.map_or(Wanted::Direct, Wanted::By);
    let id = wanted.id.unwrap_or_else(CommandId::new);
    let reader = caller.reader(&app);
    let made = copies::make(&reader, by, id, wanted.of, wanted.digest, &recipe).await?;
    Ok(Json(CopyMade {
        copy: made.copy,
        recorded: made.recorded,
    }))
}

/// The working copies of a picture.
pub async fn list(
    State(app): State<App>,
    caller: Caller,
    Id(digest): Id<Digest>,
    asked: Asked,
) -> Result<Json<Vec<WorkingCopy>>, Failure> {
    let of: Subject = asked.required("of", "a mark or an item")?;
    let case = case_of(&app, &caller, of).await?;
    caller.noted_of(&app, case, "working copies").await?;
    let zone = app.house().zone().await?;
    let image = copies::picture(&caller.reader(&app), of, digest).await?;
    Ok(Json(told(&image, zone)))
}

/// The bytes of a working copy.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(copy): Id<Digest>,
    asked: Asked,
) -> Result<Response, Failure> {
    let of: Subject = asked.required("of", "a mark or an item")?;
    let original: Digest = asked.required("original", "a SHA-256 in hex")?;
    let case = case_of(&app, &caller, of).await?;
    caller.noted_of(&app, case, "a working copy").await?;
    let (_, bytes) = copies::bytes(&caller.reader(&app), of, original, copy).await?;
    let headers = [
        (header::CONTENT_TYPE, "image/png".to_owned()),
        (
            header::HeaderName::from_static("content-digest"),
            content_digest(&copy),
        ),
    ];
    Ok((headers, bytes).into_response())
}
