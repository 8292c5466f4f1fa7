//! From the bytes of an original or a working copy to the pixels of a hand-off, without loss: 8 bits of grey, or 24 of
//! colour. A PNG that is so already goes as it is, under its own digest.

use std::io::Cursor;

use image::{ExtendedColorType, ImageEncoder as _, codecs::png::PngEncoder};

use crate::disclosure::itl::{Coding, ItlRefusal, ItlRule};
use crate::imaging::decode::{Limits, decode};
use crate::imaging::raster::{Raster, Samples};

/// Pixels as they go into the file.
pub struct Encoded {
    /// The bytes.
    pub data: Vec<u8>,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Bits a pixel, 8 or 24.
    pub bits: u8,
    /// What was done to them here, one sentence a step, for the processing log.
    pub done: Vec<&'static str>,
}

fn no(rule: ItlRule, why: impl Into<String>, next: &str) -> ItlRefusal {
    ItlRefusal::new(rule, why, next)
}

const JPEG: &[u8] = &[0xff, 0xd8, 0xff];
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";

/// Whether a PNG is 8 bits of grey or 24 of colour and not interlaced (W3C PNG, IHDR).
fn plain_png(bytes: &[u8]) -> bool {
    bytes.starts_with(PNG)
        && bytes.get(24) == Some(&8)
        && matches!(bytes.get(25), Some(0 | 2))
        && bytes.get(28) == Some(&0)
}

/// The pixels for the receiver. An original goes only if nothing has to be done to it but to write it again without loss.
///
/// # Errors
/// [`ItlRule::Lossy`], [`ItlRule::OrientationTag`], [`ItlRule::Pixels`].
pub fn encode(bytes: Vec<u8>, coding: Coding, original: bool) -> Result<Encoded, ItlRefusal> {
    if bytes.starts_with(JPEG) {
        return Err(no(
            ItlRule::Lossy,
            "The original is a JPEG, which is lossy, and a latent print is handed off without loss only.",
            "Make a working copy: it is lossless.",
        ));
    }
    let decoded = decode(&bytes, &Limits::default()).map_err(|e| {
        no(
            ItlRule::Lossy,
            format!("The picture cannot be written without loss: {e}."),
            "Choose a PNG, or make a working copy.",
        )
    })?;
    if original && decoded.orientation != 1 {
        return Err(no(
            ItlRule::OrientationTag,
            "The file's orientation tag says that its pixels are not as viewers show them.",
            "Make a working copy: it has the tag applied.",
        ));
    }
    let mut done = Vec::new();
    let before = decoded.raster.channels;
    let deep = matches!(decoded.raster.samples, Samples::Sixteen(_));
    let (width, height) = (decoded.raster.width, decoded.raster.height);
    let (pixels, channels) = flat(decoded.raster, &mut done)?;
    let bits = channels * 8;
    let untouched = before == channels && !deep;
    let data = match coding {
        Coding::Raw => {
            if bytes.starts_with(PNG) {
                done.push("PNG decoded, pixels written row by row, none changed");
            } else {
                done.push("decoded, pixels written row by row, none changed");
            }
            pixels
        }
        Coding::Png if untouched && plain_png(&bytes) => bytes,
        Coding::Png => {
            done.push("decoded and written as PNG, no pixel changed");
            png(&pixels, width, height, channels)?
        }
    };
    Ok(Encoded {
        data,
        width,
        height,
        bits,
        done,
    })
}

/// 8 bits a sample, one channel or three.
fn flat(raster: Raster, done: &mut Vec<&'static str>) -> Result<(Vec<u8>, u8), ItlRefusal> {
    let samples = match raster.samples {
        Samples::Eight(all) => all,
        Samples::Sixteen(all) => {
            done.push("16 bits a sample rounded to 8, the most that a receiver takes");
            // 65535 is 257 times 255, so this is the nearest of 256 steps.
            all.iter()
                .map(|s| u8::try_from((u32::from(*s) + 128) / 257).unwrap_or(u8::MAX))
                .collect()
        }
    };
    let channels = raster.channels;
    if matches!(channels, 1 | 3) {
        return Ok((samples, channels));
    }
    let each = usize::from(channels);
    if samples.chunks_exact(each).any(|p| p[each - 1] != u8::MAX) {
        return Err(no(
            ItlRule::Pixels,
            "The picture has see-through pixels, and a latent print has none.",
            "Choose a picture without them.",
        ));
    }
    done.push("opacity left out, every pixel being opaque");
    let kept = samples
        .chunks_exact(each)
        .flat_map(|p| p[..each - 1].to_vec())
        .collect();
    Ok((kept, channels - 1))
}

fn png(pixels: &[u8], width: u32, height: u32, channels: u8) -> Result<Vec<u8>, ItlRefusal> {
    let mut out = Cursor::new(Vec::new());
    let kind = if channels == 1 {
        ExtendedColorType::L8
    } else {
        ExtendedColorType::Rgb8
    };
    PngEncoder::new(&mut out)
        .write_image(pixels, width, height, kind)
        .map_err(|e| {
            no(
                ItlRule::Lossy,
                format!("The picture cannot be written as PNG: {e}."),
                "Choose another picture.",
            )
        })?;
    Ok(out.into_inner())
}
