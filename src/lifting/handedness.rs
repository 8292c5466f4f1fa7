//! Handedness: which way round an image reads, computed from how it was made.
//!
//! The reference view is the mark as seen looking straight at the surface that bears it, ridges dark on light, hollows
//! as hollows. Each step of a chain says what it does to left and right, to depth and to tone.
//!
//! Left and right, and depth, are parities: an odd number of reversals is reversed. Tone has two parts. Some steps say
//! that the mark itself is light on its ground (light powder, fluorescence, a black lifter); said twice it is still
//! light, so light powder on a black lifter is one fact and not two reversals. Other steps swap light and dark
//! (inversion in software, furrows that carry the material), and those are counted.
//!
//! One unknown step makes the answer unknown, never a guess.

use std::{fmt, str::FromStr};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The longest chain that is read: more steps than this make an unknown reading. Real chains have two to six.
pub const MAX_STEPS: usize = 64;

/// One step between the mark and its image.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Step {
    /// A contact transfer looked at on its contact face: a gel, an opaque lifter, a cast.
    ContactFace,
    /// A lift looked at through its own clear medium.
    ThroughMedium,
    /// A view from the mark's own side.
    Front,
    /// A view from the far side, through what bears the mark.
    ThroughSubstrate,
    /// A view in a mirror.
    Mirror,
    /// A mark that was itself transferred from another surface.
    SetOff,
    /// The skin itself, and not its print.
    Skin,
    /// Flipped in software, or by a file's orientation tag.
    Flip,
    /// A step that nobody can vouch for.
    Unknown,
    /// Moulded: hollows became heights.
    Cast,
    /// Ridges carry a dark powder or stain.
    DarkPowder,
    /// Ridges carry a light powder.
    LightPowder,
    /// Ridges carry a light residue: dust, a white deposit.
    LightResidue,
    /// Ridges glow.
    Fluorescent,
    /// On a black gelatin or rubber lifter.
    BlackGel,
    /// On a black card.
    BlackCard,
    /// The furrows, and not the ridges, carry the material: a finger took dust away.
    Furrows,
    /// Light and dark exchanged in software or in a negative.
    Invert,
    /// Nobody can vouch for the tone; left and right are not touched.
    ToneUnknown,
}

/// What a step does to left and right or to depth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Turn {
    Keeps,
    Turns,
    Unknown,
}

/// What a step says about tone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Shade {
    Silent,
    Dark,
    Light,
    Swaps,
    Unknown,
}

impl Step {
    /// Every step there is, in the order in which they are offered.
    pub const ALL: [Self; 19] = [
        Self::ContactFace,
        Self::ThroughMedium,
        Self::Front,
        Self::ThroughSubstrate,
        Self::Mirror,
        Self::SetOff,
        Self::Skin,
        Self::Flip,
        Self::Unknown,
        Self::Cast,
        Self::DarkPowder,
        Self::LightPowder,
        Self::LightResidue,
        Self::Fluorescent,
        Self::BlackGel,
        Self::BlackCard,
        Self::Furrows,
        Self::Invert,
        Self::ToneUnknown,
    ];

    /// The name in data, addresses and events.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::ContactFace => "contact-face",
            Self::ThroughMedium => "through-medium",
            Self::Front => "front",
            Self::ThroughSubstrate => "through-substrate",
            Self::Mirror => "mirror",
            Self::SetOff => "set-off",
            Self::Skin => "skin",
            Self::Flip => "flip",
            Self::Unknown => "unknown",
            Self::Cast => "cast",
            Self::DarkPowder => "dark-powder",
            Self::LightPowder => "light-powder",
            Self::LightResidue => "light-residue",
            Self::Fluorescent => "fluorescent",
            Self::BlackGel => "black-gel",
            Self::BlackCard => "black-card",
            Self::Furrows => "furrows",
            Self::Invert => "invert",
            Self::ToneUnknown => "tone-unknown",
        }
    }

    /// The step in words that fit after "the mark was" or stand in a list.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::ContactFace => "looked at on the contact face",
            Self::ThroughMedium => "looked at through the clear medium",
            Self::Front => "looked at from the mark's own side",
            Self::ThroughSubstrate => "looked at from the far side of what bears it",
            Self::Mirror => "seen in a mirror",
            Self::SetOff => "transferred from another surface before it was found",
            Self::Skin => "the skin itself, not its print",
            Self::Flip => "flipped in software",
            Self::Unknown => "a step that is not known",
            Self::Cast => "moulded, so that hollows became heights",
            Self::DarkPowder => "ridges dark with powder or stain",
            Self::LightPowder => "ridges light with powder",
            Self::LightResidue => "ridges light with dust or residue",
            Self::Fluorescent => "ridges glowing",
            Self::BlackGel => "on a black lifter",
            Self::BlackCard => "on a black card",
            Self::Furrows => "furrows, not ridges, carrying the material",
            Self::Invert => "light and dark exchanged",
            Self::ToneUnknown => "tone not known",
        }
    }

    fn lateral(self) -> Turn {
        match self {
            Self::ContactFace
            | Self::ThroughSubstrate
            | Self::Mirror
            | Self::SetOff
            | Self::Skin
            | Self::Flip => Turn::Turns,
            Self::Unknown => Turn::Unknown,
            Self::ThroughMedium
            | Self::Front
            | Self::Cast
            | Self::DarkPowder
            | Self::LightPowder
            | Self::LightResidue
            | Self::Fluorescent
            | Self::BlackGel
            | Self::BlackCard
            | Self::Furrows
            | Self::Invert
            | Self::ToneUnknown => Turn::Keeps,
        }
    }

    fn relief(self) -> Turn {
        match self {
            Self::Cast => Turn::Turns,
            Self::Unknown => Turn::Unknown,
            _ => Turn::Keeps,
        }
    }

    fn shade(self) -> Shade {
        match self {
            Self::DarkPowder => Shade::Dark,
            Self::LightPowder
            | Self::LightResidue
            | Self::Fluorescent
            | Self::BlackGel
            | Self::BlackCard => Shade::Light,
            Self::Furrows | Self::Invert => Shade::Swaps,
            Self::Unknown | Self::ToneUnknown => Shade::Unknown,
            _ => Shade::Silent,
        }
    }
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A text that names no step.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a step of handedness")]
pub struct NotAStep(pub String);

impl FromStr for Step {
    type Err = NotAStep;

    fn from_str(s: &str) -> Result<Self, NotAStep> {
        Self::ALL
            .into_iter()
            .find(|step| step.name() == s)
            .ok_or_else(|| NotAStep(s.chars().take(40).collect()))
    }
}

/// Left and right, against the reference view.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Lateral {
    /// Reads as the mark does on its surface.
    Direct,
    /// Left and right are exchanged.
    Reversed,
    /// Not known.
    Unknown,
}

/// Depth, against the surface.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Relief {
    /// Hollows are hollows.
    AsFound,
    /// Hollows are heights.
    Inverted,
    /// Not known.
    Unknown,
}

/// Light and dark, against a print in ink.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// Ridges dark on light, as in ink.
    AsInk,
    /// Ridges light on dark.
    Reversed,
    /// Not known.
    Unknown,
}

/// What a chain comes to. It travels with the image.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// Left and right.
    pub lateral: Lateral,
    /// Depth.
    pub relief: Relief,
    /// Light and dark.
    pub tone: Tone,
    /// The same in words: the steps, and why they come to this.
    pub sentence: String,
}

/// Reads a chain of steps, first step first. An empty chain is the reference view itself. A chain longer than
/// [`MAX_STEPS`] is unknown in every respect.
#[must_use]
pub fn read(steps: &[Step]) -> Reading {
    if steps.len() > MAX_STEPS {
        return Reading {
            lateral: Lateral::Unknown,
            relief: Relief::Unknown,
            tone: Tone::Unknown,
            sentence: format!(
                "The chain has more than {MAX_STEPS} steps and was not read, so nothing is known about it. Record the chain again."
            ),
        };
    }
    let turns = parity(steps.iter().map(|s| s.lateral()));
    let moulds = parity(steps.iter().map(|s| s.relief()));
    let (tone, tone_why) = shade(steps);
    let lateral = match turns {
        None => Lateral::Unknown,
        Some(n) if n % 2 == 1 => Lateral::Reversed,
        Some(_) => Lateral::Direct,
    };
    let relief = match moulds {
        None => Relief::Unknown,
        Some(n) if n % 2 == 1 => Relief::Inverted,
        Some(_) => Relief::AsFound,
    };

    let mut parts = vec![listed(steps)];
    parts.push(match turns {
        None => {
            "One step is not known, so it is not known whether the image is laterally reversed."
                .into()
        }
        Some(0) => "No step exchanges left and right, so the image reads direct.".into(),
        Some(n) => format!(
            "{} left and right, {}",
            counted(n, "exchanges", "exchange"),
            if n % 2 == 1 {
                "so the image is laterally reversed."
            } else {
                "and they cancel, so the image reads direct."
            }
        ),
    });
    match moulds {
        None => parts.push("Whether depth is as found is not known either.".into()),
        Some(0) => {}
        Some(n) => parts.push(format!(
            "{} depth, so hollows and heights are {}.",
            counted(n, "inverts", "invert"),
            if n % 2 == 1 { "exchanged" } else { "as found" }
        )),
    }
    parts.push(tone_why);
    Reading {
        lateral,
        relief,
        tone,
        sentence: parts.join(" "),
    }
}

/// How many steps turn, or nothing when one of them is unknown.
fn parity(turns: impl Iterator<Item = Turn>) -> Option<usize> {
    let mut n = 0;
    for turn in turns {
        match turn {
            Turn::Keeps => {}
            Turn::Turns => n += 1,
            Turn::Unknown => return None,
        }
    }
    Some(n)
}

/// The tone of a chain and the sentence that says why.
fn shade(steps: &[Step]) -> (Tone, String) {
    let has = |wanted: Shade| steps.iter().any(|s| s.shade() == wanted);
    if has(Shade::Unknown) {
        return (
            Tone::Unknown,
            "Whether ridges are dark or light is not known.".into(),
        );
    }
    let (dark, light) = (has(Shade::Dark), has(Shade::Light));
    if dark && light {
        return (
            Tone::Unknown,
            "The steps say both dark and light ridges, so the tone is not known: look at the image and record which it is.".into(),
        );
    }
    let swaps = steps.iter().filter(|s| s.shade() == Shade::Swaps).count();
    let mark = if light {
        "The mark is light on its ground"
    } else {
        "The mark is taken as dark on its ground"
    };
    let mark = if dark {
        "The mark is dark on its ground"
    } else {
        mark
    };
    let reversed = light ^ (swaps % 2 == 1);
    let swapped = match swaps {
        0 => String::new(),
        n => format!(
            " and {} light and dark",
            counted(n, "exchanges", "exchange").to_lowercase()
        ),
    };
    let end = if reversed {
        "ridges are light (tone reversed)"
    } else {
        "ridges are dark, as in ink"
    };
    (
        if reversed {
            Tone::Reversed
        } else {
            Tone::AsInk
        },
        format!("{mark}{swapped}: {end}."),
    )
}

fn listed(steps: &[Step]) -> String {
    if steps.is_empty() {
        return "No step lies between the mark and this view.".into();
    }
    let words: Vec<&str> = steps.iter().map(|s| s.words()).collect();
    format!("Steps: {}.", words.join("; "))
}

fn counted(n: usize, one: &str, many: &str) -> String {
    const WORDS: [&str; 10] = [
        "No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine",
    ];
    let number = WORDS
        .get(n)
        .map_or_else(|| n.to_string(), |w| (*w).to_string());
    if n == 1 {
        format!("{number} step {one}")
    } else {
        format!("{number} steps {many}")
    }
}
