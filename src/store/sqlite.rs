//! SQLite: one file, one connection that writes, several that read.
//!
//! WAL, so that readers never wait for the writer; `synchronous = FULL`, so that what is acknowledged survives a power
//! cut; BEGIN IMMEDIATE, because a transaction that reads first and writes later fails at once where another one wrote
//! in between, in spite of the busy timeout.

mod accounts;
mod read;
mod write;

use std::{path::Path, time::Duration};

use sqlx::{
    FromRow, Row, SqlSafeStr, SqlitePool,
    error::DatabaseError,
    migrate::{MigrateError, Migration, MigrationType, Migrator},
    sqlite::{
        SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteRow, SqliteSynchronous,
    },
};

use super::{
    Answer, CheckpointRow, CommandRow, CredentialRow, DocRow, NodeRow, RawCheckpoint, RawEvent,
    RawNode, SealRow, SessionRow, SignInFailureRow, Store, StoreError, TokenRow, TouchRow,
    TouchedEvent, WriteTx,
};

/// How long a connection waits for another process's lock, and a caller for a free connection.
const PATIENCE: Duration = Duration::from_secs(30);
/// How many connections read at once.
const READERS: u32 = 6;

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
        let options = SqliteConnectOptions::new()
            .filename(path)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(PATIENCE)
            .pragma("trusted_schema", "OFF");
        let writer = SqlitePoolOptions::new()
            .max_connections(1)
            .min_connections(1)
            .idle_timeout(None)
            .max_lifetime(None)
            .acquire_timeout(PATIENCE)
            .connect_with(options)
            .await?;
        migrator().run(&writer).await.map_err(schema_error)?;
        let options = SqliteConnectOptions::new()
            .filename(path)
            .read_only(true)
            .busy_timeout(PATIENCE)
            .pragma("trusted_schema", "OFF");
        let readers = SqlitePoolOptions::new()
            .max_connections(READERS)
            .acquire_timeout(PATIENCE)
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
}

/// The ledger's four tables and their guards.
const LEDGER_SQL: &str = include_str!("../../migrations/sqlite/0001_ledger.sql");

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
    ])
}

fn schema_error(error: MigrateError) -> StoreError {
    match error {
        MigrateError::VersionMissing(version) => StoreError::Refused(format!(
            "its schema has step {version}, which this program does not know: a newer program made it; use that one"
        )),
        MigrateError::VersionMismatch(version) => StoreError::Refused(format!(
            "step {version} of its schema is not this program's: another program made it; use that one"
        )),
        MigrateError::Execute(error) | MigrateError::ExecuteMigration(error, _) => error.into(),
        other => StoreError::Database(other.to_string()),
    }
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        match error {
            sqlx::Error::RowNotFound => Self::NotFound,
            sqlx::Error::ColumnDecode { .. } | sqlx::Error::Decode(_) => {
                Self::Corrupt(error.to_string())
            }
            sqlx::Error::Database(ref inner) => match primary_code(inner.as_ref()) {
                // SQLITE_CORRUPT and SQLITE_NOTADB.
                Some(11 | 26) => Self::Corrupt(inner.message().into()),
                // SQLITE_CONSTRAINT, triggers among them.
                Some(19) => Self::Refused(inner.message().into()),
                _ => Self::Database(inner.message().into()),
            },
            other => Self::Database(other.to_string()),
        }
    }
}

/// The low byte of SQLite's extended result code names the family.
fn primary_code(error: &dyn DatabaseError) -> Option<i32> {
    error.code()?.parse::<i32>().ok().map(|code| code & 0xff)
}

/// SQLite's integers are signed.
fn int(n: u64) -> Result<i64, StoreError> {
    i64::try_from(n)
        .map_err(|_| StoreError::Refused(format!("{n} is beyond what the database can count")))
}

/// A column that counts something.
fn count(row: &SqliteRow, column: &str) -> Result<u64, sqlx::Error> {
    let n: i64 = row.try_get(column)?;
    u64::try_from(n).map_err(|e| sqlx::Error::ColumnDecode {
        index: column.into(),
        source: Box::new(e),
    })
}

impl FromRow<'_, SqliteRow> for DocRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            subject: row.try_get("subject")?,
            kind: row.try_get("kind")?,
            case_id: row.try_get("case_id")?,
            number: row.try_get("number")?,
            code: row.try_get("code")?,
            name: row.try_get("name")?,
            holder: row.try_get("holder")?,
            inside: row.try_get("inside")?,
            offer_to: row.try_get("offer_to")?,
            due_at: row.try_get("due_at")?,
            place: row.try_get("place")?,
            active: row.try_get::<i64, _>("active")? != 0,
            doc: row.try_get("doc")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for RawEvent {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        let id: Option<Vec<u8>> = row.try_get("id")?;
        Ok(Self {
            seq: row.try_get("seq")?,
            id: id.map(|b| String::from_utf8_lossy(&b).into_owned()),
            header: row.try_get("header")?,
            salt: row.try_get("salt")?,
            fields: row.try_get("fields")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for TouchedEvent {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            n: count(row, "n")?,
            event: RawEvent::from_row(row)?,
        })
    }
}

impl FromRow<'_, SqliteRow> for NodeRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        let level: i64 = row.try_get("level")?;
        let level = u32::try_from(level).map_err(|e| sqlx::Error::ColumnDecode {
            index: "level".into(),
            source: Box::new(e),
        })?;
        Ok(Self {
            level,
            idx: count(row, "idx")?,
            hash: row.try_get("hash")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for RawNode {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            level: row.try_get("level")?,
            idx: row.try_get("idx")?,
            hash: row.try_get("hash")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for CheckpointRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            size: count(row, "size")?,
            note: row.try_get("note")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for RawCheckpoint {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            size: row.try_get("size")?,
            note: row.try_get("note")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for TouchRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            subject: row.try_get("subject")?,
            n: count(row, "n")?,
            seq: count(row, "seq")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for SealRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            number: row.try_get("number")?,
            package: row.try_get("package")?,
            seq: count(row, "seq")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for CommandRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            id: row.try_get("id")?,
            fingerprint: row.try_get("fingerprint")?,
            actor: row.try_get("actor")?,
            answer: row.try_get("answer")?,
            first_seq: count(row, "first_seq")?,
            count: count(row, "count")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for CredentialRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            person: row.try_get("person")?,
            phc: row.try_get("phc")?,
            changed_at: row.try_get("changed_at")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for SessionRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            token_hash: row.try_get("token_hash")?,
            person: row.try_get("person")?,
            created_at: row.try_get("created_at")?,
            seen_at: row.try_get("seen_at")?,
            theme: row.try_get("theme")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for TokenRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            token_hash: row.try_get("token_hash")?,
            person: row.try_get("person")?,
            name: row.try_get("name")?,
            created_at: row.try_get("created_at")?,
            last_used_at: row.try_get("last_used_at")?,
            expires_at: row.try_get("expires_at")?,
        })
    }
}

impl FromRow<'_, SqliteRow> for SignInFailureRow {
    fn from_row(row: &SqliteRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            user_name: row.try_get("user_name")?,
            count: count(row, "count")?,
            last_at: row.try_get("last_at")?,
        })
    }
}
