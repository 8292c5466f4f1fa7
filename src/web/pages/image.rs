//! The original bytes of a picture, as they were kept.

use axum::extract::{RawQuery, State};
use axum::http::{HeaderName, header};
use axum::response::{IntoResponse as _, Response};

use super::show;
use crate::app::ReadError;
use crate::app::views::images::image_bytes;
use crate::ids::{Digest, Subject};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::path::Path;
use crate::web::session::Visitor;

/// Types that a browser shows as pictures. Everything else, above all what could carry a script, is only handed out as a file.
const SHOWN: [&str; 3] = ["image/png", "image/jpeg", "image/tiff"];

/// A name that every system can keep, in quotes.
fn plain(name: &str) -> String {
    let out: String = name
        .chars()
        .take(100)
        .map(|c| {
            if c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_') {
                c
            } else {
                '_'
            }
        })
        .collect();
    // A name that begins with dots is hidden, or a folder.
    match out.trim_start_matches('.') {
        "" => "picture".into(),
        name => name.to_owned(),
    }
}

/// The original bytes of a picture of a mark or an item.
pub async fn original(
    State(app): State<App>,
    visitor: Visitor,
    Path(digest): Path<Digest>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let of: Subject = typed.read("of")?;
    let case = match of {
        Subject::Mark(id) => reader.mark(id).await?.case,
        Subject::Item(id) => reader.item(id).await?.case,
        _ => return Err(ReadError::NotFound("picture").into()),
    };
    let case = reader.case(case).await?;
    show::noted(&reader, &case, "original bytes of a picture").await?;
    let (image, bytes) = image_bytes(&reader, digest, of).await?;
    let kind = SHOWN.iter().find(|t| **t == image.media_type);
    let how = if kind.is_some() {
        "inline"
    } else {
        "attachment"
    };
    Ok((
        [
            (
                header::CONTENT_TYPE,
                (*kind.unwrap_or(&"application/octet-stream")).to_owned(),
            ),
            (
                header::CONTENT_DISPOSITION,
                format!("{how}; filename=\"{}\"", plain(&image.name)),
            ),
            (header::X_CONTENT_TYPE_OPTIONS, "nosniff".to_owned()),
            (
                header::CONTENT_SECURITY_POLICY,
                "default-src 'none'; sandbox".to_owned(),
            ),
            // The digest of what follows, for whoever holds it against the record.
            (HeaderName::from_static("x-sha256"), digest.to_string()),
        ],
        bytes,
    )
        .into_response())
}
