//! A camera for tests, by which pages and readers are tried: a label lying on a table, seen from an angle, out of focus, dim on one side, with grain.

#![allow(dead_code)]

use liftledger::imaging::raster::{Raster, Samples};
use liftledger::reports::barcode::qr;

/// Random numbers that are the same in every run (xorshift64*; constants from memory).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    /// Between -1 and 1.
    pub fn swing(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// The symbol as the labels draw it, with its quiet zone, so many pixels a module.
pub fn drawn(text: &str, module: u32) -> Raster {
    let symbol = qr(text, "Code").unwrap();
    let side = (symbol.w / symbol.module).round() as u32 * module;
    let mut pixels = vec![255_u8; (side * side) as usize];
    let at = |mm: f64| (mm / symbol.module).round() as u32 * module;
    for bar in &symbol.bars {
        for y in at(bar.y)..at(bar.y + bar.h) {
            for x in at(bar.x)..at(bar.x + bar.w) {
                pixels[(y * side + x) as usize] = 0;
            }
        }
    }
    Raster {
        width: side,
        height: side,
        channels: 1,
        samples: Samples::Eight(pixels),
    }
}

/// How a photograph was taken.
#[derive(Debug)]
pub struct Photo {
    /// Turned by this, in radians: any angle.
    turn: f64,
    /// How much nearer one side is than the other, across and down.
    tilt: (f64, f64),
    /// What part of the picture's height the label takes.
    size: f64,
    /// Blur: how many pixels to each side are mixed.
    blur: usize,
    /// Light at the darkest corner, 1 for as bright as elsewhere, and how bright white is.
    dim: f64,
    white: f64,
    /// Grain, of 255.
    grain: f64,
}

impl Photo {
    /// Any; `strength` from 0 (as drawn) to 1.
    pub fn of(dice: &mut Dice, strength: f64) -> Self {
        let mut upto = |most: f64| dice.swing().abs() * most * strength;
        Self {
            blur: upto(2.5) as usize,
            dim: 1.0 - upto(0.6),
            white: 235.0 - upto(120.0),
            grain: upto(28.0),
            size: 0.75 - upto(0.4),
            tilt: (upto(0.5) - 0.25 * strength, upto(0.5) - 0.25 * strength),
            turn: dice.swing() * std::f64::consts::PI,
        }
    }

    /// Takes it.
    pub fn take(&self, label: &Raster, width: u32, height: u32, dice: &mut Dice) -> Raster {
        let Samples::Eight(flat) = &label.samples else {
            panic!("8 bits")
        };
        let (w, h) = (width as usize, height as usize);
        let (across, down) = (f64::from(label.width), f64::from(label.height));
        let scale = (across / f64::from(width)).max(down / f64::from(height)) / self.size;
        let (sin, cos) = self.turn.sin_cos();
        let mut seen = vec![0.0_f64; w * h];
        for y in 0..h {
            for x in 0..w {
                let mut sum = 0.0;
                // Four rays a pixel.
                for (a, b) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                    let u = x as f64 + a - w as f64 / 2.0;
                    let v = y as f64 + b - h as f64 / 2.0;
                    let far = 1.0 + self.tilt.0 * u / h as f64 + self.tilt.1 * v / h as f64;
                    let (u, v) = (u * scale / far, v * scale / far);
                    let (s, t) = (
                        u * cos + v * sin + across / 2.0,
                        v * cos - u * sin + down / 2.0,
                    );
                    let inside = (0.0..across).contains(&s) && (0.0..down).contains(&t);
                    // A table of another shade around the label.
                    sum += if inside {
                        f64::from(flat[t as usize * label.width as usize + s as usize]) / 255.0
                    } else {
                        0.45
                    };
                }
                let shade = 1.0 - (1.0 - self.dim) * (x + y) as f64 / (w + h) as f64;
                seen[y * w + x] = (0.12 + 0.88 * sum / 4.0) * self.white * shade;
            }
        }
        let reach = self.blur;
        let mut pixels = Vec::with_capacity(w * h);
        for y in 0..h {
            for x in 0..w {
                let (mut sum, mut n) = (0.0, 0.0);
                for yy in y.saturating_sub(reach)..(y + reach + 1).min(h) {
                    for xx in x.saturating_sub(reach)..(x + reach + 1).min(w) {
                        sum += seen[yy * w + xx];
                        n += 1.0;
                    }
                }
                let grain = (dice.swing() + dice.swing()) / 2.0 * self.grain;
                pixels.push((sum / n + grain).clamp(0.0, 255.0) as u8);
            }
        }
        Raster {
            width,
            height,
            channels: 1,
            samples: Samples::Eight(pixels),
        }
    }
}

/// Nothing but one shade.
pub fn plain(width: u32, height: u32, shade: u8) -> Raster {
    Raster {
        width,
        height,
        channels: 1,
        samples: Samples::Eight(vec![shade; (width * height) as usize]),
    }
}

/// A grey picture as a file.
pub fn png(raster: &Raster) -> Vec<u8> {
    let Samples::Eight(samples) = &raster.samples else {
        panic!("8 bits")
    };
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, raster.width, raster.height);
    encoder.set_color(png::ColorType::Grayscale);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(samples).unwrap();
    writer.finish().unwrap();
    out
}
