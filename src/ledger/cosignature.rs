//! A witness's signature on a checkpoint: C2SP tlog-cosignature, the Ed25519 kind (`cosignature/v1`).
//!
//! It says: as of this time, the largest tree of this ledger that the witness has seen, each going on from the one before,
//! has this root. The line stands in the checkpoint's note beside the ledger's own signature, which is not changed by it.

use std::{fmt, str::FromStr};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use ed25519_dalek::{Signature, Signer as _, SigningKey};
use sha2::{Digest as _, Sha256};

use super::checkpoint::{MAX_KEY_NAME, MAX_NOTE, MAX_SIGNATURES, NoteError, is_key_name};
use super::checkpoint::{signature_line, split};

/// The byte that says "Ed25519 cosignature" in a key and its identifier.
const COSIGNATURE: u8 = 4;
/// Identifier, time and signature.
const LENGTH: usize = 4 + 8 + 64;

/// A witness's key that signs, with its name.
#[derive(Clone)]
pub struct WitnessKey {
    public: WitnessVerifyingKey,
    secret: SigningKey,
}

impl WitnessKey {
    /// The key that grows from 32 secret bytes, under a name: a host of the witness's and a path, without a scheme.
    ///
    /// # Errors
    /// [`NoteError::KeyName`].
    pub fn new(seed: &[u8; 32], name: &str) -> Result<Self, NoteError> {
        let secret = SigningKey::from_bytes(seed);
        let public = WitnessVerifyingKey::new(name, secret.verifying_key())?;
        Ok(Self { public, secret })
    }

    /// The half that is given away.
    #[must_use]
    pub fn verifying_key(&self) -> &WitnessVerifyingKey {
        &self.public
    }
}

impl fmt::Debug for WitnessKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("WitnessKey").field(&self.public).finish()
    }
}

/// A witness's key that checks cosignatures, with its name. As text: `name+identifier+key`.
#[derive(Clone, PartialEq, Eq)]
pub struct WitnessVerifyingKey {
    name: String,
    id: [u8; 4],
    key: ed25519_dalek::VerifyingKey,
}

impl WitnessVerifyingKey {
    fn new(name: &str, key: ed25519_dalek::VerifyingKey) -> Result<Self, NoteError> {
        if !is_key_name(name) {
            return Err(NoteError::KeyName);
        }
        let hash = Sha256::new()
            .chain_update(name)
            .chain_update([b'\n', COSIGNATURE])
            .chain_update(key.as_bytes())
            .finalize();
        Ok(Self {
            name: name.to_owned(),
            id: [hash[0], hash[1], hash[2], hash[3]],
            key,
        })
    }

    /// The witness's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }
}

impl fmt::Display for WitnessVerifyingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut key = vec![COSIGNATURE];
        key.extend_from_slice(self.key.as_bytes());
        write!(
            f,
            "{}+{}+{}",
            self.name,
            hex::encode(self.id),
            STANDARD.encode(key)
        )
    }
}

impl fmt::Debug for WitnessVerifyingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for WitnessVerifyingKey {
    type Err = NoteError;
    fn from_str(s: &str) -> Result<Self, NoteError> {
        if s.len() > MAX_KEY_NAME + 64 {
            return Err(NoteError::Key);
        }
        let mut parts = s.splitn(3, '+');
        let (Some(name), Some(id), Some(key)) = (parts.next(), parts.next(), parts.next()) else {
            return Err(NoteError::Key);
        };
        let key = STANDARD.decode(key).map_err(|_| NoteError::Key)?;
        let key: &[u8; 32] = match key.split_first() {
            Some((&COSIGNATURE, key)) => key.try_into().map_err(|_| NoteError::Key)?,
            _ => return Err(NoteError::Key),
        };
        let key = ed25519_dalek::VerifyingKey::from_bytes(key).map_err(|_| NoteError::Key)?;
        // Under a weak key a signature proves nothing.
        if key.is_weak() {
            return Err(NoteError::Key);
        }
        let found = Self::new(name, key)?;
        if hex::encode(found.id) == id {
            Ok(found)
        } else {
            Err(NoteError::Key)
        }
    }
}

/// What is signed: two lines, then the checkpoint's text with its last newline.
fn message(time: u64, text: &str) -> String {
    format!("cosignature/v1\ntime {time}\n{text}")
}

/// The note with the witness's line at its end. `time` is in seconds since 1970. Lines of the same witness that were there
/// are left out; nothing else of the note is looked at, so the ledger's signature is to be checked before.
///
/// # Errors
/// [`NoteError::Malformed`], [`NoteError::TooLarge`].
pub fn cosign(note: &str, key: &WitnessKey, time: u64) -> Result<String, NoteError> {
    let (text, lines) = split(note)?;
    let mut signature = key.public.id.to_vec();
    signature.extend_from_slice(&time.to_be_bytes());
    signature.extend_from_slice(&key.secret.sign(message(time, text).as_bytes()).to_bytes());
    let mut out = format!("{text}\n");
    let mut count = 1;
    for line in lines.split('\n') {
        let (name, bytes) = signature_line(line).ok_or(NoteError::Malformed)?;
        if name == key.public.name && bytes[..4] == key.public.id {
            continue;
        }
        count += 1;
        out.push_str(line);
        out.push('\n');
    }
    let line = format!(
        "\u{2014} {} {}\n",
        key.public.name,
        STANDARD.encode(signature)
    );
    out.push_str(&line);
    if out.len() > MAX_NOTE || count > MAX_SIGNATURES {
        return Err(NoteError::TooLarge);
    }
    Ok(out)
}

/// When the witness signed the note, in seconds since 1970.
///
/// # Errors
/// [`NoteError::NotSigned`] where none of the lines is this witness's; [`NoteError::Signature`] where one of them is wrong,
/// even beside a good one; [`NoteError::Malformed`], [`NoteError::TooLarge`].
pub fn cosigned(note: &str, key: &WitnessVerifyingKey) -> Result<u64, NoteError> {
    let (text, lines) = split(note)?;
    let mut when = None;
    for (i, line) in lines.split('\n').enumerate() {
        if i >= MAX_SIGNATURES {
            return Err(NoteError::TooLarge);
        }
        let (name, bytes) = signature_line(line).ok_or(NoteError::Malformed)?;
        if name != key.name || bytes[..4] != key.id {
            continue;
        }
        if bytes.len() != LENGTH {
            return Err(NoteError::Signature);
        }
        let time: [u8; 8] = bytes[4..12].try_into().map_err(|_| NoteError::Signature)?;
        let time = u64::from_be_bytes(time);
        if i64::try_from(time).is_err() {
            return Err(NoteError::Signature);
        }
        let signature = Signature::from_slice(&bytes[12..]).map_err(|_| NoteError::Signature)?;
        key.key
            .verify_strict(message(time, text).as_bytes(), &signature)
            .map_err(|_| NoteError::Signature)?;
        when = when.max(Some(time));
    }
    when.ok_or(NoteError::NotSigned)
}
