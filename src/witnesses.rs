//! Whose cosignatures this ledger keeps: the agency's own file `witnesses.toml` in the data folder, read strictly.
//!
//! ```toml
//! [[witness]]
//! key = "witness.example/slip-road+1a2b3c4d+BA…"
//! ```

use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use serde::Deserialize;

use crate::ledger::cosignature::WitnessVerifyingKey;

/// The file's name.
pub const FILE: &str = "witnesses.toml";
/// How many there may be.
pub const MOST: usize = 16;
/// How long the file may be, in bytes.
const MAX_BYTES: u64 = 64 * 1024;

/// Why the file was not taken.
#[derive(Debug, thiserror::Error)]
pub enum WitnessesError {
    /// It cannot be read.
    #[error("{}: {source}", path.display())]
    Io {
        /// Where.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// It says something else.
    #[error("{}: {why}", path.display())]
    Content {
        /// Where.
        path: PathBuf,
        /// Why.
        why: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Content {
    #[serde(default)]
    witness: Vec<One>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct One {
    key: String,
}

/// The witnesses' keys.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Witnesses(Vec<WitnessVerifyingKey>);

impl Witnesses {
    /// Those that the folder's file names; none where there is no file.
    ///
    /// # Errors
    /// See [`WitnessesError`].
    pub fn of_folder(folder: &Path) -> Result<Self, WitnessesError> {
        let path = folder.join(FILE);
        let fail = |source| WitnessesError::Io {
            path: path.clone(),
            source,
        };
        let file = match File::open(&path) {
            Ok(file) => file,
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(e) => return Err(fail(e)),
        };
        let mut text = String::new();
        file.take(MAX_BYTES)
            .read_to_string(&mut text)
            .map_err(fail)?;
        Self::parse(&text).map_err(|why| WitnessesError::Content { path, why })
    }

    /// Reads the text of such a file.
    ///
    /// # Errors
    /// Why it was not taken.
    pub fn parse(text: &str) -> Result<Self, String> {
        let content: Content = toml::from_str(text).map_err(|e| e.to_string())?;
        if content.witness.len() > MOST {
            return Err(format!("there are more than {MOST} witnesses"));
        }
        let mut keys: Vec<WitnessVerifyingKey> = Vec::new();
        for one in content.witness {
            let key: WitnessVerifyingKey = one
                .key
                .trim()
                .parse()
                .map_err(|e| format!("{}: {e}", one.key))?;
            if keys.contains(&key) {
                return Err(format!("{key} stands in it twice"));
            }
            keys.push(key);
        }
        Ok(Self(keys))
    }

    /// Each of them.
    pub fn iter(&self) -> impl Iterator<Item = &WitnessVerifyingKey> {
        self.0.iter()
    }
}
