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
mod line;
mod listening;
mod read;
mod reads;
mod schema;
mod write;

use std::time::Duration;

use futures_util::future::BoxFuture;
use sqlx::postgres::{PgConnectOptions, PgPool, PgPoolOptions};
use sqlx::{AssertSqlSafe, ConnectOptions as _, Connection as _, PgConnection};

use super::{Answer, Listening, Scrubbed, Store, StoreError, WriteTx};
pub use address::{Address, AddressError};
use line::Line;
pub use schema::{SCHEMA, grants};

/// How long a statement waits for a lock, and a caller for a free connection.
const PATIENCE: Duration = Duration::from_secs(10);
/// How many connections read, and change what is no evidence, at once.
const READERS: u32 = 8;
/// The advisory lock that appends stand at. Such locks are each database's own; the number means nothing.
const APPEND_LOCK: i64 = 0x6c69_6674;
/// A connection that was used in this time is taken for alive; any other has this time to say that it is. All of a pool's
/// together must have less than a caller's patience.
const FRESH: Duration = Duration::from_secs(1);

/// The ledger in a PostgreSQL database.
#[derive(Clone, Debug)]
pub struct PostgresStore {
    /// One connection, for the one writer of this server.
    appender: PgPool,
    readers: PgPool,
    /// How to reach it, for whoever listens.
    options: PgConnectOptions,
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

/// Whether a connection answers in time; an error has it thrown away.
async fn asked(connection: &mut PgConnection) -> Result<bool, sqlx::Error> {
    match tokio::time::timeout(FRESH, connection.ping()).await {
        Ok(answered) => answered.map(|()| true),
        Err(_) => Err(sqlx::Error::PoolTimedOut),
    }
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
                    return asked(connection).await;
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
        // Passwords, sessions and tokens are changed through these: what somebody was told of them survives as well.
        let readers = pool(READERS)
            .after_connect(|connection, _| Box::pin(durable(connection)))
            .connect_lazy_with(options.clone());
        Ok(Some(Self {
            appender,
            readers,
            options,
        }))
    }

    /// A connection that reads.
    pub(super) async fn reader(&self) -> Result<Line, StoreError> {
        Ok(Line::of(&self.readers).await?)
    }

    /// A connection that changes what is no evidence.
    pub(super) async fn changer(&self) -> Result<Line, StoreError> {
        self.reader().await
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
            let mut tx = Line::begin(&self.appender).await?;
            sqlx::query("SELECT pg_advisory_xact_lock($1)")
                .bind(APPEND_LOCK)
                .execute(&mut *tx)
                .await?;
            Ok(Box::new(write::PostgresWriteTx::new(tx)) as Box<dyn WriteTx>)
        })
    }

    fn listen(&self) -> Answer<'_, Option<Box<dyn Listening>>> {
        Box::pin(async move {
            let listening = listening::PostgresListening::begin(self.options.clone()).await?;
            Ok(Some(Box::new(listening) as Box<dyn Listening>))
        })
    }

    fn close(&self) -> BoxFuture<'_, ()> {
        Box::pin(async move {
            self.readers.close().await;
            self.appender.close().await;
        })
    }

    fn scrub(&self) -> Answer<'_, Scrubbed> {
        Box::pin(async move {
            const KEPT: &str = "The server's write-ahead log, its archive, replicas and base backups keep the bytes as long as they are \
                                set to; only whoever runs the database can say when they are gone.";
            let owns: bool = sqlx::query_scalar(
                "SELECT pg_has_role(current_user, relowner, 'MEMBER') FROM pg_class WHERE oid = to_regclass('event_payloads')",
            )
            .fetch_one(&mut *self.reader().await?)
            .await?;
            if !owns {
                return Ok(Scrubbed {
                    done: true,
                    said: format!(
                        "The rows are gone, their bytes lie in the database's files until the tables are written anew, which this \
                         server's role may not do. Let the owner run: VACUUM (FULL) liftledger.event_payloads, liftledger.docs, \
                         liftledger.words, liftledger.commands, liftledger.removals. {KEPT}"
                    ),
                });
            }
            // Plain VACUUM frees the room and leaves the bytes in it; FULL writes the tables anew.
            for table in SCRUBBED {
                let sql = format!("VACUUM (FULL) {table}");
                sqlx::query(AssertSqlSafe(sql))
                    .execute(&mut *self.reader().await?)
                    .await?;
            }
            Ok(Scrubbed {
                done: true,
                said: format!("The tables were written anew (VACUUM FULL). {KEPT}"),
            })
        })
    }
}

/// The tables that hold texts of the record.
const SCRUBBED: [&str; 5] = ["event_payloads", "docs", "words", "commands", "removals"];
