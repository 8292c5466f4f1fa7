//! How a picture came about, step by step, with a pennant that shows after each which way round things read.

use std::fmt::Write as _;

use super::escape;

/// One step from the mark to the picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ViewStep {
    /// The step in words: `photographed on its contact face`.
    pub words: String,
    /// Whether it turns left into right; `None` where that isn't known.
    pub turns: Option<bool>,
}

/// The result of the steps: whether the picture reads reversed. One unknown step makes it unknown.
#[must_use]
pub fn reversed(steps: &[ViewStep]) -> Option<bool> {
    steps
        .iter()
        .try_fold(false, |so_far, step| step.turns.map(|turns| so_far ^ turns))
}

/// The result in words.
#[must_use]
pub fn reading_words(reversed: Option<bool>) -> &'static str {
    match reversed {
        Some(false) => "reads as on the surface",
        Some(true) => "reads reversed",
        None => "not known which way round",
    }
}

/// Draws the steps as an ordered list, each with its pennant.
#[must_use]
pub fn draw(steps: &[ViewStep]) -> String {
    let mut out = String::from("<ol class=\"steps\">");
    row(
        &mut out,
        "the mark on its surface, seen from the front",
        Some(false),
        "",
    );
    let mut so_far = Some(false);
    for step in steps {
        so_far = so_far.and_then(|v| step.turns.map(|turns| v ^ turns));
        let what = match step.turns {
            Some(true) => "turns left into right",
            Some(false) => "leaves it as it was",
            None => "not known whether it turns",
        };
        row(&mut out, &step.words, so_far, what);
    }
    let _ = write!(
        out,
        "</ol><p class=\"reading\">Result: <strong>{}</strong>.</p>",
        reading_words(so_far)
    );
    out
}

fn row(out: &mut String, words: &str, reversed: Option<bool>, what: &str) {
    out.push_str("<li><svg class=\"pennant\" viewBox=\"0 0 40 40\" width=\"40\" height=\"40\" aria-hidden=\"true\">");
    match reversed {
        Some(false) => out.push_str("<path d=\"M12 37V4L33 12L12 20\"/>"),
        Some(true) => out.push_str("<path d=\"M28 37V4L7 12L28 20\"/>"),
        None => out.push_str("<path class=\"unknown\" d=\"M20 37V4M8 12H32\"/>"),
    }
    let _ = write!(out, "</svg><span><b>{}</b>", escape(words));
    if !what.is_empty() {
        let _ = write!(
            out,
            "<br>{what}: now it {}",
            match reversed {
                Some(false) => "reads as on the surface",
                Some(true) => "reads reversed",
                None => "is not known which way round",
            }
        );
    }
    out.push_str("</span></li>");
}
