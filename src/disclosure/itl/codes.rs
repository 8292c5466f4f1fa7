//! Codes of the standard, by edition.
//!
//! Sources: impression, position and capture codes from the table of field conditions of the Update:2013 draft and from two
//! public readers, which name the edition from which a code is deprecated; processing (Table 48) and substrate codes from
//! NIST's biometric library; the letters of reversal from the same.

use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::refusal::{ItlRefusal, ItlRule};
use crate::custody::value::Value;
use crate::lifting::handedness::Lateral;

/// The edition that a file is written for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
pub enum Edition {
    /// ANSI/NIST-ITL 1-2011.
    #[serde(rename = "2011")]
    Y2011,
    /// Update:2013.
    #[serde(rename = "2013")]
    Y2013,
    /// Update:2015.
    #[serde(rename = "2015")]
    Y2015,
}

impl Edition {
    /// Every edition that is written.
    pub const ALL: [Self; 3] = [Self::Y2011, Self::Y2013, Self::Y2015];

    /// Field 1.002.
    #[must_use]
    pub fn version(self) -> &'static str {
        match self {
            Self::Y2011 => "0500",
            Self::Y2013 => "0501",
            Self::Y2015 => "0502",
        }
    }

    /// The year, as people and commands name it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Y2011 => "2011",
            Self::Y2013 => "2013",
            Self::Y2015 => "2015",
        }
    }
}

impl FromStr for Edition {
    type Err = String;
    fn from_str(s: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|e| e.word() == s.trim())
            .ok_or_else(|| "the edition is 2011, 2013 or 2015".into())
    }
}

/// What was imaged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Capture {
    /// The mark itself, by a camera or scanner.
    Impression,
    /// A drawn tracing of it.
    Tracing,
    /// A photograph on paper, digitised.
    Photo,
    /// A lift.
    Lift,
    /// A cast.
    Cast,
}

impl Capture {
    /// All, in the order of their codes.
    pub const ALL: [Self; 5] = [
        Self::Impression,
        Self::Tracing,
        Self::Photo,
        Self::Lift,
        Self::Cast,
    ];

    /// The word in commands and forms.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Impression => "impression",
            Self::Tracing => "tracing",
            Self::Photo => "photo",
            Self::Lift => "lift",
            Self::Cast => "cast",
        }
    }

    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Impression => "the mark itself, by a camera or scanner",
            Self::Tracing => "a drawn tracing",
            Self::Photo => "a photograph on paper, digitised",
            Self::Lift => "a lift",
            Self::Cast => "a cast",
        }
    }

    /// Field 13.003. Since 2015 every latent is 4, and what it was imaged from stands in 13.901; before, the code says
    /// both that and the part of the body. No code before 2015 says "cast": it goes as an impression, since a cast is no
    /// lift, photograph or tracing (our reading), and the comment says what it is.
    #[must_use]
    pub fn impression(self, edition: Edition, region: Region) -> u8 {
        if edition == Edition::Y2015 {
            return 4;
        }
        let first = match region {
            Region::Finger => 4,
            Region::Palm => 12,
            Region::Plantar => 32,
            Region::Unknown => 36,
        };
        first
            + match self {
                Self::Impression | Self::Cast => 0,
                Self::Tracing => 1,
                Self::Photo => 2,
                Self::Lift => 3,
            }
    }

    /// Field 13.901, in the edition that has it.
    #[must_use]
    pub fn technology(self, edition: Edition) -> Option<u8> {
        (edition == Edition::Y2015).then_some(match self {
            Self::Impression => 18,
            Self::Photo => 19,
            Self::Cast => 20,
            Self::Tracing => 21,
            Self::Lift => 22,
        })
    }
}

impl FromStr for Capture {
    type Err = String;
    fn from_str(s: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|c| c.word() == s.trim())
            .ok_or_else(|| "it is one of impression, tracing, photo, lift, cast".into())
    }
}

/// The part of the body that positions belong to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Region {
    /// A finger.
    Finger,
    /// A palm.
    Palm,
    /// A sole or a toe.
    Plantar,
    /// Friction ridge skin, of which part is not known.
    Unknown,
}

/// Unknown friction ridge skin: the position of a mark of which nobody said whether it is of a finger, palm or sole.
pub const POSITION_UNKNOWN: u8 = 18;
/// How many positions a field holds.
pub const MOST_POSITIONS: usize = 6;

/// The part of the body of a position code; none for a code that latents do not have, and for 19 (a joint or tip),
/// which would need fields that are not written.
#[must_use]
pub fn region(position: u8) -> Option<Region> {
    match position {
        0..=10 | 16 | 17 => Some(Region::Finger),
        18 => Some(Region::Unknown),
        20..=38 | 81..=86 => Some(Region::Palm),
        60..=79 => Some(Region::Plantar),
        _ => None,
    }
}

/// The part of the body of several positions.
///
/// # Errors
/// [`ItlRule::Position`] for none, too many, one twice, an unknown one, or of two parts of the body.
pub fn region_of(positions: &[u8]) -> Result<Region, ItlRefusal> {
    let no = |why: String| {
        ItlRefusal::new(
            ItlRule::Position,
            why,
            "Give one to six position codes of one part of the body; 18 is unknown.",
        )
    };
    let twice = (1..positions.len()).any(|i| positions[..i].contains(&positions[i]));
    if positions.is_empty() || positions.len() > MOST_POSITIONS || twice {
        return Err(no("Positions are one to six codes, each once.".into()));
    }
    let mut found = None;
    for p in positions {
        let this = region(*p).ok_or_else(|| {
            no(format!(
                "A latent print cannot have the position code {p} here."
            ))
        })?;
        if found.is_some_and(|f| f != this) {
            return Err(no("The position codes are of two parts of the body.".into()));
        }
        found = Some(this);
    }
    found.ok_or_else(|| no("There is no position code.".into()))
}

/// Field 9.315, possible lateral reversal; a direct image has none.
#[must_use]
pub fn lateral_letter(lateral: Lateral) -> Option<&'static str> {
    match lateral {
        Lateral::Direct => None,
        Lateral::Reversed => Some("L"),
        Lateral::Unknown => Some("U"),
    }
}

/// Whether ridges are dark on light, as comparison expects them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// Ridges dark.
    Positive,
    /// The whole image negative: ridges light.
    Negative,
    /// A part of it negative.
    Partial,
    /// Not known.
    Unknown,
}

impl Tone {
    /// Field 9.314; an image with dark ridges has none.
    #[must_use]
    pub fn letter(self) -> Option<&'static str> {
        match self {
            Self::Positive => None,
            Self::Negative => Some("N"),
            Self::Partial => Some("P"),
            Self::Unknown => Some("U"),
        }
    }

    /// The word on the record.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Positive => "dark ridges",
            Self::Negative => "light ridges",
            Self::Partial => "partly light ridges",
            Self::Unknown => "unknown",
        }
    }
}

/// The first item of field 9.353.
#[must_use]
pub fn value_code(value: Value) -> &'static str {
    match value {
        Value::Value => "VALUE",
        Value::Limited => "LIMITED",
        Value::NoValue => "NOVALUE",
    }
}

/// Processing methods of field 9.352.
pub const METHODS: [&str; 48] = [
    "12I", "ADX", "ALS", "AMB", "AY7", "BAR", "BLE", "BLP", "BPA", "BRY", "CBB", "CDS", "COG",
    "DAB", "DFO", "FLP", "GEN", "GRP", "GTV", "HCA", "IOD", "ISR", "LAS", "LCV", "LIQ", "LQD",
    "MBD", "MBP", "MGP", "MPD", "MRM", "NIN", "OTH", "PDV", "R6G", "RAM", "RUV", "SAO", "SDB",
    "SGF", "SPR", "SSP", "SVN", "TEC", "TID", "VIS", "WHP", "ZIC",
];

/// Substrates of field 9.355.
pub const SUBSTRATES: [&str; 22] = [
    "1A", "1B", "1C", "1D", "2A", "2B", "2C", "2D", "2E", "2F", "2G", "2H", "2I", "3A", "3B", "3C",
    "3D", "3E", "3F", "3G", "4A", "4B",
];

/// Matrices of field 9.356: 1 natural perspiration or body oils, 2 blood … 10 other or unknown. Source: NIST's draft of 2010.
pub const MATRICES: std::ops::RangeInclusive<u8> = 1..=10;
