//! Files of an existing room that people sent to a server: looked through at once, recorded when they say so.
//!
//! They lie in memory, bounded in number, size and time, and are gone with the server; since a file that is run again does
//! nothing for rows that are on the record, nothing is lost by that but the time to send it once more. Each is one
//! person's: nobody else sees it.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use chrono::{DateTime, Duration, Utc};
use uuid::Uuid;

use super::{Asked, ImportError, Mapping, Problem, Summary, Table, run};
use crate::app::house::House;
use crate::ids::PersonId;

/// The largest file, in bytes: some 100,000 rows.
pub const MOST_FILE: usize = 16 * 1024 * 1024;
/// The largest mapping, in bytes.
pub const MOST_MAPPING: usize = 256 * 1024;
/// How many problems are kept to be shown; all are counted.
pub const MOST_PROBLEMS: usize = 10_000;
/// How many files lie here at once, and how many of one person.
const MOST_SENT: usize = 4;
const MOST_OWN: usize = 1;
/// How long one lies here.
fn lies() -> Duration {
    Duration::hours(4)
}

/// How far a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// It is looked through; nothing is recorded.
    Looking,
    /// It was looked through.
    Looked,
    /// Its rows are recorded, batch by batch.
    Recording,
    /// All that could be recorded is.
    Done,
}

/// What there is to say of a file.
#[derive(Clone, Debug)]
pub struct Told {
    /// How far it is.
    pub stage: Stage,
    /// What was counted so far in this stage.
    pub summary: Summary,
    /// How many rows the file has, once it was looked through.
    pub rows: Option<u64>,
    /// What is wrong, in the order of rows; the first [`MOST_PROBLEMS`].
    pub problems: Vec<Problem>,
    /// How many problems there are in all.
    pub found: usize,
    /// Why it went no further, where it did not.
    pub broke: Option<String>,
}

/// A file that was sent.
pub struct SentFile {
    /// Its identifier here.
    pub id: Uuid,
    /// Whose it is.
    pub by: PersonId,
    /// Its name.
    pub name: String,
    /// When it came.
    pub at: DateTime<Utc>,
    mapping: Mapping,
    bytes: Vec<u8>,
    told: Mutex<Told>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Whoever panicked with it left at most a count behind.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl SentFile {
    /// What there is to say now.
    #[must_use]
    pub fn told(&self) -> Told {
        lock(&self.told).clone()
    }

    fn is_busy(&self) -> bool {
        let told = lock(&self.told);
        told.broke.is_none() && matches!(told.stage, Stage::Looking | Stage::Recording)
    }

    /// Goes from one stage to the next; false where it is not there.
    fn begin(&self, from: Stage, to: Stage) -> bool {
        let mut told = lock(&self.told);
        if told.stage != from || told.broke.is_some() {
            return false;
        }
        *told = Told {
            stage: to,
            rows: told.rows,
            ..nothing(to)
        };
        true
    }

    /// Goes through the file: dry, or recording so many rows a command.
    async fn go(&self, house: &House, batch: Option<usize>) {
        let asked = Asked {
            file: Table::Bytes {
                name: &self.name,
                bytes: &self.bytes,
            },
            mapping: &self.mapping,
            by: Some(self.by),
            batch,
        };
        let problem = |problem: &Problem| {
            let mut told = lock(&self.told);
            told.found += 1;
            if told.problems.len() < MOST_PROBLEMS {
                told.problems.push(problem.clone());
            }
        };
        let progress = |summary: &Summary| lock(&self.told).summary = *summary;
        let done = run(house, asked, problem, progress).await;
        let mut told = lock(&self.told);
        match done {
            Ok(summary) => {
                told.summary = summary;
                told.rows = Some(summary.rows);
                told.stage = if batch.is_some() {
                    Stage::Done
                } else {
                    Stage::Looked
                };
            }
            Err(e) => {
                // What went wrong inside is for the log; what is wrong with the file is for whoever sent it.
                told.broke = Some(match &e {
                    ImportError::Store(_) | ImportError::Io(_) => {
                        tracing::error!(error = %e, "an import broke off");
                        "The ledger could not be read or written. Send the file again in a minute."
                            .to_owned()
                    }
                    ImportError::Record(_) => {
                        tracing::warn!(error = %e, "an import broke off");
                        format!("It broke off: {e}")
                    }
                    _ => format!("It cannot be read: {e}"),
                });
            }
        }
    }
}

fn nothing(stage: Stage) -> Told {
    Told {
        stage,
        summary: Summary::default(),
        rows: None,
        problems: Vec::new(),
        found: 0,
        broke: None,
    }
}

/// Why a file is not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SentError {
    /// The person's other file is still being worked on.
    #[error("your other file is still being worked on")]
    Own,
    /// Others' files fill the room there is.
    #[error("as many files as there is room for are here already")]
    Full,
    /// It is not at the stage at which it can be recorded.
    #[error("the file is not waiting to be recorded")]
    NotWaiting,
}

/// The files that were sent.
#[derive(Default)]
pub struct SentFiles(Mutex<BTreeMap<Uuid, Arc<SentFile>>>);

impl SentFiles {
    /// Takes a file. An older one of the same person that is not being worked on goes.
    ///
    /// # Errors
    /// [`SentError::Own`], [`SentError::Full`].
    pub fn take(
        &self,
        by: PersonId,
        name: String,
        mapping: Mapping,
        bytes: Vec<u8>,
        now: DateTime<Utc>,
    ) -> Result<Arc<SentFile>, SentError> {
        let mut all = lock(&self.0);
        all.retain(|_, f| f.is_busy() || (f.by != by && now - f.at < lies()));
        if all.values().filter(|f| f.by == by).count() >= MOST_OWN {
            return Err(SentError::Own);
        }
        if all.len() >= MOST_SENT {
            return Err(SentError::Full);
        }
        let file = Arc::new(SentFile {
            id: Uuid::now_v7(),
            by,
            name,
            at: now,
            mapping,
            bytes,
            told: Mutex::new(nothing(Stage::Looking)),
        });
        all.insert(file.id, file.clone());
        Ok(file)
    }

    /// One's own file.
    #[must_use]
    pub fn of(&self, by: PersonId, id: Uuid) -> Option<Arc<SentFile>> {
        lock(&self.0).get(&id).filter(|f| f.by == by).cloned()
    }

    /// The file of a person that lies here.
    #[must_use]
    pub fn own(&self, by: PersonId) -> Option<Arc<SentFile>> {
        lock(&self.0).values().find(|f| f.by == by).cloned()
    }

    /// Throws a file away; one that is being recorded stays.
    pub fn drop_own(&self, by: PersonId, id: Uuid) {
        lock(&self.0).retain(|i, f| *i != id || f.by != by || f.is_busy());
    }
}

/// Looks a file through that was just taken.
pub async fn look_through(house: &House, file: &SentFile) {
    file.go(house, None).await;
}

/// Says that a file is recorded from now on, once.
///
/// # Errors
/// [`SentError::NotWaiting`].
pub fn begin_recording(file: &SentFile) -> Result<(), SentError> {
    if file.begin(Stage::Looked, Stage::Recording) {
        Ok(())
    } else {
        Err(SentError::NotWaiting)
    }
}

/// Records it, so many rows by one command.
pub async fn record(house: &House, file: &SentFile, batch: usize) {
    file.go(house, Some(batch)).await;
}

/// What is wrong, as a table: row, line, column, value, what is wrong, what to do.
///
/// # Errors
/// What a CSV writer can meet; none in memory.
pub fn problems_csv(problems: &[Problem]) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        "Row",
        "Line",
        "Column",
        "Value",
        "What is wrong",
        "What to do",
    ])?;
    for p in problems {
        out.write_record([
            p.row.to_string(),
            p.line.to_string(),
            safe(p.column.as_deref().unwrap_or_default()),
            safe(&p.value),
            p.sentence.clone(),
            p.next.clone(),
        ])?;
    }
    out.into_inner()
        .map_err(|e| std::io::Error::other(e.to_string()).into())
}

/// A spreadsheet must not take somebody else's text for a formula.
fn safe(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}
