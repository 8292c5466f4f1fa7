//! QR codes on a photograph: the label of a thing, taken with a phone.
//!
//! The picture is made smaller by means of whole squares (which takes noise out), and parted into dark and light by what is
//! around each pixel (which takes shadows out), in several sizes and shades. Where three corner patterns lie as those of a
//! code do (`corners.rs`), that piece is taken out, turned level and made large enough, and read. The reading itself is
//! `rqrr`'s; over a whole label it would try every three of the many rings that printed text has.
//!
//! A picture can be drawn so that looking for codes in it would never end. So only so many pieces are read, each with only
//! so many corner patterns on it.

use rqrr::PreparedImage;

use super::corners::{Place, are_few, places};
use super::raster::{Raster, Samples};

/// How many different codes are told of one picture.
pub const MOST_CODES: usize = 8;
/// How many characters of a code's text are told: as many as a label that is scanned may have.
pub const MOST_TEXT: usize = 100;
/// The longest sides at which a picture is read, in pixels.
const SIDES: [usize; 3] = [1600, 900, 500];
/// How many per cent darker than around it a pixel is to count as dark.
const SHADES: [u32; 2] = [12, 25];
/// The window over which "around it" is taken: this part of the longer side.
const WINDOW: usize = 8;
/// How many corner patterns the piece of picture around a code may have: a code has three, and letters beside it look like
/// one now and then. The reader tries every three of them.
const MOST_CORNERS: usize = 5;
/// How many places of a picture are read.
const MOST_PIECES: usize = 24;
/// How many pixels a module gets where a place is read.
const MODULE: f64 = 7.0;
/// How much is taken around the corners' middles: this part of their distance. In the smallest code 3.5 modules of 14 are
/// code, the rest is quiet.
const AROUND: f64 = 0.45;
/// How many per cent darker than around it a pixel of such a piece is to count as dark: half of a code is dark.
const PIECE_SHADES: [u32; 3] = [12, 0, 25];

/// A grey picture of 8 bits.
struct Grey {
    width: usize,
    height: usize,
    pixels: Vec<u8>,
}

impl Grey {
    fn of(mut raster: Raster) -> Self {
        raster.grey();
        let pixels = match raster.samples {
            Samples::Eight(samples) => samples,
            Samples::Sixteen(samples) => samples.iter().map(|s| s.to_be_bytes()[0]).collect(),
        };
        Self {
            width: raster.width as usize,
            height: raster.height as usize,
            pixels,
        }
    }

    /// Smaller by a whole number, so that the longer side is at most `side`: each pixel is the mean of a square.
    fn shrunk(&self, by: usize) -> Self {
        let (width, height) = (self.width / by, self.height / by);
        let area = u32::try_from(by * by).unwrap_or(u32::MAX);
        let mut pixels = Vec::with_capacity(width * height);
        let mut sums = vec![0_u32; width];
        for y in 0..height {
            sums.fill(0);
            for row in self.pixels.chunks_exact(self.width).skip(y * by).take(by) {
                for (sum, run) in sums.iter_mut().zip(row.chunks_exact(by)) {
                    *sum += run.iter().map(|&p| u32::from(p)).sum::<u32>();
                }
            }
            pixels.extend(
                sums.iter()
                    .map(|sum| u8::try_from(sum / area).unwrap_or(u8::MAX)),
            );
        }
        Self {
            width,
            height,
            pixels,
        }
    }

    /// Which pixels are darker by so many per cent than the mean of what is around them up to `half` pixels away.
    fn dark(&self, per_cent: u32, half: usize) -> Vec<bool> {
        let (w, h) = (self.width, self.height);
        // Sums over everything above and left; at most 1600 by 1600 pixels of 255 fit into 32 bits.
        let across = w + 1;
        let mut sums = vec![0_u32; across * (h + 1)];
        for y in 0..h {
            let mut row = 0;
            for x in 0..w {
                row += u32::from(self.pixels[y * w + x]);
                sums[(y + 1) * across + x + 1] = sums[y * across + x + 1] + row;
            }
        }
        let mut out = Vec::with_capacity(w * h);
        for y in 0..h {
            let (top, bottom) = (y.saturating_sub(half), (y + half + 1).min(h));
            for x in 0..w {
                let (left, right) = (x.saturating_sub(half), (x + half + 1).min(w));
                let area = u64::try_from((bottom - top) * (right - left)).unwrap_or(u64::MAX);
                let sum = u64::from(
                    sums[bottom * across + right] + sums[top * across + left]
                        - sums[top * across + right]
                        - sums[bottom * across + left],
                );
                let pixel = u64::from(self.pixels[y * w + x]);
                out.push(pixel * area * 100 < sum * u64::from(100 - per_cent.min(100)));
            }
        }
        out
    }
}

impl Grey {
    /// How bright it is between pixels; beyond the edge as at the edge.
    fn at(&self, (x, y): (f64, f64)) -> f64 {
        let (x, y) = (
            (x - 0.5).clamp(0.0, (self.width - 1) as f64),
            (y - 0.5).clamp(0.0, (self.height - 1) as f64),
        );
        let (left, top) = (x as usize, y as usize);
        let (right, bottom) = (
            (left + 1).min(self.width - 1),
            (top + 1).min(self.height - 1),
        );
        let (a, b) = (x - left as f64, y - top as f64);
        let pixel = |x: usize, y: usize| f64::from(self.pixels[y * self.width + x]);
        (pixel(left, top) * (1.0 - a) + pixel(right, top) * a) * (1.0 - b)
            + (pixel(left, bottom) * (1.0 - a) + pixel(right, bottom) * a) * b
    }

    /// What is at a place, turned level: [`MODULE`] pixels a module.
    fn piece(&self, place: &Place) -> Self {
        let leg = place.modules * MODULE;
        let side = (leg * (1.0 + 2.0 * AROUND)) as usize;
        let mut pixels = Vec::with_capacity(side * side);
        for y in 0..side {
            for x in 0..side {
                let mut sum = 0.0;
                // Four looks a pixel.
                for (a, b) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                    let u = (x as f64 + a) / leg - AROUND;
                    let v = (y as f64 + b) / leg - AROUND;
                    sum += self.at((
                        place.at.0 + u * place.right.0 + v * place.down.0,
                        place.at.1 + u * place.right.1 + v * place.down.1,
                    ));
                }
                pixels.push((sum / 4.0) as u8);
            }
        }
        Self {
            width: side,
            height: side,
            pixels,
        }
    }

    /// The text of the codes on a piece.
    fn read(&self, texts: &mut Vec<String>) -> bool {
        let mut is_read = false;
        for shade in PIECE_SHADES {
            let dark = self.dark(shade, self.width / 4);
            if !are_few(&dark, self.width, MOST_CORNERS) {
                continue;
            }
            let mut prepared =
                PreparedImage::prepare_from_bitmap(self.width, self.height, |x, y| {
                    dark[y * self.width + x]
                });
            for grid in prepared.detect_grids() {
                let mut bytes = Vec::new();
                if grid.decode_to(&mut bytes).is_ok() {
                    take(texts, &bytes);
                    is_read = true;
                }
            }
            if is_read {
                break;
            }
        }
        is_read
    }
}

fn take(texts: &mut Vec<String>, bytes: &[u8]) {
    // Bytes without a word on their characters are ISO 8859-1 by the standard, and UTF-8 by what most programs write.
    let read = std::str::from_utf8(bytes).map_or_else(
        |_| bytes.iter().map(|&b| char::from(b)).collect(),
        str::to_owned,
    );
    let text: String = read
        .trim()
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(MOST_TEXT)
        .collect();
    if !text.is_empty() && !texts.contains(&text) && texts.len() < MOST_CODES {
        texts.push(text);
    }
}

/// The texts of the QR codes on a picture, each once; at most [`MOST_CODES`] of at most [`MOST_TEXT`] characters. Bytes
/// that are no UTF-8 are read as ISO 8859-1, and control characters are replaced.
#[must_use]
pub fn codes(raster: Raster) -> Vec<String> {
    let grey = Grey::of(raster);
    let longest = grey.width.max(grey.height);
    let mut texts = Vec::new();
    let mut tried = Vec::new();
    let mut done: Vec<Place> = Vec::new();
    let mut pieces = 0;
    for side in SIDES {
        let by = longest.div_ceil(side).max(1);
        if tried.contains(&by) {
            continue;
        }
        tried.push(by);
        let small = grey.shrunk(by);
        // A code has at least 21 modules, and a module less than a pixel is none.
        if small.width < 21 || small.height < 21 {
            continue;
        }
        let half = (small.width.max(small.height) / WINDOW / 2).max(4);
        for shade in SHADES {
            let dark = small.dark(shade, half);
            for place in places(&dark, small.width) {
                let whole = place.times(by as f64);
                // Where a code has been read there is no other.
                let is_done = |d: &Place| {
                    let (a, b) = (d.middle(), whole.middle());
                    (a.0 - b.0).hypot(a.1 - b.1) < d.reach()
                };
                if done.iter().any(is_done) {
                    continue;
                }
                if pieces == MOST_PIECES {
                    return texts;
                }
                pieces += 1;
                // Small modules are read off the picture as it came, large ones off that without its grain.
                let module = place.reach() * 2.0 / place.modules;
                let is_read = if module < 4.0 {
                    grey.piece(&whole).read(&mut texts)
                } else {
                    small.piece(&place).read(&mut texts)
                };
                if is_read {
                    done.push(whole);
                }
            }
        }
    }
    texts
}
