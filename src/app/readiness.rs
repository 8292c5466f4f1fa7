//! Whether a server can work, and what it has to tell about itself.

use std::time::{Duration, Instant};

use chrono::Utc;
use tokio::sync::Mutex;

use super::house::House;
use super::reader::ReadError;
use crate::ids::Subject;
use crate::ledger::times;
use crate::metrics::Now;
use crate::originals::{OriginalsError, aside};
use crate::people::Role;
use crate::store::{DocFilter, LIST_MAX, StoreError};

/// How long the database may take to answer.
const PATIENCE: Duration = Duration::from_secs(5);

/// How far things are counted; more are told as this many. Our assumption, no source.
pub const MOST_COUNTED: u32 = 10_000;
/// For how long what was counted is told again, so that whoever reads metrics often does not count often.
pub const COUNTED_FOR: Duration = Duration::from_secs(15);

/// What was counted last, and when.
#[derive(Debug, Default)]
pub(super) struct Counted(Mutex<Option<(Instant, Counts)>>);

#[derive(Clone, Copy, Debug)]
struct Counts {
    intake_waiting: u64,
    overdue: u64,
}

/// What does not work.
#[derive(Debug, thiserror::Error)]
pub enum NotReady {
    /// The database does not answer, or takes nothing.
    #[error("the database: {0}")]
    Database(StoreError),
    /// It did not answer in time.
    #[error("the database did not answer within {} seconds", PATIENCE.as_secs())]
    Slow,
    /// The writer has stopped.
    #[error("the writer has stopped")]
    Writer,
    /// Originals cannot be written.
    #[error("the originals: {0}")]
    Originals(OriginalsError),
    /// There is too little room for them.
    #[error("there are {free} bytes free for originals, fewer than {least}")]
    Room {
        /// How many are free.
        free: u64,
        /// How many there must be.
        least: u64,
    },
}

impl NotReady {
    /// The word for whoever asks from outside; no more.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::Database(_) | Self::Slow => "not ready: database\n",
            Self::Writer => "not ready: writer\n",
            Self::Originals(_) => "not ready: originals\n",
            Self::Room { .. } => "not ready: room\n",
        }
    }
}

impl House {
    /// Whether everything works that recording needs; `least` is how many bytes must be free for originals.
    ///
    /// # Errors
    /// The first thing that does not.
    pub async fn ready(&self, least: u64) -> Result<(), NotReady> {
        if self.writer_has_stopped() {
            return Err(NotReady::Writer);
        }
        let written = async {
            let mut tx = self.store.begin().await?;
            tx.head().await?;
            tx.rollback().await
        };
        match tokio::time::timeout(PATIENCE, written).await {
            Ok(done) => done.map_err(NotReady::Database)?,
            Err(_) => return Err(NotReady::Slow),
        }
        let originals = self.originals.clone();
        let free = aside(move || {
            // Begun and dropped: it leaves nothing.
            drop(originals.begin()?);
            originals.answers()?;
            originals.room()
        })
        .await
        .map_err(NotReady::Originals)?;
        if free < least {
            return Err(NotReady::Room { free, least });
        }
        Ok(())
    }

    /// What is looked up when metrics are read. What waits and what is overdue is counted at most every [`COUNTED_FOR`].
    ///
    /// # Errors
    /// Where the database does not answer.
    pub async fn measured(&self, least: u64) -> Result<Now, ReadError> {
        let counts = {
            // Held while it counts: whoever asks meanwhile gets the same answer.
            let mut last = self.counted.0.lock().await;
            match *last {
                Some((at, counts)) if at.elapsed() < COUNTED_FOR => counts,
                _ => {
                    let counts = self.count().await?;
                    *last = Some((Instant::now(), counts));
                    counts
                }
            }
        };
        Ok(Now {
            events: self.store.head().await?.size,
            queue: self.recorder.waiting() as u64,
            intake_waiting: counts.intake_waiting,
            overdue: counts.overdue,
            ready: self.ready(least).await.is_ok(),
        })
    }

    async fn count(&self) -> Result<Counts, StoreError> {
        let is_overdue = DocFilter {
            due_before: Some(times::recorded(Utc::now())),
            active: Some(true),
            ..DocFilter::default()
        };
        let people = DocFilter {
            kind: Some("person".into()),
            active: Some(true),
            limit: LIST_MAX,
            ..DocFilter::default()
        };
        let most = u64::from(MOST_COUNTED);
        let mut intake_waiting = 0;
        for row in self.store.list_docs(&people).await? {
            let person: Option<crate::custody::state::Person> = serde_json::from_str(&row.doc).ok();
            let Some(person) = person.filter(|p| p.roles.contains(&Role::Custodian)) else {
                continue;
            };
            let offered = DocFilter {
                offer_to: Some(Subject::Person(person.id).to_string()),
                ..DocFilter::default()
            };
            intake_waiting += self.store.count_docs(&offered, MOST_COUNTED).await?;
            if intake_waiting >= most {
                break;
            }
        }
        Ok(Counts {
            intake_waiting: intake_waiting.min(most),
            overdue: self.store.count_docs(&is_overdue, MOST_COUNTED).await?,
        })
    }
}
