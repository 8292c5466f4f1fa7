//! A connection on loan from a pool. It goes back when it is dropped, and one that has fallen silent holds nobody up.

use std::ops::{Deref, DerefMut};
use std::time::Duration;

use sqlx::pool::PoolConnection;
use sqlx::postgres::{PgPool, Postgres};
use sqlx::{Executor as _, PgConnection};
use tokio::runtime::Handle;
use tokio::time::timeout;

/// How long a connection may take on its way back: an answer that nobody waits for any more is read to its end there. Less
/// than a caller's patience, so that whoever waits for this connection gets a new one in its place.
const WAY_BACK: Duration = Duration::from_secs(5);

/// A connection on loan.
///
/// The pool asks a connection that comes back whether the database still answers, and waits for that without end, with the
/// connection's room taken: behind a line that has fallen silent, a pool of one would be lost for good (sqlx's issue 4349,
/// open as of 0.9.0). So the way back is bounded here; after [`WAY_BACK`] the connection is thrown away and its room free.
pub(in crate::store) struct Line {
    lent: PoolConnection<Postgres>,
    /// Whether it may be in the middle of a transaction: then it does not go back.
    inside: bool,
}

impl Line {
    /// Borrows one; the pool's patience is waited for it.
    ///
    /// # Errors
    /// Where there is none in time.
    pub(super) async fn of(pool: &PgPool) -> Result<Self, sqlx::Error> {
        let lent = pool.acquire().await?;
        Ok(Self {
            lent,
            inside: false,
        })
    }

    /// Borrows one and begins a transaction on it. Dropped before that has ended in order, it is closed, and the database rolls
    /// back.
    ///
    /// # Errors
    /// Where there is none in time, or the database does not begin.
    pub(super) async fn begin(pool: &PgPool) -> Result<Self, sqlx::Error> {
        let mut line = Self::of(pool).await?;
        // Whoever gives up in the middle of the next statement does not know whether it has begun.
        line.inside = true;
        line.execute("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE")
            .await?;
        Ok(line)
    }

    /// Commits. Where this fails, nobody knows whether it is committed.
    ///
    /// # Errors
    /// Of the database or the line.
    pub(super) async fn commit(self) -> Result<(), sqlx::Error> {
        self.end("COMMIT").await
    }

    /// Gives the transaction up.
    ///
    /// # Errors
    /// Of the database or the line; it is given up all the same.
    pub(super) async fn rollback(self) -> Result<(), sqlx::Error> {
        self.end("ROLLBACK").await
    }

    async fn end(mut self, how: &'static str) -> Result<(), sqlx::Error> {
        self.execute(how).await?;
        self.inside = false;
        Ok(())
    }
}

impl Deref for Line {
    type Target = PgConnection;

    fn deref(&self) -> &PgConnection {
        &self.lent
    }
}

impl DerefMut for Line {
    fn deref_mut(&mut self) -> &mut PgConnection {
        &mut self.lent
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        if self.inside {
            // Bounded by sqlx itself.
            self.lent.close_on_drop();
            return;
        }
        // From here on the connection and its room hang on this alone, also where it is never run.
        let back = self.lent.return_to_pool();
        if let Ok(runtime) = Handle::try_current() {
            runtime.spawn(async move {
                if timeout(WAY_BACK, back).await.is_err() {
                    tracing::warn!(
                        "a connection to the database has fallen silent and is replaced"
                    );
                }
            });
        }
    }
}
