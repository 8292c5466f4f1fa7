//! The store, on a real file. What the contract promises (accounts, lists, write) is tried on PostgreSQL by the same files:
//! `tests/outside/postgres` has a `Place` of its own.

mod accounts;
mod address;
mod guards;
mod lists;
mod rows;
mod schema;
mod words;
mod write;

use std::path::PathBuf;

use liftledger::store::SqliteStore;
pub use rows::{batch, doc};
use sqlx::{AssertSqlSafe, Connection, SqliteConnection, sqlite::SqliteConnectOptions};

/// A store in a folder of its own, gone with the test.
pub struct Place {
    pub folder: tempfile::TempDir,
    pub store: SqliteStore,
}

impl Place {
    pub async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = SqliteStore::open(&folder.path().join("ledger.db"))
            .await
            .unwrap();
        Self { folder, store }
    }

    /// The same database once more, as another process has it.
    pub async fn again(&self) -> SqliteStore {
        SqliteStore::open(&self.file()).await.unwrap()
    }

    pub fn file(&self) -> PathBuf {
        self.folder.path().join("ledger.db")
    }

    /// How the database would find rows, a step a line (EXPLAIN QUERY PLAN, sqlite.org/eqp.html).
    pub async fn plan(&self, sql: &str) -> Vec<String> {
        let sql = AssertSqlSafe(format!("EXPLAIN QUERY PLAN {sql}"));
        let steps: Vec<(i64, i64, i64, String)> = sqlx::query_as(sql)
            .fetch_all(&mut self.raw().await)
            .await
            .unwrap();
        steps.into_iter().map(|step| step.3).collect()
    }

    /// A connection behind the store's back.
    pub async fn raw(&self) -> SqliteConnection {
        SqliteConnection::connect_with(&SqliteConnectOptions::new().filename(self.file()))
            .await
            .unwrap()
    }
}
