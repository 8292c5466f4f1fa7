//! Pictures of a mark or an item, and their original bytes for whoever may see them.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Serialize;

use super::orientation::{Orientation, orientation};
use super::words;
use crate::app::copies::picture;
use crate::app::reader::{ReadError, Reader};
use crate::custody::state::{CopyRef, ImageRef};
use crate::ids::{Digest, Subject};
use crate::imaging::metadata::{Captured, FileSays, StatedDensity};
use crate::imaging::recipe::Recipe;
use crate::imaging::resolution::{Density, measure};
use crate::imaging::view::suggest_for;
use crate::originals::OriginalsError;
use crate::zone::Zone;

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
    /// What an examiner said last of its value, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assessed: Option<String>,
    /// When it was taken, as claimed.
    pub taken_at: DateTime<FixedOffset>,
    /// The same in words.
    pub taken: String,
    /// Pixels an inch at 1:1, where a scale gives one number for both axes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ppi: Option<u32>,
    /// The density with its uncertainty, in words; `density not known` without a scale.
    pub density: String,
    /// What is to be said about the density.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub density_warning: Option<String>,
    /// Working copies, oldest first.
    pub copies: Vec<WorkingCopy>,
    /// The recipe of the copy that reads direct, ridges dark; none where it is not known which way round the picture
    /// reads.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub suggested: Option<Recipe>,
}

/// A working copy in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct WorkingCopy {
    /// SHA-256 of the copy, a PNG; also its address.
    pub digest: Digest,
    /// SHA-256 of the original that it was made from.
    pub original: Digest,
    /// What was done.
    pub recipe: Recipe,
    /// The same in words.
    pub done: String,
    /// `direct`, `reversed` or `unknown`, by the picture's view steps as they are now.
    pub reads: String,
    /// In words.
    pub reads_words: String,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Whether it has no colour.
    pub grey: bool,
    /// Pixels an inch at 1:1, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ppi: Option<u32>,
    /// Bytes.
    pub bytes: u64,
    /// Size in pixels and bytes, and density, in words.
    pub size: String,
    /// When it was made.
    pub made_at: DateTime<FixedOffset>,
    /// The same in words.
    pub made: String,
    /// What changed since it was made, so that it should be looked at again: view steps, scale.
    pub outdated: Vec<String>,
}

/// Working copies in words.
#[must_use]
pub fn copies(image: &ImageRef, zone: Zone) -> Vec<WorkingCopy> {
    let told = |c: &CopyRef| {
        let mut outdated = Vec::new();
        if c.view != image.view {
            outdated.push(format!(
                "How the picture was taken was set anew after this copy was made; by the new view steps it {}.",
                words::reads(&c.reads)
            ));
        }
        if c.scale != image.scale {
            outdated.push(
                "The picture's scale was set anew after this copy was made: its density is that of the old scale."
                    .to_owned(),
            );
        }
        let density = c.ppi.map_or_else(
            || "density not known".to_owned(),
            |ppi| format!("{ppi} pixels an inch"),
        );
        WorkingCopy {
            digest: c.digest,
            original: image.digest,
            recipe: c.recipe.clone(),
            done: c.recipe.to_string(),
            reads: c.reads.clone(),
            reads_words: words::reads(&c.reads).to_owned(),
            width: c.width,
            height: c.height,
            grey: c.grey,
            ppi: c.ppi,
            bytes: c.bytes,
            size: format!(
                "{} \u{d7} {} pixels; {density}; {}",
                c.width,
                c.height,
                words::bytes(c.bytes)
            ),
            made_at: c.made_at,
            made: words::minute(&c.made_at, zone),
            outdated,
        }
    };
    image.copies.iter().map(told).collect()
}

impl Image {
    /// The copy to show in the original's place: the newest that reads direct and that nothing has overtaken.
    #[must_use]
    pub fn direct_copy(&self) -> Option<&WorkingCopy> {
        let mut newest = self.copies.iter().rev();
        newest.find(|c| c.reads == "direct" && c.outdated.is_empty())
    }
}

/// Pictures in words.
#[must_use]
pub fn images(of: Subject, list: &[ImageRef], zone: Zone) -> Vec<Image> {
    list.iter()
        .map(|i| {
            let orientation = orientation(&i.view, &i.reads, &i.because);
            let density = i.scale.as_ref().and_then(|s| measure(s).ok());
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
                assessed: i.assessed.as_ref().map(|a| {
                    format!(
                        "{}, says {} ({}): {}",
                        words::capital(a.value.words()),
                        a.examiner,
                        words::minute(&a.at, zone),
                        a.reason
                    )
                }),
                taken_at: i.taken_at,
                taken: words::minute(&i.taken_at, zone),
                ppi: density.as_ref().and_then(Density::ppi),
                density: density
                    .as_ref()
                    .map_or_else(|| "density not known".into(), Density::words),
                density_warning: density.as_ref().and_then(Density::warning),
                copies: copies(i, zone),
                suggested: suggest_for(&i.view),
            }
        })
        .collect()
}

/// What a file says of itself, in words.
#[must_use]
pub fn said(says: &FileSays, zone: Zone) -> Vec<String> {
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
    let image = picture(reader, of, digest).await?;
    let bytes = reader.house().originals.read_aside(digest).await?;
    Ok((image, bytes))
}
