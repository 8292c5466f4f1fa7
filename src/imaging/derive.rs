//! Working copies: an original's bytes and a recipe in, a lossless PNG out. The original is only read.

use png::{BitDepth, ColorType, Compression, Filter, PixelDimensions, Unit};
use sha2::{Digest as _, Sha256};

use super::decode::{DecodeError, Limits, decode};
use super::raster::{Raster, Samples};
use super::recipe::{Op, Recipe, RecipeError};
use super::resolution::{Density, Ppi, Scale, ScaleError, measure};
use super::warp;
use crate::ids::Digest;

/// A working copy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copy {
    /// The file: PNG, 8 or 16 bits as the original, without interlacing.
    pub png: Vec<u8>,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Whether it has no colour.
    pub grey: bool,
    /// Pixels an inch, where a scale gives one whole number for both axes. It stands in the file, too.
    pub ppi: Option<u32>,
    /// SHA-256 of what the file shows, whatever compressed it: see [`pixels_digest`].
    pub pixels: Digest,
}

/// Why there is no copy.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DeriveError {
    /// The recipe itself.
    #[error(transparent)]
    Recipe(#[from] RecipeError),
    /// The original cannot be decoded.
    #[error("no copy can be made of this file: {0}")]
    Decode(#[from] DecodeError),
    /// The scale gives no density.
    #[error("the scale: {0}")]
    Scale(#[from] ScaleError),
    /// Resampling without a scale.
    #[error(
        "the picture has no scale, so that its density is not known and nothing can be resampled to one"
    )]
    NoScale,
    /// A free rotation of pixels that are not square.
    #[error(
        "the densities across and down differ, and a free rotation would distort the picture: resample first"
    )]
    Uneven,
    /// A rectangle that does not lie within the picture.
    #[error(
        "the crop does not lie within the picture, which has {width} by {height} pixels at that step"
    )]
    Crop {
        /// Pixels across at that step.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// More pixels than this server works on.
    #[error("the copy would have more pixels than this server works on")]
    TooLarge,
    /// The encoder refused, which it has no reason to.
    #[error("the copy cannot be written: {0}")]
    Encode(String),
}

/// The densities of the axes while the steps go by.
#[derive(Clone, Copy)]
struct Axes {
    x: Ppi,
    y: Ppi,
}

impl Axes {
    fn density(self) -> Density {
        Density {
            x: self.x,
            y: self.y,
        }
    }
}

/// Carries a recipe out on an original's bytes, within the usual limits.
///
/// The same bytes, recipe and scale give the same file.
///
/// # Errors
/// See [`DeriveError`].
pub fn derive(bytes: &[u8], recipe: &Recipe, scale: Option<&Scale>) -> Result<Copy, DeriveError> {
    derive_within(bytes, recipe, scale, &Limits::default())
}

/// As [`derive()`], within these limits, which hold for the copy as for the original.
///
/// # Errors
/// See [`DeriveError`].
pub fn derive_within(
    bytes: &[u8],
    recipe: &Recipe,
    scale: Option<&Scale>,
    limits: &Limits,
) -> Result<Copy, DeriveError> {
    recipe.check()?;
    let mut axes = scale
        .map(measure)
        .transpose()?
        .map(|d| Axes { x: d.x, y: d.y });
    if recipe.needs_scale() && axes.is_none() {
        return Err(DeriveError::NoScale);
    }
    let decoded = decode(bytes, limits)?;
    let (mut picture, mut profile) = (decoded.raster, decoded.profile);
    let coloured = !picture.is_grey();
    picture.apply_tag(decoded.orientation);
    for op in &recipe.ops {
        step(&mut picture, &mut axes, *op, limits)?;
    }
    if coloured && picture.is_grey() {
        // A profile of colours does not fit grey samples.
        profile = None;
    }
    let ppi = axes.and_then(|a| a.density().ppi());
    Ok(Copy {
        width: picture.width,
        height: picture.height,
        grey: picture.is_grey(),
        ppi,
        pixels: pixels_digest(&picture),
        png: encode(picture, ppi, profile.as_deref())?,
    })
}

fn step(
    picture: &mut Raster,
    axes: &mut Option<Axes>,
    op: Op,
    limits: &Limits,
) -> Result<(), DeriveError> {
    match op {
        Op::Flip => picture.flip(),
        Op::Invert => picture.invert(),
        Op::Grey => picture.grey(),
        Op::QuarterTurns { turns } => {
            picture.quarter_turns(turns);
            if turns % 2 == 1
                && let Some(a) = axes
            {
                std::mem::swap(&mut a.x, &mut a.y);
            }
        }
        Op::Crop {
            x,
            y,
            width,
            height,
        } => {
            if !picture.crop(x, y, width, height) {
                return Err(DeriveError::Crop {
                    width: picture.width,
                    height: picture.height,
                });
            }
        }
        Op::Rotate { hundredths } => {
            if axes.is_some_and(|a| a.density().ppi().is_none()) {
                return Err(DeriveError::Uneven);
            }
            let (w, h) = warp::turned_size(picture.width, picture.height, hundredths);
            room(picture, w, h, limits)?;
            warp::rotate(picture, hundredths);
        }
        Op::Resample { ppi } => {
            let Some(a) = axes else {
                return Err(DeriveError::NoScale);
            };
            let (w, h) = (
                side(picture.width, ppi, a.x.value),
                side(picture.height, ppi, a.y.value),
            );
            room(picture, w, h, limits)?;
            warp::resample(picture, w, h);
            let value = f64::from(ppi);
            // What was not sure before is as unsure after, in proportion.
            let scaled = |p: Ppi| Ppi {
                value,
                uncertainty: p.uncertainty.map(|u| u / p.value * value),
            };
            *a = Axes {
                x: scaled(a.x),
                y: scaled(a.y),
            };
        }
    }
    Ok(())
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between 1 and 2^32"
)]
fn side(pixels: u32, to: u32, from: f64) -> u32 {
    (f64::from(pixels) * f64::from(to) / from)
        .round()
        .clamp(1.0, f64::from(u32::MAX)) as u32
}

/// Whether a picture of this size is within the limits.
fn room(picture: &Raster, width: u32, height: u32, limits: &Limits) -> Result<(), DeriveError> {
    let pixels = u64::from(width) * u64::from(height);
    let old = u64::from(picture.width) * u64::from(picture.height);
    let bytes = pixels.saturating_mul(picture.bytes() / old.max(1));
    if width.max(height) > limits.side || pixels > limits.pixels || bytes > limits.bytes {
        Err(DeriveError::TooLarge)
    } else {
        Ok(())
    }
}

/// SHA-256 over width, height (4 bytes each, the highest first), channels, bits of a sample (1 byte each), and the samples
/// row by row, those of 16 bits with the high byte first: what PNG stores, before filters and compression.
#[must_use]
pub fn pixels_digest(picture: &Raster) -> Digest {
    let mut hash = Sha256::new();
    hash.update(picture.width.to_be_bytes());
    hash.update(picture.height.to_be_bytes());
    match &picture.samples {
        Samples::Eight(s) => {
            hash.update([picture.channels, 8]);
            hash.update(s);
        }
        Samples::Sixteen(s) => {
            hash.update([picture.channels, 16]);
            let mut row = Vec::with_capacity(1 << 16);
            for run in s.chunks(1 << 15) {
                row.clear();
                row.extend(run.iter().flat_map(|v| v.to_be_bytes()));
                hash.update(&row);
            }
        }
    }
    Digest(hash.finalize().into())
}

/// Writes the file row by row, so that no second copy of the samples is made. The settings are fixed: they are part of
/// what makes the same recipe give the same bytes.
fn encode(
    picture: Raster,
    ppi: Option<u32>,
    profile: Option<&[u8]>,
) -> Result<Vec<u8>, DeriveError> {
    let failed = |e: &dyn std::fmt::Display| DeriveError::Encode(e.to_string());
    let mut out = Vec::new();
    let mut info = png::Info::with_size(picture.width, picture.height);
    info.icc_profile = profile.map(std::borrow::Cow::Borrowed);
    let mut encoder = png::Encoder::with_info(&mut out, info).map_err(|e| failed(&e))?;
    encoder.set_color(match picture.channels {
        1 => ColorType::Grayscale,
        2 => ColorType::GrayscaleAlpha,
        3 => ColorType::Rgb,
        _ => ColorType::Rgba,
    });
    encoder.set_depth(match picture.samples {
        Samples::Eight(_) => BitDepth::Eight,
        Samples::Sixteen(_) => BitDepth::Sixteen,
    });
    encoder.set_compression(Compression::Fast);
    encoder.set_filter(Filter::Paeth);
    encoder.set_pixel_dims(ppi.map(|ppi| {
        // PNG counts pixels a metre, in whole numbers; an inch is 0.0254 m.
        let metre = (u64::from(ppi) * 10_000 + 127) / 254;
        let metre = u32::try_from(metre).unwrap_or(u32::MAX);
        PixelDimensions {
            xppu: metre,
            yppu: metre,
            unit: Unit::Meter,
        }
    }));
    let mut writer = encoder.write_header().map_err(|e| failed(&e))?;
    let mut stream = writer
        .stream_writer_with_size(1 << 18)
        .map_err(|e| failed(&e))?;
    match picture.samples {
        Samples::Eight(s) => {
            std::io::Write::write_all(&mut stream, &s).map_err(|e| failed(&e))?;
        }
        Samples::Sixteen(s) => {
            let mut row = Vec::with_capacity(1 << 16);
            for run in s.chunks(1 << 15) {
                row.clear();
                row.extend(run.iter().flat_map(|v| v.to_be_bytes()));
                std::io::Write::write_all(&mut stream, &row).map_err(|e| failed(&e))?;
            }
        }
    }
    stream.finish().map_err(|e| failed(&e))?;
    drop(writer);
    Ok(out)
}
