//! Bars: a figure with one bar a line, each a link, with its words above it. A table beside it says the same.
//!
//! What fills a bar is hatched nowhere and coloured by class; how much room there is, is an outline, and what is beyond it is
//! drawn behind a double stroke and said in words. So nothing depends on colour.

use std::fmt::Write as _;

use super::{escape, shorten};

/// One bar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bar {
    /// What it is of.
    pub label: String,
    /// The figure in words: `3 of 12`.
    pub words: String,
    /// How long it is.
    pub value: u64,
    /// How long it may be, where there is a limit.
    pub limit: Option<u64>,
    /// Where its list is; empty for none.
    pub href: String,
}

/// Width of the picture, in its own units.
const WIDTH: u64 = 360;
/// Height of a line, a finger's at the size at which a phone shows it.
const LINE: u64 = 48;
/// The longest label, in letters.
const LONGEST: usize = 44;

/// The bars as one piece of SVG. `id` keeps identifiers apart on a page.
#[must_use]
pub fn draw(id: &str, title: &str, said: &str, bars: &[Bar]) -> String {
    let longest = bars
        .iter()
        .map(|b| b.value.max(b.limit.unwrap_or(0)))
        .max()
        .unwrap_or(0)
        .max(1);
    let lines = u64::try_from(bars.len()).unwrap_or(0);
    let height = (lines * LINE).max(1);
    let mut out = format!(
        "<svg class=\"bars\" viewBox=\"0 0 {WIDTH} {height}\" width=\"{WIDTH}\" height=\"{height}\" role=\"group\" \
         aria-labelledby=\"{id}-t {id}-d\"><title id=\"{id}-t\">{}</title><desc id=\"{id}-d\">{}</desc>",
        escape(title),
        escape(said)
    );
    for (bar, line) in bars.iter().zip(0_u64..) {
        let top = line * LINE;
        let long = |n: u64| (u128::from(n) * u128::from(WIDTH - 8) / u128::from(longest)).min(352);
        if !bar.href.is_empty() {
            let _ = write!(
                out,
                "<a class=\"bar-link\" href=\"{}\" aria-label=\"{}: {}\">",
                escape(&bar.href),
                escape(&bar.label),
                escape(&bar.words)
            );
        }
        let _ = write!(
            out,
            "<rect class=\"hit\" x=\"0\" y=\"{top}\" width=\"{WIDTH}\" height=\"{LINE}\"/>\
             <text class=\"bar-label\" x=\"4\" y=\"{}\">{} <tspan class=\"bar-words\">{}</tspan></text>",
            top + 18,
            escape(&shorten(
                &bar.label,
                LONGEST.saturating_sub(bar.words.chars().count().min(30))
            )),
            escape(&shorten(&bar.words, 30))
        );
        let y = top + 26;
        if let Some(limit) = bar.limit {
            let _ = write!(
                out,
                "<rect class=\"bar-room\" x=\"4\" y=\"{y}\" width=\"{}\" height=\"14\"/>",
                long(limit).max(2)
            );
        }
        if bar.value > 0 {
            let _ = write!(
                out,
                "<rect class=\"bar\" x=\"4\" y=\"{}\" width=\"{}\" height=\"10\"/>",
                y + 2,
                long(bar.value).max(2)
            );
        } else if bar.limit.is_none() {
            let _ = write!(
                out,
                "<path class=\"bar-none\" d=\"M4 {}V{}\"/>",
                y + 2,
                y + 12
            );
        }
        if let Some(limit) = bar.limit.filter(|l| bar.value > *l) {
            let x = 4 + long(limit);
            let _ = write!(
                out,
                "<path class=\"bar-over\" d=\"M{x} {}V{}M{} {}V{}\"/>",
                y - 3,
                y + 17,
                x + 4,
                y - 3,
                y + 17
            );
        }
        if !bar.href.is_empty() {
            out.push_str("</a>");
        }
    }
    out.push_str("</svg>");
    out
}
