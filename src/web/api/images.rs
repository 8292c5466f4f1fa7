//! Photographs: the original bytes are kept first, then the event that names their digest.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, FixedOffset};
use schemars::{JsonSchema, SchemaGenerator};
use serde::Serialize;

use super::body::{Asked, Id, bad_query, too_large};
use super::caller::Caller;
use super::openapi::Op;
use crate::app::views::images::image_bytes;
use crate::app::{ReadError, Recorded, Sent};
use crate::custody::image::{AddImage, MAX_BYTES};
use crate::custody::{Act, Command};
use crate::ids::{CaseId, CommandId, Digest, Subject};
use crate::imaging::probe;
use crate::ledger::event::Source;
use crate::originals::OriginalsError;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::pages::photograph::head_of;

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
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// What was recorded.
    pub recorded: Recorded,
}

/// For the description.
pub fn described(g: &mut SchemaGenerator) -> Op {
    Op::new("Add a photograph of a mark or an item")
        .more(
            "The body is the file as the camera wrote it, PNG or JPEG, at most 200 MB. It is kept as it is, under its \
             SHA-256, before the event that names it. Where the file's orientation tag mirrors the picture, the step \
             flip is added to the view steps, since whoever shows the file turns it so.",
        )
        .query("of", true, "What it shows, `mark:UUID` or `item:UUID`")
        .query("name", true, "The file's name")
        .queries("view", "View steps in their order; without any, the usual ones")
        .query("id", false, "Identifier of the command: the same upload sent again is recorded once")
        .query("claimed_at", false, "When it was taken, RFC 3339 with an offset; without it, now")
        .query("late_reason", false, "Why it is entered late")
        .raw_body(&["image/png", "image/jpeg", "application/octet-stream"])
        .json::<ImageAdded>(g)
}

async fn case_of(app: &App, caller: &Caller, of: Subject) -> Result<CaseId, Failure> {
    let reader = caller.reader(app);
    match of {
        Subject::Mark(id) => Ok(reader.mark(id).await?.case),
        Subject::Item(id) => Ok(reader.item(id).await?.case),
        _ => Err(ReadError::NotFound("mark or item").into()),
    }
}

fn too_long() -> Failure {
    too_large(
        "The file is longer than 200 MB, the most this server keeps.",
        "Send a smaller file; the original stays where it is.",
    )
}

/// Keeps a photograph and records it.
pub async fn add(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
    headers: HeaderMap,
    body: Body,
) -> Result<Json<ImageAdded>, Failure> {
    let of: Subject = asked.required("of", "a mark or an item")?;
    let name: String = asked.required("name", "a file's name")?;
    let id: Option<CommandId> = asked.optional("id", "an identifier")?;
    let claimed_at: Option<DateTime<FixedOffset>> = asked.optional(
        "claimed_at",
        "a time with an offset, such as 2026-03-04T09:20:00-05:00",
    )?;
    let late_reason: Option<String> = asked.optional("late_reason", "a text")?;
    let mut view: Vec<String> = asked.0.all("view").into_iter().map(str::to_owned).collect();
    if view.len() > MOST_STEPS {
        return Err(bad_query("view", "a list of at most 20 steps"));
    }
    case_of(&app, &caller, of).await?;
    let said = headers.get(header::CONTENT_LENGTH);
    let said = said.and_then(|v| v.to_str().ok()?.parse::<u64>().ok());
    if said.is_some_and(|n| n > MAX_BYTES) {
        return Err(too_long());
    }
    let kept = match app
        .house()
        .originals
        .keep_stream(body.into_data_stream())
        .await
    {
        Ok(kept) if kept.bytes > MAX_BYTES => return Err(too_long()),
        Ok(kept) => kept,
        Err(e) => return Err(upload_failure(e)),
    };
    let head = head_of(&app, &kept).await?;
    // The bytes of what is no picture stay as an orphan, which is harmless: nothing names them.
    let picture = probe::probe(&head).map_err(|e| {
        Failure::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "not-a-picture",
            &format!("The file is not taken: {e}."),
            "Send a PNG or JPEG file as the camera wrote it.",
        )
    })?;
    if picture.tag_mirrors() && !view.is_empty() {
        view.push("flip".into());
    } else if picture.tag_mirrors() {
        return Err(Failure::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "view-not-stated",
            "The file's orientation tag mirrors the picture, so the usual view is not taken for granted.",
            "Send the view steps as view in the address; the step flip is added to them.",
        ));
    }
    let command = Command {
        id: id.unwrap_or_else(CommandId::new),
        claimed_at,
        late_reason,
        act: Act::AddImage(AddImage {
            of,
            digest: kept.digest,
            name,
            media_type: picture.media_type.into(),
            bytes: kept.bytes,
            width: Some(picture.width),
            height: Some(picture.height),
            view,
        }),
    };
    let sent = Sent {
        person: Some(caller.person.id),
        signed: caller.signed,
        source: Source::Api,
        command,
    };
    Ok(Json(ImageAdded {
        digest: kept.digest,
        media_type: picture.media_type,
        bytes: kept.bytes,
        width: picture.width,
        height: picture.height,
        recorded: app.house().recorder.record(sent).await?,
    }))
}

fn upload_failure(e: OriginalsError) -> Failure {
    match e {
        OriginalsError::TooLong => too_long(),
        OriginalsError::Empty => Failure::new(
            StatusCode::BAD_REQUEST,
            "no-file",
            "The body is empty.",
            "Send the file as the body.",
        ),
        OriginalsError::BrokeOff(why) => {
            Failure::unreadable(&format!("the upload broke off: {why}"))
        }
        e => e.into(),
    }
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
    let media_type = match image.media_type.as_str() {
        known @ ("image/png" | "image/jpeg") => known.to_owned(),
        _ => "application/octet-stream".to_owned(),
    };
    let headers = [
        (header::CONTENT_TYPE, media_type),
        (
            header::HeaderName::from_static("content-digest"),
            content_digest(&digest),
        ),
    ];
    Ok((headers, bytes).into_response())
}
