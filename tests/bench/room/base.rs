//! The database of a large room while it is filled: the indexes that only questions need are put aside and made again behind
//! it, since each row of theirs goes to a page of its own and a million things have dozens of them.

use std::path::PathBuf;

use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions as _, Executor as _, Row as _};

use crate::raw;

/// Where a database lies.
pub enum Base {
    File(PathBuf),
    Server(Box<PgConnectOptions>),
}

impl Base {
    /// Drops them; what makes them again.
    pub async fn put_aside(&self) -> Vec<String> {
        let mut again = Vec::new();
        match self {
            Self::File(path) => {
                let mut c = raw::connect(path).await;
                let sql = "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL \
                           AND tbl_name IN ('docs', 'touches', 'words')";
                for row in sqlx::query(sql).fetch_all(&mut c).await.unwrap() {
                    let name: String = row.get(0);
                    again.push(row.get(1));
                    c.execute(AssertSqlSafe(format!("DROP INDEX {name}")))
                        .await
                        .unwrap();
                }
            }
            Self::Server(options) => {
                let mut c = options.connect().await.unwrap();
                // Not those that a key of a table is made of.
                let sql = "SELECT indexname::text, indexdef FROM pg_indexes WHERE schemaname = 'liftledger' \
                           AND tablename IN ('docs', 'touches', 'words') \
                           AND indexname NOT IN (SELECT conname FROM pg_constraint)";
                for row in sqlx::query(sql).fetch_all(&mut c).await.unwrap() {
                    let name: String = row.get(0);
                    again.push(row.get(1));
                    c.execute(AssertSqlSafe(format!("DROP INDEX liftledger.{name}")))
                        .await
                        .unwrap();
                }
            }
        }
        assert!(again.len() > 8, "{again:?}");
        again
    }

    /// Makes them again, and has the database look at what there is now.
    pub async fn put_back(&self, again: Vec<String>) {
        match self {
            Self::File(path) => {
                let mut c = raw::connect(path).await;
                c.execute("PRAGMA cache_size = -1048576").await.unwrap();
                for sql in again {
                    c.execute(AssertSqlSafe(sql)).await.unwrap();
                }
                c.execute("PRAGMA wal_checkpoint(TRUNCATE)").await.unwrap();
            }
            Self::Server(options) => {
                let mut c = options.connect().await.unwrap();
                c.execute("SET maintenance_work_mem = '1GB'").await.unwrap();
                for sql in again {
                    c.execute(AssertSqlSafe(sql)).await.unwrap();
                }
                // As the server does by itself sooner or later.
                c.execute("VACUUM ANALYZE").await.unwrap();
            }
        }
    }
}
