//! The chunks of a PNG file. Layout: PNG specification, third edition, sections 5 and 11.

use std::io::{BufRead, Seek};

use image::codecs::png::PngDecoder;

use super::{Found, ProbeError, UNSUPPORTED, Walk, decodable, limits};
use crate::imaging::metadata::{FileSays, MAX_EXIF, Tags, density};

/// More chunks than any picture of 200 MB has, also where it is written in pieces of 8 KB.
const MAX_CHUNKS: usize = 100_000;

pub(super) fn look<R: BufRead + Seek>(walk: &mut Walk<R>) -> Result<Found, ProbeError> {
    walk.to(0)?;
    if walk.array::<8>()? != *b"\x89PNG\r\n\x1a\n" {
        return Err(ProbeError::Damaged(
            "its first bytes were altered on the way",
        ));
    }
    let (mut size, mut says, mut dense) = (None, FileSays::default(), None);
    let (mut is_animated, mut has_pixels, mut ended) = (false, false, false);
    for _ in 0..MAX_CHUNKS {
        let [a, b, c, d, kind @ ..] = walk.array::<8>()?;
        let length = u32::from_be_bytes([a, b, c, d]);
        if size.is_none() && (&kind != b"IHDR" || length != 13) {
            return Err(ProbeError::Damaged("it does not begin with its size"));
        }
        let after = walk.at + u64::from(length) + 4;
        match &kind {
            b"IHDR" => {
                let [a, b, c, d, e, f, g, h] = walk.array::<8>()?;
                size = Some((
                    u32::from_be_bytes([a, b, c, d]),
                    u32::from_be_bytes([e, f, g, h]),
                ));
            }
            b"acTL" => is_animated = true,
            b"IDAT" => has_pixels = true,
            // Pixels a metre, where the unit is 1.
            b"pHYs" if length == 9 => {
                let [a, b, c, d, e, f, g, h, unit] = walk.array::<9>()?;
                let ppi = |n: [u8; 4]| f64::from(u32::from_be_bytes(n)) * 0.0254;
                if unit == 1 {
                    dense = density(ppi([a, b, c, d]), ppi([e, f, g, h]));
                }
            }
            b"eXIf" if length as usize <= MAX_EXIF => {
                says = Tags::of_exif(walk.bytes(length as usize)?).said();
            }
            b"IEND" => ended = true,
            _ => {}
        }
        walk.skip(after.checked_sub(walk.at).ok_or(ProbeError::CutOff)?)?;
        if ended {
            break;
        }
    }
    let (width, height) = size.ok_or(ProbeError::CutOff)?;
    if !ended {
        return Err(ProbeError::Damaged("it is in more pieces than any picture"));
    }
    if !has_pixels {
        return Err(ProbeError::Damaged("it holds no pixels"));
    }
    says.density = dense.or(says.density);
    // A wrong size is said as such, before the decoder looks.
    let seen = if super::fits(width, height) {
        decodable(PngDecoder::with_limits(walk.metered()?, limits()))?
    } else {
        Some((width, height))
    };
    Ok(Found {
        width,
        height,
        says,
        opaque: match seen {
            _ if is_animated => Some("an animated PNG, which holds several pictures"),
            None => Some(UNSUPPORTED),
            Some(_) => None,
        },
    })
}
