//! Contrast: the card or lifter behind a mark must not have the mark's own tone.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::method::MarkTone;

/// What lies behind a lifted mark.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Ground {
    /// White.
    White,
    /// Black.
    Black,
    /// Clear: the choice is left to whoever photographs it.
    Clear,
}

impl Ground {
    /// The ground of this word; outer spaces do not count.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::White, Self::Black, Self::Clear]
            .into_iter()
            .find(|g| g.word() == word.trim())
    }

    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::White => "white",
            Self::Black => "black",
            Self::Clear => "clear",
        }
    }
}

/// The card that contrasts with a mark of this tone; nothing where the tone depends on the case, so that it must be
/// looked at. White for dark powder and black for light: FBI handbook of forensic services. Black for a glowing mark
/// is common practice, no source.
#[must_use]
pub fn card_for(tone: MarkTone) -> Option<Ground> {
    match tone {
        MarkTone::Dark => Some(Ground::White),
        MarkTone::Light | MarkTone::Fluorescent => Some(Ground::Black),
        MarkTone::Varies => None,
    }
}

/// What to lay the mark on, in words, with the reason; also where the tone must be looked at first.
#[must_use]
pub fn advice(tone: MarkTone) -> &'static str {
    match tone {
        MarkTone::Dark => "white, which contrasts with a dark mark",
        MarkTone::Light => "black, which contrasts with a light mark",
        MarkTone::Fluorescent => "black, on which a glowing mark stands out",
        MarkTone::Varies => {
            "look at the mark first: white for dark ridges, black for light or glowing ones"
        }
    }
}

/// A warning when the card or lifter that was used does not contrast with the mark; nothing when it does, when it is
/// clear, or when the tone depends on the case.
#[must_use]
pub fn warning(tone: MarkTone, used: Ground) -> Option<String> {
    let wanted = card_for(tone)?;
    if used == wanted || used == Ground::Clear {
        return None;
    }
    let mark = match tone {
        MarkTone::Dark => "A dark mark",
        MarkTone::Light => "A light mark",
        MarkTone::Fluorescent => "A glowing mark",
        MarkTone::Varies => return None,
    };
    Some(format!(
        "{mark} shows best on a {} ground, and a {} one was used. Photograph it before it goes further, and note why.",
        wanted.word(),
        used.word()
    ))
}
