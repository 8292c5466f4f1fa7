//! The rows of a CSV file, one after the other, none larger than there is room for.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use csv::ByteRecord;
use sha2::{Digest as _, Sha256};

use super::ImportError;
use crate::ids::Digest;

/// The largest row, in bytes. What is larger is most likely a quotation mark that is never closed.
pub const MOST_ROW: u64 = 1024 * 1024;
/// The longest cell that is looked at, in bytes.
pub const MOST_CELL: usize = 64 * 1024;
/// How many rows a file may have.
pub const MOST_ROWS: u64 = 1_000_000;
/// How many columns.
const MOST_COLUMNS: usize = 500;
/// How much is read ahead.
const AHEAD: usize = 64 * 1024;

/// Where a table is read from. It is read twice, and must be the same both times.
#[derive(Clone, Copy, Debug)]
pub enum Table<'a> {
    /// A file.
    File(&'a Path),
    /// A file that came in, with its name.
    Bytes {
        /// The name that it had.
        name: &'a str,
        /// What is in it.
        bytes: &'a [u8],
    },
}

impl<'a> Table<'a> {
    fn open(self) -> io::Result<Box<dyn Read + Send + 'a>> {
        Ok(match self {
            Self::File(path) => Box::new(File::open(path)?),
            Self::Bytes { bytes, .. } => Box::new(bytes),
        })
    }

    /// Its name without folders, without control characters, at most 200 characters.
    pub(super) fn name(self) -> String {
        let name = match self {
            Self::File(path) => path.file_name().unwrap_or_default().to_string_lossy(),
            Self::Bytes { name, .. } => name.into(),
        };
        name.chars().filter(|c| !c.is_control()).take(200).collect()
    }
}

/// SHA-256 of a table, read once through.
pub(super) fn digest(table: Table<'_>) -> io::Result<Digest> {
    let mut file = table.open()?;
    let mut hash = Sha256::new();
    let mut part = vec![0; AHEAD];
    loop {
        let n = file.read(&mut part)?;
        if n == 0 {
            return Ok(Digest(hash.finalize().into()));
        }
        hash.update(&part[..n]);
    }
}

/// Reads on only while the row is not too large, and hashes what it reads.
struct Bounded<'a> {
    file: Box<dyn Read + Send + 'a>,
    hash: Sha256,
    room: u64,
}

impl Read for Bounded<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let most = usize::try_from(self.room).unwrap_or(usize::MAX);
        if most == 0 {
            return Err(io::Error::new(io::ErrorKind::FileTooLarge, TOO_LARGE));
        }
        let end = into.len().min(most);
        let n = self.file.read(&mut into[..end])?;
        self.hash.update(&into[..n]);
        self.room -= n as u64;
        Ok(n)
    }
}

const TOO_LARGE: &str = "the row is larger than 1 MB: is a quotation mark opened and never closed?";

/// A file being read.
pub(super) struct Rows<'a> {
    csv: csv::Reader<Bounded<'a>>,
    pub(super) heading: Vec<String>,
    record: ByteRecord,
    rows: u64,
}

/// A row as it lies in the file.
pub(super) struct Row<'a> {
    pub(super) row: u64,
    pub(super) line: u64,
    pub(super) cells: &'a ByteRecord,
}

impl<'a> Rows<'a> {
    pub(super) fn open(table: Table<'a>, separator: u8) -> Result<Self, ImportError> {
        let bounded = Bounded {
            file: table.open()?,
            hash: Sha256::new(),
            room: MOST_ROW,
        };
        let mut csv = csv::ReaderBuilder::new()
            .delimiter(separator)
            .flexible(true)
            .buffer_capacity(AHEAD)
            .from_reader(bounded);
        let record = csv.byte_headers().map_err(unreadable)?.clone();
        if record.is_empty() || record.len() > MOST_COLUMNS {
            return Err(ImportError::Unreadable(format!(
                "the first line is no heading of 1 to {MOST_COLUMNS} columns"
            )));
        }
        let mut heading = Vec::with_capacity(record.len());
        for cell in &record {
            let name = std::str::from_utf8(cell).map_err(|_| {
                ImportError::Unreadable("the heading is not UTF-8; save the file as UTF-8".into())
            })?;
            heading.push(name.trim().to_owned());
        }
        Ok(Self {
            csv,
            heading,
            record,
            rows: 0,
        })
    }

    /// The next row; none at the end.
    pub(super) fn next(&mut self) -> Result<Option<Row<'_>>, ImportError> {
        self.csv.get_mut().room = MOST_ROW;
        let there = self
            .csv
            .read_byte_record(&mut self.record)
            .map_err(|e| after(self.rows, e))?;
        if !there {
            return Ok(None);
        }
        self.rows += 1;
        if self.rows > MOST_ROWS {
            return Err(ImportError::TooMany);
        }
        Ok(Some(Row {
            row: self.rows,
            line: self.record.position().map_or(0, csv::Position::line),
            cells: &self.record,
        }))
    }

    /// SHA-256 of what was read; of the whole file once [`Rows::next`] gave none.
    pub(super) fn digest(&self) -> Digest {
        Digest(self.csv.get_ref().hash.clone().finalize().into())
    }
}

fn unreadable(e: csv::Error) -> ImportError {
    ImportError::Unreadable(format!("the file cannot be read: {e}"))
}

fn after(rows: u64, e: csv::Error) -> ImportError {
    ImportError::Unreadable(format!(
        "row {} cannot be read, nor what is behind it: {e}",
        rows + 1
    ))
}
