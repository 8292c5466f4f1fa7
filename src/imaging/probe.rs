//! What a picture is, read from its first bytes.

use std::io::Cursor;

use image::{ImageDecoder as _, ImageFormat, ImageReader, Limits, metadata::Orientation};

/// The longest side, in pixels: a sheet of A3 at 1000 pixels an inch has 16 535.
pub const MAX_SIDE: u32 = 20_000;
/// The most pixels.
pub const MAX_PIXELS: u64 = 250_000_000;

/// What the file says of itself. Pixels are not read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Probe {
    /// `image/png` or `image/jpeg`.
    pub media_type: &'static str,
    /// Width of the stored pixels.
    pub width: u32,
    /// Height of the stored pixels.
    pub height: u32,
    /// The file's orientation tag (Exif, 1 to 8; 1 where there is none).
    pub orientation: u8,
}

impl Probe {
    /// Whether the orientation tag turns left into right: tags 2, 4, 5 and 7.
    #[must_use]
    pub fn tag_mirrors(&self) -> bool {
        matches!(self.orientation, 2 | 4 | 5 | 7)
    }
}

/// Why a file can't be taken for a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ProbeError {
    /// Neither PNG nor JPEG.
    #[error("this is neither a PNG nor a JPEG picture")]
    NotAPicture,
    /// It begins like one but can't be read.
    #[error("the picture can't be read: its head is damaged or cut off")]
    Damaged,
    /// No pixels, or more than this server handles.
    #[error(
        "the picture has no pixels or too many: at most {MAX_SIDE} a side and {MAX_PIXELS} in all"
    )]
    Size,
}

/// Reads the head of a PNG or JPEG file.
///
/// # Errors
/// When it is neither, is damaged, or is larger than [`MAX_SIDE`] and [`MAX_PIXELS`] allow.
pub fn probe(bytes: &[u8]) -> Result<Probe, ProbeError> {
    let media_type = match image::guess_format(bytes) {
        Ok(ImageFormat::Png) => "image/png",
        Ok(ImageFormat::Jpeg) => "image/jpeg",
        _ => return Err(ProbeError::NotAPicture),
    };
    let mut reader = ImageReader::new(Cursor::new(bytes))
        .with_guessed_format()
        .map_err(|_| ProbeError::Damaged)?;
    let mut limits = Limits::default();
    limits.max_alloc = Some(64 * 1024 * 1024);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|_| ProbeError::Damaged)?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 || pixels > MAX_PIXELS || width.max(height) > MAX_SIDE {
        return Err(ProbeError::Size);
    }
    // A tag that can't be read counts as none: the pixels are shown as they are stored.
    let orientation = decoder.orientation().map_or(1, Orientation::to_exif);
    Ok(Probe {
        media_type,
        width,
        height,
        orientation,
    })
}
