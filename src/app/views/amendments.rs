//! Corrections: what was, what is, why, and by whom.

use schemars::JsonSchema;
use serde::Serialize;

use super::custody_rows::{by_name, claimed_at, field};
use super::trail::Step;
use super::words;
use crate::app::reader::Past;
use crate::custody::Fact;
use crate::ids::Subject;
use crate::zone::Zone;

/// A correction.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Amendment {
    /// What it is about.
    pub of: Subject,
    /// The event that was corrected.
    pub event: u64,
    /// The event that corrects.
    pub seq: u64,
    /// The field, by its name on the record.
    pub field: String,
    /// What it said until then.
    pub was: String,
    /// What it says since.
    pub value: String,
    /// Why.
    pub reason: String,
    /// Who corrected it.
    pub by_name: String,
    /// When, in words.
    pub when: String,
    /// All of it in a sentence.
    pub sentence: String,
}

/// The corrections among some events.
#[must_use]
pub fn amendments(of: Subject, history: &[Past], zone: Zone) -> Vec<Amendment> {
    history
        .iter()
        .filter_map(|past| {
            let Some(Fact::Amended(x)) = &past.fact else {
                return None;
            };
            let step = Step::own(past.clone(), of);
            let (by_name, when) = (by_name(&step), words::minute(&claimed_at(&step), zone));
            Some(Amendment {
                of: x.of,
                event: x.event,
                seq: step.seq(),
                field: x.field.clone(),
                was: x.was.clone(),
                value: x.value.clone(),
                reason: x.reason.clone(),
                sentence: format!(
                    "{} of event {} was \"{}\", is \"{}\", because: {} ({by_name}, {when}, event {})",
                    field(&x.field),
                    x.event,
                    x.was,
                    x.value,
                    x.reason,
                    step.seq()
                ),
                by_name,
                when,
            })
        })
        .collect()
}
