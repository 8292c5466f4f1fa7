//! Free rotation and resampling: pixels between pixels, by cubic convolution.
//!
//! Weights are made by the four basic operations and rounded to integers, sine and cosine are rounded to 30 bits, and
//! everything after that is integer arithmetic; so every machine gets the same samples.
//!
//! Source of the kernel: R. G. Keys, "Cubic convolution interpolation for digital image processing", IEEE Trans. ASSP
//! 29 (1981), with a = -1/2 (from memory). When a picture gets smaller the kernel is widened by as much, so that fine
//! lines do not turn into others.

use rayon::prelude::*;

use super::raster::{Raster, Sample, Samples, map_samples};

/// Bits behind the point of a weight.
const WEIGHT_BITS: u32 = 14;
const ONE: i64 = 1 << WEIGHT_BITS;
/// Bits behind the point of a position.
const POSITION_BITS: u32 = 16;
/// Bits behind the point of sine and cosine.
const TURN_BITS: u32 = 30;
/// Steps between two pixels for which weights are made.
const PHASES: usize = 256;

/// The kernel at a distance of `x` pixels.
fn keys(x: f64) -> f64 {
    let x = x.abs();
    if x < 1.0 {
        (1.5 * x - 2.5) * x * x + 1.0
    } else if x < 2.0 {
        ((-0.5 * x + 2.5) * x - 4.0) * x + 2.0
    } else {
        0.0
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "weights lie between -1 and 1, times 2^14"
)]
fn rounded(weights: &[f64]) -> Vec<i64> {
    let sum: f64 = weights.iter().sum();
    #[expect(clippy::cast_precision_loss, reason = "2^14 is exact")]
    let mut out: Vec<i64> = weights
        .iter()
        .map(|w| (w / sum * ONE as f64).round() as i64)
        .collect();
    // Even areas stay exactly as they are: the weights of one pixel make exactly one.
    let left = ONE - out.iter().sum::<i64>();
    if let Some(most) = out.iter_mut().max_by_key(|w| **w) {
        *most += left;
    }
    out
}

/// The weights of a row of new pixels: where each begins in the old row, and how much it takes of each.
struct Taps {
    from: usize,
    weights: Vec<i64>,
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "sides of pictures are small numbers"
)]
fn taps(old: u32, new: u32) -> Vec<Taps> {
    let step = f64::from(old) / f64::from(new);
    let wide = step.max(1.0);
    (0..new)
        .map(|i| {
            let centre = (f64::from(i) + 0.5) * step - 0.5;
            let first = (centre - 2.0 * wide).ceil().max(0.0) as usize;
            let last = ((centre + 2.0 * wide).floor() as usize).min(old as usize - 1);
            let weights: Vec<f64> = (first..=last.max(first))
                .map(|at| keys((at as f64 - centre) / wide))
                .collect();
            Taps {
                from: first,
                weights: rounded(&weights),
            }
        })
        .collect()
}

fn across<T: Sample>(from: &[T], old: u32, c: usize, taps: &[Taps]) -> Vec<T> {
    let (old_len, new_len) = (old as usize * c, taps.len() * c);
    let rows = from.len() / old_len;
    let mut to = vec![T::narrow(0); rows * new_len];
    to.par_chunks_mut(new_len).enumerate().for_each(|(y, out)| {
        let row = &from[y * old_len..(y + 1) * old_len];
        for (pixel, tap) in out.chunks_exact_mut(c).zip(taps) {
            for (channel, sample) in pixel.iter_mut().enumerate() {
                let sum: i64 = tap
                    .weights
                    .iter()
                    .enumerate()
                    .map(|(i, w)| row[(tap.from + i) * c + channel].wide() * w)
                    .sum();
                *sample = T::narrow((sum + ONE / 2) >> WEIGHT_BITS);
            }
        }
    });
    to
}

fn down<T: Sample>(from: &[T], len: usize, taps: &[Taps]) -> Vec<T> {
    let mut to = vec![T::narrow(0); taps.len() * len];
    to.par_chunks_mut(len)
        .zip(taps)
        .for_each_init(Vec::new, |sums: &mut Vec<i64>, (out, tap)| {
            sums.clear();
            sums.resize(len, ONE / 2);
            for (i, w) in tap.weights.iter().enumerate() {
                let row = &from[(tap.from + i) * len..(tap.from + i + 1) * len];
                for (sum, sample) in sums.iter_mut().zip(row) {
                    *sum += sample.wide() * w;
                }
            }
            for (sample, sum) in out.iter_mut().zip(sums.iter()) {
                *sample = T::narrow(*sum >> WEIGHT_BITS);
            }
        });
    to
}

/// Makes the picture `width` by `height` pixels.
pub(super) fn resample(picture: &mut Raster, width: u32, height: u32) {
    let c = usize::from(picture.channels);
    if width != picture.width {
        let taps = taps(picture.width, width);
        let samples = std::mem::replace(&mut picture.samples, Samples::Eight(Vec::new()));
        picture.samples = map_samples!(samples, s => across(&s, picture.width, c, &taps));
        picture.width = width;
    }
    if height != picture.height {
        let taps = taps(picture.height, height);
        let len = width as usize * c;
        let samples = std::mem::replace(&mut picture.samples, Samples::Eight(Vec::new()));
        picture.samples = map_samples!(samples, s => down(&s, len, &taps));
        picture.height = height;
    }
}

/// Sine and cosine of hundredths of a degree, in 2^30ths.
#[expect(
    clippy::cast_possible_truncation,
    reason = "sine and cosine lie between -1 and 1"
)]
fn turn(hundredths: i32) -> (i64, i64) {
    let angle = f64::from(hundredths) / 18_000.0 * std::f64::consts::PI;
    let fixed = |v: f64| (v * f64::from(1_u32 << TURN_BITS)).round() as i64;
    (fixed(angle.sin()), fixed(angle.cos()))
}

/// The size of a picture turned by so many hundredths of a degree: as large as the rectangle around it.
pub(super) fn turned_size(width: u32, height: u32, hundredths: i32) -> (u32, u32) {
    let (sin, cos) = turn(hundredths);
    let (w, h) = (i64::from(width), i64::from(height));
    // A hair's breadth beyond a whole pixel is rounding and needs no column of its own.
    let around =
        |v: i64| u32::try_from((v + (1 << TURN_BITS) - (1 << 16)) >> TURN_BITS).unwrap_or(u32::MAX);
    (
        around(w * cos.abs() + h * sin.abs()),
        around(w * sin.abs() + h * cos.abs()),
    )
}

/// Turns clockwise by hundredths of a degree about the middle. What was not in the picture is white.
pub(super) fn rotate(picture: &mut Raster, hundredths: i32) {
    let (width, height) = turned_size(picture.width, picture.height, hundredths);
    let shape = Turned {
        old: (i64::from(picture.width), i64::from(picture.height)),
        new: (i64::from(width), i64::from(height)),
        channels: usize::from(picture.channels),
        turn: turn(hundredths),
        weights: (0..PHASES).map(phase).collect(),
    };
    let samples = std::mem::replace(&mut picture.samples, Samples::Eight(Vec::new()));
    picture.samples = map_samples!(samples, s => shape.samples(&s));
    (picture.width, picture.height) = (width, height);
}

/// The four weights at a step between two pixels.
fn phase(step: usize) -> [i64; 4] {
    #[expect(clippy::cast_precision_loss, reason = "256 steps")]
    let t = step as f64 / PHASES as f64;
    let weights = rounded(&[keys(1.0 + t), keys(t), keys(1.0 - t), keys(2.0 - t)]);
    [weights[0], weights[1], weights[2], weights[3]]
}

struct Turned {
    old: (i64, i64),
    new: (i64, i64),
    channels: usize,
    turn: (i64, i64),
    weights: Vec<[i64; 4]>,
}

impl Turned {
    fn samples<T: Sample>(&self, from: &[T]) -> Vec<T> {
        let white = T::narrow(i64::from(T::MAX));
        let len = usize::try_from(self.new.0).unwrap_or(0) * self.channels;
        let rows = usize::try_from(self.new.1).unwrap_or(0);
        let mut to = vec![white; len * rows];
        let (sin, cos) = self.turn;
        let (w, h) = self.old;
        to.par_chunks_mut(len.max(1))
            .enumerate()
            .for_each(|(y, out)| {
                // Twice the distance from the middle, so that it is a whole number.
                let dy = 2 * i64::try_from(y).unwrap_or(0) + 1 - self.new.1;
                for (x, pixel) in out.chunks_exact_mut(self.channels).enumerate() {
                    let dx = 2 * i64::try_from(x).unwrap_or(0) + 1 - self.new.0;
                    let shift = TURN_BITS + 1 - POSITION_BITS;
                    let sx = ((cos * dx + sin * dy) >> shift) + (w << (POSITION_BITS - 1));
                    let sy = ((cos * dy - sin * dx) >> shift) + (h << (POSITION_BITS - 1));
                    if sx < 0 || sy < 0 || sx >= w << POSITION_BITS || sy >= h << POSITION_BITS {
                        continue;
                    }
                    self.pixel(from, pixel, sx, sy);
                }
            });
        to
    }

    fn pixel<T: Sample>(&self, from: &[T], pixel: &mut [T], sx: i64, sy: i64) {
        let half = 1 << (POSITION_BITS - 1);
        let step = |v: i64| {
            let within = (v - half) & ((1 << POSITION_BITS) - 1);
            usize::try_from(within >> (POSITION_BITS - 8)).unwrap_or(0)
        };
        let (wx, wy) = (self.weights[step(sx)], self.weights[step(sy)]);
        let (x0, y0) = (
            ((sx - half) >> POSITION_BITS) - 1,
            ((sy - half) >> POSITION_BITS) - 1,
        );
        let at = |v: i64, of: i64| usize::try_from(v.clamp(0, of - 1)).unwrap_or(0);
        let columns = [0, 1, 2, 3].map(|i| at(x0 + i, self.old.0) * self.channels);
        let old_len = usize::try_from(self.old.0).unwrap_or(0) * self.channels;
        for (channel, sample) in pixel.iter_mut().enumerate() {
            let mut sum = 0;
            for (i, w) in (0..).zip(wy) {
                let row = at(y0 + i, self.old.1) * old_len + channel;
                let line: i64 = columns
                    .iter()
                    .zip(wx)
                    .map(|(c, w)| from[row + c].wide() * w)
                    .sum();
                sum += line * w;
            }
            *sample = T::narrow((sum + ONE * ONE / 2) >> (2 * WEIGHT_BITS));
        }
    }
}
