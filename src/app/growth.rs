//! How far the ledger has grown, as this server knows it: its own writer tells it after each commit, the database tells
//! it what others append. Whoever shows something that changes waits here instead of asking again and again.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::timeout;

use crate::store::{Listening, Store};

/// How often the head is read while the database tells of itself: a connection may be dead without anybody's notice.
const SELDOM: Duration = Duration::from_secs(15);
/// How long an answer of the database is waited for.
const PATIENCE: Duration = Duration::from_secs(10);
/// How often the head is read while it does not. Our assumptions, no source.
const OFTEN: Duration = Duration::from_secs(2);

/// How many events the ledger has. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Growth(watch::Sender<u64>);

impl Default for Growth {
    fn default() -> Self {
        Self(watch::Sender::new(0))
    }
}

impl Growth {
    /// The ledger has so many events; whoever waits wakes where these are more than were known.
    pub fn reached(&self, size: u64) {
        self.0.send_if_modified(|known| {
            let more = size > *known;
            *known = size.max(*known);
            more
        });
    }

    /// Sees every growth from now on; several may be seen as one.
    #[must_use]
    pub fn follow(&self) -> watch::Receiver<u64> {
        self.0.subscribe()
    }

    /// How many events are known of.
    #[must_use]
    pub fn size(&self) -> u64 {
        *self.0.borrow()
    }

    /// Reads the head; whether it is further than was known.
    async fn look(&self, store: &dyn Store) -> bool {
        let known = self.size();
        match timeout(PATIENCE, store.head()).await {
            Ok(Ok(head)) => self.reached(head.size),
            // Nothing is lost by it: the next turn looks again.
            Ok(Err(e)) => tracing::debug!(error = %e, "the head cannot be read"),
            Err(_) => tracing::debug!("the head cannot be read in time"),
        }
        self.size() > known
    }

    /// Follows what others append, for as long as it runs: by the database's notices where it gives any, and by reading
    /// the head.
    pub async fn listen(self, store: Arc<dyn Store>) {
        const INSTEAD: &str = "no notices of the database, its head is read instead";
        loop {
            let listening = timeout(PATIENCE, store.listen()).await;
            // What was appended before anybody listened.
            self.look(store.as_ref()).await;
            match listening {
                Ok(Ok(Some(mut listening))) => self.hear(store.as_ref(), listening.as_mut()).await,
                Ok(Ok(None)) => {}
                Ok(Err(e)) => tracing::warn!(error = %e, "{INSTEAD}"),
                Err(_) => tracing::warn!("{INSTEAD}"),
            }
            tokio::time::sleep(OFTEN).await;
        }
    }

    /// Until the notices end.
    async fn hear(&self, store: &dyn Store, listening: &mut dyn Listening) {
        loop {
            let mut heard = listening.heard();
            let heard = loop {
                tokio::select! {
                    heard = &mut heard => break heard,
                    () = tokio::time::sleep(SELDOM) => if self.look(store).await {
                        // It grew and nobody told: the connection is dead, and only its other end knows.
                        return tracing::warn!("the notices of the database have stopped");
                    },
                }
            };
            match heard {
                // Anybody who may connect to the database can send any number: it says no more than that it is time to look.
                Ok(Some(size)) if size > self.size() => {
                    self.look(store).await;
                }
                Ok(Some(_)) => {}
                Ok(None) => {
                    return tracing::info!("the connection for notices of the database was lost");
                }
                Err(e) => return tracing::warn!(error = %e, "the notices of the database ended"),
            }
        }
    }
}
