//! Texts as fields hold them: no separators, no `999:`, within their length, ASCII where only ASCII may stand.

use super::refusal::{ItlRefusal, ItlRule};

/// Ends a record.
pub const FS: u8 = 0x1c;
/// Between fields.
pub const GS: u8 = 0x1d;
/// Between subfields.
pub const RS: u8 = 0x1e;
/// Between information items.
pub const US: u8 = 0x1f;
/// A common reader finds the image by the first occurrence of this in the record, wherever it stands.
pub const MARKER: &str = "999:";

/// A field: its tag for people, and the most characters that it holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Room {
    /// `1.004 type of transaction`.
    pub field: &'static str,
    /// Characters, at most.
    pub most: usize,
}

impl Room {
    /// A field of this length.
    #[must_use]
    pub const fn new(field: &'static str, most: usize) -> Self {
        Self { field, most }
    }

    fn refuse(self, rule: ItlRule, why: &str, next: &str) -> ItlRefusal {
        ItlRefusal::new(rule, format!("Field {} {why}.", self.field), next)
    }

    /// A text for this field, outer spaces removed and line breaks as spaces.
    ///
    /// # Errors
    /// [`ItlRule::TextLength`], [`ItlRule::TextSeparator`], [`ItlRule::TextMarker`].
    pub fn text(self, value: &str) -> Result<String, ItlRefusal> {
        let one_line: Vec<&str> = value.split(['\n', '\r']).map(str::trim).collect();
        let value = one_line.join(" ").trim().to_owned();
        if value.is_empty() {
            return Err(self.refuse(
                ItlRule::TextLength,
                "has no text",
                "Fill in what it is taken from.",
            ));
        }
        if value.chars().count() > self.most {
            let why = format!("holds at most {} characters", self.most);
            return Err(self.refuse(ItlRule::TextLength, &why, "Shorten what it is taken from."));
        }
        if value.chars().any(char::is_control) {
            return Err(self.refuse(
                ItlRule::TextSeparator,
                "would hold a separator or another control character",
                "Type what it is taken from again, without it.",
            ));
        }
        if value.contains(MARKER) {
            return Err(self.refuse(
                ItlRule::TextMarker,
                "would hold 999:, by which readers find the image",
                "Write what it is taken from in other words.",
            ));
        }
        Ok(value)
    }

    /// The same, of printable ASCII only.
    ///
    /// # Errors
    /// Those of [`Self::text`], and [`ItlRule::TextNotAscii`].
    pub fn ascii(self, value: &str) -> Result<String, ItlRefusal> {
        let value = self.text(value)?;
        if value.is_ascii() {
            return Ok(value);
        }
        Err(self.refuse(
            ItlRule::TextNotAscii,
            "is of the first record, where only ASCII may stand",
            "Write it without accents and other letters.",
        ))
    }

    /// A text shortened to the field, its end marked by dots.
    ///
    /// # Errors
    /// Those of [`Self::text`] except for a text that is too long.
    pub fn shortened(self, value: &str) -> Result<String, ItlRefusal> {
        if value.trim().chars().count() <= self.most {
            return self.text(value);
        }
        let kept: String = value
            .trim()
            .chars()
            .take(self.most.saturating_sub(3))
            .collect();
        self.text(&format!("{}...", kept.trim_end()))
    }
}
