//! Recipes of working copies: what is done to the untouched original, step by step, each with its parameters. The same
//! recipe on the same original gives the same bytes.
//!
//! The pixels that a recipe begins with are the picture as viewers show it, its orientation tag applied.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::probe::MAX_SIDE;

/// The version of what the steps do. A change to what any of them does to pixels is a new version.
pub const VERSION: u32 = 1;
/// The most steps.
pub const MAX_OPS: usize = 16;
/// Densities that a copy can be resampled to, in pixels an inch.
pub const PPI: std::ops::RangeInclusive<u32> = 50..=10_000;

/// One step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "op", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Op {
    /// Left and right exchanged.
    Flip,
    /// Light and dark exchanged.
    Invert,
    /// Turned clockwise by quarters of a circle.
    QuarterTurns {
        /// 1 to 3.
        turns: u8,
    },
    /// Turned clockwise by any angle; what was not in the picture is white.
    Rotate {
        /// Hundredths of a degree, -18000 to 18000, not 0.
        hundredths: i32,
    },
    /// A rectangle kept.
    Crop {
        /// Its left edge, in pixels of the picture as the steps before left it.
        x: u32,
        /// Its upper edge.
        y: u32,
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// Colour dropped, with the weights of ITU-R BT.601.
    Grey,
    /// Brought to this density by cubic convolution; needs a scale.
    Resample {
        /// Pixels an inch.
        ppi: u32,
    },
}

impl Op {
    /// In words, plain ASCII: `turned 90 degrees clockwise`.
    #[must_use]
    pub fn words(&self) -> String {
        match *self {
            Self::Flip => "left and right exchanged".into(),
            Self::Invert => "light and dark exchanged".into(),
            Self::QuarterTurns { turns } => {
                format!("turned {} degrees clockwise", u32::from(turns) * 90)
            }
            Self::Rotate { hundredths } => format!(
                "turned {}.{:02} degrees {}",
                hundredths.unsigned_abs() / 100,
                hundredths.unsigned_abs() % 100,
                if hundredths < 0 {
                    "anticlockwise"
                } else {
                    "clockwise"
                }
            ),
            Self::Crop {
                x,
                y,
                width,
                height,
            } => format!("cropped to {width} x {height} pixels from {x}, {y}"),
            Self::Grey => "turned to grey (weights of ITU-R BT.601)".into(),
            Self::Resample { ppi } => {
                format!("resampled to {ppi} pixels an inch (cubic convolution)")
            }
        }
    }
}

/// Steps from the original to a working copy.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Recipe {
    /// The version of what the steps do: 1.
    pub version: u32,
    /// The steps in their order; none make a lossless copy of the picture as it is shown.
    #[schemars(length(max = 16))]
    pub ops: Vec<Op>,
}

/// A recipe that cannot be carried out, whatever the picture.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RecipeError {
    /// Another version than this program's.
    #[error("recipes of version {0} are not known here; this is version {VERSION}")]
    Version(u32),
    /// Too many steps.
    #[error("a recipe has at most {MAX_OPS} steps")]
    TooLong,
    /// A parameter out of range.
    #[error("step {step}: {why}")]
    Step {
        /// Which, counted from 1.
        step: usize,
        /// Why.
        why: &'static str,
    },
}

impl Recipe {
    /// A recipe of these steps, of this program's version.
    #[must_use]
    pub fn new(ops: Vec<Op>) -> Self {
        Self {
            version: VERSION,
            ops,
        }
    }

    /// Whether it exchanges left and right in all: an odd number of flips does.
    #[must_use]
    pub fn flips(&self) -> bool {
        self.odd(|op| matches!(op, Op::Flip))
    }

    /// Whether it exchanges light and dark in all.
    #[must_use]
    pub fn inverts(&self) -> bool {
        self.odd(|op| matches!(op, Op::Invert))
    }

    fn odd(&self, what: impl Fn(&Op) -> bool) -> bool {
        self.ops.iter().filter(|op| what(op)).count() % 2 == 1
    }

    /// Whether it needs a scale.
    #[must_use]
    pub fn needs_scale(&self) -> bool {
        self.ops.iter().any(|op| matches!(op, Op::Resample { .. }))
    }

    /// Every step in words, in order.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        self.ops.iter().map(Op::words).collect()
    }

    /// Whether it can be carried out at all.
    ///
    /// # Errors
    /// See [`RecipeError`].
    pub fn check(&self) -> Result<(), RecipeError> {
        if self.version != VERSION {
            return Err(RecipeError::Version(self.version));
        }
        if self.ops.len() > MAX_OPS {
            return Err(RecipeError::TooLong);
        }
        let mut resampled = false;
        for (i, op) in self.ops.iter().enumerate() {
            let bad = |why| Err(RecipeError::Step { step: i + 1, why });
            match *op {
                Op::Flip | Op::Invert | Op::Grey => {}
                Op::QuarterTurns { turns } if !(1..=3).contains(&turns) => {
                    return bad("quarter turns are 1, 2 or 3");
                }
                Op::Rotate { hundredths }
                    if hundredths == 0 || hundredths.unsigned_abs() > 18_000 =>
                {
                    return bad("the angle lies between -180 and 180 degrees, and is not 0");
                }
                Op::Crop {
                    x,
                    y,
                    width,
                    height,
                } if width == 0
                    || height == 0
                    || [x, y, width, height].iter().any(|v| *v > MAX_SIDE) =>
                {
                    return bad("a crop keeps at least one pixel, and lies within the picture");
                }
                Op::Resample { ppi } if !PPI.contains(&ppi) => {
                    return bad("the density lies between 50 and 10000 pixels an inch");
                }
                Op::Resample { .. } if std::mem::replace(&mut resampled, true) => {
                    return bad("a recipe resamples once at most");
                }
                Op::QuarterTurns { .. }
                | Op::Rotate { .. }
                | Op::Crop { .. }
                | Op::Resample { .. } => {}
            }
        }
        Ok(())
    }
}

impl fmt::Display for Recipe {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.ops.is_empty() {
            f.write_str("nothing changed")
        } else {
            f.write_str(&self.words().join("; "))
        }
    }
}
