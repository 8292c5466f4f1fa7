//! Files of lines, hashed on their way out and on their way in.

use std::fs::{self, File};
use std::io::{self, BufRead as _, BufReader, BufWriter, Read as _, Write as _};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::BackupError;
use crate::ids::Digest;
use crate::ledger::export::MAX_LINE;
use crate::whole::Whole;

/// A file as the list of the backup has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Listed {
    /// Its path in the backup's folder.
    pub name: String,
    /// How long it is.
    pub bytes: u64,
    /// How many lines it has.
    pub lines: u64,
    /// Its SHA-256.
    pub sha256: Digest,
}

pub(super) fn at(path: &Path) -> impl FnOnce(io::Error) -> BackupError + '_ {
    move |source| BackupError::Io {
        path: path.to_owned(),
        source,
    }
}

/// Writes a file under another name, and gives it its own when it is whole and on disk.
pub(super) struct LineWriter {
    out: BufWriter<Whole>,
    folder: PathBuf,
    name: String,
    hash: Sha256,
    bytes: u64,
    lines: u64,
}

impl LineWriter {
    pub fn begin(folder: &Path, name: &str) -> Result<Self, BackupError> {
        let (path, temp) = (folder.join(name), folder.join(format!("{name}.part")));
        if let Some(inner) = temp.parent() {
            fs::create_dir_all(inner).map_err(at(inner))?;
        }
        let file = Whole::begin(&path, temp, 0o600).map_err(at(&path))?;
        Ok(Self {
            out: BufWriter::with_capacity(256 * 1024, file),
            folder: folder.to_owned(),
            name: name.to_owned(),
            hash: Sha256::new(),
            bytes: 0,
            lines: 0,
        })
    }

    fn path(&self) -> PathBuf {
        self.folder.join(&self.name)
    }

    /// A line, with its newline.
    pub fn line(&mut self, line: &[u8]) -> Result<(), BackupError> {
        if line.len() > MAX_LINE {
            return Err(BackupError::Unreadable {
                path: self.path(),
                why: "a line is longer than a line may be".into(),
            });
        }
        self.hash.update(line);
        self.bytes += line.len() as u64;
        self.lines += 1;
        self.out.write_all(line).map_err(at(&self.path()))
    }

    /// A value as a line.
    pub fn value(&mut self, value: &impl Serialize) -> Result<(), BackupError> {
        let mut line = serde_json::to_vec(value).map_err(|e| BackupError::Unreadable {
            path: self.path(),
            why: e.to_string(),
        })?;
        line.push(b'\n');
        self.line(&line)
    }

    pub fn finish(self) -> Result<Listed, BackupError> {
        let path = self.path();
        let file = self
            .out
            .into_inner()
            .map_err(|e| at(&path)(e.into_error()))?;
        file.finish().map_err(at(&path))?;
        Ok(Listed {
            name: self.name,
            bytes: self.bytes,
            lines: self.lines,
            sha256: Digest(self.hash.finalize().into()),
        })
    }
}

/// Reads a file that is listed, line by line, and says at its end whether it is the one that was listed.
pub(super) struct LineReader<'a> {
    input: BufReader<File>,
    path: PathBuf,
    listed: &'a Listed,
    hash: Sha256,
    bytes: u64,
    lines: u64,
    line: Vec<u8>,
}

impl<'a> LineReader<'a> {
    pub fn open(folder: &Path, listed: &'a Listed) -> Result<Self, BackupError> {
        let path = folder.join(&listed.name);
        // A list from elsewhere must not name what lies outside the folder.
        let plain = Path::new(&listed.name)
            .components()
            .all(|c| matches!(c, std::path::Component::Normal(_)));
        if !plain {
            return Err(BackupError::Unreadable {
                path,
                why: "it lies outside the backup".into(),
            });
        }
        let file = File::open(&path).map_err(at(&path))?;
        Ok(Self {
            input: BufReader::with_capacity(256 * 1024, file),
            path,
            listed,
            hash: Sha256::new(),
            bytes: 0,
            lines: 0,
            line: Vec::new(),
        })
    }

    pub fn wrong(&self, why: impl Into<String>) -> BackupError {
        BackupError::Unreadable {
            path: self.path.clone(),
            why: format!("line {}: {}", self.lines, why.into()),
        }
    }

    /// The next line without its newline; none at the end of a file that is the listed one.
    pub fn next(&mut self) -> Result<Option<&[u8]>, BackupError> {
        self.line.clear();
        let n = (&mut self.input)
            .take(MAX_LINE as u64 + 1)
            .read_until(b'\n', &mut self.line)
            .map_err(at(&self.path))?;
        if n == 0 {
            let found = Digest(self.hash.clone().finalize().into());
            let same = found == self.listed.sha256
                && self.bytes == self.listed.bytes
                && self.lines == self.listed.lines;
            return if same {
                Ok(None)
            } else {
                Err(BackupError::Unreadable {
                    path: self.path.clone(),
                    why: "it is not the file that the backup lists: it was altered, cut off or exchanged".into(),
                })
            };
        }
        self.hash.update(&self.line);
        self.bytes += n as u64;
        self.lines += 1;
        match self.line.split_last() {
            Some((b'\n', rest)) => Ok(Some(rest)),
            _ => Err(self.wrong("it is cut off, or longer than a line may be")),
        }
    }

    pub fn value<T: DeserializeOwned>(&mut self) -> Result<Option<T>, BackupError> {
        match self.next()? {
            None => Ok(None),
            Some(line) => match serde_json::from_slice(line) {
                Ok(value) => Ok(Some(value)),
                Err(e) => Err(self.wrong(e.to_string())),
            },
        }
    }
}
