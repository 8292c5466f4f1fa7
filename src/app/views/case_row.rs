//! A case as a line in a list or among what was found: of a restricted one no more than its number.
//!
//! What a restricted case is about stands on its own page, where the reading is recorded. A list may name a hundred
//! cases that nobody opens, so lists show nothing that would have to be recorded.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Serialize;

use crate::custody::state::Case;
use crate::ids::CaseId;

/// What stands in place of the words of a restricted case.
pub const RESTRICTED: &str = "restricted";

/// A case in a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct CaseRow {
    /// Which.
    pub id: CaseId,
    /// The agency's case number.
    pub number: String,
    /// Title; none of a restricted case.
    pub title: Option<String>,
    /// Offence; none of a restricted case.
    pub offence: Option<String>,
    /// When it was opened.
    pub opened_at: DateTime<FixedOffset>,
    /// Whether only those assigned may see it.
    pub restricted: bool,
    /// How many marks, so far.
    pub marks: u32,
    /// How many items, so far.
    pub items: u32,
    /// How many packages, so far.
    pub packages: u32,
}

impl CaseRow {
    /// The title, or that it is restricted.
    #[must_use]
    pub fn words(&self) -> &str {
        self.title.as_deref().unwrap_or(RESTRICTED)
    }
}

impl From<&Case> for CaseRow {
    fn from(case: &Case) -> Self {
        let open = |text: &String| (!case.restricted).then(|| text.clone());
        Self {
            id: case.id,
            number: case.number.clone(),
            title: open(&case.title),
            offence: open(&case.offence),
            opened_at: case.opened_at,
            restricted: case.restricted,
            marks: case.marks,
            items: case.items,
            packages: case.packages,
        }
    }
}
