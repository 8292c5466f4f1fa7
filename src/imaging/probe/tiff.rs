//! The directories of a TIFF file. Layout: TIFF 6.0, sections 2 and 8; camera raw by the tags that its writers add to it
//! (SubIFDs and NewSubfileType: TIFF technical note 1; colour filter array: TIFF/EP, ISO 12234-2, from memory).

use std::collections::BTreeSet;
use std::io::{BufRead, Seek};

use image::codecs::tiff::TiffDecoder;

use super::{Found, ProbeError, UNSUPPORTED, Walk, decodable};
use crate::imaging::metadata::Tags;

const MAX_DIRECTORIES: usize = 64;
const MAX_ENTRIES: u16 = 1_000;
/// A picture of 20 000 rows, each row of each of four colours by itself, has 80 000.
const MAX_STRIPS: u32 = 200_000;
const MAX_TEXT: u32 = 1_000;

const NEW_SUBFILE_TYPE: u16 = 254;
const WIDTH: u16 = 256;
const HEIGHT: u16 = 257;
const PHOTOMETRIC: u16 = 262;
const MAKE: u16 = 271;
const MODEL: u16 = 272;
const STRIP_OFFSETS: u16 = 273;
const ORIENTATION: u16 = 274;
const STRIP_BYTES: u16 = 279;
const X_RESOLUTION: u16 = 282;
const Y_RESOLUTION: u16 = 283;
const RESOLUTION_UNIT: u16 = 296;
const TILE_OFFSETS: u16 = 324;
const TILE_BYTES: u16 = 325;
const EXIF: u16 = 34_665;
const RAW_VERSION: u16 = 50_706;
/// Exif 2.32, 4.6.5: when the picture was taken and digitised, and the zones of these.
const TIMES: [u16; 4] = [0x9003, 0x9011, 0x9004, 0x9012];

struct Entry {
    tag: u16,
    kind: u16,
    count: u32,
    value: [u8; 4],
}

struct Directory {
    entries: Vec<Entry>,
    next: u32,
}

impl Directory {
    fn get(&self, tag: u16) -> Option<&Entry> {
        self.entries.iter().find(|e| e.tag == tag)
    }
}

struct Tiff<'w, R> {
    walk: &'w mut Walk<R>,
    is_little: bool,
}

impl<R: BufRead + Seek> Tiff<'_, R> {
    fn short(&self, b: [u8; 2]) -> u16 {
        if self.is_little {
            u16::from_le_bytes(b)
        } else {
            u16::from_be_bytes(b)
        }
    }

    fn long(&self, b: [u8; 4]) -> u32 {
        if self.is_little {
            u32::from_le_bytes(b)
        } else {
            u32::from_be_bytes(b)
        }
    }

    fn directory(&mut self, at: u32) -> Result<Directory, ProbeError> {
        self.walk.to(u64::from(at))?;
        let count = self.walk.array()?;
        let count = self.short(count);
        if count == 0 || count > MAX_ENTRIES {
            return Err(ProbeError::Damaged("a directory in it cannot be one"));
        }
        let mut entries = Vec::with_capacity(usize::from(count));
        for _ in 0..count {
            let [t1, t2, k1, k2, c1, c2, c3, c4, value @ ..] = self.walk.array::<12>()?;
            entries.push(Entry {
                tag: self.short([t1, t2]),
                kind: self.short([k1, k2]),
                count: self.long([c1, c2, c3, c4]),
                value,
            });
        }
        let next = self.walk.array()?;
        Ok(Directory {
            entries,
            next: self.long(next),
        })
    }

    /// The bytes of a value, in the entry itself or where it points.
    fn raw(&mut self, entry: &Entry, size: u32, most: u32) -> Result<Vec<u8>, ProbeError> {
        if entry.count > most {
            return Err(ProbeError::Damaged(
                "a list in it is longer than any picture's",
            ));
        }
        let bytes = (entry.count * size) as usize;
        if bytes <= 4 {
            return Ok(entry.value[..bytes].to_vec());
        }
        self.walk.to(u64::from(self.long(entry.value)))?;
        self.walk.bytes(bytes)
    }

    /// Whole numbers of 8, 16 or 32 bits.
    fn numbers(&mut self, entry: &Entry, most: u32) -> Result<Vec<u32>, ProbeError> {
        match entry.kind {
            1 => Ok(self
                .raw(entry, 1, most)?
                .into_iter()
                .map(u32::from)
                .collect()),
            3 => {
                let raw = self.raw(entry, 2, most)?;
                let pairs = raw.chunks_exact(2);
                Ok(pairs.map(|b| u32::from(self.short([b[0], b[1]]))).collect())
            }
            4 | 13 => {
                let raw = self.raw(entry, 4, most)?;
                let fours = raw.chunks_exact(4);
                Ok(fours.map(|b| self.long([b[0], b[1], b[2], b[3]])).collect())
            }
            _ => Err(ProbeError::Damaged(
                "a number in it is of no kind of number",
            )),
        }
    }

    fn number(&mut self, of: &Directory, tag: u16) -> Result<Option<u32>, ProbeError> {
        match of.get(tag) {
            Some(entry) => Ok(self.numbers(entry, MAX_STRIPS)?.first().copied()),
            None => Ok(None),
        }
    }

    /// What is only told, not needed, is left out where it is damaged.
    fn text(&mut self, of: &Directory, tag: u16) -> Vec<u8> {
        let Some(entry) = of.get(tag).filter(|e| e.kind == 2) else {
            return Vec::new();
        };
        let raw = self.raw(entry, 1, MAX_TEXT).unwrap_or_default();
        raw.split(|b| *b == 0).next().unwrap_or_default().to_vec()
    }

    fn ratio(&mut self, of: &Directory, tag: u16) -> Option<(u32, u32)> {
        let entry = of.get(tag).filter(|e| e.kind == 5 && e.count == 1)?;
        let raw = self.raw(entry, 8, 1).ok()?;
        let [a, b, c, d, e, f, g, h] = raw.try_into().ok()?;
        Some((self.long([a, b, c, d]), self.long([e, f, g, h])))
    }

    fn told(&mut self, first: &Directory) -> Tags {
        let mut tags = Tags {
            make: self.text(first, MAKE),
            model: self.text(first, MODEL),
            orientation: self.number(first, ORIENTATION).ok().flatten(),
            resolution: [
                self.ratio(first, X_RESOLUTION),
                self.ratio(first, Y_RESOLUTION),
            ],
            // Inches where nothing is said: TIFF 6.0, section 8.
            resolution_unit: match first.get(RESOLUTION_UNIT) {
                Some(_) => self.number(first, RESOLUTION_UNIT).ok().flatten(),
                None => Some(2),
            },
            ..Tags::default()
        };
        let exif = self.number(first, EXIF).ok().flatten();
        if let Some(exif) = exif.and_then(|at| self.directory(at).ok()) {
            let [original, original_zone, digitized, digitized_zone] =
                TIMES.map(|tag| self.text(&exif, tag));
            tags.original = original;
            tags.original_zone = original_zone;
            tags.digitized = digitized;
            tags.digitized_zone = digitized_zone;
        }
        tags
    }

    /// Whether this is camera raw: what a reader of plain TIFF would show is its thumbnail or an undeveloped mosaic.
    fn is_raw(&mut self, first: &Directory) -> Result<bool, ProbeError> {
        self.walk.to(8)?;
        let marked = self.walk.array::<2>().is_ok_and(|b| b == *b"CR");
        let photometric = self.number(first, PHOTOMETRIC)?;
        Ok(marked
            || first.get(RAW_VERSION).is_some()
            || matches!(photometric, Some(32_803 | 34_892))
            || self.is_lesser(first)?)
    }

    /// Whether a directory says that it is a smaller version of another picture in the file, or a mask.
    fn is_lesser(&mut self, of: &Directory) -> Result<bool, ProbeError> {
        Ok(self.number(of, NEW_SUBFILE_TYPE)?.unwrap_or(0) & 0b101 != 0)
    }

    /// All strips or tiles must lie within the file.
    fn pixels(&mut self, first: &Directory) -> Result<(), ProbeError> {
        let (offsets, bytes) = match first.get(TILE_OFFSETS) {
            Some(offsets) => (Some(offsets), first.get(TILE_BYTES)),
            None => (first.get(STRIP_OFFSETS), first.get(STRIP_BYTES)),
        };
        let (Some(offsets), Some(bytes)) = (offsets, bytes) else {
            return Err(ProbeError::Damaged("it does not say where its pixels are"));
        };
        let offsets = self.numbers(offsets, MAX_STRIPS)?;
        let bytes = self.numbers(bytes, MAX_STRIPS)?;
        if offsets.len() != bytes.len() || offsets.is_empty() {
            return Err(ProbeError::Damaged("it does not say where its pixels are"));
        }
        let len = self.walk.len;
        let ends = |(o, b): (&u32, &u32)| u64::from(*o) + u64::from(*b) <= len;
        if offsets.iter().zip(&bytes).all(ends) {
            Ok(())
        } else {
            Err(ProbeError::CutOff)
        }
    }
}

pub(super) fn look<R: BufRead + Seek>(walk: &mut Walk<R>) -> Result<Found, ProbeError> {
    walk.to(0)?;
    let [order, _, _, _, at @ ..] = walk.array::<8>()?;
    let mut tiff = Tiff {
        is_little: order == b'I',
        walk,
    };
    let at = tiff.long(at);
    let first = tiff.directory(at)?;
    let says = tiff.told(&first).said();
    let kept = |opaque| Found {
        width: 0,
        height: 0,
        says: says.clone(),
        opaque: Some(opaque),
    };
    if tiff.is_raw(&first)? {
        return Ok(kept("camera raw, which is not decoded here"));
    }
    let mut seen = BTreeSet::from([at]);
    let mut next = first.next;
    let mut pages = 1;
    while next != 0 {
        if !seen.insert(next) {
            return Err(ProbeError::Damaged("its directories go round in a circle"));
        }
        if seen.len() > MAX_DIRECTORIES {
            return Err(ProbeError::Damaged(
                "it has more directories than any picture",
            ));
        }
        let page = tiff.directory(next)?;
        pages += usize::from(!tiff.is_lesser(&page)?);
        next = page.next;
    }
    if pages > 1 {
        return Ok(kept("a TIFF of several pages"));
    }
    let size = (tiff.number(&first, WIDTH)?, tiff.number(&first, HEIGHT)?);
    let (Some(width), Some(height)) = size else {
        return Err(ProbeError::Damaged("it does not say its size"));
    };
    if !super::fits(width, height) {
        return Err(ProbeError::Size);
    }
    tiff.pixels(&first)?;
    let opaque = decodable(TiffDecoder::new(walk.metered()?))?
        .is_none()
        .then_some(UNSUPPORTED);
    Ok(Found {
        width,
        height,
        says,
        opaque,
    })
}
