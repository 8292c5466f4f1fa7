//! What a bundle holds and what it leaves out: `data/contents.json`, in the canonical form of the ledger's own JSON.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::ids::{CaseId, Digest, Seq};
use crate::ledger::canonical;

/// The file's path under `data/`.
pub const CONTENTS: &str = "contents.json";
/// The version of a bundle's layout.
pub const VERSION: u32 = 1;
/// The longest file of this kind that is read, in bytes.
pub const MAX_BYTES: u64 = 64 * 1024 * 1024;
/// The longest reason, in characters.
pub const MAX_REASON: usize = 300;

/// An earlier disclosure of the same case, and what is new since.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Since {
    /// The event that recorded it.
    pub event: Seq,
    /// To whom.
    pub to: String,
    /// The size of the ledger that it went up to.
    pub ledger_size: u64,
    /// Events of the case that have come since, by number.
    pub new_events: Vec<Seq>,
    /// Pictures that have come since.
    pub new_images: Vec<Digest>,
}

/// What a bundle holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Contents {
    /// [`VERSION`].
    pub bundle: u32,
    /// The case. Every event in the bundle belongs to it.
    pub case: CaseId,
    /// Its number.
    pub number: String,
    /// For whom it was made, as they are named on the record; may be empty.
    pub to: String,
    /// Pictures by digest, with their paths under `data/`.
    pub images: BTreeMap<Digest, String>,
    /// Pictures that events name but the bundle does not hold, with the reason.
    pub images_left_out: BTreeMap<Digest, String>,
    /// Fields that are withheld: by event number, then by field, the reason.
    pub withheld: BTreeMap<String, BTreeMap<String, String>>,
    /// Papers in it, by path under `data/`, with what they are.
    pub papers: BTreeMap<String, String>,
    /// What came before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Since>,
}

/// How the file of a picture of this media type ends.
#[must_use]
pub fn extension(media_type: &str) -> &'static str {
    match media_type {
        "image/png" => "png",
        "image/jpeg" => "jpg",
        "image/tiff" => "tif",
        _ => "bin",
    }
}

impl Contents {
    /// The file's bytes: canonical JSON and a newline.
    ///
    /// # Errors
    /// Never for a value of this type; the type says so because serialisation may fail.
    pub fn to_bytes(&self) -> Result<Vec<u8>, serde_json::Error> {
        let mut out = Vec::new();
        canonical::write_value(&serde_json::to_value(self)?, &mut out);
        out.push(b'\n');
        Ok(out)
    }

    /// Reads the file.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn parse(bytes: &[u8]) -> Result<Self, String> {
        let body = bytes.strip_suffix(b"\n").unwrap_or(bytes);
        let value = canonical::parse_strict(body)
            .map_err(|e| format!("{CONTENTS} is not canonical JSON: {e}"))?;
        let out: Self = serde_json::from_value(value).map_err(|e| format!("{CONTENTS}: {e}"))?;
        if out.bundle != VERSION {
            return Err(format!(
                "{CONTENTS}: this program reads bundles of version {VERSION}, not {}",
                out.bundle
            ));
        }
        Ok(out)
    }
}
