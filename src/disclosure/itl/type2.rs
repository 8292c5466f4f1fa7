//! Type-2: fields that the receiver defined.

use std::collections::BTreeMap;

use super::IDC_DESCRIPTIVE;
use super::record::Record;
use super::refusal::{ItlRefusal, ItlRule};
use super::text::Room;

/// The numbers that a receiver may define. 999 is left out: in other records it is the image, and readers look for it.
pub const NUMBERS: std::ops::RangeInclusive<u16> = 3..=998;
/// How many fields a receiver may define (our bound).
pub const MOST_FIELDS: usize = 100;
/// How long a field may be (our bound; what the receiver takes, its profile says).
pub const MOST_CHARACTERS: usize = 1000;

/// The receiver's fields by number.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Descriptive {
    /// Field number and text.
    pub fields: BTreeMap<u16, String>,
}

pub(super) fn record(d: &Descriptive) -> Result<Record, ItlRefusal> {
    let mut r = Record::new(2, Some(IDC_DESCRIPTIVE));
    if d.fields.len() > MOST_FIELDS || d.fields.keys().any(|n| !NUMBERS.contains(n)) {
        return Err(ItlRefusal::new(
            ItlRule::UnknownCode,
            "A receiver's own fields are numbered 2.003 to 2.998, at most 100 of them.",
            "Correct the receiver's profile.",
        ));
    }
    for (number, text) in &d.fields {
        let room = Room::new("of Type-2", MOST_CHARACTERS);
        let text = room.text(text).map_err(|e| ItlRefusal {
            sentence: e.sentence.replace("of Type-2", &format!("2.{number:03}")),
            ..e
        })?;
        r.put(*number, &text);
    }
    Ok(r)
}
