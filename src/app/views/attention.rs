//! What a picture still needs before it can be compared or handed off.

use crate::custody::state::ImageRef;
use crate::custody::value::Value;
use crate::imaging::resolution::{self, ENOUGH_PPI};

/// What a picture needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Need {
    /// One or two words.
    pub badge: &'static str,
    /// The same in a sentence.
    pub why: String,
    /// Whether it stands in the way; else it is only still to do.
    pub blocks: bool,
}

fn need(badge: &'static str, why: impl Into<String>, blocks: bool) -> Need {
    Need {
        badge,
        why: why.into(),
        blocks,
    }
}

/// What a picture needs, the most pressing first; empty for nothing. What an examiner found of no value needs nothing.
#[must_use]
pub fn needs(image: &ImageRef) -> Vec<Need> {
    let mut out = Vec::new();
    if image
        .assessed
        .as_ref()
        .is_some_and(|a| a.value == Value::NoValue)
    {
        return out;
    }
    let turned = image.copies.iter().any(|c| c.reads == "direct");
    match image.reads.as_str() {
        "direct" => {}
        "reversed" if turned => {}
        "reversed" => out.push(need(
            "reads reversed",
            "It reads reversed, and no working copy that reads direct was made.",
            true,
        )),
        _ => out.push(need(
            "not established",
            "Which way round it reads is not known.",
            true,
        )),
    }
    match image.scale.map(|s| resolution::measure(&s)) {
        Some(Ok(density)) if density.least() < ENOUGH_PPI => out.push(need(
            "under 1000 ppi",
            format!(
                "It has {}, less than the {ENOUGH_PPI} that guidelines ask for.",
                density.words()
            ),
            false,
        )),
        Some(Ok(_)) => {}
        Some(Err(_)) | None => out.push(need(
            "no scale",
            "Its density is not known: no scale was measured in it.",
            true,
        )),
    }
    if image.assessed.is_none() {
        out.push(need(
            "to be assessed",
            "Nobody has said what it is worth for comparison.",
            false,
        ));
    }
    out
}
