//! Pictures of a mark or an item, and their original bytes for whoever may see them.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Serialize;

use super::orientation::{Orientation, orientation};
use super::words;
use crate::app::reader::{ReadError, Reader};
use crate::custody::state::ImageRef;
use crate::ids::{Digest, Subject};
use crate::originals::OriginalsError;

/// A picture on the record.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Image {
    /// What it shows: a mark or an item.
    pub of: Subject,
    /// SHA-256 of the original bytes; also its address.
    pub digest: Digest,
    /// The file's name as it came.
    pub file: String,
    /// Media type.
    pub media_type: String,
    /// Bytes.
    pub bytes: u64,
    /// The same in words.
    pub size: String,
    /// Pixels across, where that could be read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub width: Option<u32>,
    /// Pixels down.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height: Option<u32>,
    /// `4032 × 3024 pixels`; empty where it is not known.
    pub pixels: String,
    /// How it was taken, in words.
    pub viewed: String,
    /// Which way round it reads, and why.
    pub orientation: Orientation,
    /// When it was taken, as claimed.
    pub taken_at: DateTime<FixedOffset>,
    /// The same in words.
    pub taken: String,
}

/// Pictures in words.
#[must_use]
pub fn images(of: Subject, list: &[ImageRef], zone: FixedOffset) -> Vec<Image> {
    list.iter()
        .map(|i| {
            let orientation = orientation(&i.view, &i.reads, &i.because);
            let steps: Vec<String> = orientation.steps.iter().map(|s| s.words.clone()).collect();
            Image {
                of,
                digest: i.digest,
                file: i.name.clone(),
                media_type: i.media_type.clone(),
                bytes: i.bytes,
                size: words::bytes(i.bytes),
                width: i.width,
                height: i.height,
                pixels: match (i.width, i.height) {
                    (Some(w), Some(h)) => format!("{w} × {h} pixels"),
                    _ => String::new(),
                },
                viewed: words::listed(&steps),
                orientation,
                taken_at: i.taken_at,
                taken: words::minute(&i.taken_at, zone),
            }
        })
        .collect()
}

/// Why the bytes of a picture cannot be given.
#[derive(Debug, thiserror::Error)]
pub enum ImageError {
    /// The mark or item cannot be read, or has no such picture.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The bytes are missing or altered.
    #[error(transparent)]
    Original(#[from] OriginalsError),
}

/// The original bytes of a picture and what is on record about it, only where it is a picture of this mark or item and
/// the viewer may see that.
///
/// # Errors
/// [`ReadError::NotFound`] where it is no picture of that; [`OriginalsError`] where the bytes are missing or altered.
pub async fn image_bytes(
    reader: &Reader<'_>,
    digest: Digest,
    of: Subject,
) -> Result<(ImageRef, Vec<u8>), ImageError> {
    let list = match of {
        Subject::Mark(id) => reader.mark(id).await?.images,
        Subject::Item(id) => reader.item(id).await?.images,
        _ => Vec::new(),
    };
    let image = list
        .into_iter()
        .find(|i| i.digest == digest)
        .ok_or(ReadError::NotFound("picture"))?;
    let bytes = reader.house().originals.read_aside(digest).await?;
    Ok((image, bytes))
}
