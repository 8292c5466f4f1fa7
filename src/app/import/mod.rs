//! A CSV file of an existing room, taken over: read as a stream, row by row, by a mapping from its columns to ours.
//!
//! A dry run says everything that is wrong with every row and writes nothing. A real run says the same and records, batch
//! by batch, the batches in which nothing is wrong, each by one command ([`crate::custody::import`]): all of its rows or
//! none. A row's identifiers follow from the ledger's name, its case and its number there, so a run that is repeated, or
//! was stopped, leaves out what is on the record already.
//!
//! In memory are one batch, and 16 bytes and a seal number of every row, to find what the file names twice.

mod file;
mod mapping;
mod run;
pub mod sent;

use std::fmt;

use crate::app::record::RecordError;
use crate::store::StoreError;

pub use file::{MOST_CELL, MOST_ROW, MOST_ROWS, Table};
pub use mapping::{Field, Mapping, MappingError};
pub use run::{Asked, run};

/// One thing that is wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Which row, 1 for the first behind the heading.
    pub row: u64,
    /// The line of the file that the row begins on.
    pub line: u64,
    /// The column, as the file's heading calls it; none where the whole row is meant.
    pub column: Option<String>,
    /// What stands there, shortened.
    pub value: String,
    /// What is wrong, one sentence.
    pub sentence: String,
    /// What to do, one sentence.
    pub next: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "row {} (line {})", self.row, self.line)?;
        if let Some(column) = &self.column {
            // Quoted as Rust quotes, so that nothing in a cell can write to somebody's terminal.
            write!(f, ", column {column:?}, {:?}", self.value)?;
        }
        write!(f, ": {} {}", self.sentence, self.next)
    }
}

/// What a run came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Summary {
    /// Rows of the file.
    pub rows: u64,
    /// Rows with something wrong.
    pub wrong: u64,
    /// Rows that were on the record before.
    pub before: u64,
    /// Rows recorded; of a dry run, rows in which nothing is wrong.
    pub good: u64,
    /// Rows in which nothing is wrong, left out because another row of their batch is wrong.
    pub held_back: u64,
    /// Batches left out.
    pub batches_refused: u64,
}

/// Why a file could not be taken over to its end.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// The file or its mapping cannot be read.
    #[error("{0}")]
    Io(#[from] std::io::Error),
    /// The mapping.
    #[error("the mapping: {0}")]
    Mapping(#[from] MappingError),
    /// The file has no such column.
    #[error("the file has no column {0:?}, which the mapping names; its columns are: {1}")]
    NoColumn(String, String),
    /// A heading twice, so that the mapping would not say which.
    #[error("the file has two columns {0:?}; give one another heading")]
    TwoColumns(String),
    /// Not CSV, not UTF-8 in its heading, or without one.
    #[error("{0}")]
    Unreadable(String),
    /// The file became another while it was read.
    #[error("the file was changed while it was read; run it once more")]
    Changed,
    /// More rows than one file may have.
    #[error("the file has more than {MOST_ROWS} rows; cut it in parts")]
    TooMany,
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What is stored, or a batch that was not recorded.
    #[error(transparent)]
    Record(#[from] RecordError),
}
