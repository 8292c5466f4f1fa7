//! One upload on disk: `ID.part` has its bytes, `ID.json` the note of how far they are known to be there.

use std::fs::{self, File, OpenOptions};
use std::io::{Read as _, Seek as _, SeekFrom, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::{Announced, LIFE, MAX_NAME, Told, UploadError};
use crate::ids::{Digest, PersonId, UploadId};
use crate::originals::{Kept, Originals, OriginalsError, at};
use crate::whole;

/// How many bytes may be on their way to the disk before it is waited for.
const SYNC_EVERY: u64 = 8 * 1024 * 1024;

/// What is known of an upload.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Note {
    pub id: UploadId,
    pub person: PersonId,
    pub name: String,
    pub bytes: u64,
    pub sha256: Option<Digest>,
    /// Bytes that are here; in the file itself, those that are known to be on disk.
    pub received: u64,
    pub touched_at: DateTime<Utc>,
    /// The original that it became.
    pub kept: Option<Digest>,
}

impl Note {
    pub fn new(person: PersonId, file: Announced, now: DateTime<Utc>) -> Self {
        Self {
            id: UploadId::new(),
            person,
            name: file.name.chars().take(MAX_NAME).collect(),
            bytes: file.bytes,
            sha256: file.sha256,
            received: 0,
            touched_at: now,
            kept: None,
        }
    }

    pub fn told(&self) -> Told {
        Told {
            id: self.id,
            name: self.name.clone(),
            bytes: self.bytes,
            received: self.received,
            digest: self.kept,
            expires_at: self.touched_at + LIFE,
        }
    }
}

fn part_path(root: &Path, id: UploadId) -> PathBuf {
    root.join(format!("{id}.part"))
}

fn note_path(root: &Path, id: UploadId) -> PathBuf {
    root.join(format!("{id}.json"))
}

/// Removes both files; what cannot be removed is cleared away at the next start.
pub(super) fn remove(root: &Path, id: UploadId) {
    let _ = fs::remove_file(note_path(root, id));
    let _ = fs::remove_file(part_path(root, id));
}

/// Whether this is neither an upload's bytes nor its note.
pub(super) fn is_stray(path: &Path) -> bool {
    !matches!(
        path.extension().and_then(|e| e.to_str()),
        Some("part" | "json")
    )
}

/// An upload that somebody holds.
#[derive(Debug)]
pub(super) struct Slot {
    root: PathBuf,
    pub note: Note,
    /// Of the bytes that are here; none after a restart, until they are read again.
    hash: Option<Sha256>,
    file: Option<File>,
    unsynced: u64,
}

impl Slot {
    fn of(root: &Path, note: Note) -> Self {
        Self {
            root: root.to_owned(),
            note,
            hash: None,
            file: None,
            unsynced: 0,
        }
    }

    pub fn begin(root: &Path, note: Note) -> Result<Self, OriginalsError> {
        let path = part_path(root, note.id);
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o640)
            .open(&path)
            .map_err(at(&path))?;
        let mut slot = Self::of(root, note);
        slot.file = Some(file);
        slot.hash = Some(Sha256::new());
        if let Err(e) = slot.save() {
            remove(root, slot.note.id);
            return Err(e);
        }
        Ok(slot)
    }

    /// One that is an original already: only its note.
    pub fn noted(root: &Path, note: Note) -> Result<Self, OriginalsError> {
        let slot = Self::of(root, note);
        slot.save()?;
        Ok(slot)
    }

    /// After a restart, from the path of its note; none where it is no note, or its bytes are gone.
    pub fn take_up(path: &Path, originals: &Originals) -> Option<Self> {
        if path.extension()? != "json" {
            return None;
        }
        let id: UploadId = path.file_stem()?.to_str()?.parse().ok()?;
        let mut text = String::new();
        let file = File::open(path).ok()?;
        file.take(64 * 1024).read_to_string(&mut text).ok()?;
        let mut note: Note = serde_json::from_str(&text)
            .ok()
            .filter(|n: &Note| n.id == id)?;
        let root = path.parent()?;
        if note.kept.is_some_and(|digest| originals.exists(digest)) {
            return Some(Self::of(root, note));
        }
        // Stopped between the note and the move: the bytes are still here, or this is nothing.
        note.kept = None;
        let length = fs::metadata(part_path(root, id)).ok()?.len();
        note.received = note.received.min(length);
        Some(Self::of(root, note))
    }

    /// Puts the note on disk, whole or not at all.
    fn save(&self) -> Result<(), OriginalsError> {
        let path = note_path(&self.root, self.note.id);
        let temp = self.root.join(format!("{}.new", self.note.id));
        let text = serde_json::to_vec(&self.note).map_err(|e| OriginalsError::Io {
            path: path.clone(),
            source: e.into(),
        })?;
        whole::write(&path, temp, &text, 0o640).map_err(at(&path))
    }

    /// The hash of the bytes that are here, read again where it is not known any more.
    fn hash(&mut self) -> Result<&mut Sha256, OriginalsError> {
        if self.hash.is_none() {
            let path = part_path(&self.root, self.note.id);
            let mut file = File::open(&path)
                .map_err(at(&path))?
                .take(self.note.received);
            let mut hash = Sha256::new();
            let mut buffer = vec![0; 256 * 1024];
            loop {
                let n = file.read(&mut buffer).map_err(at(&path))?;
                if n == 0 {
                    break;
                }
                hash.update(&buffer[..n]);
            }
            self.hash = Some(hash);
        }
        Ok(self.hash.get_or_insert_default())
    }

    fn write(&mut self, part: &[u8]) -> Result<(), UploadError> {
        let total = self.note.received.saturating_add(part.len() as u64);
        if self.note.kept.is_some() || total > self.note.bytes {
            return Err(UploadError::Beyond {
                bytes: self.note.bytes,
            });
        }
        self.hash()?;
        let path = part_path(&self.root, self.note.id);
        let mut file = match self.file.take() {
            Some(file) => file,
            None => OpenOptions::new()
                .write(true)
                .open(&path)
                .map_err(at(&path))?,
        };
        // From where the bytes are known to be, over whatever a write that failed left behind.
        file.seek(SeekFrom::Start(self.note.received))
            .and_then(|_| file.write_all(part))
            .map_err(at(&path))?;
        self.file = Some(file);
        self.hash()?.update(part);
        self.note.received = total;
        self.unsynced += part.len() as u64;
        Ok(())
    }

    fn sync(&mut self) -> Result<(), OriginalsError> {
        if let Some(file) = &self.file {
            let path = part_path(&self.root, self.note.id);
            file.sync_data().map_err(at(&path))?;
        }
        self.unsynced = 0;
        self.save()
    }

    /// Writes parts; with the last the file is let go and all of it is on disk. What was written before something goes
    /// wrong counts.
    pub fn write_all(&mut self, parts: &[bytes::Bytes], is_last: bool) -> Result<(), UploadError> {
        let written = parts.iter().try_for_each(|part| self.write(part));
        if written.is_err() || is_last || self.unsynced >= SYNC_EVERY {
            let synced = self.sync();
            if written.is_ok() {
                synced?;
            }
        }
        if is_last {
            self.file = None;
        }
        written
    }

    pub fn finish(&mut self, originals: &Originals) -> Result<Kept, UploadError> {
        let bytes = self.note.bytes;
        if let Some(digest) = self.note.kept {
            return Ok(Kept { digest, bytes });
        }
        if self.note.received != bytes {
            return Err(UploadError::NotWhole {
                received: self.note.received,
                bytes,
            });
        }
        let found = Digest(self.hash()?.clone().finalize().into());
        if let Some(announced) = self.note.sha256.filter(|d| *d != found) {
            self.note.received = 0;
            self.hash = None;
            self.sync()?;
            return Err(UploadError::Differs { announced, found });
        }
        self.file = None;
        let path = part_path(&self.root, self.note.id);
        // A write that failed may have left bytes behind the end.
        let file = OpenOptions::new()
            .write(true)
            .open(&path)
            .map_err(at(&path))?;
        file.set_len(bytes).map_err(at(&path))?;
        file.sync_all().map_err(at(&path))?;
        drop(file);
        // First the note: if the server stops after the move, it says where the bytes went.
        self.note.kept = Some(found);
        let moved = self.save().and_then(|()| {
            originals.adopt(
                &path,
                Kept {
                    digest: found,
                    bytes,
                },
            )
        });
        if let Err(e) = moved {
            self.note.kept = None;
            return Err(e.into());
        }
        Ok(Kept {
            digest: found,
            bytes,
        })
    }
}
