//! An event that was recorded before.

use std::collections::BTreeMap;

use crate::ids::{CaseId, PersonId, Subject};

/// An event as an amendment needs it.
#[derive(Clone, Debug, PartialEq)]
pub struct PastEvent {
    /// Kind.
    pub kind: String,
    /// Who recorded it.
    pub actor: Option<PersonId>,
    /// Its case.
    pub case: Option<CaseId>,
    /// What it is about.
    pub subjects: Vec<Subject>,
    /// Its payload; what is left of it where it was expunged.
    pub fields: BTreeMap<String, serde_json::Value>,
    /// Whether it was expunged.
    pub expunged: bool,
}
