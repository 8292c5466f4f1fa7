//! The lines of an export folder: bytes only; reading and writing files is the caller's part.
//!
//! Each line is canonical JSON. [`verify::folder`](super::verify::folder) checks a folder as a whole.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use super::{
    canonical,
    event::{self, Event},
    merkle::MAX_PROOF,
    payload::{self, Fields, Salt},
    scan::INTEGER_BOUND,
};
use crate::ids::{Digest, Seq, Subject};

/// Name of the file with one event a line.
pub const EVENTS: &str = "events.jsonl";
/// Name of the file with the signed checkpoint.
pub const CHECKPOINT: &str = "checkpoint.txt";
/// Name of the file with the key that checks it.
pub const VKEY: &str = "vkey.txt";
/// Name of the file with one inclusion proof a line, in an export of a part of the ledger.
pub const PROOFS: &str = "proofs.jsonl";
/// Name of the file that says how many events each subject has.
pub const SUBJECTS: &str = "subjects.json";

/// Longest line, in bytes: a header, its fields, and the escapes around them.
pub const MAX_LINE: usize = 2 * 1024 * 1024;
/// Most subjects in `subjects.json`.
pub const MAX_SUBJECTS: usize = 1_000_000;

/// Why a line cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ExportError {
    /// Longer than [`MAX_LINE`].
    #[error("the line is longer than a line may be")]
    TooLarge,
    /// Not canonical JSON.
    #[error("the line is not canonical JSON")]
    NotCanonical,
    /// Keys or values that the line should not have, or lacks.
    #[error("the line does not have the parts it should have")]
    Shape,
}

/// The payload of an exported event.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Shown {
    /// Everything, with the event's own salt.
    Whole {
        /// The event's salt.
        salt: Salt,
        /// All fields.
        fields: Fields,
    },
    /// Some fields; the others by their digests alone.
    Part {
        /// Digests of the fields withheld.
        digests: BTreeMap<String, Digest>,
        /// The fields shown.
        fields: Fields,
        /// The salts of the fields shown, and of no others.
        salts: BTreeMap<String, [u8; 32]>,
    },
    /// Nothing: the payload was expunged. The export must have the event that did it.
    Expunged {
        /// That event's number.
        by: Seq,
    },
}

impl Shown {
    /// What the payload amounts to; it must be what the header commits to. None where it was expunged.
    #[must_use]
    pub fn root(&self) -> Option<Digest> {
        Some(match self {
            Self::Expunged { .. } => return None,
            Self::Whole { salt, fields } => payload::payload_root(salt, fields),
            Self::Part {
                digests,
                fields,
                salts,
            } => {
                let mut all = digests.clone();
                for (name, value) in fields {
                    if let Some(salt) = salts.get(name) {
                        all.insert(name.clone(), payload::field_digest(salt, value));
                    }
                }
                payload::root_of(&all)
            }
        })
    }

    /// The fields that are shown.
    #[must_use]
    pub fn fields(&self) -> &Fields {
        const NONE: &Fields = &Fields::new();
        match self {
            Self::Whole { fields, .. } | Self::Part { fields, .. } => fields,
            Self::Expunged { .. } => NONE,
        }
    }
}

/// One event of an export.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The header's canonical text, as it was committed.
    pub header: String,
    /// What is shown of the payload.
    pub payload: Shown,
}

impl Line {
    /// An event with its whole payload, or with the mark that it was expunged.
    #[must_use]
    pub fn whole(event: &Event) -> Self {
        let payload = match event.expunged {
            Some(by) => Shown::Expunged { by },
            None => Shown::Whole {
                salt: event.salt,
                fields: event.fields.clone(),
            },
        };
        Self {
            header: header_text(event),
            payload,
        }
    }

    /// An event with those fields for which `show` says yes; the others are withheld.
    #[must_use]
    pub fn part(event: &Event, show: impl Fn(&str) -> bool) -> Self {
        if event.expunged.is_some() {
            return Self::whole(event);
        }
        let (mut digests, mut fields, mut salts) =
            (BTreeMap::new(), Fields::new(), BTreeMap::new());
        for (name, value) in &event.fields {
            let salt = payload::field_salt(&event.salt, name);
            if show(name) {
                fields.insert(name.clone(), value.clone());
                salts.insert(name.clone(), salt);
            } else {
                digests.insert(name.clone(), payload::field_digest(&salt, value));
            }
        }
        Self {
            header: header_text(event),
            payload: Shown::Part {
                digests,
                fields,
                salts,
            },
        }
    }

    /// The line with its newline.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut map = Map::new();
        map.insert("header".into(), Value::String(self.header.clone()));
        match &self.payload {
            Shown::Expunged { by } => {
                map.insert("expunged".into(), Value::from(*by));
            }
            Shown::Whole { salt, fields } => {
                map.insert("fields".into(), fields_value(fields));
                map.insert("salt".into(), Value::String(salt.to_hex()));
            }
            Shown::Part {
                digests,
                fields,
                salts,
            } => {
                map.insert(
                    "digests".into(),
                    hexes(digests.iter().map(|(k, d)| (k, &d.0))),
                );
                map.insert("fields".into(), fields_value(fields));
                map.insert("salts".into(), hexes(salts.iter()));
            }
        }
        line(&Value::Object(map))
    }

    /// Reads a line without its newline. The header is not looked into.
    ///
    /// # Errors
    /// See [`ExportError`].
    pub fn parse(bytes: &[u8]) -> Result<Self, ExportError> {
        let Value::Object(mut map) = strict(bytes)? else {
            return Err(ExportError::Shape);
        };
        if let Some(by) = map.remove("expunged") {
            let by = by.as_u64().filter(|by| (1..INTEGER_BOUND).contains(by));
            return match (by, map.remove("header"), map.is_empty()) {
                (Some(by), Some(Value::String(header)), true) => Ok(Self {
                    header,
                    payload: Shown::Expunged { by },
                }),
                _ => Err(ExportError::Shape),
            };
        }
        let (Some(Value::String(header)), Some(Value::Object(fields))) =
            (map.remove("header"), map.remove("fields"))
        else {
            return Err(ExportError::Shape);
        };
        let fields: Fields = fields.into_iter().collect();
        payload::check(&fields).map_err(|_| ExportError::Shape)?;
        let payload = match (
            map.remove("salt"),
            map.remove("digests"),
            map.remove("salts"),
        ) {
            (Some(Value::String(salt)), None, None) => Shown::Whole {
                salt: salt.parse().map_err(|_| ExportError::Shape)?,
                fields,
            },
            (None, Some(digests), Some(salts)) => {
                let digests: BTreeMap<_, _> = read_hexes(digests)?
                    .into_iter()
                    .map(|(k, d)| (k, Digest(d)))
                    .collect();
                let salts = read_hexes(salts)?;
                // A field is either shown with its salt or withheld; anything between would leave a gap to hide in.
                let shown =
                    fields.len() == salts.len() && fields.keys().all(|k| salts.contains_key(k));
                let apart = fields.keys().all(|k| !digests.contains_key(k));
                if !shown || !apart || digests.len() + fields.len() > payload::MAX_FIELDS {
                    return Err(ExportError::Shape);
                }
                Shown::Part {
                    digests,
                    fields,
                    salts,
                }
            }
            _ => return Err(ExportError::Shape),
        };
        if map.is_empty() {
            Ok(Self { header, payload })
        } else {
            Err(ExportError::Shape)
        }
    }
}

/// The inclusion proof of one event.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proof {
    /// The event's number; its leaf stands one before.
    pub seq: Seq,
    /// The hashes from the leaf upwards.
    pub path: Vec<Digest>,
}

impl Proof {
    /// The line with its newline.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let path = self
            .path
            .iter()
            .map(|d| Value::String(d.to_string()))
            .collect();
        let mut map = Map::new();
        map.insert("path".into(), Value::Array(path));
        map.insert("seq".into(), Value::from(self.seq));
        line(&Value::Object(map))
    }

    /// Reads a line without its newline.
    ///
    /// # Errors
    /// See [`ExportError`].
    pub fn parse(bytes: &[u8]) -> Result<Self, ExportError> {
        let Value::Object(mut map) = strict(bytes)? else {
            return Err(ExportError::Shape);
        };
        let (Some(Value::Array(path)), Some(seq)) = (map.remove("path"), map.remove("seq")) else {
            return Err(ExportError::Shape);
        };
        let seq = count(&seq)?;
        if !map.is_empty() || path.len() > MAX_PROOF {
            return Err(ExportError::Shape);
        }
        let digest = |v: &Value| {
            v.as_str()
                .and_then(|s| s.parse().ok())
                .ok_or(ExportError::Shape)
        };
        Ok(Self {
            seq,
            path: path.iter().map(digest).collect::<Result<_, _>>()?,
        })
    }
}

/// Writes `subjects.json`: how many events each subject has at the checkpoint.
#[must_use]
pub fn subjects_to_bytes(subjects: &BTreeMap<Subject, u64>) -> Vec<u8> {
    let map: Map<_, _> = subjects
        .iter()
        .map(|(subject, n)| (subject.to_string(), Value::from(*n)))
        .collect();
    line(&Value::Object(map))
}

/// Reads `subjects.json`, with or without the newline at its end.
///
/// # Errors
/// See [`ExportError`].
pub fn parse_subjects(bytes: &[u8]) -> Result<BTreeMap<Subject, u64>, ExportError> {
    let bytes = bytes.strip_suffix(b"\n").unwrap_or(bytes);
    let value = canonical::parse_strict(bytes).map_err(|_| ExportError::NotCanonical)?;
    let Value::Object(map) = value else {
        return Err(ExportError::Shape);
    };
    if map.len() > MAX_SUBJECTS {
        return Err(ExportError::TooLarge);
    }
    let entry = |(key, n): (String, Value)| {
        let subject = event::subject(&key).ok_or(ExportError::Shape)?;
        Ok((subject, count(&n)?))
    };
    map.into_iter().map(entry).collect()
}

fn count(value: &Value) -> Result<u64, ExportError> {
    value
        .as_u64()
        .filter(|n| (1..INTEGER_BOUND).contains(n))
        .ok_or(ExportError::Shape)
}

fn header_text(event: &Event) -> String {
    // A sealed header is ASCII, so nothing is ever replaced here.
    String::from_utf8_lossy(&event.bytes).into_owned()
}

fn line(value: &Value) -> Vec<u8> {
    let mut out = Vec::with_capacity(1024);
    canonical::write_value(value, &mut out);
    out.push(b'\n');
    out
}

fn strict(bytes: &[u8]) -> Result<Value, ExportError> {
    if bytes.len() > MAX_LINE {
        return Err(ExportError::TooLarge);
    }
    canonical::parse_strict(bytes).map_err(|_| ExportError::NotCanonical)
}

fn fields_value(fields: &Fields) -> Value {
    Value::Object(fields.iter().map(|(k, v)| (k.clone(), v.clone())).collect())
}

fn hexes<'a>(entries: impl Iterator<Item = (&'a String, &'a [u8; 32])>) -> Value {
    Value::Object(
        entries
            .map(|(k, bytes)| (k.clone(), Value::String(hex::encode(bytes))))
            .collect(),
    )
}

fn read_hexes(value: Value) -> Result<BTreeMap<String, [u8; 32]>, ExportError> {
    let Value::Object(map) = value else {
        return Err(ExportError::Shape);
    };
    let entry = |(name, value): (String, Value)| {
        let digest: Digest = value
            .as_str()
            .and_then(|s| s.parse().ok())
            .ok_or(ExportError::Shape)?;
        if payload::is_name(&name) {
            Ok((name, digest.0))
        } else {
            Err(ExportError::Shape)
        }
    };
    map.into_iter().map(entry).collect()
}
