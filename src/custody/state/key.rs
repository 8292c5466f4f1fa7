//! What a state can be asked for.

use crate::ids::{CaseId, Code, PlaceId, Seq, Subject};

/// What a state can be asked for.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Key {
    /// A subject's own record.
    Subject(Subject),
    /// A person by user name.
    UserName(String),
    /// A case by number.
    CaseNumber(String),
    /// A place by name.
    PlaceName(String),
    /// A package by a seal it has or had.
    Seal(String),
    /// An event, for an amendment.
    Event(Seq),
    /// What bears a code.
    Code(Code),
    /// What stands in a place, for a count.
    StoredIn(PlaceId),
    /// The places beside a place, for whoever finds no room in it.
    Near(PlaceId),
    /// The findings of an item, a package or a mark, for an answer to one of them.
    Findings(Subject),
    /// Every event of a case, for an expungement.
    Record(CaseId),
}

impl Key {
    /// Whether what it tells is not carried on by events, so that it has to be asked for again.
    #[must_use]
    pub fn is_fleeting(&self) -> bool {
        matches!(
            self,
            Self::Event(_)
                | Self::StoredIn(_)
                | Self::Near(_)
                | Self::Findings(_)
                | Self::Record(_)
        )
    }
}
