//! The pictures of this program as SVG text, from the models. Colours and lines come from the style sheet, by class;
//! nothing is styled inline, so that the content security policy can forbid it.

pub mod bars;
pub mod card;
pub mod steps;
pub mod thread;

/// Text made safe for SVG and HTML, in elements and in quoted attributes.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// At most `most` characters, the last of them a dot-dot-dot where something was cut.
#[must_use]
pub(crate) fn shorten(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let mut out: String = text.chars().take(most.saturating_sub(1)).collect();
    out.push('\u{2026}');
    out
}
