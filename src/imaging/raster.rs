//! Pixels in memory, and what can be done with them without making any up: mirror, invert, turn by quarters, crop, grey.
//! All of it is integer arithmetic, so that every machine gets the same result.

use rayon::prelude::*;

/// A sample of one channel: 8 or 16 bits.
pub(super) trait Sample: Copy + Send + Sync + 'static {
    /// White, and the most there is of a colour.
    const MAX: u32;
    /// As a number.
    fn wide(self) -> i64;
    /// From a number, brought into range.
    fn narrow(value: i64) -> Self;
}

impl Sample for u8 {
    const MAX: u32 = 0xff;
    fn wide(self) -> i64 {
        i64::from(self)
    }
    fn narrow(value: i64) -> Self {
        Self::try_from(value.clamp(0, 0xff)).unwrap_or(Self::MAX)
    }
}

impl Sample for u16 {
    const MAX: u32 = 0xffff;
    fn wide(self) -> i64 {
        i64::from(self)
    }
    fn narrow(value: i64) -> Self {
        Self::try_from(value.clamp(0, 0xffff)).unwrap_or(Self::MAX)
    }
}

/// Samples, row by row from the top, channel by channel within a pixel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Samples {
    /// 8 bits.
    Eight(Vec<u8>),
    /// 16 bits.
    Sixteen(Vec<u16>),
}

/// A picture in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Raster {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// 1 grey, 2 grey and opacity, 3 red, green, blue, 4 those and opacity.
    pub channels: u8,
    /// The samples; as many as width times height times channels.
    pub samples: Samples,
}

/// Runs the same code on samples of 8 and of 16 bits.
macro_rules! on_samples {
    ($of:expr, $samples:ident => $code:expr) => {
        match $of {
            Samples::Eight($samples) => $code,
            Samples::Sixteen($samples) => $code,
        }
    };
}

/// As [`on_samples`], and what comes out are samples of the same depth.
macro_rules! map_samples {
    ($of:expr, $samples:ident => $code:expr) => {
        match $of {
            Samples::Eight($samples) => Samples::Eight($code),
            Samples::Sixteen($samples) => Samples::Sixteen($code),
        }
    };
}
pub(super) use map_samples;

impl Raster {
    /// Bytes that the samples take.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        let each = match self.samples {
            Samples::Eight(_) => 1,
            Samples::Sixteen(_) => 2,
        };
        u64::from(self.width) * u64::from(self.height) * u64::from(self.channels) * each
    }

    /// Whether it has no colour.
    #[must_use]
    pub fn is_grey(&self) -> bool {
        self.channels < 3
    }

    fn row_len(&self) -> usize {
        self.width as usize * usize::from(self.channels)
    }

    /// Exchanges left and right.
    pub fn flip(&mut self) {
        let (len, channels) = (self.row_len(), usize::from(self.channels));
        on_samples!(&mut self.samples, s => mirror_rows(s, len, channels));
    }

    /// Exchanges top and bottom.
    pub fn upend(&mut self) {
        let (len, rows) = (self.row_len(), self.height as usize);
        on_samples!(&mut self.samples, s => {
            for top in 0..rows / 2 {
                let bottom = rows - 1 - top;
                let (upper, lower) = s.split_at_mut(bottom * len);
                upper[top * len..(top + 1) * len].swap_with_slice(&mut lower[..len]);
            }
        });
    }

    /// Exchanges light and dark; opacity stays.
    pub fn invert(&mut self) {
        let channels = usize::from(self.channels);
        let colours = if channels == 2 || channels == 4 {
            channels - 1
        } else {
            channels
        };
        on_samples!(&mut self.samples, s => {
            s.par_chunks_mut(channels * 4096).for_each(|run| {
                for pixel in run.chunks_exact_mut(channels) {
                    for sample in &mut pixel[..colours] {
                        *sample = !*sample;
                    }
                }
            });
        });
    }

    /// Exchanges rows and columns.
    fn transpose(&mut self) {
        let (w, h, c) = (
            self.width as usize,
            self.height as usize,
            usize::from(self.channels),
        );
        let samples = std::mem::replace(&mut self.samples, Samples::Eight(Vec::new()));
        self.samples = map_samples!(samples, s => transposed(&s, w, h, c));
        (self.width, self.height) = (self.height, self.width);
    }

    /// Turns clockwise by so many quarters of a circle.
    pub fn quarter_turns(&mut self, turns: u8) {
        match turns % 4 {
            1 => {
                self.transpose();
                self.flip();
            }
            2 => {
                self.flip();
                self.upend();
            }
            3 => {
                self.transpose();
                self.upend();
            }
            _ => {}
        }
    }

    /// Brings stored pixels into the order in which viewers show them, by the file's orientation tag (Exif 2.32, table 6;
    /// values outside 1 to 8 count as 1).
    pub fn apply_tag(&mut self, tag: u8) {
        if matches!(tag, 5..=8) {
            self.transpose();
        }
        if matches!(tag, 2 | 3 | 6 | 7) {
            self.flip();
        }
        if matches!(tag, 3 | 4 | 7 | 8) {
            self.upend();
        }
    }

    /// Keeps a rectangle; false, and nothing changed, where it does not lie within the picture.
    pub fn crop(&mut self, x: u32, y: u32, width: u32, height: u32) -> bool {
        let inside = |at: u32, len: u32, of: u32| {
            len > 0 && at.checked_add(len).is_some_and(|end| end <= of)
        };
        if !inside(x, width, self.width) || !inside(y, height, self.height) {
            return false;
        }
        let (row, c) = (self.row_len(), usize::from(self.channels));
        let (left, len) = (x as usize * c, width as usize * c);
        on_samples!(&mut self.samples, s => {
            for to in 0..height as usize {
                let from = (y as usize + to) * row + left;
                s.copy_within(from..from + len, to * len);
            }
            s.truncate(height as usize * len);
            s.shrink_to_fit();
        });
        (self.width, self.height) = (width, height);
        true
    }

    /// Drops colour and opacity. Weights of ITU-R BT.601, in 65536ths: 19595 red, 38470 green, 7471 blue, rounded.
    pub fn grey(&mut self) {
        let channels = usize::from(self.channels);
        if channels == 1 {
            return;
        }
        on_samples!(&mut self.samples, s => {
            let pixels = s.len() / channels;
            for i in 0..pixels {
                s[i] = luma(&s[i * channels..(i + 1) * channels]);
            }
            s.truncate(pixels);
            s.shrink_to_fit();
        });
        self.channels = 1;
    }
}

fn luma<T: Sample>(pixel: &[T]) -> T {
    match *pixel {
        [r, g, b] | [r, g, b, _] => {
            T::narrow((r.wide() * 19_595 + g.wide() * 38_470 + b.wide() * 7_471 + 0x8000) >> 16)
        }
        [v, ..] => v,
        [] => T::narrow(0),
    }
}

fn mirror_rows<T: Sample>(samples: &mut [T], len: usize, channels: usize) {
    if len == 0 {
        return;
    }
    samples.par_chunks_mut(len).for_each(|row| {
        row.reverse();
        // The channels within each pixel were turned round, too.
        if channels > 1 {
            for pixel in row.chunks_exact_mut(channels) {
                pixel.reverse();
            }
        }
    });
}

/// Rows become columns, in squares that fit a cache.
fn transposed<T: Sample>(from: &[T], w: usize, h: usize, c: usize) -> Vec<T> {
    const SIDE: usize = 64;
    let mut to = vec![T::narrow(0); from.len()];
    if to.is_empty() {
        return to;
    }
    // A band of the result is SIDE of its rows, which are SIDE columns of what was.
    to.par_chunks_mut(SIDE * h * c)
        .enumerate()
        .for_each(|(band, out)| {
            let left = band * SIDE;
            let columns = SIDE.min(w - left);
            for top in (0..h).step_by(SIDE) {
                for x in 0..columns {
                    for y in top..(top + SIDE).min(h) {
                        let source = (y * w + left + x) * c;
                        let target = (x * h + y) * c;
                        out[target..target + c].copy_from_slice(&from[source..source + c]);
                    }
                }
            }
        });
    to
}
