//! What proofs are made of: the latest checkpoint, nodes of the tree, events by their place. Whether a reader may see an
//! event, the caller asks.

use super::house::House;
use super::reader::{ReadError, opened};
use crate::ids::Subject;
use crate::ledger::event::Event;
use crate::store::{Reads as _, TouchedEvent};

pub use crate::store::{CheckpointRow, LIST_MAX, NodeRow};

impl House {
    /// The checkpoint over the most events; none while the ledger is empty.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn latest_checkpoint(&self) -> Result<Option<CheckpointRow>, ReadError> {
        Ok(self.store.latest_checkpoint().await?)
    }

    /// Nodes of the tree by (level, index), in no particular order; one that is not there is left out.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn tree_nodes(&self, at: &[(u32, u64)]) -> Result<Vec<NodeRow>, ReadError> {
        Ok(self.store.nodes(at).await?)
    }

    /// An event by its place.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn event(&self, seq: u64) -> Result<Option<Event>, ReadError> {
        self.store.event(seq).await?.map(opened).transpose()
    }

    /// A part of the events of a subject, behind its `after`th, at most [`LIST_MAX`].
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn events_of(
        &self,
        subject: Subject,
        after: u64,
        limit: u32,
    ) -> Result<Vec<TouchedEvent>, ReadError> {
        let subject = subject.to_string();
        Ok(self.store.events_of(&subject, after, limit).await?)
    }

    /// How many events a subject has.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn count_of(&self, subject: &str) -> Result<u64, ReadError> {
        Ok(self.store.subject_count(subject).await?)
    }
}
