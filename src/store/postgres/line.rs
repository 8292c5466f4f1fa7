//! A connection on loan from a pool. It goes back when it is dropped, and one that has fallen silent holds nobody up.

use std::ops::{Deref, DerefMut};
use std::time::Duration;

use sqlx::PgConnection;
use sqlx::pool::PoolConnection;
use sqlx::postgres::{PgPool, Postgres};
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
    /// Not to go back: it may be in the middle of something.
    spent: bool,
}

impl Line {
    /// Borrows one; the pool's patience is waited for it.
    ///
    /// # Errors
    /// Where there is none in time.
    pub(super) async fn of(pool: &PgPool) -> Result<Self, sqlx::Error> {
        let lent = pool.acquire().await?;
        Ok(Self { lent, spent: false })
    }

    /// It is closed when it is dropped, and the database rolls back what it was in the middle of.
    pub(super) fn spend(&mut self) {
        self.spent = true;
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
        if self.spent {
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
