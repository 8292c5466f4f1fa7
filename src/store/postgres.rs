//! PostgreSQL: one database, one or more servers.
//!
//! Everything lies in the schema [`SCHEMA`]. Appends of all servers stand behind each other at one advisory lock, taken
//! first thing in the transaction and given up by its end however it ends, also when its server is killed. The
//! transaction is READ COMMITTED: what it reads once it has the lock is what the server before it committed.
//!
//! A server whose machine stops in the middle would hold the lock: sessions that idle in a transaction, and connections
//! whose other end does not answer, are ended by the database.

mod address;
mod guards;
mod read;
mod reads;
mod schema;
mod write;

use std::time::Duration;

use futures_util::future::BoxFuture;
use sqlx::postgres::{PgConnectOptions, PgPool, PgPoolOptions};
use sqlx::{ConnectOptions as _, Connection as _, PgConnection};

use super::{Answer, Store, StoreError, WriteTx};
pub use address::{Address, AddressError};
pub use schema::{SCHEMA, grants};

/// How long a statement waits for a lock, and a caller for a free connection.
const PATIENCE: Duration = Duration::from_secs(10);
/// How many connections read, and change what is no evidence, at once.
const READERS: u32 = 8;
/// The advisory lock that appends stand at. Such locks are each database's own; the number means nothing.
const APPEND_LOCK: i64 = 0x6c69_6674;
/// A connection that was used in this time is taken for alive.
const FRESH: Duration = Duration::from_secs(1);

/// The ledger in a PostgreSQL database.
#[derive(Clone, Debug)]
pub struct PostgresStore {
    /// One connection, for the one writer of this server.
    appender: PgPool,
    pub(super) readers: PgPool,
}

/// What every session is begun with: where the tables are, and that nothing waits for ever.
fn session(options: PgConnectOptions) -> PgConnectOptions {
    options
        .application_name("liftledger")
        .options([
            ("search_path", SCHEMA),
            ("lock_timeout", "10s"),
            ("idle_in_transaction_session_timeout", "20s"),
            ("tcp_keepalives_idle", "10"),
            ("tcp_keepalives_interval", "5"),
            ("tcp_keepalives_count", "3"),
            ("tcp_user_timeout", "20s"),
            ("jit", "off"),
        ])
        .disable_statement_logging()
}

fn pool(max: u32) -> PgPoolOptions {
    PgPoolOptions::new()
        .max_connections(max)
        .acquire_timeout(PATIENCE)
        .test_before_acquire(false)
        // A connection that has lain idle may have been cut; asking it first costs a round trip.
        .before_acquire(|connection, about| {
            Box::pin(async move {
                if about.idle_for > FRESH {
                    connection.ping().await?;
                }
                Ok(true)
            })
        })
}

impl PostgresStore {
    /// Opens the database and brings its schema up to this program's, where this role may.
    ///
    /// # Errors
    /// [`StoreError::Refused`] where a newer or another program made the schema, where the schema is not there or is
    /// older and this role may not change it, or where the database would not keep what it acknowledges.
    pub async fn open(address: &Address) -> Result<Self, StoreError> {
        Self::with(address, true).await?.ok_or(StoreError::NotFound)
    }

    /// Opens the database where it has the schema; `None` where it has not.
    ///
    /// # Errors
    /// As [`PostgresStore::open`].
    pub async fn find(address: &Address) -> Result<Option<Self>, StoreError> {
        Self::with(address, false).await
    }

    async fn with(address: &Address, make: bool) -> Result<Option<Self>, StoreError> {
        let options = session(address.options().clone());
        let mut first = connect(&options).await?;
        trusted(&mut first).await?;
        let there = schema::prepare(&mut first, make).await;
        if matches!(there, Ok(true)) {
            schema::warn_of_owner(&mut first).await?;
        }
        first.close().await?;
        if !there? {
            return Ok(None);
        }
        let appender = pool(1)
            .idle_timeout(None)
            .max_lifetime(None)
            .after_connect(|connection, _| Box::pin(durable(connection)))
            .connect_lazy_with(options.clone());
        let readers = pool(READERS).connect_lazy_with(options);
        Ok(Some(Self { appender, readers }))
    }

    /// The connections that change what is no evidence.
    pub(super) fn changes(&self) -> &PgPool {
        &self.readers
    }
}

async fn connect(options: &PgConnectOptions) -> Result<PgConnection, StoreError> {
    match tokio::time::timeout(PATIENCE, options.connect()).await {
        Ok(connected) => Ok(connected?),
        Err(_) => Err(StoreError::Database(format!(
            "no answer within {} seconds",
            PATIENCE.as_secs()
        ))),
    }
}

/// Whether the database keeps texts as they are, and what it acknowledges.
async fn trusted(connection: &mut PgConnection) -> Result<(), StoreError> {
    let (encoding, fsync): (String, String) =
        sqlx::query_as("SELECT current_setting('server_encoding'), current_setting('fsync')")
            .fetch_one(connection)
            .await?;
    if encoding != "UTF8" {
        return Err(StoreError::Refused(format!(
            "the database keeps texts as {encoding}; make one with ENCODING 'UTF8'"
        )));
    }
    if fsync != "on" {
        return Err(StoreError::Refused(
            "the database server runs with fsync off and would lose what it acknowledged; turn it on".into(),
        ));
    }
    Ok(())
}

/// What is acknowledged survives a power cut, whatever the database's own default says. A stronger setting stays.
async fn durable(connection: &mut PgConnection) -> Result<(), sqlx::Error> {
    let sql = "SELECT set_config('synchronous_commit', 'on', false) \
               WHERE current_setting('synchronous_commit') IN ('off', 'local')";
    sqlx::query(sql).execute(connection).await.map(drop)
}

impl Store for PostgresStore {
    fn begin(&self) -> Answer<'_, Box<dyn WriteTx>> {
        Box::pin(async move {
            let begin = "BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE";
            let mut tx = self.appender.begin_with(begin).await?;
            sqlx::query("SELECT pg_advisory_xact_lock($1)")
                .bind(APPEND_LOCK)
                .execute(&mut *tx)
                .await?;
            Ok(Box::new(write::PostgresWriteTx::new(tx)) as Box<dyn WriteTx>)
        })
    }

    fn close(&self) -> BoxFuture<'_, ()> {
        Box::pin(async move {
            self.readers.close().await;
            self.appender.close().await;
        })
    }
}
