//! The newest cosignature of each witness that the agency names: taken only if it is on this ledger's history.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::house::House;
use super::reader::ReadError;
use crate::ledger::checkpoint::{self, NoteError};
use crate::ledger::cosignature::{WitnessVerifyingKey, cosigned};
use crate::ledger::merkle;

/// Settings under which cosigned checkpoints are kept, before the witness's key.
const KEPT: &str = "cosignature ";

/// Why a cosignature was not taken.
#[derive(Debug, thiserror::Error)]
pub enum CosignatureError {
    /// Not a checkpoint of this ledger, or not signed by it.
    #[error("it is no checkpoint of this ledger: {0}")]
    NotOurs(NoteError),
    /// By no witness of this ledger.
    #[error("it is cosigned by none of the witnesses that this ledger names")]
    Unknown,
    /// Signed, and of another history.
    #[error(
        "a checkpoint over {size} events, signed by this ledger, is not on its history: it was put back to an earlier state, or rewritten"
    )]
    OtherHistory {
        /// How many events it counts.
        size: u64,
    },
    /// What is kept cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
}

/// The newest statement of a witness.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Cosigned {
    /// The witness's name.
    pub name: String,
    /// The key that its cosignature is verified with.
    pub key: String,
    /// How many events it saw; none where it has said nothing yet.
    pub size: Option<u64>,
    /// When it signed.
    pub at: Option<DateTime<Utc>>,
    /// The checkpoint with its cosignature.
    pub note: Option<String>,
}

impl House {
    /// Keeps the newest cosignature of each witness in a note. How many are new.
    ///
    /// # Errors
    /// See [`CosignatureError`].
    pub async fn keep_cosignature(&self, note: &str) -> Result<usize, CosignatureError> {
        let head = checkpoint::open(note, &self.verifying).map_err(CosignatureError::NotOurs)?;
        let theirs: Vec<(&WitnessVerifyingKey, u64)> = self
            .witnesses
            .iter()
            .filter_map(|key| Some((key, cosigned(note, key).ok()?)))
            .collect();
        if theirs.is_empty() {
            return Err(CosignatureError::Unknown);
        }
        let size = self.latest_checkpoint().await?.map_or(0, |row| row.size);
        let nodes = self
            .tree_nodes(merkle::root_nodes(head.size.min(size)))
            .await?;
        let root = merkle::root(head.size.min(size), |l, i| nodes.get(l, i)).ok();
        if head.size > size || root != Some(head.root) {
            // By the witness's word there was such a history; whoever runs the server has to know.
            tracing::error!(
                size = head.size,
                "a cosigned checkpoint of this ledger is not on its history"
            );
            return Err(CosignatureError::OtherHistory { size: head.size });
        }
        let mut new = 0;
        for (key, time) in theirs {
            let before = self.cosigned_by(key).await?;
            let is_older = before.size > Some(head.size)
                || (before.size == Some(head.size)
                    && before
                        .at
                        .is_some_and(|at| u64::try_from(at.timestamp()).unwrap_or(0) >= time));
            if is_older {
                continue;
            }
            let name = format!("{KEPT}{key}");
            self.store
                .set_setting(&name, note)
                .await
                .map_err(ReadError::from)?;
            new += 1;
        }
        Ok(new)
    }

    async fn cosigned_by(&self, key: &WitnessVerifyingKey) -> Result<Cosigned, ReadError> {
        let note = self.store.setting(&format!("{KEPT}{key}")).await?;
        let mut out = Cosigned {
            name: key.name().to_owned(),
            key: key.to_string(),
            size: None,
            at: None,
            note: None,
        };
        let Some(note) = note else { return Ok(out) };
        // Settings are no evidence and may have been changed: what does not verify is as good as nothing.
        if let (Ok(head), Ok(time)) = (
            checkpoint::open(&note, &self.verifying),
            cosigned(&note, key),
        ) {
            out.size = Some(head.size);
            out.at = i64::try_from(time)
                .ok()
                .and_then(|t| DateTime::from_timestamp(t, 0));
            out.note = Some(note);
        }
        Ok(out)
    }

    /// The newest statement of each witness.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn cosignatures(&self) -> Result<Vec<Cosigned>, ReadError> {
        let mut out = Vec::new();
        for key in self.witnesses.iter() {
            out.push(self.cosigned_by(key).await?);
        }
        Ok(out)
    }
}
