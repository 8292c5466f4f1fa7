//! The payload of an event: named fields, each committed by itself.
//!
//! A field can be withheld in a disclosure and everything else still verifies: for each field a salt of its own comes
//! from the event's salt, so the digest of a withheld field gives nothing away to guessing, and the payload's root is
//! taken over the digests.
//!
//! `salt_f = HMAC-SHA256(salt, name)`, `digest_f = SHA-256(salt_f || canonical value)`,
//! `root = SHA-256(canonical {name: hex of digest_f})`.

use std::{collections::BTreeMap, fmt, str::FromStr};

use hmac::{Hmac, KeyInit as _, Mac as _};
use serde_json::Value;
use sha2::{Digest as _, Sha256};

use super::{
    canonical,
    scan::{INTEGER_BOUND, MAX_DEPTH, MAX_KEY, Scan},
};
use crate::ids::Digest;

/// The fields of an event by name. A name is ASCII, so the map's order is the canonical order.
pub type Fields = BTreeMap<String, Value>;

/// Most fields of one event.
pub const MAX_FIELDS: usize = 200;
/// Largest canonical form of all fields of one event, in bytes.
pub const MAX_BYTES: usize = 256 * 1024;
/// Longest name of a field, in bytes.
pub const MAX_NAME: usize = 64;

/// Why fields cannot be stored, or why stored bytes are not a payload.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PayloadError {
    /// More than [`MAX_FIELDS`].
    #[error("an event has at most 200 fields")]
    TooManyFields,
    /// A name that does not fit `[a-z][a-z0-9_]{0,63}`.
    #[error(
        "{0:?} is not a field name: a small letter, then up to 63 small letters, digits or underscores"
    )]
    Name(String),
    /// A value that the ledger does not store: null, a fraction, a large integer, or something nested too deeply.
    #[error(
        "the field {0} holds a value the ledger does not store: it takes text, whole numbers below 2^53, yes and no, \
         and shallow lists and tables of those"
    )]
    Value(String),
    /// More than [`MAX_BYTES`].
    #[error("the fields of an event together have at most 256 KiB")]
    TooLarge,
    /// Bytes that are not the canonical form of fields.
    #[error("these bytes are not the canonical form of an event's fields")]
    NotCanonical,
    /// A salt that is not 16 bytes.
    #[error("a salt has 16 bytes")]
    Salt,
}

/// The salt of one event: 16 random bytes that the caller drew. Who holds it can test guesses at withheld fields, so it
/// is not shown in logs.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Salt(pub [u8; 16]);

impl Salt {
    /// Lower-case hex, 32 digits.
    #[must_use]
    pub fn to_hex(&self) -> String {
        hex::encode(self.0)
    }
}

impl fmt::Debug for Salt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Salt(..)")
    }
}

impl TryFrom<&[u8]> for Salt {
    type Error = PayloadError;
    fn try_from(bytes: &[u8]) -> Result<Self, PayloadError> {
        bytes.try_into().map(Self).map_err(|_| PayloadError::Salt)
    }
}

impl FromStr for Salt {
    type Err = PayloadError;
    fn from_str(s: &str) -> Result<Self, PayloadError> {
        let mut out = [0; 16];
        if s.bytes().any(|b| b.is_ascii_uppercase()) {
            return Err(PayloadError::Salt);
        }
        hex::decode_to_slice(s, &mut out).map_err(|_| PayloadError::Salt)?;
        Ok(Self(out))
    }
}

fn keyed(salt: &Salt) -> Hmac<Sha256> {
    Hmac::new_from_slice(&salt.0).expect("HMAC takes a key of any length")
}

/// The salt of one field.
#[must_use]
pub fn field_salt(salt: &Salt, name: &str) -> [u8; 32] {
    keyed(salt)
        .chain_update(name.as_bytes())
        .finalize()
        .into_bytes()
        .into()
}

/// The digest of one field's value under that field's salt.
#[must_use]
pub fn field_digest(salt: &[u8; 32], value: &Value) -> Digest {
    let mut bytes = salt.to_vec();
    canonical::write_value(value, &mut bytes);
    Digest(Sha256::digest(&bytes).into())
}

/// The digests of all fields.
#[must_use]
pub fn field_digests(salt: &Salt, fields: &Fields) -> BTreeMap<String, Digest> {
    fields
        .iter()
        .map(|(name, value)| (name.clone(), field_digest(&field_salt(salt, name), value)))
        .collect()
}

/// The payload's root over the digests of its fields, withheld or not.
#[must_use]
pub fn root_of(digests: &BTreeMap<String, Digest>) -> Digest {
    let mut text = Vec::with_capacity(2 + digests.len() * 84);
    text.push(b'{');
    for (i, (name, digest)) in digests.iter().enumerate() {
        if i > 0 {
            text.push(b',');
        }
        canonical::write_string(name, &mut text);
        text.push(b':');
        push_hex(&digest.0, &mut text);
    }
    text.push(b'}');
    Digest(Sha256::digest(&text).into())
}

/// The payload's root.
#[must_use]
pub fn payload_root(salt: &Salt, fields: &Fields) -> Digest {
    root_of(&field_digests(salt, fields))
}

/// The canonical bytes of the fields, as the payload's row holds them.
#[must_use]
pub fn to_bytes(fields: &Fields) -> Vec<u8> {
    let mut out = Vec::with_capacity(256);
    out.push(b'{');
    for (i, (name, value)) in fields.iter().enumerate() {
        if i > 0 {
            out.push(b',');
        }
        canonical::write_string(name, &mut out);
        out.push(b':');
        canonical::write_value(value, &mut out);
    }
    out.push(b'}');
    out
}

/// Whether the ledger can store these fields.
///
/// # Errors
/// The first rule they break; see [`PayloadError`].
pub fn check(fields: &Fields) -> Result<(), PayloadError> {
    if fields.len() > MAX_FIELDS {
        return Err(PayloadError::TooManyFields);
    }
    for (name, value) in fields {
        if !is_name(name) {
            return Err(PayloadError::Name(name.clone()));
        }
        if !storable(value, 0) {
            return Err(PayloadError::Value(name.clone()));
        }
    }
    if to_bytes(fields).len() > MAX_BYTES {
        return Err(PayloadError::TooLarge);
    }
    Ok(())
}

/// Reads stored fields. Exactly what [`check`] lets through, in its canonical form, is accepted.
///
/// # Errors
/// [`PayloadError::TooLarge`], [`PayloadError::TooManyFields`] or [`PayloadError::NotCanonical`].
pub fn parse(bytes: &[u8]) -> Result<Fields, PayloadError> {
    each_field(bytes, |_, _| ())?;
    serde_json::from_slice(bytes).map_err(|_| PayloadError::NotCanonical)
}

/// The root of stored fields, straight from their bytes: the verifier's way, which builds no tree of values.
///
/// # Errors
/// As [`parse`].
pub fn root_of_bytes(salt: &Salt, bytes: &[u8]) -> Result<Digest, PayloadError> {
    let mac = keyed(salt);
    let mut text = Vec::with_capacity(1024);
    text.push(b'{');
    each_field(bytes, |name, value| {
        if text.len() > 1 {
            text.push(b',');
        }
        let salt = mac
            .clone()
            .chain_update(name.as_bytes())
            .finalize()
            .into_bytes();
        let digest = Sha256::new()
            .chain_update(salt)
            .chain_update(value)
            .finalize();
        text.push(b'"');
        text.extend_from_slice(name.as_bytes());
        text.extend_from_slice(b"\":");
        push_hex(&digest, &mut text);
    })?;
    text.push(b'}');
    Ok(Digest(Sha256::digest(&text).into()))
}

/// Whether `name` fits `[a-z][a-z0-9_]{0,63}`.
#[must_use]
pub fn is_name(name: &str) -> bool {
    name.len() <= MAX_NAME
        && name.starts_with(|c: char| c.is_ascii_lowercase())
        && name
            .bytes()
            .all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'_'))
}

/// Calls `visit` with the name and the bytes of the value of each field, once the bytes are known to be in order so far.
fn each_field(bytes: &[u8], mut visit: impl FnMut(&str, &[u8])) -> Result<(), PayloadError> {
    if bytes.len() > MAX_BYTES {
        return Err(PayloadError::TooLarge);
    }
    let text = std::str::from_utf8(bytes).map_err(|_| PayloadError::NotCanonical)?;
    let mut scan = Scan::new(text);
    let mut count = 0_usize;
    let walked = (|| {
        scan.literal(b"{")?;
        if scan.eat(b'}') {
            return scan.end();
        }
        let mut last = "";
        loop {
            let name = scan.plain(MAX_NAME)?;
            if name <= last || !is_name(name) {
                return None;
            }
            last = name;
            scan.literal(b":")?;
            let value = scan.value()?;
            count += 1;
            if count > MAX_FIELDS {
                return None;
            }
            visit(name, value);
            if !scan.eat(b',') {
                scan.literal(b"}")?;
                return scan.end();
            }
        }
    })();
    match walked {
        Some(()) => Ok(()),
        None if count > MAX_FIELDS => Err(PayloadError::TooManyFields),
        None => Err(PayloadError::NotCanonical),
    }
}

fn storable(value: &Value, depth: usize) -> bool {
    match value {
        Value::Null => false,
        Value::Bool(_) | Value::String(_) => true,
        Value::Number(n) => match (n.as_u64(), n.as_i64()) {
            (Some(u), _) => u < INTEGER_BOUND,
            (_, Some(i)) => i.unsigned_abs() < INTEGER_BOUND,
            _ => false,
        },
        Value::Array(list) => depth < MAX_DEPTH && list.iter().all(|v| storable(v, depth + 1)),
        Value::Object(map) => {
            depth < MAX_DEPTH
                && map
                    .iter()
                    .all(|(key, v)| is_key(key) && storable(v, depth + 1))
        }
    }
}

/// Keys inside a field's value: printable ASCII that needs no escape.
fn is_key(key: &str) -> bool {
    !key.is_empty()
        && key.len() <= MAX_KEY
        && key
            .bytes()
            .all(|b| matches!(b, 0x20..=0x7e) && b != b'"' && b != b'\\')
}

/// Appends a digest as a quoted hex string.
fn push_hex(digest: &[u8], out: &mut Vec<u8>) {
    const HEX: &[u8; 16] = b"0123456789abcdef";
    out.push(b'"');
    for b in digest {
        out.push(HEX[usize::from(b >> 4)]);
        out.push(HEX[usize::from(b & 15)]);
    }
    out.push(b'"');
}
