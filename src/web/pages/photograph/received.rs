//! The form of a photograph as it comes in: its fields first, so that no bytes are kept for a forged one, then the file.

use axum::extract::Multipart;
use axum::extract::multipart::{Field, MultipartError};
use axum::http::StatusCode;

use crate::custody::Refusal;
use crate::ids::{CommandId, UploadId};
use crate::originals::{Kept, OriginalsError};
use crate::uploads::{MAX_NAME, UploadError};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{MAX_VALUE, Typed};
use crate::web::sent_field::bytes;
use crate::web::session::{Visitor, check_csrf};

/// How many fields the form may have.
const MAX_FIELDS: usize = 16;
/// The fields that are read, beside the token and the file.
const FIELDS: [&str; 6] = [
    "id",
    "view",
    "claimed_at",
    "late_reason",
    "as_it_is",
    "upload",
];

/// A file that is kept.
pub(super) struct Brought {
    pub name: String,
    pub kept: Kept,
    /// The upload that it came by, where it came in parts or with an earlier form.
    pub upload: Option<UploadId>,
}

/// What a form brought.
pub(super) struct Form {
    pub command: CommandId,
    pub typed: Typed,
    pub file: Result<Brought, Refusal>,
}

fn refused(code: &str, sentence: &str, next: &str) -> Refusal {
    Refusal::coded(code, sentence, next).on("file")
}

fn broken(e: &MultipartError) -> Failure {
    if e.status() == StatusCode::PAYLOAD_TOO_LARGE {
        return OriginalsError::TooLong.into();
    }
    OriginalsError::BrokeOff(e.body_text()).into()
}

/// A field's text, which may be no longer than any form's.
async fn text(field: Field<'_>) -> Result<String, Failure> {
    let Some(bytes) = bytes(field, MAX_VALUE, broken).await? else {
        return Err(Failure::unreadable("it has too long fields"));
    };
    String::from_utf8(bytes).map_err(|_| Failure::unreadable("a field is no text"))
}

/// The name of a file: some browsers send a path, of which only the last part is the name.
fn file_name(sent: Option<&str>) -> String {
    let name: String = sent
        .unwrap_or_default()
        .rsplit(['/', '\\'])
        .next()
        .unwrap_or_default()
        .chars()
        .filter(|c| !c.is_control())
        .take(MAX_NAME)
        .collect();
    if name.trim().is_empty() {
        "photograph".into()
    } else {
        name
    }
}

/// Reads the form. Without a file in it, the upload that it names is finished.
pub(super) async fn received(
    app: &App,
    visitor: &Visitor,
    parts: &mut Multipart,
) -> Result<Form, Failure> {
    let mut is_ours = false;
    let mut typed = Typed::default();
    let mut file = None;
    for _ in 0..MAX_FIELDS {
        let Some(field) = parts.next_field().await.map_err(|e| broken(&e))? else {
            break;
        };
        let name = field.name().unwrap_or_default().to_owned();
        if name == "csrf" {
            check_csrf(visitor, &text(field).await?)?;
            is_ours = true;
        } else if FIELDS.contains(&name.as_str()) {
            typed.0.push((name, text(field).await?));
        } else if name == "file" {
            if !is_ours {
                return Err(Failure::foreign_form());
            }
            let name = file_name(field.file_name());
            file = Some(match app.house().originals.keep_stream(field).await {
                Ok(kept) => Ok(Brought {
                    name,
                    kept,
                    upload: None,
                }),
                Err(e) => Err(e),
            });
            // The file comes last: what would come after it was not typed into this form.
            break;
        }
    }
    if !is_ours {
        return Err(Failure::foreign_form());
    }
    let command = if typed.has("id") {
        typed.read("id")?
    } else {
        CommandId::new()
    };
    let file = match file {
        Some(Ok(file)) => Ok(file),
        None | Some(Err(OriginalsError::Empty)) => by_upload(app, visitor, &typed).await?,
        Some(Err(
            e @ (OriginalsError::TooLong | OriginalsError::NoRoom { .. } | OriginalsError::Away(_)),
        )) => {
            let failure = Failure::from(e);
            Err((*failure.refusal).on("file"))
        }
        Some(Err(e)) => return Err(e.into()),
    };
    Ok(Form {
        command,
        typed,
        file,
    })
}

async fn by_upload(
    app: &App,
    visitor: &Visitor,
    typed: &Typed,
) -> Result<Result<Brought, Refusal>, Failure> {
    if typed.get("upload").is_empty() {
        let refusal = refused(
            "no-file",
            "No file was sent, or an empty one.",
            "Choose a photograph.",
        );
        return Ok(Err(refusal));
    }
    let id: UploadId = typed.read("upload")?;
    let finished = app
        .house()
        .uploads
        .finish(id, visitor.person.id, app.now())
        .await;
    match finished {
        Ok((kept, name)) => Ok(Ok(Brought {
            name: file_name(Some(&name)),
            kept,
            upload: Some(id),
        })),
        Err(
            e @ (UploadError::Original(OriginalsError::Io { .. } | OriginalsError::Away(_))
            | UploadError::Busy),
        ) => Err(e.into()),
        // Gone, not whole, or no room: the form says so and takes the file again.
        Err(e) => Ok(Err((*Failure::from(e).refusal).on("file"))),
    }
}
