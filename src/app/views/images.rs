//! Pictures of a mark or an item, and their original bytes for whoever may see them.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Serialize;

use super::orientation::{Orientation, orientation};
use super::words;
use crate::app::reader::{ReadError, Reader};
use crate::custody::state::ImageRef;
use crate::ids::{Digest, Subject};
use crate::imaging::metadata::{Captured, FileSays, StatedDensity};
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
    /// What the file says of itself.
    pub says: FileSays,
    /// The same in words, one a line: when, by which camera, how it is turned, how dense.
    pub said: Vec<String>,
    /// How the camera's clock differs from the time stated, where that is to be looked into.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_note: Option<String>,
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
                says: i.says.clone(),
                said: said(&i.says, zone),
                clock_note: i.clock_note.clone(),
                taken_at: i.taken_at,
                taken: words::minute(&i.taken_at, zone),
            }
        })
        .collect()
}

/// What a file says of itself, in words.
#[must_use]
pub fn said(says: &FileSays, zone: FixedOffset) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(captured) = says.captured_at.as_deref().and_then(Captured::read) {
        out.push(match captured {
            Captured::At(at) => format!("taken {} by the camera's clock", words::minute(&at, zone)),
            Captured::Clock(clock) => format!(
                "taken {} by the camera's own clock, zone unknown",
                clock.format("%Y-%m-%d %H:%M")
            ),
        });
    }
    if let Some(camera) = &says.camera {
        out.push(camera.clone());
    }
    if let Some(turn) = says.orientation_tag.and_then(turned) {
        out.push(turn.to_owned());
    }
    if let Some(density) = &says.density {
        out.push(dense(density));
    }
    out
}

/// What an orientation tag does (Exif 2.32, 4.6.4); none for 1, which leaves the picture as it is.
fn turned(tag: u8) -> Option<&'static str> {
    Some(match tag {
        2 => "orientation tag 2: shown mirrored",
        3 => "orientation tag 3: shown upside down",
        4 => "orientation tag 4: shown mirrored and upside down",
        5 => "orientation tag 5: shown mirrored and turned a quarter",
        6 => "orientation tag 6: shown turned a quarter to the right",
        7 => "orientation tag 7: shown mirrored and turned a quarter",
        8 => "orientation tag 8: shown turned a quarter to the left",
        _ => return None,
    })
}

fn dense(density: &StatedDensity) -> String {
    let ppi = |thousandths: u32| format!("{:.0}", f64::from(thousandths) / 1000.0);
    let (across, down) = (ppi(density.across), ppi(density.down));
    if across == down {
        format!("says {across} pixels an inch of itself")
    } else {
        format!("says {across} pixels an inch across and {down} down of itself")
    }
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
