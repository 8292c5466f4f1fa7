//! Picture files made by hand, so that each byte of them is known: PNG, JPEG and TIFF, whole and hostile.
//! Layouts: PNG specification (third edition), ITU-T T.81 annex B, TIFF 6.0, Exif 2.32.
#![allow(dead_code)]

use image::{ExtendedColorType, ImageEncoder as _, codecs::jpeg::JpegEncoder};

/// An entry of a directory.
#[derive(Clone, Debug)]
pub struct Entry {
    pub tag: u16,
    pub kind: u16,
    /// The values, each in as many bytes as its kind has; big-endian.
    pub values: Vec<Vec<u8>>,
    /// What it says of its own length; none for the truth.
    pub count: Option<u32>,
}

fn entry(tag: u16, kind: u16, values: Vec<Vec<u8>>) -> Entry {
    Entry {
        tag,
        kind,
        values,
        count: None,
    }
}

pub fn ascii(tag: u16, text: &str) -> Entry {
    let bytes = text.bytes().chain([0]);
    entry(tag, 2, bytes.map(|b| vec![b]).collect())
}

pub fn short(tag: u16, value: u16) -> Entry {
    entry(tag, 3, vec![value.to_be_bytes().to_vec()])
}

pub fn long(tag: u16, value: u32) -> Entry {
    entry(tag, 4, vec![value.to_be_bytes().to_vec()])
}

/// Two numbers of 32 bits each; only for big-endian files or where both orders are written by [`Tiff`].
pub fn ratio(tag: u16, of: u32, by: u32) -> Entry {
    entry(tag, 5, vec![[of.to_be_bytes(), by.to_be_bytes()].concat()])
}

/// Writes numbers in one byte order.
#[derive(Clone, Copy)]
struct Order {
    little: bool,
}

impl Order {
    fn number(self, big_endian: &[u8]) -> Vec<u8> {
        let mut out = big_endian.to_vec();
        if self.little {
            out.reverse();
        }
        out
    }

    fn value(self, kind: u16, value: &[u8]) -> Vec<u8> {
        match kind {
            5 => [self.number(&value[..4]), self.number(&value[4..])].concat(),
            _ => self.number(value),
        }
    }

    /// A directory that is written at `at`, its longer values behind it.
    fn directory(self, at: usize, entries: &[Entry], next: u32) -> Vec<u8> {
        let mut sorted = entries.to_vec();
        sorted.sort_by_key(|e| e.tag);
        let mut behind = at + 2 + 12 * sorted.len() + 4;
        let mut out = self.number(&u16::try_from(sorted.len()).unwrap().to_be_bytes());
        let mut values = Vec::new();
        for e in &sorted {
            let bytes: Vec<u8> = e
                .values
                .iter()
                .flat_map(|v| self.value(e.kind, v))
                .collect();
            let count = e
                .count
                .unwrap_or_else(|| u32::try_from(e.values.len()).unwrap());
            out.extend(self.number(&e.tag.to_be_bytes()));
            out.extend(self.number(&e.kind.to_be_bytes()));
            out.extend(self.number(&count.to_be_bytes()));
            if bytes.len() <= 4 {
                let mut slot = bytes;
                slot.resize(4, 0);
                out.extend(slot);
            } else {
                let place = u32::try_from(behind).unwrap();
                out.extend(self.number(&place.to_be_bytes()));
                behind += bytes.len();
                values.extend(bytes);
            }
        }
        out.extend(self.number(&next.to_be_bytes()));
        out.extend(values);
        out
    }
}

/// An Exif block, big-endian: a first directory, and an Exif directory behind it.
pub fn exif(first: &[Entry], inner: &[Entry]) -> Vec<u8> {
    let order = Order { little: false };
    let mut out = b"MM\0*\0\0\0\x08".to_vec();
    let mut entries = first.to_vec();
    if !inner.is_empty() {
        // Once to know how long the first one is.
        entries.push(long(0x8769, 0));
        let length = order.directory(8, &entries, 0).len();
        entries.pop();
        entries.push(long(0x8769, u32::try_from(8 + length).unwrap()));
    }
    out.extend(order.directory(8, &entries, 0));
    if !inner.is_empty() {
        let at = out.len();
        out.extend(order.directory(at, inner, 0));
    }
    out
}

/// A TIFF of one strip a page, pixels behind the head.
#[derive(Clone)]
pub struct Tiff {
    pub little: bool,
    pub entries: Vec<Entry>,
    pub pages: usize,
    pub next_is_itself: bool,
    strip: Vec<u8>,
}

impl Tiff {
    /// Grey, not compressed.
    pub fn grey(width: u16, height: u16, bits: u16) -> Self {
        let strip: Vec<u8> = (0..usize::from(width) * usize::from(height) * usize::from(bits / 8))
            .map(|n| u8::try_from(n % 251).unwrap())
            .collect();
        let entries = vec![
            short(256, width),
            short(257, height),
            short(258, bits),
            short(259, 1),
            short(262, 1),
            long(273, 8),
            short(277, 1),
            long(278, u32::from(height)),
            long(279, u32::try_from(strip.len()).unwrap()),
        ];
        Self {
            little: true,
            entries,
            pages: 1,
            next_is_itself: false,
            strip,
        }
    }

    /// Puts an entry in the place of the one with its tag.
    pub fn set(&mut self, entry: Entry) {
        self.entries.retain(|e| e.tag != entry.tag);
        self.entries.push(entry);
    }

    /// The strip lies before the directory, so that a file that is cut off loses the directory first.
    pub fn bytes(&self) -> Vec<u8> {
        let order = Order {
            little: self.little,
        };
        let mut out = if self.little {
            b"II".to_vec()
        } else {
            b"MM".to_vec()
        };
        out.extend(order.number(&42_u16.to_be_bytes()));
        let mut at = 8 + self.strip.len();
        out.extend(order.number(&u32::try_from(at).unwrap().to_be_bytes()));
        out.extend(&self.strip);
        for page in 1..=self.pages {
            let length = order.directory(at, &self.entries, 0).len();
            let next = match page == self.pages {
                true if self.next_is_itself => at,
                true => 0,
                false => at + length,
            };
            out.extend(order.directory(at, &self.entries, u32::try_from(next).unwrap()));
            at += length;
        }
        out
    }
}

/// CRC-32 as PNG has it: annex D of its specification.
fn crc(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for byte in bytes {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 {
                0xedb8_8320 ^ (crc >> 1)
            } else {
                crc >> 1
            };
        }
    }
    !crc
}

pub fn chunk(kind: [u8; 4], data: &[u8]) -> Vec<u8> {
    let body = [&kind[..], data].concat();
    let mut out = u32::try_from(data.len()).unwrap().to_be_bytes().to_vec();
    out.extend(&body);
    out.extend(crc(&body).to_be_bytes());
    out
}

fn header(width: u32, height: u32, color: u8, bits: u8) -> Vec<u8> {
    let mut head = width.to_be_bytes().to_vec();
    head.extend(height.to_be_bytes());
    head.extend([bits, color, 0, 0, 0]);
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    out.extend(chunk(*b"IHDR", &head));
    out
}

/// A zlib stream of stored blocks (RFC 1950, RFC 1951).
pub fn stored(data: &[u8]) -> Vec<u8> {
    let mut out = vec![0x78, 0x01];
    let mut blocks = data.chunks(65_535).peekable();
    while let Some(block) = blocks.next() {
        let length = u16::try_from(block.len()).unwrap();
        out.push(u8::from(blocks.peek().is_none()));
        out.extend(length.to_le_bytes());
        out.extend((!length).to_le_bytes());
        out.extend(block);
    }
    let (mut a, mut b) = (1_u32, 0_u32);
    for byte in data {
        a = (a + u32::from(*byte)) % 65_521;
        b = (b + a) % 65_521;
    }
    out.extend(((b << 16) | a).to_be_bytes());
    out
}

/// A whole PNG, its pixels a slope, with more chunks before them.
pub fn png(width: u32, height: u32, color: u8, bits: u8, more: &[([u8; 4], Vec<u8>)]) -> Vec<u8> {
    let channels = match color {
        0 | 3 => 1,
        4 => 2,
        2 => 3,
        _ => 4,
    };
    let row = (width * channels * u32::from(bits)).div_ceil(8);
    let mut pixels = Vec::new();
    for y in 0..height {
        pixels.push(0);
        pixels.extend((0..row).map(|x| u8::try_from((x * 3 + y * 7) % 256).unwrap()));
    }
    let mut out = header(width, height, color, bits);
    for (kind, data) in more {
        out.extend(chunk(*kind, data));
    }
    out.extend(chunk(*b"IDAT", &stored(&pixels)));
    out.extend(chunk(*b"IEND", &[]));
    out
}

/// A PNG that says this size of itself, and has hardly any pixels.
pub fn png_head(width: u32, height: u32) -> Vec<u8> {
    let mut out = header(width, height, 0, 8);
    out.extend(chunk(*b"IDAT", &stored(&[0, 0])));
    out.extend(chunk(*b"IEND", &[]));
    out
}

/// Puts segments behind the start of a JPEG.
pub fn with_segments(jpeg: &[u8], segments: &[(u8, Vec<u8>)]) -> Vec<u8> {
    let mut out = jpeg[..2].to_vec();
    for (marker, data) in segments {
        out.extend([0xff, *marker]);
        out.extend(u16::try_from(data.len() + 2).unwrap().to_be_bytes());
        out.extend(data);
    }
    out.extend(&jpeg[2..]);
    out
}

/// A JPEG by the library's encoder, grey or in colour, then given this size in its head; with an Exif block.
pub fn jpeg(width: u16, height: u16, parts: u8, exif: Option<&[u8]>) -> Vec<u8> {
    let mut out = Vec::new();
    let (pixels, color) = match parts {
        1 => (vec![90; 16 * 16], ExtendedColorType::L8),
        _ => (vec![90; 16 * 16 * 3], ExtendedColorType::Rgb8),
    };
    JpegEncoder::new(&mut out)
        .write_image(&pixels, 16, 16, color)
        .unwrap();
    let at = out.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    out[at + 5..at + 7].copy_from_slice(&height.to_be_bytes());
    out[at + 7..at + 9].copy_from_slice(&width.to_be_bytes());
    match exif {
        Some(exif) => {
            let block = [b"Exif\0\0", exif].concat();
            with_segments(&out, &[(0xe1, block)])
        }
        None => out,
    }
}
