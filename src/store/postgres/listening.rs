//! Hears of what other servers append: each append tells its size on a channel, in its own transaction, so that nobody
//! hears of what is not committed.

use sqlx::PgConnection;
use sqlx::postgres::{PgConnectOptions, PgListener};

use super::pool;
use crate::store::{Answer, Listening, StoreError, error::int};

/// The channel's name. Channels are each database's own.
const CHANNEL: &str = "liftledger";

/// Tells, when the transaction commits.
pub(super) async fn tell(c: &mut PgConnection, size: u64) -> Result<(), StoreError> {
    sqlx::query("SELECT pg_notify($1, $2)")
        .bind(CHANNEL)
        .bind(int(size)?.to_string())
        .execute(c)
        .await?;
    Ok(())
}

/// A connection that listens. What is under way when it ends may hang behind a silent line until the system gives the line
/// up; so each has a pool of its own, and whoever listens next does not stand behind it.
pub(super) struct PostgresListening(PgListener);

impl PostgresListening {
    pub(super) async fn begin(options: PgConnectOptions) -> Result<Self, StoreError> {
        let pool = pool(1).connect_lazy_with(options);
        let mut listener = PgListener::connect_with(&pool).await?;
        // Notices that come while nothing is connected are lost, and the head has to be read again: so the end is told.
        listener.eager_reconnect(false);
        listener.listen(CHANNEL).await?;
        Ok(Self(listener))
    }
}

impl Listening for PostgresListening {
    fn heard(&mut self) -> Answer<'_, Option<u64>> {
        Box::pin(async move {
            loop {
                let Some(notice) = self.0.try_recv().await? else {
                    return Ok(None);
                };
                if let Ok(size) = notice.payload().parse() {
                    return Ok(Some(size));
                }
            }
        })
    }
}
