//! Small copies of originals for print. The original is read, held against its digest, and left as it is.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder as _, ImageFormat, ImageReader, Limits};

use crate::imaging::probe::probe;

/// The longest side of a small copy, in pixels: about 170 dpi over the 86 mm that a picture has on paper.
pub const SIDE: u32 = 560;
/// The most pixels of an original that a small copy is made of; a larger one is only listed.
const MAX_PIXELS: u64 = 64_000_000;

/// A small JPEG of a PNG or JPEG, its orientation tag applied, so that it shows what viewers show; none where it cannot
/// be read or is too large.
pub fn small(bytes: &[u8]) -> Option<Vec<u8>> {
    let (width, height) = probe(Cursor::new(bytes)).ok()?.pixels?;
    if u64::from(width) * u64::from(height) > MAX_PIXELS {
        return None;
    }
    let mut reader = ImageReader::new(Cursor::new(bytes))
        .with_guessed_format()
        .ok()?;
    let mut limits = Limits::default();
    limits.max_alloc = Some(512 * 1024 * 1024);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().ok()?;
    let tag = decoder.orientation().ok();
    let mut picture = DynamicImage::from_decoder(decoder).ok()?;
    if picture.width().max(picture.height()) > SIDE {
        picture = picture.thumbnail(SIDE, SIDE);
    }
    if let Some(tag) = tag {
        picture.apply_orientation(tag);
    }
    let mut out = Cursor::new(Vec::new());
    picture
        .to_rgb8()
        .write_to(&mut out, ImageFormat::Jpeg)
        .ok()?;
    Some(out.into_inner())
}
