//! A case, as everything that belongs to it names it.

use schemars::JsonSchema;
use serde::Serialize;

use crate::custody::state::Case;
use crate::ids::CaseId;

/// A case by number and title.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct CaseRef {
    /// Which.
    pub id: CaseId,
    /// The agency's case number.
    pub number: String,
    /// Title.
    pub title: String,
    /// Offence.
    pub offence: String,
    /// Whether only those assigned may see it.
    pub restricted: bool,
}

impl From<&Case> for CaseRef {
    fn from(case: &Case) -> Self {
        Self {
            id: case.id,
            number: case.number.clone(),
            title: case.title.clone(),
            offence: case.offence.clone(),
            restricted: case.restricted,
        }
    }
}
