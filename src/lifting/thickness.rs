//! How thick a layer is, and lengths in tenths of a millimetre.

use std::{borrow::Cow, fmt, str::FromStr};

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

/// The thickest layer, tenths of a millimetre: 100 mm (our assumption, to catch a wrong unit).
pub const MAX_TENTHS: u32 = 1000;
/// A layer called thin reaches up to here, tenths of a millimetre (our assumption).
pub const THIN_TO: u32 = 30;
/// A layer called thick begins here, tenths of a millimetre (our assumption).
pub const THICK_FROM: u32 = 60;
/// A layer called thick reaches up to here, tenths of a millimetre (our assumption).
pub const THICK_TO: u32 = 120;

/// How thick a layer of medium is. As text: `thin`, `thick`, or millimetres such as `2.5`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Thickness {
    /// Thin, not measured: up to 3 mm (our assumption).
    Thin,
    /// Thick, not measured: 6 to 12 mm (our assumption).
    Thick,
    /// Measured, in tenths of a millimetre: 1 to [`MAX_TENTHS`].
    Tenths(u32),
}

impl Thickness {
    /// The tenths of a millimetre that it reaches over; both ends are the same where it was measured.
    #[must_use]
    pub fn span(self) -> (u32, u32) {
        match self {
            Self::Thin => (0, THIN_TO),
            Self::Thick => (THICK_FROM, THICK_TO),
            Self::Tenths(t) => (t, t),
        }
    }

    /// It in words: `thin`, `2.5 mm`.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Thin => "thin".into(),
            Self::Thick => "thick".into(),
            Self::Tenths(t) => format!("{} mm", tenths_words(t)),
        }
    }
}

impl fmt::Display for Thickness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Thin => f.write_str("thin"),
            Self::Thick => f.write_str("thick"),
            Self::Tenths(t) => f.write_str(&tenths_words(*t)),
        }
    }
}

/// Tenths of a millimetre as millimetres: `25` is `2.5`, `30` is `3`.
#[must_use]
pub fn tenths_words(tenths: u32) -> String {
    match tenths % 10 {
        0 => (tenths / 10).to_string(),
        rest => format!("{}.{rest}", tenths / 10),
    }
}

/// A text that is no length.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotALength {
    /// No number of millimetres with at most one decimal.
    #[error("\"{0}\" is no length: give millimetres with at most one decimal, such as 2.5")]
    Text(String),
    /// Zero, or more than allowed.
    #[error("a length lies between 0.1 and {} mm", tenths_words(*.0))]
    Range(u32),
}

/// Reads millimetres with at most one decimal as tenths, at least 1 and at most `most`. A comma does for the point, and
/// `mm` may follow.
///
/// # Errors
/// [`NotALength`].
pub fn tenths(text: &str, most: u32) -> Result<u32, NotALength> {
    let bad = || NotALength::Text(text.chars().take(40).collect());
    let plain = text.trim();
    let plain = plain.strip_suffix("mm").unwrap_or(plain).trim_end();
    let (whole, part) = plain.split_once(['.', ',']).unwrap_or((plain, "0"));
    let digits = |s: &str| !s.is_empty() && s.len() <= 6 && s.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(part) || part.len() > 1 {
        return Err(bad());
    }
    let whole: u32 = whole.parse().map_err(|_| bad())?;
    let part: u32 = part.parse().map_err(|_| bad())?;
    let all = whole * 10 + part;
    if (1..=most).contains(&all) {
        Ok(all)
    } else {
        Err(NotALength::Range(most))
    }
}

impl FromStr for Thickness {
    type Err = NotALength;

    fn from_str(s: &str) -> Result<Self, NotALength> {
        match s.trim() {
            "thin" => Ok(Self::Thin),
            "thick" => Ok(Self::Thick),
            text => tenths(text, MAX_TENTHS).map(Self::Tenths),
        }
    }
}

impl Serialize for Thickness {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Thickness {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = Cow::<'de, str>::deserialize(from)?;
        text.parse().map_err(de::Error::custom)
    }
}

impl JsonSchema for Thickness {
    fn schema_name() -> Cow<'static, str> {
        "Thickness".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "description": "thin, thick, or millimetres with at most one decimal",
            "pattern": "^(thin|thick|[0-9]{1,3}(\\.[0-9])?)$"
        })
    }
}
