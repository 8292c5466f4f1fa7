//! How many pixels an inch of the real thing has, measured on a scale in the picture, and how sure that is.
//!
//! Two points are picked on a scale of known length. Points are in tenths of a pixel, in the picture as viewers show it
//! (its orientation tag applied), from the upper left corner.
//!
//! Model. Each coordinate of a picked point lies within ±e pixels of where it should be (e is the picking error, 1 pixel if
//! nothing else is said), anywhere there with equal chance: its standard uncertainty is e/√3. The four ends are picked
//! independently. The density is a function of the coordinates, and its standard uncertainty follows by the law of
//! propagation: u² = Σ (∂ppi/∂c)² e²/3. What is stated is the expanded uncertainty with coverage factor 3, about 99 of 100. For
//! one span of d pixels it comes to ±ppi · 3e·√(2/3)/d, nearly ±ppi · 2.5e/d. The length of the scale counts as exact, and the scale as lying in the plane of the mark:
//! neither can be seen in the picture.
//!
//! Source of the model: JCGM 100:2008 (GUM), 4.3.7 (equal chance within bounds), 5.1.2 (propagation), 6.2 and 6.3.3
//! (expanded uncertainty, coverage factor 3), from memory.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::probe::MAX_SIDE;

/// Below this, at 1:1, there is a warning.
pub const ENOUGH_PPI: u32 = 1000;
/// Where [`ENOUGH_PPI`] comes from.
pub const ENOUGH_SOURCE: &str = "ASTM E3235-21, 5.1; SWGIT guideline on latent print capture, 2001";
/// Picking error that is taken where nothing else is said, in tenths of a pixel.
pub const PICKING_TENTHS: u32 = 10;
/// Densities that a scale can give, in pixels an inch: a wide view of a floor to a microscope.
pub const PPI: std::ops::RangeInclusive<u32> = 5..=50_000;
/// How many times the standard uncertainty is stated.
pub const COVERAGE: f64 = 3.0;
/// The shortest span between two picked points, in pixels.
pub const SHORTEST: u32 = 20;

/// A unit of length.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Millimetres.
    Millimetre,
    /// Inches.
    Inch,
}

impl Unit {
    /// `mm` or `in`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Inch => "in",
        }
    }
}

/// A length as it was typed: up to four decimals, with its unit. On the record it is a text, `10 mm` or `0.5 in`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Length {
    ten_thousandths: u32,
    unit: Unit,
}

/// A text that is no length.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a length is a number with at most four decimals and a unit: 10 mm, 0.5 in")]
pub struct NotALength;

impl Length {
    /// In inches; 25.4 mm are one.
    #[must_use]
    pub fn inches(self) -> f64 {
        let value = f64::from(self.ten_thousandths) / 10_000.0;
        match self.unit {
            Unit::Inch => value,
            Unit::Millimetre => value / 25.4,
        }
    }
}

impl FromStr for Length {
    type Err = NotALength;
    fn from_str(s: &str) -> Result<Self, NotALength> {
        let s = s.trim();
        let (number, unit) = if let Some(n) = s.strip_suffix("mm") {
            (n, Unit::Millimetre)
        } else if let Some(n) = s.strip_suffix("in") {
            (n, Unit::Inch)
        } else {
            return Err(NotALength);
        };
        let number = number.trim();
        let (whole, part) = number.split_once(['.', ',']).unwrap_or((number, "0"));
        let digits = |t: &str, most: usize| {
            !t.is_empty() && t.len() <= most && t.bytes().all(|b| b.is_ascii_digit())
        };
        if !digits(whole, 4) || !digits(part, 4) {
            return Err(NotALength);
        }
        let whole: u32 = whole.parse().map_err(|_| NotALength)?;
        let part: u32 = format!("{part:0<4}").parse().map_err(|_| NotALength)?;
        let ten_thousandths = whole * 10_000 + part;
        if ten_thousandths == 0 {
            return Err(NotALength);
        }
        Ok(Self {
            ten_thousandths,
            unit,
        })
    }
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, part) = (self.ten_thousandths / 10_000, self.ten_thousandths % 10_000);
        let part = format!("{part:04}");
        let part = part.trim_end_matches('0');
        let point = if part.is_empty() { "" } else { "." };
        write!(f, "{whole}{point}{part} {}", self.unit.word())
    }
}

impl Serialize for Length {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Length {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

impl JsonSchema for Length {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Length".into()
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": "string",
            "description": "A length with its unit, `10 mm` or `0.5 in`; at most four decimals",
            "pattern": "^[0-9]{1,4}([.,][0-9]{1,4})? ?(mm|in)$",
        })
    }
}

/// Two points picked on a scale, and how far apart they are on it. Coordinates are tenths of a pixel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Span {
    /// First point, from the left.
    pub x1: u32,
    /// First point, from above.
    pub y1: u32,
    /// Second point, from the left.
    pub x2: u32,
    /// Second point, from above.
    pub y2: u32,
    /// How far apart they are on the scale.
    pub length: Length,
}

impl Span {
    /// Across and down between the points, in pixels.
    fn sides(&self) -> (f64, f64) {
        let pixels = |a: u32, b: u32| (f64::from(b) - f64::from(a)) / 10.0;
        (pixels(self.x1, self.x2), pixels(self.y1, self.y2))
    }

    /// Pixels between the points.
    #[must_use]
    pub fn pixels(&self) -> f64 {
        let (dx, dy) = self.sides();
        dx.hypot(dy)
    }
}

/// How the density of a picture is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Scale {
    /// Picked on a scale in the picture. One span counts for both axes; two give each axis by itself.
    Picked {
        /// Two points on the scale.
        first: Span,
        /// Two points on a scale in another direction.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        second: Option<Span>,
        /// How far a picked coordinate may be off, in tenths of a pixel.
        #[serde(default = "picking")]
        picking_tenths: u32,
    },
    /// A flatbed's own density, taken as the scanner states it.
    Scanner {
        /// Pixels an inch, both axes.
        ppi: u32,
    },
}

fn picking() -> u32 {
    PICKING_TENTHS
}

/// Pixels an inch along one axis.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Ppi {
    /// Pixels an inch.
    pub value: f64,
    /// Expanded uncertainty (three times the standard uncertainty), pixels an inch; none where the scanner states none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<f64>,
}

/// The density of a picture along both axes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Density {
    /// Across.
    pub x: Ppi,
    /// Down.
    pub y: Ppi,
}

/// Why a scale gives no density.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ScaleError {
    /// The points are too close to measure anything.
    #[error("the two points are less than {SHORTEST} pixels apart")]
    TooClose,
    /// A point outside any picture.
    #[error("a point lies outside the picture")]
    Outside,
    /// The two spans run in nearly the same direction, so that they do not tell the axes apart.
    #[error("the two spans run in nearly the same direction; pick one across and one down")]
    SameDirection,
    /// The lengths contradict each other, or the density is none that a picture has.
    #[error("the points and lengths give no density between 5 and 50000 pixels an inch")]
    NoDensity,
    /// The picking error is none.
    #[error("the picking error lies between 0.1 and 100 pixels")]
    Picking,
}

impl Density {
    /// A whole number of pixels an inch for both axes, where they agree within their uncertainty (or within one pixel an
    /// inch, where none is stated); none where they do not.
    #[must_use]
    pub fn ppi(&self) -> Option<u32> {
        let apart = (self.x.value - self.y.value).abs();
        let sure = |p: &Ppi| p.uncertainty.unwrap_or(0.5);
        (apart <= sure(&self.x) + sure(&self.y)).then(|| whole((self.x.value + self.y.value) / 2.0))
    }

    /// The lesser of the two axes, in whole pixels an inch.
    #[must_use]
    pub fn least(&self) -> u32 {
        whole(self.x.value.min(self.y.value))
    }

    /// In words: `1012 ± 4 pixels an inch`, both axes where they differ.
    #[must_use]
    pub fn words(&self) -> String {
        let said = |p: &Ppi| match p.uncertainty {
            Some(u) => format!("{:.0} \u{b1} {}", p.value, rounded_up(u)),
            None => format!("{:.0}", p.value),
        };
        let (x, y) = (said(&self.x), said(&self.y));
        if self.x == self.y {
            format!("{x} pixels an inch")
        } else {
            format!("{x} pixels an inch across, {y} down")
        }
    }

    /// What is to be said where it is less than what the guidelines ask for; nothing is refused for it.
    #[must_use]
    pub fn warning(&self) -> Option<String> {
        (self.least() < ENOUGH_PPI).then(|| {
            format!(
                "Less than {ENOUGH_PPI} pixels an inch at 1:1, the least that guidelines ask for ({ENOUGH_SOURCE}). Fewer \
                 pixels do not make it worthless by themselves (the same, 5.2)."
            )
        })
    }
}

/// An uncertainty is stated with one decimal below ten and without above, and never less than it is.
fn rounded_up(u: f64) -> String {
    if u < 10.0 {
        format!("{:.1}", (u * 10.0).ceil() / 10.0)
    } else {
        format!("{:.0}", u.ceil())
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "densities are checked to lie between 5 and 50000"
)]
fn whole(ppi: f64) -> u32 {
    ppi.round().clamp(0.0, 1e6) as u32
}

/// The density that a scale gives.
///
/// # Errors
/// See [`ScaleError`].
pub fn measure(scale: &Scale) -> Result<Density, ScaleError> {
    let density = match scale {
        Scale::Scanner { ppi } => {
            let ppi = Ppi {
                value: f64::from(*ppi),
                uncertainty: None,
            };
            Density { x: ppi, y: ppi }
        }
        Scale::Picked {
            first,
            second,
            picking_tenths,
        } => {
            if !(1..=1000).contains(picking_tenths) {
                return Err(ScaleError::Picking);
            }
            let error = f64::from(*picking_tenths) / 10.0;
            for span in std::iter::once(first).chain(second) {
                if [span.x1, span.x2, span.y1, span.y2]
                    .iter()
                    .any(|v| *v > MAX_SIDE * 10)
                {
                    return Err(ScaleError::Outside);
                }
                if span.pixels() < f64::from(SHORTEST) {
                    return Err(ScaleError::TooClose);
                }
            }
            match second {
                None => one(first, error),
                Some(second) => two(first, second, error)?,
            }
        }
    };
    let (least, most) = (f64::from(*PPI.start()), f64::from(*PPI.end()));
    let fits = |p: &Ppi| p.value.is_finite() && (least..=most).contains(&p.value);
    if fits(&density.x) && fits(&density.y) {
        Ok(density)
    } else {
        Err(ScaleError::NoDensity)
    }
}

/// Variance of the difference of two picked coordinates.
fn variance(error: f64) -> f64 {
    2.0 * error * error / 3.0
}

/// One span, the same density along both axes: ppi = d/L.
fn one(span: &Span, error: f64) -> Density {
    let inches = span.length.inches();
    let ppi = Ppi {
        value: span.pixels() / inches,
        uncertainty: Some(COVERAGE * variance(error).sqrt() / inches),
    };
    Density { x: ppi, y: ppi }
}

/// Two spans: (dx/ppi_x)² + (dy/ppi_y)² = L² for each, which is linear in 1/ppi².
fn two(first: &Span, second: &Span, error: f64) -> Result<Density, ScaleError> {
    let spans = [first, second];
    let sides = spans.map(Span::sides);
    let squares = sides.map(|(dx, dy)| (dx * dx, dy * dy));
    let lengths = spans.map(|s| s.length.inches().powi(2));
    let [(a1, b1), (a2, b2)] = squares;
    let det = a1 * b2 - a2 * b1;
    // The nearer the spans are to one direction, or to mirror images of one, the less they say of each axis.
    if det.abs() < 0.25 * (a1 + b1) * (a2 + b2) {
        return Err(ScaleError::SameDirection);
    }
    let u = (lengths[0] * b2 - lengths[1] * b1) / det;
    let v = (lengths[1] * a1 - lengths[0] * a2) / det;
    if u <= 0.0 || v <= 0.0 {
        return Err(ScaleError::NoDensity);
    }
    // d(u)/d(side) from the implicit equations: a·du + b·dv = -2 (dx·u·δx + dy·v·δy) for the span that moves.
    let (mut var_u, mut var_v) = (0.0, 0.0);
    for (i, (dx, dy)) in sides.into_iter().enumerate() {
        for moved in [-2.0 * dx * u, -2.0 * dy * v] {
            let (du, dv) = if i == 0 {
                (moved * b2 / det, -moved * a2 / det)
            } else {
                (-moved * b1 / det, moved * a1 / det)
            };
            var_u += du * du * variance(error);
            var_v += dv * dv * variance(error);
        }
    }
    // ppi = w^(-1/2), so d(ppi) = -w^(-3/2)/2 · dw.
    let axis = |w: f64, var: f64| Ppi {
        value: w.powf(-0.5),
        uncertainty: Some(COVERAGE * var.sqrt() * 0.5 * w.powf(-1.5)),
    };
    Ok(Density {
        x: axis(u, var_u),
        y: axis(v, var_v),
    })
}
