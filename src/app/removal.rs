//! What an expungement removes outside of the ledger's tables: files that nothing names any more, what is left of their
//! uploads, and the raw bytes of the database.
//!
//! The list of it is written in the transaction that expunges, and each line goes when its thing is gone; so after a crash
//! the next start goes on where it was stopped.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use crate::ids::Digest;
use crate::ledger::times;
use crate::originals::{Originals, OriginalsError};
use crate::store::{LIST_MAX, RAW_BYTES, Store, StoreError};
use crate::uploads::Uploads;

/// Where the last words on the database's raw bytes are kept, for the instruction that follows an expungement.
pub const RAW_SAID: &str = "expunged-raw-bytes";

/// What an object store may do that nobody here can see.
const OF_BUCKETS: &str = "Pictures were removed from the bucket; where it keeps older versions or locks objects, only whoever runs \
                          it can remove those.";
/// When files were removed last, as [`times::recorded`] writes it; not set where none ever was.
pub const REMOVED_AT: &str = "expunged-files-at";
/// How long a file may have been kept before the event that names it: longer than any upload lasts, with clocks of several
/// servers that differ. Our assumption, no source.
const UNDER_WAY: TimeDelta = TimeDelta::hours(24);

/// The files of a data folder, as far as expungements remove some.
#[derive(Clone, Debug)]
pub struct Files {
    /// Originals and working copies.
    pub originals: Originals,
    /// Uploads under way, and those that became originals lately.
    pub uploads: Uploads,
}

/// Why something was not removed; it stays on the list.
#[derive(Debug, thiserror::Error)]
pub enum RemovalError {
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A file.
    #[error(transparent)]
    Originals(#[from] OriginalsError),
}

/// Removes everything that is on the list. A file that another event still names stays, and goes off the list.
///
/// # Errors
/// See [`RemovalError`]; what was removed before is off the list.
pub async fn finish(store: &Arc<dyn Store>, files: &Files) -> Result<(), RemovalError> {
    loop {
        let rows = store.removals(LIST_MAX).await?;
        let listed: Vec<&str> = rows
            .iter()
            .map(|row| row.what.as_str())
            .filter(|what| *what != RAW_BYTES)
            .collect();
        if listed.is_empty() {
            if rows.is_empty() {
                return Ok(());
            }
            break;
        }
        // Before, so that whoever holds the lock after this knows that something may be gone.
        let now = times::recorded(Utc::now());
        store.set_setting(REMOVED_AT, &now).await?;
        // While this is held nobody appends, so nothing begins to name a file between the question and its removal.
        let tx = store.begin().await?;
        let mut gone = Ok(());
        let mut done = Vec::new();
        for what in listed {
            gone = remove(store, files, what).await;
            if gone.is_err() {
                break;
            }
            done.push(what);
        }
        tx.rollback().await?;
        for what in done {
            store.removal_done(what).await?;
        }
        gone?;
    }
    let scrubbed = store.scrub().await?;
    let said = if files.originals.are_in_bucket() {
        format!("{} {OF_BUCKETS}", scrubbed.said)
    } else {
        scrubbed.said
    };
    store.set_setting(RAW_SAID, &said).await?;
    if scrubbed.done {
        store.removal_done(RAW_BYTES).await?;
    }
    Ok(())
}

/// Whether a file that was kept may have been removed before its event is recorded: whoever records under the append lock
/// then has to look once more.
///
/// # Errors
/// The database.
pub async fn may_be_gone(store: &dyn Store, now: DateTime<Utc>) -> Result<bool, StoreError> {
    let last = store.setting(REMOVED_AT).await?;
    Ok(last.is_some_and(|at| {
        times::parse_recorded(&at).map_or(true, |at| now.signed_duration_since(at) < UNDER_WAY)
    }))
}

async fn remove(store: &Arc<dyn Store>, files: &Files, what: &str) -> Result<(), RemovalError> {
    let digest: Digest = what
        .parse()
        .map_err(|_| StoreError::Corrupt(format!("{what} is to be removed and is no digest")))?;
    if store.is_named(what).await? {
        return Ok(());
    }
    let files = files.clone();
    // A file's removal is synced, which takes its time.
    let removed = tokio::task::spawn_blocking(move || {
        files.originals.remove(digest)?;
        files.uploads.forget(digest);
        Ok::<_, OriginalsError>(())
    });
    match removed.await {
        Ok(done) => Ok(done?),
        Err(e) => Err(StoreError::Database(e.to_string()).into()),
    }
}
