//! The segments of a JPEG file. Layout: ITU-T T.81 annex B; APP0: JFIF 1.02; APP1: Exif 2.32, section 4.7.

use std::io::{BufRead, Cursor, Read as _, Seek};

use image::codecs::jpeg::JpegDecoder;

use super::{Found, MAX_HEAD, ProbeError, UNSUPPORTED, Walk, decodable};
use crate::imaging::metadata::{FileSays, StatedDensity, Tags, density};

/// More segments than any picture has before its pixels.
const MAX_SEGMENTS: usize = 4_000;
/// How much is looked through at once for the end of the picture.
const BLOCK: u64 = 64 * 1024;

struct Frame {
    marker: u8,
    precision: u8,
    height: u16,
    width: u16,
    parts: u8,
}

impl Frame {
    /// Baseline, extended or progressive by Huffman coding, 8 bits, grey, three colours or four inks.
    fn is_known(&self) -> bool {
        matches!(self.marker, 0xc0..=0xc2) && self.precision == 8 && matches!(self.parts, 1 | 3 | 4)
    }
}

pub(super) fn look<R: BufRead + Seek>(walk: &mut Walk<R>) -> Result<Found, ProbeError> {
    walk.to(2)?;
    let (mut frame, mut dense, mut exif) = (None, None, None);
    for _ in 0..MAX_SEGMENTS {
        let marker = marker(walk)?;
        match marker {
            // Markers that stand alone.
            0x01 | 0xd0..=0xd7 => continue,
            0xd9 => return Err(ProbeError::Damaged("it ends before its pixels")),
            _ => {}
        }
        let length = u16::from_be_bytes(walk.array()?);
        let Some(length) = length.checked_sub(2).map(usize::from) else {
            return Err(ProbeError::Damaged("a part of its head has no length"));
        };
        let after = walk.at + length as u64;
        match marker {
            0xc0..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf if length >= 6 => {
                let [precision, h1, h2, w1, w2, parts] = walk.array()?;
                frame = frame.or(Some(Frame {
                    marker,
                    precision,
                    height: u16::from_be_bytes([h1, h2]),
                    width: u16::from_be_bytes([w1, w2]),
                    parts,
                }));
            }
            0xe0 if length >= 12 => dense = dense.or(jfif(walk.array()?)),
            0xe1 if length > 6 && exif.is_none() => {
                let block = walk.bytes(length)?;
                exif = block.strip_prefix(b"Exif\0\0").map(<[u8]>::to_vec);
            }
            _ => {}
        }
        walk.skip(after.checked_sub(walk.at).ok_or(ProbeError::CutOff)?)?;
        if marker == 0xda {
            return whole(walk, frame, exif, dense);
        }
    }
    Err(ProbeError::Damaged(
        "its head is in more pieces than any picture's",
    ))
}

fn marker<R: BufRead + Seek>(walk: &mut Walk<R>) -> Result<u8, ProbeError> {
    if walk.array::<1>()? != [0xff] {
        return Err(ProbeError::Damaged("its head is out of step"));
    }
    // Any number of 0xff may fill the space before a marker; so many are no picture.
    for _ in 0..BLOCK {
        let [marker] = walk.array()?;
        if marker != 0xff {
            return Ok(marker);
        }
    }
    Err(ProbeError::Damaged("its head is out of step"))
}

fn jfif(head: [u8; 12]) -> Option<StatedDensity> {
    let [b'J', b'F', b'I', b'F', 0, _, _, unit, x1, x2, y1, y2] = head else {
        return None;
    };
    let inches = match unit {
        1 => 1.0,
        2 => 2.54,
        _ => return None,
    };
    let ppi = |n: [u8; 2]| f64::from(u16::from_be_bytes(n)) * inches;
    density(ppi([x1, x2]), ppi([y1, y2]))
}

fn whole<R: BufRead + Seek>(
    walk: &mut Walk<R>,
    frame: Option<Frame>,
    exif: Option<Vec<u8>>,
    dense: Option<StatedDensity>,
) -> Result<Found, ProbeError> {
    let pixels_begin = walk.at;
    let Some(frame) = frame else {
        return Err(ProbeError::Damaged("it does not say its size"));
    };
    if !ends(walk, pixels_begin)? {
        return Err(ProbeError::CutOff);
    }
    if pixels_begin > MAX_HEAD {
        return Err(ProbeError::Damaged("its head is longer than any picture's"));
    }
    let mut says = exif.map_or_else(FileSays::default, |block| Tags::of_exif(block).said());
    says.density = says.density.or(dense);
    let (width, height) = (u32::from(frame.width), u32::from(frame.height));
    let mut opaque = (!frame.is_known()).then_some(UNSUPPORTED);
    if opaque.is_none() && super::fits(width, height) {
        // The decoder would read the whole file into memory: it gets the head.
        let head = walk.head(pixels_begin)?;
        if decodable(JpegDecoder::new(Cursor::new(head)))?.is_none() {
            opaque = Some(UNSUPPORTED);
        }
    }
    Ok(Found {
        width,
        height,
        says,
        opaque,
    })
}

/// Whether the marker for the end comes anywhere after the pixels began; from the back, since that is where it is. Some
/// cameras and phones put more behind it.
fn ends<R: BufRead + Seek>(walk: &mut Walk<R>, from: u64) -> Result<bool, ProbeError> {
    let mut end = walk.len;
    let mut block = Vec::new();
    while end > from {
        let begin = end.saturating_sub(BLOCK).max(from);
        walk.to(begin)?;
        block.clear();
        // One byte more, so that a marker across two blocks is seen.
        walk.reader
            .by_ref()
            .take(end - begin + 1)
            .read_to_end(&mut block)?;
        if block.windows(2).any(|w| w == [0xff, 0xd9]) {
            return Ok(true);
        }
        end = begin;
    }
    Ok(false)
}
