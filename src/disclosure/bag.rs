//! A BagIt bag (RFC 8493, version 1.0) in a zip, written from front to back.
//!
//! Files are stored as they are: pictures hardly shrink, and a stored file can be read out of the zip by anything. Times
//! in the zip are all the same, so that the same files make the same bytes.

use std::collections::BTreeMap;
use std::io::{self, Read, Seek, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::ids::Digest;

/// The declaration of the bag.
pub const BAGIT: &str = "bagit.txt";
/// What it says: RFC 8493 section 2.1.1.
pub const BAGIT_TEXT: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
/// What is said about the bag.
pub const INFO: &str = "bag-info.txt";
/// Digests of everything under `data/`.
pub const MANIFEST: &str = "manifest-sha256.txt";
/// Digests of the other files.
pub const TAG_MANIFEST: &str = "tagmanifest-sha256.txt";
/// The folder of what is handed over.
pub const DATA: &str = "data/";
/// The most files a bag may have.
pub const MAX_FILES: usize = 200_000;

/// Why a bag could not be written.
#[derive(Debug, thiserror::Error)]
pub enum BagError {
    /// The output refused, or an input could not be read.
    #[error("the bundle cannot be written: {0}")]
    Io(#[from] io::Error),
    /// The zip refused.
    #[error("the bundle cannot be written: {0}")]
    Zip(#[from] zip::result::ZipError),
    /// A path that a bag may not have, or has twice.
    #[error(
        "the bundle cannot have a file {0:?}: a path has letters, digits, dots, hyphens, underscores and single slashes, and occurs once"
    )]
    Path(String),
    /// More than [`MAX_FILES`].
    #[error("a bundle holds at most {MAX_FILES} files")]
    TooMany,
}

/// What was written under a path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Added {
    /// SHA-256.
    pub digest: Digest,
    /// Bytes.
    pub bytes: u64,
}

/// A bag that is being written.
pub struct Bag<W: Write + Seek> {
    zip: ZipWriter<W>,
    name: String,
    payload: BTreeMap<String, Added>,
}

/// Whether a path within a bag is one that every reader reads alike.
#[must_use]
pub fn is_path(path: &str) -> bool {
    !path.is_empty()
        && path.len() <= 200
        && path.split('/').all(|part| {
            !part.is_empty()
                && !part.starts_with('.')
                && part
                    .bytes()
                    .all(|b| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'-' | b'_'))
        })
}

fn options() -> SimpleFileOptions {
    SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(zip::DateTime::default())
        .unix_permissions(0o644)
        .large_file(true)
}

impl<W: Write + Seek> Bag<W> {
    /// Begins a bag whose folder in the zip has this name.
    ///
    /// # Errors
    /// [`BagError::Path`].
    pub fn new(out: W, name: &str) -> Result<Self, BagError> {
        if !is_path(name) || name.contains('/') {
            return Err(BagError::Path(name.to_owned()));
        }
        Ok(Self {
            zip: ZipWriter::new(out),
            name: name.to_owned(),
            payload: BTreeMap::new(),
        })
    }

    /// Adds a file under `data/`.
    ///
    /// # Errors
    /// See [`BagError`].
    pub fn add(&mut self, path: &str, mut bytes: &[u8]) -> Result<Added, BagError> {
        self.add_from(path, &mut bytes)
    }

    /// Adds what a reader brings, without holding it in memory.
    ///
    /// # Errors
    /// See [`BagError`].
    pub fn add_from(&mut self, path: &str, from: &mut impl Read) -> Result<Added, BagError> {
        let full = format!("{DATA}{path}");
        if !is_path(path) || self.payload.contains_key(&full) {
            return Err(BagError::Path(path.to_owned()));
        }
        if self.payload.len() >= MAX_FILES {
            return Err(BagError::TooMany);
        }
        let added = self.write(&full, from)?;
        self.payload.insert(full, added);
        Ok(added)
    }

    fn write(&mut self, path: &str, from: &mut impl Read) -> Result<Added, BagError> {
        self.zip
            .start_file(format!("{}/{path}", self.name), options())?;
        let (digest, bytes) = Digest::copied(from, &mut self.zip)?;
        Ok(Added { digest, bytes })
    }

    /// Writes what is said about the bag and the manifests, and ends it. Line breaks in what is said become spaces.
    ///
    /// # Errors
    /// See [`BagError`].
    pub fn finish(mut self, info: &[(&str, String)]) -> Result<W, BagError> {
        let octets: u64 = self.payload.values().map(|a| a.bytes).sum();
        let mut said = String::new();
        for (label, value) in info {
            let value: String = value
                .chars()
                .map(|c| if c.is_control() { ' ' } else { c })
                .collect();
            said.push_str(&format!("{label}: {}\n", value.trim()));
        }
        said.push_str(&format!("Payload-Oxum: {octets}.{}\n", self.payload.len()));
        let mut tags = BTreeMap::new();
        let manifest = manifest(&self.payload);
        for (path, text) in [(BAGIT, BAGIT_TEXT), (INFO, &said), (MANIFEST, &manifest)] {
            tags.insert(path.to_owned(), self.write(path, &mut text.as_bytes())?);
        }
        let text = self::manifest(&tags);
        self.write(TAG_MANIFEST, &mut text.as_bytes())?;
        Ok(self.zip.finish()?)
    }
}

fn manifest(files: &BTreeMap<String, Added>) -> String {
    files
        .iter()
        .map(|(path, added)| format!("{}  {path}\n", added.digest))
        .collect()
}

/// Reads a manifest: paths with their digests.
///
/// # Errors
/// The number of the first line that is none.
pub fn read_manifest(text: &str) -> Result<BTreeMap<String, Digest>, usize> {
    let mut out = BTreeMap::new();
    for (n, line) in text.lines().enumerate() {
        let (digest, path) = line.split_once("  ").ok_or(n + 1)?;
        let digest = digest.parse().map_err(|_| n + 1)?;
        if out.len() >= MAX_FILES || out.insert(path.to_owned(), digest).is_some() {
            return Err(n + 1);
        }
    }
    Ok(out)
}
