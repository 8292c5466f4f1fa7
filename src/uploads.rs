//! Uploads in parts, for files that are long and lines that break: begun with the file's length, sent in parts from wherever
//! the server says it has come to, finished into an original. Each lies in the data folder as two files, its bytes and a
//! note of how far they are known to be on disk, so that it goes on after the server was stopped or killed.
//!
//! Bounded: so many at once for a person and in all, each at most [`MAX_BYTES`] long, gone a day after its last part. Bytes
//! are hashed on their way; after a restart what is there is hashed once more. Nothing here is evidence yet: an upload is
//! its sender's own until an event names its original.

mod slot;

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, Duration, Utc};
use futures_util::{Stream, StreamExt as _};
use schemars::JsonSchema;
use serde::Serialize;
use tokio::sync::OwnedMutexGuard;

use crate::ids::{Digest, PersonId, UploadId};
use crate::originals::{Kept, MAX_BYTES, Originals, OriginalsError, aside, make_folder};
use slot::{Note, Slot};

/// How many a person may have under way. Our assumption: more than anybody sends at once.
pub const MAX_OF_PERSON: usize = 8;
/// How many may be under way in all.
pub const MAX_OPEN: usize = 64;
/// How many finished ones are remembered, so that a form or call that comes twice is answered twice.
pub const MAX_FINISHED: usize = 1_000;
/// How long after its last part an upload is kept.
pub const LIFE: Duration = Duration::hours(24);
/// The longest name of a file, in characters.
pub const MAX_NAME: usize = 200;
/// Parts of a body are gathered to this many bytes before they are written.
const GATHER: usize = 1024 * 1024;

/// What can go wrong with an upload.
#[derive(Debug, thiserror::Error)]
pub enum UploadError {
    /// None of this person's.
    #[error("there is no such upload, or it was not finished within {} hours", LIFE.num_hours())]
    NotFound,
    /// Too many are under way.
    #[error("too many uploads are under way")]
    TooMany,
    /// The length is none that an original may have.
    #[error("a file has between 1 byte and {} MB", MAX_BYTES / 1024 / 1024)]
    Length,
    /// A part that does not begin where the bytes so far end.
    #[error("the part does not begin at byte {received}, where the upload has come to")]
    Offset {
        /// How far it has come.
        received: u64,
    },
    /// Another part of it is coming in at this moment.
    #[error("another part of this upload is coming in at this moment")]
    Busy,
    /// More bytes than were announced.
    #[error("more bytes came than the {bytes} that were announced")]
    Beyond {
        /// How many were announced.
        bytes: u64,
    },
    /// It is not whole yet.
    #[error("the upload is not whole: {received} of {bytes} bytes are here")]
    NotWhole {
        /// How far it has come.
        received: u64,
        /// How many were announced.
        bytes: u64,
    },
    /// The bytes are not those that were announced.
    #[error("the bytes have the SHA-256 {found}, not the announced {announced}")]
    Differs {
        /// What was announced.
        announced: Digest,
        /// What came.
        found: Digest,
    },
    /// The file system, or a line that broke.
    #[error(transparent)]
    Original(#[from] OriginalsError),
}

/// How far an upload is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Told {
    /// Its identifier.
    pub id: UploadId,
    /// The file's name.
    pub name: String,
    /// How long the file is, in bytes.
    pub bytes: u64,
    /// How many bytes are here: the offset at which the next part begins.
    pub received: u64,
    /// SHA-256 of the original, once it is finished.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub digest: Option<Digest>,
    /// When it is thrown away if nothing more comes.
    pub expires_at: DateTime<Utc>,
}

/// A file that is going to be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Announced {
    /// The file's name.
    pub name: String,
    /// How long it is, in bytes.
    pub bytes: u64,
    /// Its SHA-256, where it is known; what comes is held against it.
    pub sha256: Option<Digest>,
}

/// All uploads of a data folder; cheap to clone.
#[derive(Clone, Debug)]
pub struct Uploads {
    root: PathBuf,
    originals: Originals,
    open: Arc<Mutex<HashMap<UploadId, Entry>>>,
}

/// What is known of an upload without waiting for it.
#[derive(Debug)]
struct Entry {
    person: PersonId,
    touched_at: DateTime<Utc>,
    is_finished: bool,
    slot: Arc<tokio::sync::Mutex<Slot>>,
}

impl Uploads {
    /// Opens the folder, making it where it is not there yet; takes up again what was under way and clears away the rest.
    ///
    /// # Errors
    /// When the file system refuses.
    pub fn open(
        root: impl Into<PathBuf>,
        originals: Originals,
        now: DateTime<Utc>,
    ) -> Result<Self, OriginalsError> {
        let root = root.into();
        make_folder(&root)?;
        let uploads = Self {
            root,
            originals,
            open: Arc::default(),
        };
        let listed = fs::read_dir(&uploads.root).map_err(|source| OriginalsError::Io {
            path: uploads.root.clone(),
            source,
        })?;
        let mut left = Vec::new();
        for path in listed.flatten().map(|e| e.path()) {
            match Slot::take_up(&path, &uploads.originals) {
                Some(slot) if slot.note.touched_at + LIFE > now => uploads.insert(slot),
                // A note's bytes are looked at through the note.
                _ => left.push(path),
            }
        }
        for path in left {
            let id = path.file_stem().and_then(|s| s.to_str()?.parse().ok());
            let is_open = id.is_some_and(|id: UploadId| uploads.entries().contains_key(&id));
            if !is_open || slot::is_stray(&path) {
                // Left for the next start if it cannot be removed now.
                let _ = fs::remove_file(&path);
            }
        }
        Ok(uploads)
    }

    fn entries(&self) -> std::sync::MutexGuard<'_, HashMap<UploadId, Entry>> {
        // Nothing is left half done while it is held.
        self.open.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn insert(&self, slot: Slot) {
        let entry = Entry {
            person: slot.note.person,
            touched_at: slot.note.touched_at,
            is_finished: slot.note.kept.is_some(),
            slot: Arc::new(tokio::sync::Mutex::new(slot)),
        };
        let id = entry.slot.try_lock().map(|s| s.note.id);
        if let Ok(id) = id {
            self.entries().insert(id, entry);
        }
    }

    /// Throws away what nobody went on with for [`LIFE`].
    pub fn sweep(&self, now: DateTime<Utc>) {
        let mut entries = self.entries();
        let finished = entries.values().filter(|e| e.is_finished);
        let mut times: Vec<DateTime<Utc>> = finished.map(|e| e.touched_at).collect();
        times.sort_unstable_by(|a, b| b.cmp(a));
        let oldest = times.get(MAX_FINISHED).copied();
        entries.retain(|id, entry| {
            let over = entry.touched_at + LIFE <= now
                || entry.is_finished && oldest.is_some_and(|t| entry.touched_at <= t);
            // One whose part is coming in is not over.
            let over = over && entry.slot.try_lock().is_ok();
            if over {
                slot::remove(&self.root, *id);
            }
            !over
        });
    }

    fn room(&self, person: PersonId, now: DateTime<Utc>) -> Result<(), UploadError> {
        self.sweep(now);
        let entries = self.entries();
        let open = || entries.values().filter(|e| !e.is_finished);
        let own = open().filter(|e| e.person == person).count();
        if own >= MAX_OF_PERSON || open().count() >= MAX_OPEN {
            return Err(UploadError::TooMany);
        }
        Ok(())
    }

    /// Begins an upload.
    ///
    /// # Errors
    /// [`UploadError::Length`], [`UploadError::TooMany`], or the file system's.
    pub async fn begin(
        &self,
        person: PersonId,
        file: Announced,
        now: DateTime<Utc>,
    ) -> Result<Told, UploadError> {
        if file.bytes == 0 || file.bytes > MAX_BYTES {
            return Err(UploadError::Length);
        }
        self.room(person, now)?;
        let note = Note::new(person, file, now);
        let root = self.root.clone();
        let slot = aside(move || Slot::begin(&root, note)).await?;
        let told = slot.note.told();
        self.insert(slot);
        Ok(told)
    }

    /// Remembers an original that came in one piece but could not be recorded yet, so that the form can be sent again
    /// without its file.
    ///
    /// # Errors
    /// The file system's.
    pub async fn remember(
        &self,
        person: PersonId,
        name: &str,
        kept: Kept,
        now: DateTime<Utc>,
    ) -> Result<UploadId, UploadError> {
        let file = Announced {
            name: name.to_owned(),
            bytes: kept.bytes,
            sha256: None,
        };
        let mut note = Note::new(person, file, now);
        note.received = kept.bytes;
        note.kept = Some(kept.digest);
        let root = self.root.clone();
        let slot = aside(move || Slot::noted(&root, note)).await?;
        let id = slot.note.id;
        self.insert(slot);
        self.sweep(now);
        Ok(id)
    }

    /// The person's uploads that are not finished, the oldest first.
    #[must_use]
    pub fn of(&self, person: PersonId) -> Vec<Told> {
        let entries = self.entries();
        let own = entries
            .values()
            .filter(|e| e.person == person && !e.is_finished);
        // One whose part is coming in says how far it is when that is in.
        let mut out: Vec<Told> = own
            .filter_map(|e| e.slot.try_lock().ok().map(|s| s.note.told()))
            .collect();
        out.sort_by_key(|t| t.id);
        out
    }

    /// Takes an upload for oneself; another person's is as good as none.
    fn hold(
        &self,
        id: UploadId,
        person: PersonId,
        now: DateTime<Utc>,
    ) -> Result<OwnedMutexGuard<Slot>, UploadError> {
        let mut entries = self.entries();
        let entry = entries
            .get_mut(&id)
            .filter(|e| e.person == person && e.touched_at + LIFE > now)
            .ok_or(UploadError::NotFound)?;
        let slot = entry.slot.clone().try_lock_owned();
        let mut slot = slot.map_err(|_| UploadError::Busy)?;
        entry.touched_at = now;
        slot.note.touched_at = now;
        Ok(slot)
    }

    /// How far an upload is.
    ///
    /// # Errors
    /// [`UploadError::NotFound`], [`UploadError::Busy`].
    pub fn told(
        &self,
        id: UploadId,
        person: PersonId,
        now: DateTime<Utc>,
    ) -> Result<Told, UploadError> {
        Ok(self.hold(id, person, now)?.note.told())
    }

    /// Takes a part that begins at `offset`. What came before the line broke stays.
    ///
    /// # Errors
    /// [`UploadError::Offset`], [`UploadError::Beyond`], [`UploadError::Busy`], a broken line, or the file system's.
    pub async fn take<S, E>(
        &self,
        id: UploadId,
        person: PersonId,
        offset: u64,
        mut stream: S,
        now: DateTime<Utc>,
    ) -> Result<Told, UploadError>
    where
        S: Stream<Item = Result<bytes::Bytes, E>> + Unpin,
        E: std::fmt::Display,
    {
        let mut slot = self.hold(id, person, now)?;
        if offset != slot.note.received {
            return Err(UploadError::Offset {
                received: slot.note.received,
            });
        }
        let mut gathered = Vec::new();
        let mut broken = None;
        loop {
            let part = match stream.next().await {
                Some(Ok(part)) => Some(part),
                Some(Err(e)) => {
                    broken = Some(OriginalsError::BrokeOff(e.to_string()));
                    None
                }
                None => None,
            };
            let is_last = part.is_none();
            gathered.extend(part);
            let count: usize = gathered.iter().map(bytes::Bytes::len).sum();
            if is_last || count >= GATHER {
                let parts = std::mem::take(&mut gathered);
                // The upload goes along, so that it stays held until the bytes are written, also if nobody waits any more.
                slot = aside_upload(move || {
                    slot.write_all(&parts, is_last)?;
                    Ok(slot)
                })
                .await?;
            }
            if is_last {
                return match broken {
                    Some(e) => Err(e.into()),
                    None => Ok(slot.note.told()),
                };
            }
        }
    }

    /// Makes the whole upload an original. Done before, it gives the same once more.
    ///
    /// # Errors
    /// [`UploadError::NotWhole`]; [`UploadError::Differs`], after which it begins again from its first byte; or the file
    /// system's.
    pub async fn finish(
        &self,
        id: UploadId,
        person: PersonId,
        now: DateTime<Utc>,
    ) -> Result<(Kept, String), UploadError> {
        let mut slot = self.hold(id, person, now)?;
        let originals = self.originals.clone();
        let (kept, name) = aside_upload(move || {
            let kept = slot.finish(&originals)?;
            Ok((kept, slot.note.name.clone()))
        })
        .await?;
        if let Some(entry) = self.entries().get_mut(&id) {
            entry.is_finished = true;
        }
        Ok((kept, name))
    }

    /// Throws an upload away.
    ///
    /// # Errors
    /// [`UploadError::NotFound`], [`UploadError::Busy`].
    pub fn abandon(
        &self,
        id: UploadId,
        person: PersonId,
        now: DateTime<Utc>,
    ) -> Result<(), UploadError> {
        let _held = self.hold(id, person, now)?;
        self.entries().remove(&id);
        slot::remove(&self.root, id);
        Ok(())
    }

    /// Forgets every upload that became this original, or was announced as it: its file was expunged.
    pub fn forget(&self, digest: Digest) {
        let mut entries = self.entries();
        entries.retain(|id, entry| {
            // One whose part is coming in is looked at by its own end.
            let is_it = entry.slot.try_lock().is_ok_and(|slot| {
                slot.note.kept == Some(digest) || slot.note.sha256 == Some(digest)
            });
            if is_it {
                slot::remove(&self.root, *id);
            }
            !is_it
        });
    }

    /// Where uploads lie.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.root
    }
}

async fn aside_upload<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, UploadError> + Send + 'static,
) -> Result<T, UploadError> {
    tokio::task::spawn_blocking(work)
        .await
        .unwrap_or_else(|e| Err(OriginalsError::BrokeOff(e.to_string()).into()))
}
