//! A witness: on another machine, it keeps the ledger's checkpoints, asks for proof that each goes on from the one before,
//! says so under its own signature, and raises the alarm where one does not.
//!
//! It trusts the server with nothing: the ledger's key is given to it, and everything else it checks. What it cannot tell
//! is whether what is recorded is true, nor what was changed before it came.

pub mod folder;
mod remote;

use chrono::{DateTime, Utc};

pub use folder::{Folder, FolderError};
pub use remote::{Remote, RemoteError};

use crate::ledger::checkpoint::{self, Checkpoint, VerifyingKey};
use crate::ledger::cosignature;
use crate::ledger::merkle::verify_consistency;

/// Why the witness says no.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Alarm {
    /// The server's checkpoint is not signed with the ledger's key, or is none.
    Forged,
    /// Fewer events than were there before: an old state was put back, or the end was cut off.
    Shrunk,
    /// As many events as before, and others; or more, and the earlier ones are not their beginning.
    Forked,
}

impl Alarm {
    /// The word in logs and for the command that is run.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Forged => "forged",
            Self::Shrunk => "shrunk",
            Self::Forked => "forked",
        }
    }
}

/// What one look at the server came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Seen {
    /// It has grown, or is seen for the first time, and the witness has signed it.
    Grown {
        /// How many events were seen before.
        from: u64,
        /// How many there are.
        to: u64,
        /// Whether the server took the cosignature; why not.
        told: Result<(), String>,
    },
    /// As it was.
    Same {
        /// How many events there are.
        size: u64,
        /// Whether the server took the cosignature of now; why not.
        told: Result<(), String>,
    },
    /// Something is wrong with the history.
    Alarm {
        /// What.
        alarm: Alarm,
        /// For people.
        text: String,
    },
    /// No answer that says anything about the history.
    Unreachable(String),
}

/// Looks at the server once, and writes down what there is.
///
/// # Errors
/// [`FolderError`] where the witness's own folder fails: then nothing was signed.
pub fn look(
    folder: &Folder,
    remote: &Remote,
    key: &VerifyingKey,
    now: DateTime<Utc>,
) -> Result<Seen, FolderError> {
    let note = match remote.checkpoint() {
        Ok(note) => note,
        Err(e) => return Ok(Seen::Unreachable(e.to_string())),
    };
    let alarm = |alarm, text: String| {
        folder.accuse(&note, &text, now)?;
        Ok(Seen::Alarm { alarm, text })
    };
    let head = match checkpoint::open(&note, key) {
        Ok(head) => head,
        Err(e) => {
            let text = format!("the server's checkpoint is not one of {}: {e}", key.name());
            return alarm(Alarm::Forged, text);
        }
    };
    let before = folder.latest(key)?;
    let from = before.as_ref().map_or(0, |b| b.size);
    if let Some(before) = &before {
        if head.size < before.size {
            let text = format!(
                "the ledger has {} events and had {}: an earlier state was put back, or its end was cut off",
                head.size, before.size
            );
            return alarm(Alarm::Shrunk, text);
        }
        if head.size == before.size {
            if head.root != before.root {
                let text = format!(
                    "two signed checkpoints over {} events have different roots",
                    head.size
                );
                return alarm(Alarm::Forked, text);
            }
        } else {
            match proven(remote, before, &head) {
                Ok(()) => {}
                Err(Proof::Unreachable(why)) => return Ok(Seen::Unreachable(why)),
                Err(Proof::Wrong(why)) => {
                    let text = format!(
                        "the {} events that were there are not the beginning of the {} that are there now: {why}",
                        before.size, head.size
                    );
                    return alarm(Alarm::Forked, text);
                }
            }
        }
    }
    let is_new = before.as_ref().is_none_or(|b| b.size < head.size);
    let time = u64::try_from(now.timestamp()).unwrap_or(0);
    // Also where nothing was added: that it is still so, as of now, is worth saying.
    let signed = cosignature::cosign(&note, folder.key(), time).map_err(FolderError::Note)?;
    // First on disk here, then said to anybody: a witness must not forget what it has signed.
    folder.keep(&signed, is_new.then_some(head.size), now)?;
    let told = remote.tell(&signed).map_err(|e| e.to_string());
    if !is_new {
        return Ok(Seen::Same {
            size: head.size,
            told,
        });
    }
    Ok(Seen::Grown {
        from,
        to: head.size,
        told,
    })
}

enum Proof {
    Unreachable(String),
    Wrong(String),
}

fn proven(remote: &Remote, before: &Checkpoint, head: &Checkpoint) -> Result<(), Proof> {
    if before.size == 0 {
        return Ok(());
    }
    let proof = remote
        .consistency(before.size, head.size)
        .map_err(|e| match e {
            // A server that has the checkpoint has the proof; one that refuses it has something to hide.
            RemoteError::Refused(404) => Proof::Wrong("the server gives no proof of it".into()),
            other => Proof::Unreachable(other.to_string()),
        })?;
    verify_consistency(before.size, head.size, &proof, &before.root, &head.root)
        .map_err(|e| Proof::Wrong(e.to_string()))
}
