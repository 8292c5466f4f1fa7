//! SQLite: one file, one connection that writes, several that read.
//!
//! WAL, so that readers never wait for the writer; `synchronous = FULL`, so that what is acknowledged survives a power
//! cut; BEGIN IMMEDIATE, because a transaction that reads first and writes later fails at once where another one wrote
//! in between, in spite of the busy timeout.

mod read;
mod write;

use std::{path::Path, time::Duration};

use futures_util::future::BoxFuture;
use sqlx::{
    Connection as _, SqlSafeStr, Sqlite, SqlitePool,
    migrate::{Migration, MigrationType, Migrator},
    pool::PoolConnection,
    sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous},
};

use super::error::{self, int};
use super::{Answer, Listening, Scrubbed, Store, StoreError, WriteTx};

/// How long a connection waits for another process's lock, and a caller for a free connection.
const PATIENCE: Duration = Duration::from_secs(30);
/// How many connections read at once.
const READERS: u32 = 6;
/// Memory for pages of the file, in MiB (SQLite's `PRAGMA cache_size`): of the connection that writes, since new rows go to random
/// places of its indexes, and of each one that reads.
const WRITER_CACHE: u32 = 32;
const READER_CACHE: u32 = 8;
/// How many rows a connection reads before somebody takes them: below it, the thread that reads and the one that takes rows wait
/// for each other at each row.
const ROWS_AHEAD: usize = 1_000;
/// How many pages the log has when they go to their places in the file (SQLite's `PRAGMA wal_autocheckpoint`; 32 MiB): a page that
/// many commits change is then written there once.
const LOG_PAGES: &str = "8192";
/// How often the log is tried to be cut before it is left for later.
const SCRUBS: u32 = 12;

/// MiB as SQLite takes them: KiB, and negative, since a positive number counts pages.
fn cache(mib: u32) -> String {
    format!("-{}", u64::from(mib) * 1024)
}

/// The ledger in one SQLite file.
#[derive(Clone, Debug)]
pub struct SqliteStore {
    writer: SqlitePool,
    readers: SqlitePool,
}

impl SqliteStore {
    /// Opens the file, makes it where there is none, and brings its schema up to this program's.
    ///
    /// # Errors
    /// [`StoreError::Refused`] where a newer or another program made the schema; nothing is changed then.
    pub async fn open(path: &Path) -> Result<Self, StoreError> {
        Self::open_with(path, WRITER_CACHE).await
    }

    /// The same with so many MiB for pages that are to be written: for whoever fills a whole ledger at once, where one commit
    /// changes more pages than a server's fit into its memory, and each is otherwise written more than once.
    ///
    /// # Errors
    /// As [`SqliteStore::open`].
    pub async fn open_with(path: &Path, mib: u32) -> Result<Self, StoreError> {
        let options = SqliteConnectOptions::new()
            .filename(path)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(PATIENCE)
            .pragma("trusted_schema", "OFF")
            // What is removed or written over is overwritten with zeros.
            .pragma("secure_delete", "ON")
            .pragma("cache_size", cache(mib))
            .pragma("wal_autocheckpoint", LOG_PAGES);
        let writer = SqlitePoolOptions::new()
            .max_connections(1)
            .min_connections(1)
            .idle_timeout(None)
            .max_lifetime(None)
            .acquire_timeout(PATIENCE)
            // After an error of the disk SQLite has rolled back by itself, while the connection still counts a transaction and
            // would refuse every other one: it is thrown away.
            .after_release(|connection, _| {
                Box::pin(async move {
                    // Behind a rollback that is under way.
                    connection.ping().await?;
                    Ok(!connection.is_in_transaction())
                })
            })
            .connect_with(options)
            .await?;
        migrator().run(&writer).await.map_err(error::schema)?;
        let options = SqliteConnectOptions::new()
            .filename(path)
            .read_only(true)
            .row_buffer_size(ROWS_AHEAD)
            .busy_timeout(PATIENCE)
            .pragma("trusted_schema", "OFF")
            .pragma("cache_size", cache(READER_CACHE));
        let readers = SqlitePoolOptions::new()
            .max_connections(READERS)
            .acquire_timeout(PATIENCE)
            // Nothing lies between the program and its file that could be cut.
            .test_before_acquire(false)
            .connect_with(options)
            .await?;
        Ok(Self { writer, readers })
    }

    /// Writes a whole, consistent copy to `path`, where no file may be yet.
    ///
    /// # Errors
    /// [`StoreError::Database`] where the file is there already or cannot be written.
    pub async fn copy_to(&self, path: &Path) -> Result<(), StoreError> {
        let path = path
            .to_str()
            .ok_or_else(|| StoreError::Refused("the path is not UTF-8".into()))?;
        sqlx::query("VACUUM INTO ?")
            .bind(path)
            .execute(&self.writer)
            .await?;
        Ok(())
    }

    /// A connection that reads.
    pub(super) async fn reader(&self) -> Result<PoolConnection<Sqlite>, StoreError> {
        Ok(self.readers.acquire().await?)
    }

    /// The connection that changes what is no evidence.
    pub(super) async fn changer(&self) -> Result<PoolConnection<Sqlite>, StoreError> {
        Ok(self.writer.acquire().await?)
    }

    /// Closes every connection, after what they are doing.
    pub async fn close(&self) {
        self.readers.close().await;
        self.writer.close().await;
    }
}

impl Store for SqliteStore {
    fn begin(&self) -> Answer<'_, Box<dyn WriteTx>> {
        Box::pin(async move {
            let tx = self.writer.begin_with("BEGIN IMMEDIATE").await?;
            Ok(Box::new(write::SqliteWriteTx::new(tx)) as Box<dyn WriteTx>)
        })
    }

    fn listen(&self) -> Answer<'_, Option<Box<dyn Listening>>> {
        Box::pin(async { Ok(None) })
    }

    fn close(&self) -> BoxFuture<'_, ()> {
        Box::pin(Self::close(self))
    }

    fn scrub(&self) -> Answer<'_, Scrubbed> {
        Box::pin(async move {
            // Texts that were written over before this program zeroed them may lie in free space: written anew, the file has none.
            sqlx::query("VACUUM").execute(&self.writer).await?;
            for attempt in 0..SCRUBS {
                // Busy is 1 while a reader still stands on an older state.
                let (busy, _, _): (i64, i64, i64) =
                    sqlx::query_as("PRAGMA wal_checkpoint(TRUNCATE)")
                        .fetch_one(&self.writer)
                        .await?;
                if busy == 0 {
                    return Ok(Scrubbed {
                        done: true,
                        said: "The database file was written anew and its log cut to nothing. What the file system or the disk \
                               keeps of blocks that were given up, this program cannot know."
                            .into(),
                    });
                }
                tokio::time::sleep(Duration::from_millis(50 << attempt.min(5))).await;
            }
            Ok(Scrubbed {
                done: false,
                said: "The database file was written anew; its log still holds the state before, since somebody was reading. \
                       It is cut when the server starts the next time."
                    .into(),
            })
        })
    }
}

/// The ledger's four tables and their guards.
const LEDGER_SQL: &str = include_str!("../../migrations/sqlite/0001_ledger.sql");
/// What lets payloads go by order, with guards that take the place of some of the first.
const EXPUNGED_SQL: &str = include_str!("../../migrations/sqlite/0005_expunged.sql");

/// The schema, step by step, inside the program.
fn migrator() -> Migrator {
    let step = |version, name: &'static str, sql: &'static str| {
        Migration::new(
            version,
            name.into(),
            MigrationType::Simple,
            sql.into_sql_str(),
            false,
        )
    };
    Migrator::with_migrations(vec![
        step(1, "ledger", LEDGER_SQL),
        step(
            2,
            "read models",
            include_str!("../../migrations/sqlite/0002_read_models.sql"),
        ),
        step(
            3,
            "accounts",
            include_str!("../../migrations/sqlite/0003_accounts.sql"),
        ),
        step(
            4,
            "lots",
            include_str!("../../migrations/sqlite/0004_lots.sql"),
        ),
        step(5, "expunged", EXPUNGED_SQL),
        step(
            6,
            "words",
            include_str!("../../migrations/sqlite/0006_words.sql"),
        ),
    ])
}
