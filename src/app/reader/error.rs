//! Why something is not read.

use crate::app::record::RecordError;
use crate::app::rows;
use crate::people::Action;
use crate::store::StoreError;

/// Why something cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReadError {
    /// There is no such thing.
    #[error("there is no such {0}")]
    NotFound(&'static str),
    /// The role does not allow it.
    #[error("your role may not {}", .0.words())]
    Forbidden(Action),
    /// The case is restricted and the reader is not assigned to it.
    #[error("this case is restricted and you are not assigned to it")]
    Restricted,
    /// A list was asked to go on from a place that is none.
    #[error("the place to go on from cannot be read")]
    BadCursor,
    /// The reading could not be put on the record.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The database cannot answer now.
    #[error("the ledger cannot be read now: {0}")]
    Unavailable(String),
    /// What is stored contradicts itself.
    #[error("the ledger is damaged: {0}")]
    Corrupt(String),
}

impl From<StoreError> for ReadError {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Corrupt(why) => Self::Corrupt(why),
            other => Self::Unavailable(other.to_string()),
        }
    }
}

impl From<rows::BadDoc> for ReadError {
    fn from(e: rows::BadDoc) -> Self {
        Self::Corrupt(e.to_string())
    }
}
