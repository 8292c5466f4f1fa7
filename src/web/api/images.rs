//! Photographs: the original bytes are kept first, then the event that names their digest.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, FixedOffset};
use schemars::{JsonSchema, SchemaGenerator};
use serde::Serialize;

use super::body::{Asked, Id, bad_query};
use super::caller::Caller;
use super::openapi::Op;
use crate::app::photograph::{Taken, look};
use crate::app::views::images::image_bytes;
use crate::app::{ReadError, Recorded, Sent};
use crate::custody::image::MAX_BYTES;
use crate::ids::{CaseId, CommandId, Digest, Subject};
use crate::imaging::metadata::FileSays;
use crate::imaging::probe::OPAQUE;
use crate::ledger::event::Source;
use crate::originals::{Kept, OriginalsError};
use crate::web::App;
use crate::web::error::Failure;

/// How many view steps are read.
const MOST_STEPS: usize = 20;

/// A photograph was added.
#[derive(Serialize, JsonSchema)]
pub struct ImageAdded {
    /// SHA-256 of the bytes that were kept.
    pub digest: Digest,
    /// Media type, as its first bytes say.
    pub media_type: &'static str,
    /// Bytes.
    pub bytes: u64,
    /// Width in pixels; absent for what is kept as bytes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub width: Option<u32>,
    /// Height in pixels; absent for what is kept as bytes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height: Option<u32>,
    /// Whether the step flip was added to the view steps, because the file's orientation tag mirrors the picture.
    pub adds_flip: bool,
    /// What the file says of itself.
    pub says: FileSays,
    /// What was recorded.
    pub recorded: Recorded,
}

/// For the description.
pub fn described(g: &mut SchemaGenerator) -> Op {
    asked_of(
        Op::new("Add a photograph of a mark or an item").more(
            "The body is the file as the camera wrote it, at most 200 MB. It is kept as it is, under its SHA-256, before the \
             event that names it. PNG, JPEG and TIFF (8 and 16 bits) can be decoded; camera raw and anything else is kept as \
             bytes, and says.opaque in the answer says why. A picture that is damaged or cut off is refused unless as_it_is \
             is true. Where the file's orientation tag mirrors the picture, the step flip is added to the view steps, since \
             whoever shows the file turns it so; adds_flip in the answer says so. A long file on a line that breaks is better \
             sent in parts: POST /api/uploads.",
        ),
    )
    .raw_body(&[
        "image/png",
        "image/jpeg",
        "image/tiff",
        "application/octet-stream",
    ])
    .json::<ImageAdded>(g)
}

/// The parameters with which a photograph is recorded.
pub(super) fn asked_of(op: Op) -> Op {
    op.query("of", true, "What it shows, `mark:UUID` or `item:UUID`")
        .query(
            "name",
            false,
            "The file's name; must be given where it was not announced",
        )
        .queries(
            "view",
            "View steps in their order; without any, the usual ones",
        )
        .query(
            "id",
            false,
            "Identifier of the command: the same upload sent again is recorded once",
        )
        .query(
            "claimed_at",
            false,
            "When it was taken, RFC 3339 with an offset; without it, now",
        )
        .query("late_reason", false, "Why it is entered late")
        .query("as_it_is", false, "`true` keeps a damaged picture as bytes")
}

/// The case of what a picture shows.
pub(super) async fn case_of(app: &App, caller: &Caller, of: Subject) -> Result<CaseId, Failure> {
    let reader = caller.reader(app);
    match of {
        Subject::Mark(id) => Ok(reader.mark(id).await?.case),
        Subject::Item(id) => Ok(reader.item(id).await?.case),
        _ => Err(ReadError::NotFound("mark or item").into()),
    }
}

/// What the address says of a photograph.
pub(super) struct Described {
    of: Subject,
    name: Option<String>,
    id: Option<CommandId>,
    claimed_at: Option<DateTime<FixedOffset>>,
    late_reason: Option<String>,
    view: Vec<String>,
    as_it_is: bool,
}

impl Described {
    /// Reads it, and asks whether what it shows may be seen: before any byte is kept.
    pub(super) async fn read(app: &App, caller: &Caller, asked: &Asked) -> Result<Self, Failure> {
        let described = Self {
            of: asked.required("of", "a mark or an item")?,
            name: asked.optional("name", "a file's name")?,
            id: asked.optional("id", "an identifier")?,
            claimed_at: asked.optional(
                "claimed_at",
                "a time with an offset, such as 2026-03-04T09:20:00-05:00",
            )?,
            late_reason: asked.optional("late_reason", "a text")?,
            view: asked.0.all("view").into_iter().map(str::to_owned).collect(),
            as_it_is: asked
                .optional("as_it_is", "true or false")?
                .unwrap_or_default(),
        };
        if described.view.len() > MOST_STEPS {
            return Err(bad_query("view", "a list of at most 20 steps"));
        }
        case_of(app, caller, described.of).await?;
        Ok(described)
    }

    /// Records bytes that are kept.
    pub(super) async fn record(
        self,
        app: &App,
        caller: &Caller,
        kept: Kept,
        announced: &str,
    ) -> Result<Json<ImageAdded>, Failure> {
        let seen = look(&app.house().originals, &kept, self.as_it_is).await?;
        let taken = Taken {
            id: self.id.unwrap_or_else(CommandId::new),
            of: self.of,
            name: self.name.unwrap_or_else(|| announced.to_owned()),
            view: self.view,
            claimed_at: self.claimed_at,
            late_reason: self.late_reason,
        };
        let sent = Sent {
            person: Some(caller.person.id),
            signed: caller.signed,
            beside: None,
            source: Source::Api,
            command: taken.command(&kept, seen.clone()),
        };
        let recorded = app.house().recorder.record(sent).await?;
        Ok(Json(ImageAdded {
            digest: kept.digest,
            media_type: seen.media_type,
            bytes: kept.bytes,
            width: seen.pixels.map(|(w, _)| w),
            height: seen.pixels.map(|(_, h)| h),
            adds_flip: seen.says.tag_mirrors(),
            says: seen.says,
            recorded,
        }))
    }
}

/// Keeps a photograph and records it.
pub async fn add(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
    headers: HeaderMap,
    body: Body,
) -> Result<Json<ImageAdded>, Failure> {
    let described = Described::read(&app, &caller, &asked).await?;
    if described.name.is_none() {
        return Err(bad_query("name", "a file's name"));
    }
    let said = headers.get(header::CONTENT_LENGTH);
    let said = said.and_then(|v| v.to_str().ok()?.parse::<u64>().ok());
    if said.is_some_and(|n| n > MAX_BYTES) {
        return Err(OriginalsError::TooLong.into());
    }
    let originals = &app.house().originals;
    let kept = originals.keep_stream(body.into_data_stream()).await?;
    if kept.bytes > MAX_BYTES {
        return Err(OriginalsError::TooLong.into());
    }
    // The bytes of what is refused from here on stay as an orphan, which is harmless: nothing names them.
    described.record(&app, &caller, kept, "").await
}

/// RFC 9530: the digest of what is sent, so that the receiver can hold it against the record.
pub fn content_digest(digest: &Digest) -> String {
    format!("sha-256=:{}:", STANDARD.encode(digest.0))
}

/// The original bytes.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(digest): Id<Digest>,
    asked: Asked,
) -> Result<Response, Failure> {
    let of: Subject = asked.required("of", "a mark or an item")?;
    let case = case_of(&app, &caller, of).await?;
    caller.noted_of(&app, case, "a photograph").await?;
    let (image, bytes) = image_bytes(&caller.reader(&app), digest, of).await?;
    // Only what was taken for a picture is sent as one.
    let (media_type, how) = match image.media_type.as_str() {
        known @ ("image/png" | "image/jpeg" | "image/tiff") => (known.to_owned(), "inline"),
        _ => (OPAQUE.to_owned(), "attachment"),
    };
    let headers = [
        (header::CONTENT_TYPE, media_type),
        (header::CONTENT_DISPOSITION, how.to_owned()),
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; sandbox".to_owned(),
        ),
        (
            header::HeaderName::from_static("content-digest"),
            content_digest(&digest),
        ),
    ];
    Ok((headers, bytes).into_response())
}
