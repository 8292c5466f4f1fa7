//! How large a film has to be for a mark, and how much liquid that takes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::thickness::tenths_words;

/// The longest side of a mark to be covered, tenths of a millimetre: 1 m (our assumption, to catch a wrong unit).
pub const MAX_SIDE: u32 = 10_000;

/// What a film-forming medium asks of its film.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FilmRule {
    /// How far the film reaches beyond the mark on every side, tenths of a millimetre.
    pub margin_tenths: u32,
    /// The area that one drop covers, mm², where it is laid on by drops.
    #[serde(default)]
    pub drop_mm2: Option<u32>,
    /// Where the figures come from, with what is our assumption.
    pub source: String,
}

/// The film for a mark.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Film {
    /// Its length, tenths of a millimetre.
    pub length_tenths: u32,
    /// Its width, tenths of a millimetre.
    pub width_tenths: u32,
    /// Its area, mm², rounded up.
    pub area_mm2: u32,
    /// How many drops, where it is laid on by drops.
    pub drops: Option<u32>,
    /// The same in words, with the source.
    pub sentence: String,
}

/// The film for a mark of this length and width (tenths of a millimetre, each at most [`MAX_SIDE`]; more is taken as that).
#[must_use]
pub fn film(rule: &FilmRule, length_tenths: u32, width_tenths: u32) -> Film {
    let side = |s: u32| s.min(MAX_SIDE) + 2 * rule.margin_tenths.min(MAX_SIDE);
    let (length, width) = (side(length_tenths), side(width_tenths));
    let area_mm2 = (length * width).div_ceil(100);
    let drops = rule.drop_mm2.map(|d| area_mm2.div_ceil(d.max(1)).max(1));
    let mut sentence = format!(
        "The film measures at least {} by {} mm: {} mm beyond the mark on every side, {area_mm2} mm² in all.",
        tenths_words(length),
        tenths_words(width),
        tenths_words(rule.margin_tenths),
    );
    if let Some(drops) = drops {
        let drops = match drops {
            1 => "One drop".to_owned(),
            2 => "Two drops".to_owned(),
            n => format!("{n} drops, more than the usual one or two"),
        };
        sentence.push_str(&format!(" {drops}, by area."));
    }
    sentence.push_str(&format!(" Source: {}.", rule.source.trim_end_matches('.')));
    Film {
        length_tenths: length,
        width_tenths: width,
        area_mm2,
        drops,
        sentence,
    }
}
