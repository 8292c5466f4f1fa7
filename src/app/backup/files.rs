//! Originals from one folder to another, and the agency's small files.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::Read as _;
use std::path::Path;

use super::lines::at;
use super::rows::FileLine;
use super::{BackupError, MAX_WITHOUT, Progress, Without};
use crate::ids::Digest;
use crate::originals::{Originals, OriginalsError};

/// The longest of the agency's files, in bytes.
const MAX_FILE: u64 = 1024 * 1024;
/// How many of them there may be.
const MAX_FILES: usize = 100;

/// What copying did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Copied {
    /// Files that are new here.
    pub files: u64,
    /// Their bytes.
    pub bytes: u64,
    /// Files that were here already.
    pub there: u64,
}

/// Copies what is not there yet, hashed on its way. What is altered is left out and named.
pub(super) fn copy(
    from: &Originals,
    to: &Originals,
    progress: &mut (dyn FnMut(Progress) + Send),
) -> Result<(Copied, Vec<Without>), BackupError> {
    let mut done = Copied::default();
    let mut without = Vec::new();
    for digest in from.list() {
        let digest = digest?;
        if to.exists(digest) {
            done.there += 1;
        } else {
            match to.copy(from, digest) {
                Ok(kept) => {
                    done.files += 1;
                    done.bytes += kept.bytes;
                }
                // Gone between the listing and the reading, or not what its name says.
                Err(
                    e @ (OriginalsError::Altered { .. }
                    | OriginalsError::Missing(_)
                    | OriginalsError::Empty),
                ) => {
                    if without.len() >= MAX_WITHOUT {
                        return Err(e.into());
                    }
                    without.push(Without {
                        digest,
                        why: e.to_string(),
                    });
                }
                Err(e) => return Err(e.into()),
            }
        }
        progress(Progress::Originals(done.files, done.there));
    }
    Ok((done, without))
}

/// Every original in a folder against its digest, and every one that events name against the folder.
pub(super) fn check(
    originals: &Originals,
    named: &BTreeSet<Digest>,
    without: &[Without],
    progress: &mut (dyn FnMut(Progress) + Send),
) -> Result<u64, BackupError> {
    let known: BTreeSet<Digest> = without.iter().map(|w| w.digest).collect();
    let mut done = 0;
    for digest in originals.list() {
        originals.verify(digest?)?;
        done += 1;
        progress(Progress::Originals(done, 0));
    }
    for digest in named {
        if !known.contains(digest) && !originals.has(*digest)? {
            return Err(OriginalsError::Missing(*digest).into());
        }
    }
    Ok(done)
}

/// The agency's own files: everything beside the database that ends in `.toml`.
pub(super) fn small(folder: &Path) -> Result<Vec<FileLine>, BackupError> {
    let mut names: Vec<String> = Vec::new();
    for entry in fs::read_dir(folder).map_err(at(folder))? {
        let entry = entry.map_err(at(folder))?;
        if let Ok(name) = entry.file_name().into_string()
            && is_small(&name)
            && entry.path().is_file()
        {
            names.push(name);
        }
    }
    names.sort();
    let mut out = Vec::new();
    for name in names {
        let path = folder.join(&name);
        let wrong = |why: &str| BackupError::Unreadable {
            path: path.clone(),
            why: why.into(),
        };
        if out.len() >= MAX_FILES {
            return Err(wrong("there are too many such files"));
        }
        let mut bytes = Vec::new();
        let file = File::open(&path).map_err(at(&path))?;
        file.take(MAX_FILE + 1)
            .read_to_end(&mut bytes)
            .map_err(at(&path))?;
        if bytes.len() as u64 > MAX_FILE {
            return Err(wrong("it is longer than 1 MB"));
        }
        let text = String::from_utf8(bytes).map_err(|_| wrong("it is not UTF-8"))?;
        out.push(FileLine { name, text });
    }
    Ok(out)
}

/// Whether a name is one that [`small`] gives.
pub(super) fn is_small(name: &str) -> bool {
    name.len() <= 100
        && name.ends_with(".toml")
        && !name.starts_with('.')
        && !name.contains(['/', '\\', '\0'])
}
