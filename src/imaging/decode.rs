//! From a file's bytes to pixels, within bounds. The one place where pictures are decoded to be worked on.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, metadata::Orientation};

use super::probe::{MAX_PIXELS, MAX_SIDE};
use super::raster::{Raster, Samples};

/// What a picture may cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// The longest side, in pixels.
    pub side: u32,
    /// The most pixels.
    pub pixels: u64,
    /// The most bytes of samples.
    pub bytes: u64,
}

impl Default for Limits {
    /// 20 000 pixels a side, 250 million pixels, 1 GB of samples.
    fn default() -> Self {
        Self {
            side: MAX_SIDE,
            pixels: MAX_PIXELS,
            bytes: 1_000_000_000,
        }
    }
}

/// A picture decoded: the pixels as they are stored, and how viewers turn them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decoded {
    /// The pixels as stored.
    pub raster: Raster,
    /// The file's orientation tag, 1 to 8; 1 where there is none.
    pub orientation: u8,
    /// The file's colour profile (ICC), where it has one of at most [`MAX_PROFILE`] bytes.
    pub profile: Option<Vec<u8>>,
}

/// The largest colour profile that is carried along, in bytes.
pub const MAX_PROFILE: usize = 1024 * 1024;

/// Why a file cannot be decoded.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DecodeError {
    /// None of the kinds that are decoded.
    #[error("it is no PNG, JPEG or TIFF picture")]
    NotAPicture,
    /// It begins like one and cannot be decoded.
    #[error("it cannot be decoded: {0}")]
    Damaged(String),
    /// More than the limits allow.
    #[error("it has no pixels, or more than this server works on")]
    TooLarge,
    /// Samples of a kind that is not worked on.
    #[error("its samples are of a kind that is not worked on ({0})")]
    Kind(String),
}

fn damaged(e: &image::ImageError) -> DecodeError {
    match e {
        image::ImageError::Limits(_) => DecodeError::TooLarge,
        e => DecodeError::Damaged(e.to_string().chars().take(200).collect()),
    }
}

/// Decodes PNG, JPEG and TIFF. Of a file with several pictures it takes the first.
///
/// # Errors
/// See [`DecodeError`]. The size is judged by the file's head, before pixels are read.
pub fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, DecodeError> {
    let format = match image::guess_format(bytes) {
        Ok(f @ (ImageFormat::Png | ImageFormat::Jpeg | ImageFormat::Tiff)) => f,
        _ => return Err(DecodeError::NotAPicture),
    };
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut bound = image::Limits::default();
    bound.max_image_width = Some(limits.side);
    bound.max_image_height = Some(limits.side);
    bound.max_alloc = Some(limits.bytes);
    reader.limits(bound);
    let mut decoder = reader.into_decoder().map_err(|e| damaged(&e))?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0
        || pixels > limits.pixels
        || width.max(height) > limits.side
        || decoder.total_bytes() > limits.bytes
    {
        return Err(DecodeError::TooLarge);
    }
    // A tag or profile that cannot be read counts as none: viewers show the pixels as they are stored.
    let orientation = decoder.orientation().map_or(1, Orientation::to_exif);
    let profile = decoder
        .icc_profile()
        .ok()
        .flatten()
        .filter(|p| !p.is_empty() && p.len() <= MAX_PROFILE);
    let picture = DynamicImage::from_decoder(decoder).map_err(|e| damaged(&e))?;
    let (channels, samples) = match picture {
        DynamicImage::ImageLuma8(b) => (1, Samples::Eight(b.into_raw())),
        DynamicImage::ImageLumaA8(b) => (2, Samples::Eight(b.into_raw())),
        DynamicImage::ImageRgb8(b) => (3, Samples::Eight(b.into_raw())),
        DynamicImage::ImageRgba8(b) => (4, Samples::Eight(b.into_raw())),
        DynamicImage::ImageLuma16(b) => (1, Samples::Sixteen(b.into_raw())),
        DynamicImage::ImageLumaA16(b) => (2, Samples::Sixteen(b.into_raw())),
        DynamicImage::ImageRgb16(b) => (3, Samples::Sixteen(b.into_raw())),
        DynamicImage::ImageRgba16(b) => (4, Samples::Sixteen(b.into_raw())),
        other => return Err(DecodeError::Kind(format!("{:?}", other.color()))),
    };
    Ok(Decoded {
        raster: Raster {
            width,
            height,
            channels,
            samples,
        },
        orientation,
        profile,
    })
}
