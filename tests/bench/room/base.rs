//! The database of a large room while it is filled: the indexes that only questions need are put aside and made again behind
//! it, since each row of theirs goes to a page of its own and a million things have dozens of them.

use std::path::PathBuf;

use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions as _, Executor as _};

use crate::raw;

/// Where a database lies.
pub enum Base {
    File(PathBuf),
    Server(Box<PgConnectOptions>),
}

impl Base {
    /// Drops them; what makes them again.
    pub async fn put_aside(&self) -> Vec<String> {
        let indexes: Vec<(String, String)> = match self {
            Self::File(path) => {
                let sql = "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL \
                           AND tbl_name IN ('docs', 'touches', 'words')";
                let mut c = raw::connect(path).await;
                sqlx::query_as(sql).fetch_all(&mut c).await.unwrap()
            }
            Self::Server(options) => {
                // Not those that a key of a table is made of.
                let sql = "SELECT 'liftledger.' || indexname, indexdef FROM pg_indexes WHERE schemaname = 'liftledger' \
                           AND tablename IN ('docs', 'touches', 'words') \
                           AND indexname NOT IN (SELECT conname FROM pg_constraint)";
                let mut c = options.connect().await.unwrap();
                sqlx::query_as(sql).fetch_all(&mut c).await.unwrap()
            }
        };
        assert!(indexes.len() > 8, "{indexes:?}");
        let (names, again): (Vec<String>, Vec<String>) = indexes.into_iter().unzip();
        self.run(names.iter().map(|name| format!("DROP INDEX {name}")))
            .await;
        again
    }

    /// Makes them again, and has the database look at what there is now as it does by itself sooner or later.
    pub async fn put_back(&self, again: Vec<String>) {
        let (before, after) = match self {
            Self::File(_) => (
                "PRAGMA cache_size = -1048576",
                "PRAGMA wal_checkpoint(TRUNCATE)",
            ),
            Self::Server(_) => ("SET maintenance_work_mem = '1GB'", "VACUUM ANALYZE"),
        };
        let all = [before.to_owned()].into_iter().chain(again);
        self.run(all.chain([after.to_owned()])).await;
    }

    /// One statement after the other, on one connection.
    async fn run(&self, all: impl Iterator<Item = String>) {
        match self {
            Self::File(path) => {
                let mut c = raw::connect(path).await;
                for sql in all {
                    c.execute(AssertSqlSafe(sql)).await.unwrap();
                }
            }
            Self::Server(options) => {
                let mut c = options.connect().await.unwrap();
                for sql in all {
                    c.execute(AssertSqlSafe(sql)).await.unwrap();
                }
            }
        }
    }
}
