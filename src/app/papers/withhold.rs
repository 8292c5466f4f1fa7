//! A field that a disclosure withholds, as people write it.

use std::str::FromStr;

use crate::disclosure::contents::MAX_REASON;
use crate::ids::Seq;

/// How a field to be withheld is written.
const HOW: &str = "write FIELD=REASON, or EVENT.FIELD=REASON for one event";

/// A field to be withheld, with the reason: `address=protected by the order of 4 March` withholds the field in every
/// event of the case, `17.address=…` in event 17 alone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Withhold {
    /// Only in this event.
    pub event: Option<Seq>,
    /// The field.
    pub field: String,
    /// Why.
    pub reason: String,
}

impl Withhold {
    /// A field of one event, or of every event, with the reason.
    ///
    /// # Errors
    /// A reason that is empty or too long, or no field; in words.
    pub fn new(event: Option<Seq>, field: &str, reason: &str) -> Result<Self, String> {
        let (field, reason) = (field.trim(), reason.trim());
        if reason.is_empty() || reason.chars().count() > MAX_REASON {
            return Err(format!(
                "{field:?}: a reason has 1 to {MAX_REASON} characters"
            ));
        }
        if field.is_empty() || field.len() > 64 {
            return Err(HOW.into());
        }
        Ok(Self {
            event,
            field: field.to_owned(),
            reason: reason.to_owned(),
        })
    }
}

impl FromStr for Withhold {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let (what, reason) = text.split_once('=').ok_or(HOW)?;
        let (event, field) = match what.trim().split_once('.') {
            Some((event, field)) => (Some(event.trim().parse().map_err(|_| HOW)?), field),
            None => (None, what),
        };
        Self::new(event, field, reason)
    }
}
