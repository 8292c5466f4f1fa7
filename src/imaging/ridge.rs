//! Invented marks, drawn by code, for the demo and for tests: nobody's finger, nobody's tool, nobody's shoe.
//!
//! The ridge pattern is one whole loop that opens to the lower left, so that left can be told from right at a glance.
//! The scale bar is part of the scene: it reads right when the mark alone is reversed, as it does when a lift is
//! photographed beside a scale on its contact face. The same settings give the same bytes.

use image::{ExtendedColorType, ImageEncoder as _, codecs::png::PngEncoder};

/// What kind of mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motif {
    /// Friction ridges, one loop.
    Ridges,
    /// Striations of a tool, with a chip in its edge.
    Striations,
    /// Part of a shoe's tread, with a cut in one block.
    Tread,
}

/// Which way the mark contrasts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// As of dark powder on a light card.
    DarkOnLight,
    /// As of light powder on a dark card.
    LightOnDark,
}

/// What is mirrored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mirror {
    /// Nothing.
    None,
    /// The mark, but not the scale beside it: a contact face was photographed.
    Mark,
    /// The whole picture, scale and all: it was flipped afterwards.
    Whole,
}

/// A picture to draw. The mark's area is `width_mm` by `height_mm`; a scale of 5 mm stands below it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Picture {
    /// What is shown.
    pub motif: Motif,
    /// Its contrast.
    pub tone: Tone,
    /// What is mirrored.
    pub mirror: Mirror,
    /// Another seed, another mark of the same kind.
    pub seed: u64,
    /// Which photograph of the mark: no two have the same grain.
    pub shot: u32,
    /// How strongly the mark stands out, 10 to 100: before its development it is faint.
    pub strength: u32,
    /// Width in millimetres, 10 to 150.
    pub width_mm: u32,
    /// Height in millimetres, 10 to 150.
    pub height_mm: u32,
    /// Resolution, 4 to 40 pixels a millimetre (20 is 508 pixels an inch).
    pub px_per_mm: u32,
}

impl Picture {
    /// A ridge pattern, dark on light, the right way round, 20 mm by 24 mm at 20 pixels a millimetre.
    #[must_use]
    pub fn ridges(seed: u64) -> Self {
        Self {
            motif: Motif::Ridges,
            tone: Tone::DarkOnLight,
            mirror: Mirror::None,
            seed,
            shot: 0,
            strength: 100,
            width_mm: 20,
            height_mm: 24,
            px_per_mm: 20,
        }
    }
}

/// Height of the scale below the mark, in millimetres.
const SCALE_MM: u32 = 5;

/// Draws the picture as PNG, 8 bits of grey. Settings outside their ranges are brought inside.
///
/// # Errors
/// When the encoder refuses, which it has no reason to.
pub fn draw(picture: &Picture) -> Result<Vec<u8>, image::ImageError> {
    let ppm = picture.px_per_mm.clamp(4, 40);
    let (width_mm, height_mm) = (
        picture.width_mm.clamp(10, 150),
        picture.height_mm.clamp(10, 150),
    );
    let (width, mark_height) = (width_mm * ppm, height_mm * ppm);
    let height = mark_height + SCALE_MM * ppm;
    let mark = Mark::new(picture, f64::from(width_mm), f64::from(height_mm));
    let scale = Scale { width_mm, ppm };
    let strength = f64::from(picture.strength.clamp(10, 100)) / 100.0;
    let grain_seed = picture.seed ^ 7 ^ (u64::from(picture.shot) << 32);

    let mut pixels = Vec::with_capacity((width * height) as usize);
    for y in 0..height {
        for x in 0..width {
            let x_shown = match picture.mirror {
                Mirror::Whole => width - 1 - x,
                Mirror::None | Mirror::Mark => x,
            };
            let dark = if y >= mark_height {
                f64::from(scale.dark(x_shown, y - mark_height))
            } else {
                let x_mark = match picture.mirror {
                    Mirror::None => x,
                    Mirror::Mark | Mirror::Whole => width - 1 - x,
                };
                let to_mm = |v: u32| (f64::from(v) + 0.5) / f64::from(ppm);
                mark.dark(to_mm(x_mark), to_mm(y)) * strength
            };
            // Never quite black or white, and a little grain, as on paper.
            let grain = (hash(grain_seed, x, y) - 0.5) * 0.06;
            let light = match picture.tone {
                Tone::DarkOnLight => 0.93 - dark * 0.8,
                Tone::LightOnDark => 0.08 + dark * 0.8,
            };
            pixels.push(to_grey(light + grain));
        }
    }
    let mut png = Vec::new();
    PngEncoder::new(&mut png).write_image(&pixels, width, height, ExtendedColorType::L8)?;
    Ok(png)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to 0..=255 before"
)]
fn to_grey(light: f64) -> u8 {
    (light * 255.0).round().clamp(0.0, 255.0) as u8
}

/// A mark of one seed.
struct Mark {
    motif: Motif,
    seed: u64,
    width: f64,
    height: f64,
    /// Where ridges end or fork: place and turn.
    forks: Vec<(f64, f64, f64)>,
}

impl Mark {
    fn new(picture: &Picture, width: f64, height: f64) -> Self {
        let forks = match picture.motif {
            Motif::Ridges => (0..24)
                .map(|i| {
                    let at = |k| hash(picture.seed, i, k);
                    let turn = if at(2) < 0.5 { 1.0 } else { -1.0 };
                    (
                        width * (0.15 + at(0) * 0.7),
                        height * (0.1 + at(1) * 0.8),
                        turn,
                    )
                })
                .collect(),
            Motif::Striations | Motif::Tread => Vec::new(),
        };
        Self {
            motif: picture.motif,
            seed: picture.seed,
            width,
            height,
            forks,
        }
    }

    /// How strongly the mark shows at a place, 0 to 1; millimetres from the upper left.
    fn dark(&self, x: f64, y: f64) -> f64 {
        match self.motif {
            Motif::Ridges => self.ridges(x, y),
            Motif::Striations => self.striations(x, y),
            Motif::Tread => self.tread(x, y),
        }
    }

    fn ridges(&self, x: f64, y: f64) -> f64 {
        // An oval with an uneven rim: where the finger touched.
        let (cx, cy) = (self.width / 2.0, self.height / 2.0);
        let rim = ((x - cx) / (cx * 0.9)).hypot((y - cy) / (cy * 0.92));
        let touch = smooth(1.0 - rim + (self.noise(x, y, 2.5) - 0.5) * 0.25, 0.0, 0.12);
        if touch <= 0.0 {
            return 0.0;
        }
        // Distance from a line that runs from the core to the lower left: lines of equal distance are one loop.
        let (wx, wy) = (
            x + (self.noise(x, y, 5.0) - 0.5) * 1.1,
            y + (self.noise(y + 90.0, x, 5.0) - 0.5) * 1.1,
        );
        let (dx, dy) = (wx - cx * 1.05, wy - cy * 0.85);
        let (ax, ay) = (-0.55, 0.835);
        let along = (dx * ax + dy * ay).max(0.0);
        let loops = (dx - along * ax).hypot(dy - along * ay);
        // Towards the lower right the ridges lie flat, and run into the loop.
        let flat = (dx * 0.35 + dy * 0.94 - 2.0).max(0.0);
        let side = smooth(dx * 0.8 + dy * 0.6 - cx * 0.42, 0.0, 1.8);
        let distance = loops * (1.0 - side) + (loops * 0.25 + flat * 1.1) * side;
        // Around each fork the phase goes through one turn. Turns add up as angles of a product of complex numbers do,
        // and so one arc tangent serves for all of them.
        let (re, im) = self
            .forks
            .iter()
            .fold((1.0, 0.0), |(re, im), (fx, fy, turn)| {
                let (a, b) = (x - fx, (y - fy) * turn);
                (re * a - im * b, re * b + im * a)
            });
        let phase = distance / 0.5 + im.atan2(re) / std::f64::consts::TAU;
        let wave = (phase * std::f64::consts::TAU).cos();
        let pressed = 0.55 + self.noise(x, y, 3.0) * 0.7;
        let pores = if self.noise(x, y, 0.18) > 0.86 {
            0.35
        } else {
            1.0
        };
        smooth(wave + 0.15, -0.25, 0.35) * touch * (pressed * pores).min(1.0)
    }

    fn striations(&self, x: f64, y: f64) -> f64 {
        // The tool slid down and a little to the right; its edge is the profile across.
        let across = x - y * 0.12;
        let edge = self.width * 0.12;
        if x < edge || x > self.width - edge * 0.7 || y < self.height * 0.08 {
            return 0.0;
        }
        let fine = self.noise(across, 0.0, 0.16);
        let broad = self.noise(across + 40.0, 0.0, 0.9);
        let chip = self.width * 0.68;
        let gap = if (across - chip).abs() < 0.45 {
            0.1
        } else {
            1.0
        };
        let end = smooth(
            self.height * 0.93 - y + (self.noise(across, 3.0, 0.5) - 0.5) * 2.0,
            0.0,
            0.6,
        );
        smooth(fine * 0.55 + broad * 0.45, 0.38, 0.62)
            * gap
            * end
            * (0.75 + self.noise(x, y, 1.2) * 0.25)
    }

    fn tread(&self, x: f64, y: f64) -> f64 {
        // Chevrons that point to the right, in rows; blocks are parted by grooves.
        let pitch = (self.width / 5.0).max(3.0);
        let middle = self.height / 2.0;
        let chevron = x - (y - middle).abs() * 0.55;
        let column = chevron.rem_euclid(pitch) / pitch;
        let row = y.rem_euclid(pitch * 1.1) / (pitch * 1.1);
        let block = smooth(column, 0.1, 0.14) * smooth(0.72 - column, 0.0, 0.04);
        let groove = smooth(row, 0.06, 0.1);
        // The outline bulges on the left, as the outer side of a sole does.
        let rim = self.width * (0.08 + 0.06 * ((y / self.height - 0.5) * 2.0).powi(2));
        let sole = smooth(x - rim, 0.0, 0.4) * smooth(self.width * 0.93 - x, 0.0, 0.4);
        // A cut that no other shoe has.
        let (px, py) = (self.width * 0.36, self.height * 0.27);
        let slash =
            ((x - px) * 0.8 + (y - py) * 0.6).abs() < 0.35 && (x - px).hypot(y - py) < pitch * 0.7;
        let cut = if slash { 0.05 } else { 1.0 };
        let dust = 0.35 + smooth(self.noise(x, y, 0.6), 0.2, 0.75) * 0.65;
        block * groove * sole * cut * dust
    }

    /// Smooth noise, 0 to 1, with features of `size` millimetres.
    fn noise(&self, x: f64, y: f64, size: f64) -> f64 {
        let (x, y) = (x / size + 1000.0, y / size + 1000.0);
        let (x0, y0) = (x.floor(), y.floor());
        let (fx, fy) = (smooth(x - x0, 0.0, 1.0), smooth(y - y0, 0.0, 1.0));
        let corner =
            |dx: f64, dy: f64| hash(self.seed ^ size.to_bits(), cell(x0 + dx), cell(y0 + dy));
        let upper = corner(0.0, 0.0) * (1.0 - fx) + corner(1.0, 0.0) * fx;
        let lower = corner(0.0, 1.0) * (1.0 - fx) + corner(1.0, 1.0) * fx;
        upper * (1.0 - fy) + lower * fy
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "shifted to be positive, and far below the limit"
)]
fn cell(v: f64) -> u32 {
    v.max(0.0) as u32
}

/// 0 below `from`, 1 above `from + over`, and a soft step between.
fn smooth(v: f64, from: f64, over: f64) -> f64 {
    let t = ((v - from) / over.max(1e-9)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A number between 0 and 1 that depends on the seed and the place only (the mixer is `SplitMix64`'s, public domain).
fn hash(seed: u64, x: u32, y: u32) -> f64 {
    let mut z = seed
        .wrapping_add(u64::from(x) << 32 | u64::from(y))
        .wrapping_add(0x9e37_79b9_7f4a_7c15);
    for _ in 0..2 {
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
    }
    f64::from(u32::try_from(z >> 32).unwrap_or(0)) / f64::from(u32::MAX)
}

/// The scale bar: a tick every millimetre, a number every five, the unit at the end.
struct Scale {
    width_mm: u32,
    ppm: u32,
}

/// Digits 0 to 9 and the letter m, five rows of three dots each.
const DOTS: [[u8; 5]; 11] = [
    [7, 5, 5, 5, 7],
    [2, 6, 2, 2, 7],
    [7, 1, 7, 4, 7],
    [7, 1, 7, 1, 7],
    [5, 5, 7, 1, 1],
    [7, 4, 7, 1, 7],
    [7, 4, 7, 5, 7],
    [7, 1, 1, 2, 2],
    [7, 5, 7, 5, 7],
    [7, 5, 7, 1, 7],
    [0, 0, 7, 7, 5],
];

impl Scale {
    fn dark(&self, x: u32, y: u32) -> bool {
        let ppm = self.ppm;
        // From 2 mm inside to the last whole millimetre that leaves 4 mm for the unit.
        let (start, marks) = (2 * ppm, self.width_mm.saturating_sub(6));
        let thick = (ppm / 8).max(1);
        if y < thick {
            return x >= start && x <= start + marks * ppm;
        }
        if let Some(from_start) = x.checked_sub(start) {
            let (mm, inside) = (from_start / ppm, from_start % ppm);
            let long = if mm.is_multiple_of(5) {
                3 * ppm / 2
            } else {
                ppm * 3 / 4
            };
            if mm <= marks && inside < thick && y < long {
                return true;
            }
        }
        // Numbers, each centred below its tick.
        let dot = (ppm / 4).max(1);
        let top = 2 * ppm;
        if y < top || y >= top + 5 * dot {
            return false;
        }
        let row = (y - top) / dot;
        let mut texts: Vec<(u32, Vec<u32>)> = (0..=marks / 5)
            .map(|i| i * 5)
            .map(|mm| {
                let digits: Vec<u32> = mm
                    .to_string()
                    .chars()
                    .filter_map(|c| c.to_digit(10))
                    .collect();
                (start + mm * ppm, digits)
            })
            .collect();
        texts.push((start + marks * ppm + 2 * ppm, vec![10, 10]));
        texts.iter().any(|(centre, glyphs)| {
            let glyph_count = u32::try_from(glyphs.len()).unwrap_or(0);
            let Some(from_left) = (x + glyph_count * 2 * dot).checked_sub(*centre) else {
                return false;
            };
            let (glyph, column) = (from_left / (4 * dot), from_left % (4 * dot) / dot);
            glyphs
                .get(glyph as usize)
                .and_then(|&g| DOTS.get(g as usize))
                .is_some_and(|dots| column < 3 && dots[row as usize] >> (2 - column) & 1 == 1)
        })
    }
}
