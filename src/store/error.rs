//! What a database's errors mean for callers.

use sqlx::{error::DatabaseError, migrate::MigrateError, postgres::PgDatabaseError};

use super::StoreError;

/// What the guards of the PostgreSQL schema raise.
const GUARD: &str = "LL001";

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        match error {
            sqlx::Error::RowNotFound => Self::NotFound,
            sqlx::Error::ColumnDecode { .. } | sqlx::Error::Decode(_) => {
                Self::Corrupt(error.to_string())
            }
            sqlx::Error::Database(ref inner) => match inner.try_downcast_ref::<PgDatabaseError>() {
                Some(inner) => postgres(inner),
                None => sqlite(inner.as_ref()),
            },
            other => Self::Database(other.to_string()),
        }
    }
}

fn sqlite(error: &dyn DatabaseError) -> StoreError {
    // The low byte of SQLite's extended result code names the family.
    let family = error.code().and_then(|c| c.parse::<i32>().ok());
    match family.map(|code| code & 0xff) {
        // SQLITE_CORRUPT and SQLITE_NOTADB.
        Some(11 | 26) => StoreError::Corrupt(error.message().into()),
        // SQLITE_CONSTRAINT, triggers among them.
        Some(19) => StoreError::Refused(error.message().into()),
        _ => StoreError::Database(error.message().into()),
    }
}

/// By SQLSTATE: PostgreSQL's documentation, appendix A.
fn postgres(error: &PgDatabaseError) -> StoreError {
    let message = error.message().to_owned();
    match error.code() {
        // Data that is damaged, or an index.
        "XX001" | "XX002" => StoreError::Corrupt(message),
        // A guard; a privilege that this role has not.
        GUARD | "42501" => StoreError::Refused(message),
        // Constraints, and values that a column does not take.
        code if code.starts_with("23") || code.starts_with("22") => StoreError::Refused(message),
        _ => StoreError::Database(message),
    }
}

/// Why a schema was not brought up to this program's.
pub(super) fn schema(error: MigrateError) -> StoreError {
    match error {
        MigrateError::VersionMissing(version) => unknown_step(version),
        MigrateError::VersionMismatch(version) => other_step(version),
        MigrateError::Execute(error) | MigrateError::ExecuteMigration(error, _) => error.into(),
        other => StoreError::Database(other.to_string()),
    }
}

/// The schema has a step that this program does not have.
pub(super) fn unknown_step(version: i64) -> StoreError {
    StoreError::Refused(format!(
        "its schema has step {version}, which this program does not know: a newer program made it; use that one"
    ))
}

/// The schema has another step of this number.
pub(super) fn other_step(version: i64) -> StoreError {
    StoreError::Refused(format!(
        "step {version} of its schema is not this program's: another program made it; use that one"
    ))
}

/// Databases count with signed integers.
pub(super) fn int(n: u64) -> Result<i64, StoreError> {
    i64::try_from(n)
        .map_err(|_| StoreError::Refused(format!("{n} is beyond what the database can count")))
}
