//! What a file is, read from its structure and never from its name: a picture that can be decoded, or bytes that are kept
//! as they are.
//!
//! Pixels are not read. Of the file only heads are held in memory (at most [`MAX_HEAD`] bytes), however long it is and
//! whatever it says of itself; every list in it that could go round in a circle or claim to be endless has a bound.
//!
//! One picture, one mark: what holds several (an animation, a TIFF of several pages) is kept as bytes, since which of them
//! is meant is nobody's guess to make.

mod jpeg;
mod png;
mod tiff;

use std::io::{self, BufRead, Read, Seek, SeekFrom};

use image::{ImageDecoder, ImageError, Limits};

use super::metadata::{FileSays, Tags};

/// The longest side, in pixels: a sheet of A3 at 1000 pixels an inch has 16 535.
pub const MAX_SIDE: u32 = 20_000;
/// The most pixels.
pub const MAX_PIXELS: u64 = 250_000_000;
/// The most bytes of a file that are held in memory at once to find out what it is.
pub const MAX_HEAD: u64 = 16 * 1024 * 1024;
/// The media type of what is kept as bytes.
pub const OPAQUE: &str = "application/octet-stream";

/// What a file is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Probe {
    /// `image/png`, `image/jpeg` or `image/tiff` for what can be decoded, [`OPAQUE`] for everything else.
    pub media_type: &'static str,
    /// Width and height of the stored pixels; none for what is kept as bytes.
    pub pixels: Option<(u32, u32)>,
    /// What the file says of itself. For what is kept as bytes it says why.
    pub says: FileSays,
}

impl Probe {
    fn opaque(why: &str, mut says: FileSays) -> Self {
        says.opaque = Some(why.to_owned());
        Self {
            media_type: OPAQUE,
            pixels: None,
            says,
        }
    }

    /// A damaged picture that is all there is, kept as bytes because whoever brought it says so.
    #[must_use]
    pub fn kept_as_it_is(why: &ProbeError) -> Self {
        Self::opaque(
            &format!("{why}; kept as it is, as asked"),
            FileSays::default(),
        )
    }
}

/// Why a file is not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ProbeError {
    /// The file is shorter than it says.
    #[error("the picture is cut off: its end is missing")]
    CutOff,
    /// It begins like a picture but contradicts itself or the standard.
    #[error("the picture is damaged: {0}")]
    Damaged(&'static str),
    /// No pixels, or more than this server handles.
    #[error(
        "the picture has no pixels or too many: at most {MAX_SIDE} a side and {MAX_PIXELS} in all"
    )]
    Size,
    /// The bytes could not be read.
    #[error("the file could not be read from the server's disk")]
    Unreadable,
}

impl From<io::Error> for ProbeError {
    fn from(e: io::Error) -> Self {
        match e.kind() {
            io::ErrorKind::UnexpectedEof => Self::CutOff,
            _ => Self::Unreadable,
        }
    }
}

/// What a walk through the file's structure found.
struct Found {
    width: u32,
    height: u32,
    says: FileSays,
    /// Why it is kept as bytes, where it is.
    opaque: Option<&'static str>,
}

/// Finds out what a file is.
///
/// # Errors
/// When it begins like a PNG, JPEG or TIFF picture but is damaged, cut off, or larger than [`MAX_SIDE`] and
/// [`MAX_PIXELS`] allow. What begins like none of them is no error: it is kept as bytes.
pub fn probe<R: BufRead + Seek>(reader: R) -> Result<Probe, ProbeError> {
    let mut walk = Walk::new(reader)?;
    let head = walk.head(16)?;
    let (media_type, found) = match head.as_slice() {
        [0x89, b'P', b'N', b'G', ..] => ("image/png", png::look(&mut walk)?),
        [0xff, 0xd8, ..] => ("image/jpeg", jpeg::look(&mut walk)?),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => ("image/tiff", tiff::look(&mut walk)?),
        other => return Ok(Probe::opaque(kind(other), other_says(&mut walk, other))),
    };
    if let Some(why) = found.opaque {
        return Ok(Probe::opaque(why, found.says));
    }
    if !fits(found.width, found.height) {
        return Err(ProbeError::Size);
    }
    Ok(Probe {
        media_type,
        pixels: Some((found.width, found.height)),
        says: found.says,
    })
}

/// Whether a picture has pixels, and not more than this server handles.
#[must_use]
pub fn fits(width: u32, height: u32) -> bool {
    let pixels = u64::from(width) * u64::from(height);
    pixels > 0 && pixels <= MAX_PIXELS && width.max(height) <= MAX_SIDE
}

/// What else it may be, for the sentence on the page. Signatures: the formats' own descriptions (from memory).
fn kind(head: &[u8]) -> &'static str {
    match head {
        [b'I', b'I', 43, 0, ..] | [b'M', b'M', 0, 43, ..] => {
            "a TIFF with 64-bit offsets, which is not decoded here"
        }
        [b'G', b'I', b'F', b'8', ..] => "a GIF, which may hold several pictures",
        [
            b'R',
            b'I',
            b'F',
            b'F',
            _,
            _,
            _,
            _,
            b'W',
            b'E',
            b'B',
            b'P',
            ..,
        ] => "a WebP, which is not decoded here",
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => {
            "a file of a phone or camera (HEIF or video), which is not decoded here"
        }
        [b'I', b'I', ..] | [b'M', b'M', ..] => {
            "it looks like camera raw, which is not decoded here"
        }
        _ => "neither a PNG, a JPEG nor a TIFF",
    }
}

/// The Exif block of a file that is not decoded here, where the library finds one near its beginning.
fn other_says<R: BufRead + Seek>(walk: &mut Walk<R>, head: &[u8]) -> FileSays {
    if !matches!(head.get(4..8), Some(b"ftyp")) && head.get(8..12) != Some(b"WEBP") {
        return FileSays::default();
    }
    if walk.to(0).is_err() {
        return FileSays::default();
    }
    let mut metered = Metered {
        inner: &mut walk.reader,
        left: MAX_HEAD,
    };
    exif::Reader::new()
        .read_from_container(&mut metered)
        .map(|exif| Tags::of(&exif).said())
        .unwrap_or_default()
}

/// Holds a head against the decoder that would read the pixels, so that what it cannot decode is known at once.
fn decodable<D: ImageDecoder>(
    made: Result<D, ImageError>,
) -> Result<Option<(u32, u32)>, ProbeError> {
    match made {
        Ok(decoder) => Ok(Some(decoder.dimensions())),
        Err(ImageError::Unsupported(_)) => Ok(None),
        Err(ImageError::Limits(_)) => Err(ProbeError::Damaged("its head asks for too much memory")),
        Err(_) => Err(ProbeError::Damaged("its head cannot be read")),
    }
}

/// Why a picture of a known format is kept as bytes all the same.
const UNSUPPORTED: &str = "a picture of a known format, but of a kind that is not decoded here";

fn limits() -> Limits {
    let mut limits = Limits::default();
    limits.max_alloc = Some(MAX_HEAD);
    limits
}

/// A walk through a file that never runs beyond its end.
struct Walk<R> {
    reader: R,
    at: u64,
    len: u64,
}

impl<R: BufRead + Seek> Walk<R> {
    fn new(mut reader: R) -> Result<Self, ProbeError> {
        let len = reader.seek(SeekFrom::End(0))?;
        reader.seek(SeekFrom::Start(0))?;
        Ok(Self { reader, at: 0, len })
    }

    fn to(&mut self, offset: u64) -> Result<(), ProbeError> {
        if offset > self.len {
            return Err(ProbeError::CutOff);
        }
        self.reader.seek(SeekFrom::Start(offset))?;
        self.at = offset;
        Ok(())
    }

    fn skip(&mut self, bytes: u64) -> Result<(), ProbeError> {
        if bytes > self.len - self.at {
            return Err(ProbeError::CutOff);
        }
        let by = i64::try_from(bytes).map_err(|_| ProbeError::CutOff)?;
        // Stays within what was read ahead where it can.
        self.reader.seek_relative(by)?;
        self.at += bytes;
        Ok(())
    }

    fn array<const N: usize>(&mut self) -> Result<[u8; N], ProbeError> {
        let mut out = [0; N];
        self.reader.read_exact(&mut out)?;
        self.at += N as u64;
        Ok(out)
    }

    /// So many bytes; never more than there are, whatever the file says.
    fn bytes(&mut self, count: usize) -> Result<Vec<u8>, ProbeError> {
        let count64 = count as u64;
        if count64 > self.len - self.at {
            return Err(ProbeError::CutOff);
        }
        if count64 > MAX_HEAD {
            return Err(ProbeError::Damaged("its head is longer than any picture's"));
        }
        let mut out = vec![0; count];
        self.reader.read_exact(&mut out)?;
        self.at += count64;
        Ok(out)
    }

    /// The first bytes, or as many as there are.
    fn head(&mut self, most: u64) -> Result<Vec<u8>, ProbeError> {
        self.to(0)?;
        let mut out = Vec::new();
        self.reader.by_ref().take(most).read_to_end(&mut out)?;
        self.at = out.len() as u64;
        Ok(out)
    }

    /// The whole file from its beginning, of which a decoder may read no more than a head.
    fn metered(&mut self) -> Result<Metered<&mut R>, ProbeError> {
        self.to(0)?;
        Ok(Metered {
            inner: &mut self.reader,
            left: MAX_HEAD,
        })
    }
}

/// A reader that ends with an error once so many bytes were read.
struct Metered<R> {
    inner: R,
    left: u64,
}

fn spent() -> io::Error {
    io::Error::other("more was read of the file than its head")
}

impl<R: Read> Read for Metered<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.left == 0 {
            return Err(spent());
        }
        let most = usize::try_from(self.left)
            .unwrap_or(usize::MAX)
            .min(out.len());
        let n = self.inner.read(&mut out[..most])?;
        self.left -= n as u64;
        Ok(n)
    }
}

impl<R: BufRead> BufRead for Metered<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.left == 0 {
            return Err(spent());
        }
        self.inner.fill_buf()
    }

    fn consume(&mut self, amount: usize) {
        self.left = self.left.saturating_sub(amount as u64);
        self.inner.consume(amount);
    }
}

impl<R: Seek> Seek for Metered<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.inner.seek(to)
    }
}
