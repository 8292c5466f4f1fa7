//! What proofs are made of: the latest checkpoint, nodes of the tree, events by their place. Whether a reader may see an
//! event, the caller asks.

use std::collections::HashMap;

use super::house::House;
use super::reader::{ReadError, opened};
use crate::ids::{Digest, Subject};
use crate::ledger::checkpoint;
use crate::ledger::event::Event;
use crate::ledger::merkle::{self, Coordinates};
use crate::store::TouchedEvent;

pub use crate::store::{CheckpointRow, LIST_MAX};

/// Nodes of the tree by their coordinates; one that is not there, or is no hash, is left out.
pub struct Nodes(HashMap<Coordinates, Digest>);

impl Nodes {
    /// A node, as the functions of [`merkle`] ask for it.
    #[must_use]
    pub fn get(&self, level: u8, index: u64) -> Option<Digest> {
        self.0.get(&(level, index)).copied()
    }
}

/// How an event is in the tree of the latest checkpoint.
pub struct Included {
    /// The size of the tree.
    pub size: u64,
    /// Its root, as signed.
    pub root: Digest,
    /// The event's leaf, as stored.
    pub leaf: Digest,
    /// The proof of RFC 9162, section 2.1.3.1, from the leaf upward.
    pub path: Vec<Digest>,
    /// The checkpoint, a signed note.
    pub checkpoint: String,
}

impl House {
    /// The checkpoint over the most events; none while the ledger is empty.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn latest_checkpoint(&self) -> Result<Option<CheckpointRow>, ReadError> {
        Ok(self.store.latest_checkpoint().await?)
    }

    /// Nodes of the tree at these coordinates.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn tree_nodes(
        &self,
        at: impl IntoIterator<Item = Coordinates>,
    ) -> Result<Nodes, ReadError> {
        let at: Vec<(u32, u64)> = at.into_iter().map(|(l, i)| (u32::from(l), i)).collect();
        let mut out = HashMap::new();
        for row in self.store.nodes(&at).await? {
            let level = u8::try_from(row.level);
            let hash: Result<[u8; 32], _> = row.hash.try_into();
            if let (Ok(level), Ok(hash)) = (level, hash) {
                out.insert((level, row.idx), Digest(hash));
            }
        }
        Ok(Nodes(out))
    }

    /// The proof that an event is in the tree of the latest checkpoint, checked against the signed root. None where there
    /// is no such event in it.
    ///
    /// # Errors
    /// [`ReadError::Corrupt`] where signature, nodes or proof do not hold.
    pub async fn inclusion(&self, seq: u64) -> Result<Option<Included>, ReadError> {
        let corrupt =
            |what: &str, e: &dyn std::fmt::Display| ReadError::Corrupt(format!("{what}: {e}"));
        let Some(row) = self.latest_checkpoint().await? else {
            return Ok(None);
        };
        let signed = checkpoint::open(&row.note, &self.verifying)
            .map_err(|e| corrupt("the latest checkpoint", &e))?;
        if seq == 0 || seq > signed.size {
            return Ok(None);
        }
        let index = seq - 1;
        let mut at = merkle::inclusion_nodes(index, signed.size);
        at.push((0, index));
        let nodes = self.tree_nodes(at).await?;
        let path = merkle::inclusion(index, signed.size, |l, i| nodes.get(l, i))
            .map_err(|e| corrupt("a proof cannot be made", &e))?;
        let leaf = nodes
            .get(0, index)
            .ok_or_else(|| ReadError::Corrupt(format!("leaf {index} is missing")))?;
        merkle::verify_inclusion(&leaf, index, signed.size, &path, &signed.root)
            .map_err(|e| corrupt("a proof does not hold", &e))?;
        Ok(Some(Included {
            size: signed.size,
            root: signed.root,
            leaf,
            path,
            checkpoint: row.note,
        }))
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
