//! PostgreSQL: the store's contract by the same tests that SQLite has, what is particular to it, the whole demo, two
//! servers on one database, and servers and database killed in the middle.

mod backup;
mod brought;
pub mod cluster;
mod crash;
mod cut;
mod expungement;
mod guards;
mod line;
mod live;
mod mixed;
mod roles;
mod rooms;
mod schema;
mod silent;
mod story;
mod tls;

// The contract.
#[path = "../../store/accounts.rs"]
mod accounts;
#[path = "../../store/lists.rs"]
mod lists;
#[path = "../../store/rows.rs"]
mod rows;
#[path = "../../store/words.rs"]
mod words;
#[path = "../../store/write.rs"]
mod write;

use liftledger::store::{Address, PostgresStore};
use sqlx::{AssertSqlSafe, Executor as _, PgConnection};

use cluster::Cluster;
pub use rows::{batch, doc};

/// A store in a database of its own.
pub struct Place {
    pub database: String,
    pub store: PostgresStore,
}

impl Place {
    pub async fn new() -> Self {
        let cluster = Cluster::shared();
        let database = cluster.database().await;
        let address: Address = cluster.address(&database).parse().unwrap();
        let store = PostgresStore::open(&address).await.unwrap();
        Self { database, store }
    }

    pub fn address(&self) -> Address {
        Cluster::shared().address(&self.database).parse().unwrap()
    }

    /// The same database once more, as another server has it.
    pub async fn again(&self) -> PostgresStore {
        PostgresStore::open(&self.address()).await.unwrap()
    }

    /// How the database would find rows, the steps that read a table (EXPLAIN, postgresql.org/docs/current/using-explain.html).
    pub async fn plan(&self, sql: &str) -> Vec<String> {
        let mut raw = self.raw().await;
        // So few rows are read whole, or page by page, otherwise.
        raw.execute("SET enable_seqscan = off; SET enable_bitmapscan = off")
            .await
            .unwrap();
        raw.execute("ANALYZE docs").await.unwrap();
        let sql = AssertSqlSafe(format!("EXPLAIN {sql}"));
        let steps: Vec<String> = sqlx::query_scalar(sql).fetch_all(&mut raw).await.unwrap();
        steps.into_iter().filter(|s| s.contains("Scan")).collect()
    }

    /// A connection behind the store's back.
    pub async fn raw(&self) -> PgConnection {
        Cluster::shared().raw(&self.database).await
    }
}
