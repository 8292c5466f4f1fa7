//! Papers for a disclosure that withholds fields: each place where a paper would say what a withheld field says shows
//! `[withheld: reason]` instead.
//!
//! A paper tells fields in words, joined with others, so it is not enough to leave a field out. The texts of the withheld
//! fields are looked for in every text of the finished paper, whatever spaces, signs and capitals lie between; a text that
//! still holds one after it was replaced is replaced whole. That can be done for free text only: a time, a number or a choice
//! is told in other words than its field's, so where one of those is withheld the papers stay out of the bundle, as before.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::app::views::words;
use crate::ledger::event::Event;

/// Fields that are free text, or a name, and so stand on a paper as they stand in the field.
const TEXTS: [&str; 27] = [
    "address",
    "ask",
    "authority",
    "by",
    "court",
    "description",
    "exact_place",
    "from_name",
    "how",
    "identification",
    "late_reason",
    "lot",
    "made_for",
    "name",
    "note",
    "object",
    "offence",
    "organisation",
    "override_reason",
    "purpose",
    "reason",
    "reference",
    "title",
    "to",
    "to_name",
    "unsealed_reason",
    "up",
];
/// Shorter texts than this would be found in others that have nothing to do with them.
const SHORTEST: usize = 4;

/// A text that must not stand on a paper.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Hidden {
    /// As it is compared: letters and digits only, small.
    bare: Vec<char>,
    /// Why.
    reason: String,
}

/// What a paper leaves out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Redaction {
    hidden: Vec<Hidden>,
    /// As the record has it: `event.field: reason`.
    pub withheld: Vec<String>,
    /// Why no picture stands on the paper; none where they do.
    pub without_images: Option<String>,
}

/// Letters and digits of a text, small, each with where it stands.
fn bare(text: &str) -> Vec<(usize, char)> {
    text.char_indices()
        .filter(|(_, c)| c.is_alphanumeric())
        .flat_map(|(at, c)| c.to_lowercase().map(move |c| (at, c)))
        .collect()
}

/// A UUID, or a subject.
fn is_identifier(text: &str) -> bool {
    let bare = text.rsplit_once(':').map_or(text, |(_, id)| id);
    uuid::Uuid::try_parse(bare.trim()).is_ok()
}

fn replaced(reason: &str) -> String {
    format!("[withheld: {reason}]")
}

/// What a field's text is called on papers too: a person with number is told in several ways.
fn forms(field: &str, text: &str) -> Vec<String> {
    let mut out = vec![text.to_owned()];
    if field == "by" {
        out.push(words::signed_by(text));
        if let Some((name, _)) = text.rsplit_once(" (") {
            out.push(name.to_owned());
        }
    }
    out
}

impl Redaction {
    /// What papers must not say where these fields are withheld: by event, then by field, the reason.
    ///
    /// # Errors
    /// In words, why papers cannot be made without it.
    pub fn of(
        events: &[Event],
        withheld: &BTreeMap<String, BTreeMap<String, String>>,
    ) -> Result<Self, String> {
        let mut out = Self::default();
        let mut hide = |field: &str, text: &str, reason: &str| {
            for form in forms(field, text.trim()) {
                let bare: Vec<char> = bare(&form).into_iter().map(|(_, c)| c).collect();
                if bare.is_empty() {
                    continue;
                }
                if bare.len() < SHORTEST {
                    return Err(format!(
                        "the field {field} holds a text of less than {SHORTEST} letters, which cannot be told from others"
                    ));
                }
                if !out.hidden.iter().any(|h| h.bare == bare) {
                    out.hidden.push(Hidden {
                        bare,
                        reason: reason.to_owned(),
                    });
                }
            }
            Ok(())
        };
        for event in events {
            let Some(fields) = withheld.get(&event.header.seq.to_string()) else {
                continue;
            };
            for (field, reason) in fields {
                let value = event.fields.get(field);
                match value {
                    // A person by identifier is told by name.
                    Some(Value::String(text)) if is_identifier(text) => {
                        return Err(format!(
                            "the field {field} is an identifier: papers tell it in other words than its own"
                        ));
                    }
                    Some(Value::String(text)) if TEXTS.contains(&field.as_str()) => {
                        hide(field, text, reason)?;
                    }
                    // What was corrected, and what it was corrected to.
                    Some(Value::String(text))
                        if matches!(field.as_str(), "value" | "was")
                            && event.header.kind == "record.amended" =>
                    {
                        hide(field, text, reason)?;
                    }
                    None => {}
                    Some(_) => {
                        return Err(format!(
                            "the field {field} is no free text: papers tell it in other words than its own"
                        ));
                    }
                }
            }
        }
        out.withheld = withheld
            .iter()
            .flat_map(|(seq, fields)| {
                fields
                    .iter()
                    .map(move |(field, why)| format!("{seq}.{field}: {why}"))
            })
            .collect();
        // The longest first: a name within an address is then replaced with the address.
        out.hidden
            .sort_by(|a, b| b.bare.len().cmp(&a.bare.len()).then(a.bare.cmp(&b.bare)));
        Ok(out)
    }

    /// Whether there is nothing to leave out.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.hidden.is_empty() && self.without_images.is_none()
    }

    /// What the paper says of itself; empty where no text is left out.
    #[must_use]
    pub fn sentence(&self) -> String {
        let mut out = Vec::new();
        match self.withheld.len() {
            0 => {}
            1 => out.push(
                "1 field is withheld in this print; where its text is left out stands [withheld: reason]."
                    .to_owned(),
            ),
            n => out.push(format!(
                "{n} fields are withheld in this print; where a text is left out stands [withheld: reason]."
            )),
        }
        if let Some(why) = &self.without_images {
            out.push(format!("Pictures are left out of this print: {why}."));
        }
        out.join(" ")
    }

    /// Whether a text holds what must not be said.
    #[must_use]
    pub fn stands_in(&self, text: &str) -> bool {
        let text: Vec<char> = bare(text).into_iter().map(|(_, c)| c).collect();
        self.hidden
            .iter()
            .any(|h| text.windows(h.bare.len()).any(|w| w == h.bare))
    }

    /// Puts the reason where the text says what must not be said.
    pub fn clear(&self, text: &mut String) {
        for hidden in &self.hidden {
            let mut from = 0;
            // Each round leaves one occurrence less; what is put there holds none, unless the reason itself does.
            while from < text.len() {
                let rest = bare(&text[from..]);
                let found = rest
                    .windows(hidden.bare.len())
                    .position(|w| w.iter().map(|(_, c)| c).eq(&hidden.bare));
                let Some(at) = found else { break };
                let begin = from + rest[at].0;
                let last = from + rest[at + hidden.bare.len() - 1].0;
                let end = text[last..]
                    .chars()
                    .next()
                    .map_or(text.len(), |c| last + c.len_utf8());
                let put = replaced(&hidden.reason);
                text.replace_range(begin..end, &put);
                from = begin + put.len();
            }
        }
        // A reason that says what is withheld says nothing here.
        if self.stands_in(text) {
            *text = "[withheld]".into();
        }
    }
}
