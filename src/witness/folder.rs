//! What a witness keeps: its key, the newest checkpoint that it signed, every one before it, and what it holds against the
//! server.
//!
//! `witness.seed` (mode 600), `witness.vkey`, `latest.txt`, `history.jsonl` (a line each), `accusations.jsonl`.

use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use serde::Serialize;

use crate::keys::{self, KeysError};
use crate::ledger::checkpoint::{self, Checkpoint, MAX_NOTE, NoteError, VerifyingKey};
use crate::ledger::cosignature::{WitnessKey, cosigned};
use crate::ledger::times;
use crate::whole;

const SEED: &str = "witness.seed";
const PUBLIC: &str = "witness.vkey";
const LATEST: &str = "latest.txt";
const HISTORY: &str = "history.jsonl";
const ACCUSATIONS: &str = "accusations.jsonl";
/// How long the file of accusations may become, in bytes: at an alarm a minute, more than a month.
const MAX_ACCUSATIONS: u64 = 64 * 1024 * 1024;

/// Why the witness's folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// No key there, and none was to be made.
    #[error("there is no key at {}: make the witness's folder with --name", .0.display())]
    NoKey(PathBuf),
    /// A key there, under another name.
    #[error("the witness in {} is called {name}; leave --name out", folder.display())]
    OtherName {
        /// Where.
        folder: PathBuf,
        /// Its name.
        name: String,
    },
    /// The key.
    #[error(transparent)]
    Key(#[from] KeysError),
    /// A file that is not what the witness wrote.
    #[error("{}: {why}", path.display())]
    Altered {
        /// Which.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// A name or a note that cannot be signed.
    #[error(transparent)]
    Note(NoteError),
    /// The file system.
    #[error("{}: {source}", path.display())]
    Io {
        /// What was touched.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

fn at(path: &Path) -> impl FnOnce(io::Error) -> FolderError + '_ {
    move |source| FolderError::Io {
        path: path.to_owned(),
        source,
    }
}

/// A witness's folder, opened.
#[derive(Debug)]
pub struct Folder {
    root: PathBuf,
    key: WitnessKey,
}

#[derive(Serialize)]
struct Kept<'a> {
    at: String,
    size: u64,
    note: &'a str,
}

#[derive(Serialize)]
struct Accusation<'a> {
    at: String,
    what: &'a str,
    /// What the server showed.
    shown: &'a str,
    /// What the witness had signed before.
    kept: Option<String>,
}

impl Folder {
    /// Opens the folder; with a name, makes it and its key where there is none.
    ///
    /// # Errors
    /// See [`FolderError`].
    pub fn open(root: &Path, name: Option<&str>) -> Result<Self, FolderError> {
        let (seed, public) = (root.join(SEED), root.join(PUBLIC));
        if !seed.exists() {
            let Some(name) = name else {
                return Err(FolderError::NoKey(seed));
            };
            DirBuilder::new()
                .recursive(true)
                .mode(0o700)
                .create(root)
                .map_err(at(root))?;
            let bytes = keys::random()?;
            let key = WitnessKey::new(&bytes, name).map_err(FolderError::Note)?;
            // The name first: a seed is a witness's only with its name beside it.
            whole(
                root,
                PUBLIC,
                format!("{}\n", key.verifying_key()).as_bytes(),
                0o644,
            )?;
            whole(root, SEED, &bytes, 0o600)?;
            return Ok(Self {
                root: root.to_owned(),
                key,
            });
        }
        let bytes = keys::read(&seed)?;
        let altered = |path: &Path, why: &str| FolderError::Altered {
            path: path.to_owned(),
            why: why.into(),
        };
        let said = String::from_utf8(some(&public, 4096)?)
            .map_err(|_| altered(&public, "it is not UTF-8"))?;
        let found = said.split('+').next().unwrap_or_default().to_owned();
        let key = WitnessKey::new(&bytes, &found).map_err(FolderError::Note)?;
        if key.verifying_key().to_string() != said.trim_end() {
            return Err(altered(&public, "it does not belong to the key beside it"));
        }
        if name.is_some_and(|n| n != found) {
            return Err(FolderError::OtherName {
                folder: root.to_owned(),
                name: found,
            });
        }
        Ok(Self {
            root: root.to_owned(),
            key,
        })
    }

    /// The witness's key.
    #[must_use]
    pub fn key(&self) -> &WitnessKey {
        &self.key
    }

    /// The newest checkpoint that this witness signed.
    ///
    /// # Errors
    /// [`FolderError::Altered`] where it is not signed by both.
    pub fn latest(&self, ledger: &VerifyingKey) -> Result<Option<Checkpoint>, FolderError> {
        let path = self.root.join(LATEST);
        if !path.exists() {
            return Ok(None);
        }
        let altered = |why: String| FolderError::Altered {
            path: path.clone(),
            why,
        };
        let note =
            String::from_utf8(some(&path, MAX_NOTE as u64)?).map_err(|e| altered(e.to_string()))?;
        cosigned(&note, self.key.verifying_key()).map_err(|e| altered(e.to_string()))?;
        let head = checkpoint::open(&note, ledger).map_err(|e| altered(e.to_string()))?;
        Ok(Some(head))
    }

    /// Keeps a checkpoint as the newest, and with a size also in the history; on disk before this returns.
    ///
    /// # Errors
    /// The file system's.
    pub fn keep(
        &self,
        note: &str,
        size: Option<u64>,
        now: DateTime<Utc>,
    ) -> Result<(), FolderError> {
        if let Some(size) = size {
            let line = Kept {
                at: times::recorded(now),
                size,
                note,
            };
            self.add(HISTORY, &line, u64::MAX)?;
        }
        whole(&self.root, LATEST, note.as_bytes(), 0o644)
    }

    /// Writes down what the server showed that it should not have; both notes, so that anybody can see it.
    ///
    /// # Errors
    /// The file system's.
    pub fn accuse(&self, shown: &str, what: &str, now: DateTime<Utc>) -> Result<(), FolderError> {
        let path = self.root.join(LATEST);
        let kept = match some(&path, MAX_NOTE as u64) {
            Ok(bytes) => String::from_utf8(bytes).ok(),
            Err(_) => None,
        };
        let line = Accusation {
            at: times::recorded(now),
            what,
            shown,
            kept,
        };
        self.add(ACCUSATIONS, &line, MAX_ACCUSATIONS)
    }

    fn add(&self, name: &str, line: &impl Serialize, most: u64) -> Result<(), FolderError> {
        let path = self.root.join(name);
        let mut text = serde_json::to_vec(line).map_err(|e| at(&path)(e.into()))?;
        text.push(b'\n');
        let mut file = OpenOptions::new()
            .append(true)
            .create(true)
            .mode(0o644)
            .open(&path)
            .map_err(at(&path))?;
        if file.metadata().map_err(at(&path))?.len() > most {
            return Ok(());
        }
        file.write_all(&text)
            .and_then(|()| file.sync_all())
            .map_err(at(&path))
    }
}

/// The bytes of a file, at most so many.
fn some(path: &Path, most: u64) -> Result<Vec<u8>, FolderError> {
    let mut out = Vec::new();
    let file = File::open(path).map_err(at(path))?;
    file.take(most).read_to_end(&mut out).map_err(at(path))?;
    Ok(out)
}

/// A file whole or not at all, on disk before this returns.
fn whole(root: &Path, name: &str, bytes: &[u8], mode: u32) -> Result<(), FolderError> {
    let path = root.join(name);
    let temp = root.join(format!("{name}.new"));
    whole::write(&path, temp, bytes, mode).map_err(at(&path))
}
