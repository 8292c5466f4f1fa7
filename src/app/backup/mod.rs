//! A ledger in a folder of plain files, and back: whichever database it lies in. The folder's format is `FORMAT.md` beside
//! this file.
//!
//! A backup is taken while servers go on: events up to the checkpoint that stands at its beginning never change, and an
//! original is on disk before the event that names it. `backup.json` is put in its place last; before that, what was
//! written is nobody's, and the next run goes on with it.

mod files;
mod lines;
mod make;
mod restore;
mod rows;

use std::fs::{self, File};
use std::io::Read as _;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

pub use lines::Listed;
pub use make::{Made, Source, make};
pub use restore::{Asked, Checked, check, restore};

use super::house::HouseError;
use super::reader::ReadError;
use crate::ids::Digest;
use crate::keys::KeysError;
use crate::keys::sealed::SealedError;
use crate::ledger::checkpoint::{self, Checkpoint, NoteError, VerifyingKey};
use crate::ledger::verify::Finding;
use crate::originals::OriginalsError;
use crate::store::StoreError;
use lines::at;

/// The list of a whole backup.
pub const LIST: &str = "backup.json";
/// The list while it is written.
const LIST_PART: &str = "backup.json.part";
/// What only one run at a time holds.
const LOCK: &str = "lock";
/// The folder of originals in a backup.
const ORIGINALS: &str = "originals";
/// How many events a file has at the most.
const EVENTS_IN_FILE: u64 = 50_000;
/// How many events are in memory at a time.
const PAGE: u32 = 500;
/// How long the list may be.
const MAX_LIST: u64 = 64 * 1024 * 1024;
/// How many originals may be missing or altered before a backup stops.
const MAX_WITHOUT: usize = 1_000;
/// How many findings an error shows.
const MAX_SHOWN: usize = 5;

/// Why a backup was not made, does not restore, or was not restored.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// No list.
    #[error("{} holds no whole backup: one was never finished there, or this is another folder", .0.display())]
    None(PathBuf),
    /// The folder is no backup and not empty.
    #[error("{} holds other things than a backup; name an empty folder", .0.display())]
    OtherThings(PathBuf),
    /// Another run is at work.
    #[error("another backup into {} is under way", .0.display())]
    Busy(PathBuf),
    /// Of another ledger.
    #[error("the backup is of another ledger ({0}); name another folder")]
    OtherLedger(String),
    /// Of another history.
    #[error(
        "the backup's {0} events are not the beginning of this ledger: it was put back to an earlier state, or its history \
         was rewritten; keep the backup, look into it, and name another folder for a new one"
    )]
    OtherHistory(u64),
    /// Nothing to back up.
    #[error("the ledger is empty")]
    Empty,
    /// A file that is not what it should be.
    #[error("{}: {why}", path.display())]
    Unreadable {
        /// Which.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// Events that do not fit each other or their checkpoint.
    #[error("the events do not verify: {}", few(.0))]
    Findings(Vec<Finding>),
    /// Read models, guards, or a state that does not follow.
    #[error("the ledger does not verify: {0}")]
    Damaged(String),
    /// Somebody has it otherwise from elsewhere.
    #[error("the backup is signed with {0}, which is not the key given")]
    OtherKey(String),
    /// The place to restore to is not empty.
    #[error("{0} is not empty; restoring writes over nothing")]
    NotEmpty(String),
    /// The keys at that place are others.
    #[error("the keys in {} are not those of the backup's ledger ({key})", folder.display())]
    OtherKeys {
        /// Where.
        folder: PathBuf,
        /// The ledger's key.
        key: String,
    },
    /// Keys are asked for, and there are none in it.
    #[error(
        "the backup carries no keys; leave --keys out, and put the keys back from where they are kept"
    )]
    NoKeys,
    /// The file system.
    #[error("{}: {source}", path.display())]
    Io {
        /// What was touched.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The keys under their passphrase.
    #[error(transparent)]
    Sealed(#[from] SealedError),
    /// The keys.
    #[error(transparent)]
    Keys(#[from] KeysError),
    /// The checkpoint.
    #[error("the checkpoint: {0}")]
    Note(#[from] NoteError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What was read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// An original.
    #[error(transparent)]
    Originals(#[from] OriginalsError),
    /// Where the ledger lies.
    #[error(transparent)]
    House(#[from] Box<HouseError>),
}

impl From<HouseError> for BackupError {
    fn from(e: HouseError) -> Self {
        Self::House(Box::new(e))
    }
}

fn few(findings: &[Finding]) -> String {
    let shown: Vec<String> = findings
        .iter()
        .take(MAX_SHOWN)
        .map(|f| f.text.clone())
        .collect();
    let more = findings.len().saturating_sub(MAX_SHOWN);
    let rest = if more > 0 {
        format!("; and {more} more")
    } else {
        String::new()
    };
    format!("{}{rest}", shown.join("; "))
}

/// Some events in a row, with what belongs to them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Segment {
    first: u64,
    last: u64,
    events: Listed,
    commands: Listed,
    checkpoints: Listed,
}

/// What is no event and changes: written anew by each run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Around {
    credentials: Listed,
    tokens: Listed,
    settings: Listed,
    files: Listed,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    keys: Option<Listed>,
}

/// An original that was missing or altered already when the backup was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Without {
    /// Which.
    pub digest: Digest,
    /// Why.
    pub why: String,
}

/// The list of a whole backup.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Backup {
    format: String,
    /// How many runs made it.
    runs: u64,
    /// When the last one ended, RFC 3339.
    pub made_at: String,
    /// The key that the checkpoint is verified with.
    pub key: String,
    /// The signed checkpoint over everything in it.
    pub checkpoint: String,
    segments: Vec<Segment>,
    around: Around,
    /// What was gone before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub without: Vec<Without>,
    /// Pictures that were expunged and are being removed; empty but for a run that was stopped at that.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    removed: Vec<Digest>,
    /// SHA-256 of this list with nothing but zeros here.
    sha256: Digest,
}

/// The format's name and version.
const FORMAT: &str = "liftledger-backup-1";

impl Backup {
    /// The list's text, with the digest of itself in it.
    fn text(&mut self) -> Result<Vec<u8>, serde_json::Error> {
        self.sha256 = Digest([0; 32]);
        self.sha256 = Digest(Sha256::digest(serde_json::to_vec_pretty(self)?).into());
        let mut text = serde_json::to_vec_pretty(self)?;
        text.push(b'\n');
        Ok(text)
    }

    /// Reads the list of a whole backup.
    ///
    /// # Errors
    /// [`BackupError::None`] where there is none: not begun, or not finished.
    pub fn find(folder: &Path) -> Result<Self, BackupError> {
        let path = folder.join(LIST);
        let file = match File::open(&path) {
            Ok(file) => file,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                return Err(BackupError::None(folder.to_owned()));
            }
            Err(e) => return Err(at(&path)(e)),
        };
        let mut text = Vec::new();
        file.take(MAX_LIST)
            .read_to_end(&mut text)
            .map_err(at(&path))?;
        let wrong = |why: String| BackupError::Unreadable {
            path: path.clone(),
            why,
        };
        let found: Self = serde_json::from_slice(&text).map_err(|e| wrong(e.to_string()))?;
        if found.format != FORMAT {
            return Err(wrong(format!(
                "its format is {}, and this program reads {FORMAT}",
                found.format
            )));
        }
        if found.clone().text().map_err(|e| wrong(e.to_string()))? != text {
            return Err(wrong("it was altered, or cut off".into()));
        }
        let mut next = 1;
        for segment in &found.segments {
            if segment.first != next || segment.last < segment.first {
                return Err(wrong("its files do not follow each other".into()));
            }
            next = segment.last + 1;
        }
        if found.head()?.size + 1 != next {
            return Err(wrong("its files end elsewhere than its checkpoint".into()));
        }
        Ok(found)
    }

    /// The key that the backup itself names.
    ///
    /// # Errors
    /// Where it is none.
    pub fn verifying(&self) -> Result<VerifyingKey, BackupError> {
        Ok(self.key.parse()?)
    }

    /// The checkpoint, its signature checked by the backup's own key.
    ///
    /// # Errors
    /// Where it is not signed so.
    pub fn head(&self) -> Result<Checkpoint, BackupError> {
        Ok(checkpoint::open(&self.checkpoint, &self.verifying()?)?)
    }

    /// Whether it carries the keys, under a passphrase.
    #[must_use]
    pub fn has_keys(&self) -> bool {
        self.around.keys.is_some()
    }
}

/// How far it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// Events: done, of so many.
    Events(u64, u64),
    /// Originals: copied or looked at, and those that were there already.
    Originals(u64, u64),
}

/// Removes what the list does not name: files of a run that was stopped, and those of runs before.
fn tidy(folder: &Path, backup: &Backup) {
    let around = &backup.around;
    let mut named: std::collections::HashSet<&str> = [
        &around.credentials,
        &around.tokens,
        &around.settings,
        &around.files,
    ]
    .into_iter()
    .chain(&around.keys)
    .map(|l| l.name.as_str())
    .collect();
    for s in &backup.segments {
        named.extend([&s.events, &s.commands, &s.checkpoints].map(|l| l.name.as_str()));
    }
    for inner in ["ledger", "around"] {
        let Ok(listed) = fs::read_dir(folder.join(inner)) else {
            continue;
        };
        for entry in listed.flatten() {
            let Ok(name) = entry.file_name().into_string() else {
                continue;
            };
            if !named.contains(format!("{inner}/{name}").as_str()) {
                // Left for the next run if it cannot be removed now.
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}
