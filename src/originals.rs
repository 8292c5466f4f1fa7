//! Image originals on disk, each under its own digest: `originals/ab/cd/abcd…`.
//!
//! An original is durable before the event that names it: the bytes are hashed on their way into a temporary file, the
//! file is synced, renamed to its digest, and the folders on the way are synced. A crash in between leaves a stray
//! temporary file, which is harmless. Bytes are never altered: an original that is already there stays, and one that no
//! longer fits its digest is reported, not healed in silence.
//!
//! Where they are kept in a bucket ([`bucket`]), they come into the folder as before, and are durable when the store of the
//! bucket says so and shows them; nothing of them stays in the folder.
//!
//! Not trusted: whoever can write to the folder can destroy originals, but can't pass others off for them.

pub mod bucket;
pub mod place;

use std::{
    fs::{self, DirBuilder, File, OpenOptions},
    io::{self, Read, Seek as _, Write as _},
    os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _, PermissionsExt as _},
    path::{Path, PathBuf},
    sync::Arc,
    time::{Duration, SystemTime},
};

use futures_util::{Stream, StreamExt as _};
use sha2::{Digest as _, Sha256};

use crate::ids::Digest;
pub use bucket::{Bucket, BucketError};
pub use place::{Place, PlaceError};

/// The longest original, in bytes.
pub const MAX_BYTES: u64 = 200 * 1024 * 1024;

/// Temporary files older than this are left over from a crash.
const STALE: Duration = Duration::from_secs(24 * 3600);

/// Parts of a stream are gathered to this many bytes before they are written.
const GATHER: usize = 1024 * 1024;

/// What can go wrong with an original.
#[derive(Debug, thiserror::Error)]
pub enum OriginalsError {
    /// More bytes than an original may have.
    #[error("the file is longer than {} MB, the most this server keeps", MAX_BYTES / 1024 / 1024)]
    TooLong,
    /// No bytes at all.
    #[error("the file is empty")]
    Empty,
    /// The original that an event names is not there.
    #[error("the original {0} is missing")]
    Missing(Digest),
    /// The bytes under a digest don't fit it.
    #[error("the original {expected} was altered: its bytes now have the digest {found}")]
    Altered {
        /// The digest on the record.
        expected: Digest,
        /// The digest of what is there.
        found: Digest,
    },
    /// Whoever sent the bytes stopped.
    #[error("the upload broke off: {0}")]
    BrokeOff(String),
    /// The disk is full, or whoever runs the server let it have no more of it.
    #[error("there is no room for it on the server's disk ({})", path.display())]
    NoRoom {
        /// What was to be written.
        path: PathBuf,
    },
    /// The object store does not answer, or refuses. Whether it kept what it was given, nobody knows.
    #[error("the object store of originals: {0}")]
    Away(String),
    /// The bucket cannot be used.
    #[error(transparent)]
    Bucket(#[from] BucketError),
    /// The file system refused.
    #[error("{}: {source}", path.display())]
    Io {
        /// What was touched.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// What the file system said of a path.
pub(crate) fn at(path: &Path) -> impl FnOnce(io::Error) -> OriginalsError + '_ {
    move |source| {
        let path = path.to_owned();
        match source.kind() {
            io::ErrorKind::StorageFull
            | io::ErrorKind::QuotaExceeded
            | io::ErrorKind::FileTooLarge => OriginalsError::NoRoom { path },
            _ => OriginalsError::Io { path, source },
        }
    }
}

/// What was kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kept {
    /// SHA-256 of the bytes.
    pub digest: Digest,
    /// How many bytes.
    pub bytes: u64,
}

/// The folder of originals.
#[derive(Clone, Debug)]
pub struct Originals {
    root: PathBuf,
    bucket: Option<Arc<Bucket>>,
}

impl Originals {
    /// Opens the folder, making it where it isn't there yet, and clears away what a crash left a day or more ago.
    ///
    /// # Errors
    /// When the file system refuses.
    pub fn open(root: impl Into<PathBuf>) -> Result<Self, OriginalsError> {
        let originals = Self::at(root);
        let coming = originals.coming();
        make_folder(&coming)?;
        sync_folder(&originals.root)?;
        for entry in fs::read_dir(&coming).map_err(at(&coming))?.flatten() {
            let age = entry
                .metadata()
                .and_then(|m| m.modified())
                .ok()
                .and_then(|then| SystemTime::now().duration_since(then).ok());
            if age.is_some_and(|age| age > STALE) {
                // Left for the next start if it can't be removed now.
                let _ = fs::remove_file(entry.path());
            }
        }
        Ok(originals)
    }

    /// How many bytes may still be written on the disk that holds them.
    ///
    /// # Errors
    /// The file system's.
    pub fn room(&self) -> Result<u64, OriginalsError> {
        let said = rustix::fs::statvfs(&self.root).map_err(|e| at(&self.root)(e.into()))?;
        Ok(said.f_bavail.saturating_mul(said.f_frsize))
    }

    /// A folder of originals that is there, to be read only: nothing is made and nothing cleared away.
    pub fn at(root: impl Into<PathBuf>) -> Self {
        Self {
            root: root.into(),
            bucket: None,
        }
    }

    /// The same with a bucket, in which they are kept; the folder is only where they come in.
    #[must_use]
    pub fn in_bucket(mut self, bucket: Bucket) -> Self {
        self.bucket = Some(Arc::new(bucket));
        self
    }

    /// Whether the object store answers, where there is one.
    ///
    /// # Errors
    /// [`OriginalsError::Away`].
    pub fn answers(&self) -> Result<(), OriginalsError> {
        match &self.bucket {
            // Nothing has this digest; that there is nothing is an answer.
            Some(bucket) => bucket.length(Digest([0; 32])).map(drop),
            None => Ok(()),
        }
    }

    /// Every original that there is a file for, in the order of digests, one folder's names in memory at a time. Files that
    /// bear no digest's name, or lie in another folder than their name says, are passed over.
    pub fn list(&self) -> Box<dyn Iterator<Item = Result<Digest, OriginalsError>> + '_> {
        match &self.bucket {
            Some(bucket) => Box::new(bucket.list()),
            None => Box::new(self.list_folder()),
        }
    }

    fn list_folder(&self) -> impl Iterator<Item = Result<Digest, OriginalsError>> + use<> {
        let root = self.root.clone();
        names(&root).into_iter().flat_map(move |outer| {
            let outer = match outer {
                Ok(name) if name.len() == 2 => root.join(name),
                Ok(_) => return Vec::new(),
                Err(e) => return vec![Err(e)],
            };
            let mut out = Vec::new();
            for inner in names(&outer) {
                let listed = inner.map(|name| names(&outer.join(name)));
                match listed {
                    Ok(files) => out.extend(files.into_iter().filter_map(|file| match file {
                        Ok(name) => {
                            let digest: Digest = name.parse().ok()?;
                            Self::at(&root).exists(digest).then_some(Ok(digest))
                        }
                        Err(e) => Some(Err(e)),
                    })),
                    Err(e) => out.push(Err(e)),
                }
            }
            out
        })
    }

    /// Where the bytes of `digest` are or would be in the folder; not where they are kept in a bucket.
    #[must_use]
    pub fn path(&self, digest: Digest) -> PathBuf {
        let name = digest.to_string();
        self.root.join(&name[..2]).join(&name[2..4]).join(name)
    }

    fn coming(&self) -> PathBuf {
        self.root.join("coming")
    }

    /// Begins to take in an original.
    ///
    /// # Errors
    /// When the file system refuses.
    pub fn begin(&self) -> Result<Incoming, OriginalsError> {
        let path = self
            .coming()
            .join(uuid::Uuid::now_v7().simple().to_string());
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o440)
            .open(&path)
            .map_err(at(&path))?;
        Ok(Incoming {
            originals: self.clone(),
            temp: TempFile(path),
            file,
            hash: Sha256::new(),
            bytes: 0,
        })
    }

    /// Keeps bytes that are already in memory.
    ///
    /// # Errors
    /// As [`Incoming::write`] and [`Incoming::finish`].
    pub fn keep(&self, bytes: &[u8]) -> Result<Kept, OriginalsError> {
        let mut incoming = self.begin()?;
        incoming.write(bytes)?;
        incoming.finish()
    }

    /// Keeps what a stream brings, off the async threads. Dropped half-way, it leaves nothing behind.
    ///
    /// # Errors
    /// As [`Incoming::write`] and [`Incoming::finish`], and when the stream breaks off.
    pub async fn keep_stream<S, E>(&self, mut stream: S) -> Result<Kept, OriginalsError>
    where
        S: Stream<Item = Result<bytes::Bytes, E>> + Unpin,
        E: std::fmt::Display,
    {
        let originals = self.clone();
        let mut incoming = aside(move || originals.begin()).await?;
        let (mut gathered, mut count) = (Vec::new(), 0);
        while let Some(part) = stream.next().await {
            let part = part.map_err(|e| OriginalsError::BrokeOff(e.to_string()))?;
            count += part.len();
            gathered.push(part);
            if count < GATHER {
                continue;
            }
            let parts = std::mem::take(&mut gathered);
            count = 0;
            incoming = aside(move || {
                parts.iter().try_for_each(|part| incoming.write(part))?;
                Ok(incoming)
            })
            .await?;
        }
        aside(move || {
            gathered.iter().try_for_each(|part| incoming.write(part))?;
            incoming.finish()
        })
        .await
    }

    /// Takes over a file that is durable and was hashed on its way in. It is moved, not copied, where it lies on the same
    /// disk; afterwards there is nothing under its old path.
    ///
    /// # Errors
    /// [`OriginalsError::Altered`] when the same original was kept before and its file no longer fits; or the file
    /// system's.
    pub fn adopt(&self, file: &Path, kept: Kept) -> Result<(), OriginalsError> {
        if let Some(bucket) = &self.bucket {
            bucket.keep(kept.digest, file, kept.bytes)?;
            return fs::remove_file(file).map_err(at(file));
        }
        let path = self.path(kept.digest);
        if self.exists(kept.digest) {
            self.verify(kept.digest)?;
            fs::remove_file(file).map_err(at(file))?;
            return self.sync_way(&path);
        }
        if let Some(inner) = path.parent() {
            make_folder(inner)?;
        }
        match fs::rename(file, &path) {
            Err(e) if e.kind() == io::ErrorKind::CrossesDevices => {
                self.copy_in(File::open(file).map_err(at(file))?, file, kept.digest)?;
                fs::remove_file(file).map_err(at(file))?;
            }
            renamed => renamed.map_err(at(&path))?,
        }
        fs::set_permissions(&path, fs::Permissions::from_mode(0o440)).map_err(at(&path))?;
        self.sync_way(&path)
    }

    /// Copies an original from another folder, hashed on its way.
    ///
    /// # Errors
    /// [`OriginalsError::Missing`], [`OriginalsError::Altered`] where the bytes are others than its name says, or the file
    /// system's; nothing is kept then.
    pub fn copy(&self, from: &Self, digest: Digest) -> Result<Kept, OriginalsError> {
        self.copy_in(from.stored(digest)?, &from.path(digest), digest)
    }

    fn copy_in(
        &self,
        mut from: impl Read,
        file: &Path,
        digest: Digest,
    ) -> Result<Kept, OriginalsError> {
        let mut incoming = self.begin()?;
        let mut buffer = vec![0; 256 * 1024];
        loop {
            let n = from.read(&mut buffer).map_err(at(file))?;
            if n == 0 {
                break;
            }
            incoming.write(&buffer[..n])?;
        }
        incoming.finish_as(digest)
    }

    /// Syncs the folders on the way to an original. Also when it was there before: whoever put it there may not have come
    /// this far.
    fn sync_way(&self, path: &Path) -> Result<(), OriginalsError> {
        for folder in path.ancestors().skip(1).take(2) {
            sync_folder(folder)?;
        }
        sync_folder(&self.root)
    }

    /// Whether there is a file for `digest`; says nothing of its bytes. Not known where an object store is away: where
    /// anything is given up because of the answer, ask [`Originals::has`].
    #[must_use]
    pub fn exists(&self, digest: Digest) -> bool {
        self.has(digest).unwrap_or_default()
    }

    /// Whether there is a file for `digest`; says nothing of its bytes.
    ///
    /// # Errors
    /// [`OriginalsError::Away`]: nobody knows.
    pub fn has(&self, digest: Digest) -> Result<bool, OriginalsError> {
        match &self.bucket {
            Some(bucket) => Ok(bucket.length(digest)?.is_some()),
            None => Ok(self.path(digest).is_file()),
        }
    }

    /// Whether they are kept in a bucket, where every question is asked over the network.
    #[must_use]
    pub fn are_in_bucket(&self) -> bool {
        self.bucket.is_some()
    }

    /// Reads an original and holds it against its digest, so that altered bytes never leave this module.
    ///
    /// # Errors
    /// [`OriginalsError::Missing`], [`OriginalsError::Altered`], or the file system's.
    pub fn read(&self, digest: Digest) -> Result<Vec<u8>, OriginalsError> {
        let (bytes, found) = if let Some(bucket) = &self.bucket {
            let (bytes, found, _) = bucket.fetch(digest, || Ok(Vec::new()))?;
            (bytes, found)
        } else {
            let path = self.path(digest);
            let file = self.file(digest)?;
            let mut bytes = Vec::new();
            file.take(MAX_BYTES + 1)
                .read_to_end(&mut bytes)
                .map_err(at(&path))?;
            let found = Digest::of(&bytes);
            (bytes, found)
        };
        if found == digest {
            Ok(bytes)
        } else {
            Err(OriginalsError::Altered {
                expected: digest,
                found,
            })
        }
    }

    /// As [`Originals::read`], off the async threads.
    ///
    /// # Errors
    /// As [`Originals::read`].
    pub async fn read_aside(&self, digest: Digest) -> Result<Vec<u8>, OriginalsError> {
        let originals = self.clone();
        aside(move || originals.read(digest)).await
    }

    /// Holds the bytes on disk against their digest without keeping them in memory; returns how many there are.
    ///
    /// # Errors
    /// As [`Originals::read`].
    pub fn verify(&self, digest: Digest) -> Result<u64, OriginalsError> {
        let (found, bytes) = if let Some(bucket) = &self.bucket {
            let (_, found, bytes) = bucket.fetch(digest, || Ok(io::sink()))?;
            (found, bytes)
        } else {
            let path = self.path(digest);
            Digest::of_reader(&mut self.file(digest)?).map_err(at(&path))?
        };
        if found == digest {
            Ok(bytes)
        } else {
            Err(OriginalsError::Altered {
                expected: digest,
                found,
            })
        }
    }

    /// Removes an original whose every event was expunged; nothing where there is none. What the file system or the disk
    /// keeps of its blocks, or an object store of older versions, nobody here can know.
    ///
    /// # Errors
    /// The file system's, or [`OriginalsError::Away`].
    pub fn remove(&self, digest: Digest) -> Result<(), OriginalsError> {
        if let Some(bucket) = &self.bucket {
            return bucket.remove(digest);
        }
        let path = self.path(digest);
        match fs::remove_file(&path) {
            Ok(()) => path.parent().map_or(Ok(()), sync_folder),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(()),
            Err(e) => Err(at(&path)(e)),
        }
    }

    /// A path for a file on its way out, in the folder of what is coming: on the disk that holds the originals, and cleared
    /// away at the next start if it is left.
    #[must_use]
    pub fn scratch(&self, name: &str) -> PathBuf {
        self.coming().join(name)
    }

    /// The stored bytes, to be copied out part by part. Nobody has held them against their digest yet.
    ///
    /// # Errors
    /// [`OriginalsError::Missing`], or the file system's.
    pub fn stored(&self, digest: Digest) -> Result<File, OriginalsError> {
        let Some(bucket) = &self.bucket else {
            return self.file(digest);
        };
        let path = self.scratch(&uuid::Uuid::now_v7().simple().to_string());
        let (mut file, _, _) = bucket.fetch(digest, || {
            let file = OpenOptions::new()
                .read(true)
                .write(true)
                .create_new(true)
                .mode(0o600)
                .open(&path)
                .map_err(at(&path))?;
            // It goes with whoever has it open.
            fs::remove_file(&path).map_err(at(&path))?;
            Ok(file)
        })?;
        file.rewind().map_err(at(&path))?;
        Ok(file)
    }

    fn file(&self, digest: Digest) -> Result<File, OriginalsError> {
        let path = self.path(digest);
        match File::open(&path) {
            Ok(file) => Ok(file),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Err(OriginalsError::Missing(digest)),
            Err(e) => Err(at(&path)(e)),
        }
    }
}

/// An original on its way in. Dropped before [`Incoming::finish`], it leaves nothing behind.
#[derive(Debug)]
pub struct Incoming {
    originals: Originals,
    temp: TempFile,
    file: File,
    hash: Sha256,
    bytes: u64,
}

impl Incoming {
    /// Takes the next part.
    ///
    /// # Errors
    /// [`OriginalsError::TooLong`] beyond [`MAX_BYTES`], or the file system's.
    pub fn write(&mut self, part: &[u8]) -> Result<(), OriginalsError> {
        self.bytes = self.bytes.saturating_add(part.len() as u64);
        if self.bytes > MAX_BYTES {
            return Err(OriginalsError::TooLong);
        }
        self.hash.update(part);
        self.file.write_all(part).map_err(at(&self.temp.0))
    }

    /// As [`Incoming::finish`], for bytes whose digest is known: others are not kept.
    ///
    /// # Errors
    /// [`OriginalsError::Altered`] where the bytes have another digest; or as [`Incoming::finish`].
    pub fn finish_as(self, expected: Digest) -> Result<Kept, OriginalsError> {
        let found = Digest(self.hash.clone().finalize().into());
        if found == expected {
            self.finish()
        } else {
            Err(OriginalsError::Altered { expected, found })
        }
    }

    /// Makes it durable under its digest.
    ///
    /// # Errors
    /// [`OriginalsError::Empty`]; [`OriginalsError::Altered`] when the same original was kept before and its file no
    /// longer fits (it is left as it is, for whoever looks into it); or the file system's.
    pub fn finish(self) -> Result<Kept, OriginalsError> {
        if self.bytes == 0 {
            return Err(OriginalsError::Empty);
        }
        let digest = Digest(self.hash.finalize().into());
        let kept = Kept {
            digest,
            bytes: self.bytes,
        };
        if let Some(bucket) = &self.originals.bucket {
            self.file.sync_all().map_err(at(&self.temp.0))?;
            bucket.keep(digest, &self.temp.0, self.bytes)?;
            return Ok(kept);
        }
        let path = self.originals.path(digest);
        if self.originals.exists(digest) {
            self.originals.verify(digest)?;
        } else {
            self.file.sync_all().map_err(at(&self.temp.0))?;
            if let Some(inner) = path.parent() {
                make_folder(inner)?;
            }
            fs::rename(&self.temp.0, &path).map_err(at(&path))?;
        }
        self.originals.sync_way(&path)?;
        Ok(kept)
    }
}

/// What lies in a folder, in order; nothing where it is no folder.
fn names(folder: &Path) -> Vec<Result<String, OriginalsError>> {
    let listed = match fs::read_dir(folder) {
        Ok(listed) => listed,
        Err(e) => {
            let nothing = [io::ErrorKind::NotFound, io::ErrorKind::NotADirectory];
            if nothing.contains(&e.kind()) {
                return Vec::new();
            }
            return vec![Err(at(folder)(e))];
        }
    };
    let mut out = Vec::new();
    let mut names = Vec::new();
    for entry in listed {
        match entry {
            Ok(entry) => names.extend(entry.file_name().into_string()),
            Err(e) => out.push(Err(at(folder)(e))),
        }
    }
    names.sort_unstable();
    out.extend(names.into_iter().map(Ok));
    out
}

/// Removes the file when it goes out of scope; after a rename there is nothing to remove.
#[derive(Debug)]
struct TempFile(PathBuf);

impl Drop for TempFile {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.0);
    }
}

pub(crate) fn make_folder(path: &Path) -> Result<(), OriginalsError> {
    DirBuilder::new()
        .recursive(true)
        .mode(0o750)
        .create(path)
        .map_err(at(path))
}

pub(crate) fn sync_folder(path: &Path) -> Result<(), OriginalsError> {
    crate::whole::sync_folder(path).map_err(at(path))
}

/// Runs file work on a thread that may wait.
pub(crate) async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, OriginalsError> + Send + 'static,
) -> Result<T, OriginalsError> {
    tokio::task::spawn_blocking(work)
        .await
        .unwrap_or_else(|e| Err(OriginalsError::BrokeOff(e.to_string())))
}
