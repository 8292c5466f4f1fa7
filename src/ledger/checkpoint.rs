//! Signed tree heads: C2SP checkpoints in C2SP signed notes, with Ed25519.
//!
//! A checkpoint says: the log of this name had this many events, and its tree had this root. The log's name is the name
//! of the key that signs. Signatures of other keys may stand beside it (a witness's) and are passed over.

use std::{fmt, str::FromStr};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use ed25519_dalek::{Signature, Signer as _, SigningKey};
use sha2::{Digest as _, Sha256};

use crate::ids::Digest;

/// Largest note that is looked at, in bytes.
pub const MAX_NOTE: usize = 64 * 1024;
/// Most signatures of a note.
pub const MAX_SIGNATURES: usize = 64;
/// Longest name of a key, in bytes.
pub const MAX_KEY_NAME: usize = 255;

/// The byte that says "Ed25519" in a key and a key's identifier.
const ED25519: u8 = 1;

/// Why a note was not accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoteError {
    /// Empty, too long, or with a space, a plus sign or a control character in it.
    #[error("a key's name has 1 to 255 bytes, no space, no plus sign and no control character")]
    KeyName,
    /// Not `name+id+key`.
    #[error(
        "this is not a verification key: it reads name+identifier+key, and the identifier must fit"
    )]
    Key,
    /// Larger than [`MAX_NOTE`], or more signatures than [`MAX_SIGNATURES`].
    #[error("the note is larger than a note may be")]
    TooLarge,
    /// Not a text, a blank line and signatures.
    #[error("this is not a signed note")]
    Malformed,
    /// None of the signatures is by the key asked for.
    #[error("the note is not signed by this ledger's key")]
    NotSigned,
    /// The key's signature is wrong.
    #[error("the signature does not fit the note: it is forged or damaged")]
    Signature,
    /// A signed note, but no checkpoint.
    #[error("the note is signed, but it is not a checkpoint")]
    NotACheckpoint,
    /// A checkpoint of another log.
    #[error("the checkpoint is of another ledger")]
    Origin,
}

/// A key that signs, with its name.
#[derive(Clone)]
pub struct Key {
    public: VerifyingKey,
    secret: SigningKey,
}

impl Key {
    /// The key that grows from 32 secret bytes (RFC 8032 section 5.1.5), under a name: the log's origin.
    ///
    /// # Errors
    /// [`NoteError::KeyName`].
    pub fn new(seed: &[u8; 32], name: &str) -> Result<Self, NoteError> {
        let secret = SigningKey::from_bytes(seed);
        let public = VerifyingKey::new(name, secret.verifying_key())?;
        Ok(Self { public, secret })
    }

    /// The log's origin.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.public.name
    }

    /// The half that may be given away.
    #[must_use]
    pub fn verifying_key(&self) -> &VerifyingKey {
        &self.public
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Key").field(&self.public).finish()
    }
}

/// A key that checks signatures, with its name. As text: `name+identifier+key`.
#[derive(Clone, PartialEq, Eq)]
pub struct VerifyingKey {
    name: String,
    id: [u8; 4],
    key: ed25519_dalek::VerifyingKey,
}

impl VerifyingKey {
    fn new(name: &str, key: ed25519_dalek::VerifyingKey) -> Result<Self, NoteError> {
        if !is_key_name(name) {
            return Err(NoteError::KeyName);
        }
        let hash = Sha256::new()
            .chain_update(name)
            .chain_update([b'\n', ED25519])
            .chain_update(key.as_bytes())
            .finalize();
        Ok(Self {
            name: name.to_owned(),
            id: [hash[0], hash[1], hash[2], hash[3]],
            key,
        })
    }

    /// The log's origin.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }
}

impl fmt::Display for VerifyingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut key = vec![ED25519];
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

impl fmt::Debug for VerifyingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for VerifyingKey {
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
            Some((&ED25519, key)) => key.try_into().map_err(|_| NoteError::Key)?,
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

/// A tree head.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checkpoint {
    /// The log's name.
    pub origin: String,
    /// How many events the tree has.
    pub size: u64,
    /// The tree's root.
    pub root: Digest,
}

impl Checkpoint {
    /// The text that is signed: three lines.
    #[must_use]
    pub fn text(&self) -> String {
        format!(
            "{}\n{}\n{}\n",
            self.origin,
            self.size,
            STANDARD.encode(self.root.0)
        )
    }

    /// Reads the text of a checkpoint. This ledger writes no further lines, and none is accepted.
    ///
    /// # Errors
    /// [`NoteError::NotACheckpoint`].
    pub fn parse(text: &str) -> Result<Self, NoteError> {
        let mut lines = text.split('\n');
        let parts = (
            lines.next(),
            lines.next(),
            lines.next(),
            lines.next(),
            lines.next(),
        );
        let (Some(origin), Some(size), Some(root), Some(""), None) = parts else {
            return Err(NoteError::NotACheckpoint);
        };
        let size: u64 = size.parse().map_err(|_| NoteError::NotACheckpoint)?;
        let root = STANDARD
            .decode(root)
            .map_err(|_| NoteError::NotACheckpoint)?;
        let root = Digest(root.try_into().map_err(|_| NoteError::NotACheckpoint)?);
        let found = Self {
            origin: origin.to_owned(),
            size,
            root,
        };
        // Leading zeros or a plus sign would read as the same number.
        if !origin.is_empty() && found.text() == text {
            Ok(found)
        } else {
            Err(NoteError::NotACheckpoint)
        }
    }
}

/// Signs a checkpoint. Its origin must be the key's name.
///
/// # Errors
/// [`NoteError::Origin`].
pub fn sign(checkpoint: &Checkpoint, key: &Key) -> Result<String, NoteError> {
    if checkpoint.origin != key.name() {
        return Err(NoteError::Origin);
    }
    sign_text(&checkpoint.text(), key)
}

/// Checks a note and reads the checkpoint in it.
///
/// # Errors
/// See [`NoteError`].
pub fn open(note: &str, key: &VerifyingKey) -> Result<Checkpoint, NoteError> {
    let found = Checkpoint::parse(open_text(note, key)?)?;
    if found.origin == key.name {
        Ok(found)
    } else {
        Err(NoteError::Origin)
    }
}

/// Signs any text that ends in a newline, as a signed note.
///
/// # Errors
/// [`NoteError::Malformed`] for a text that a note cannot carry, [`NoteError::TooLarge`].
pub fn sign_text(text: &str, key: &Key) -> Result<String, NoteError> {
    if !text.ends_with('\n') || has_control(text) {
        return Err(NoteError::Malformed);
    }
    let mut signature = key.public.id.to_vec();
    signature.extend_from_slice(&key.secret.sign(text.as_bytes()).to_bytes());
    let note = format!(
        "{text}\n\u{2014} {} {}\n",
        key.name(),
        STANDARD.encode(signature)
    );
    if note.len() <= MAX_NOTE {
        Ok(note)
    } else {
        Err(NoteError::TooLarge)
    }
}

/// Checks a signed note and returns its text.
///
/// # Errors
/// See [`NoteError`]. A wrong signature of the key asked for refuses the note, even beside a good one.
pub fn open_text<'a>(note: &'a str, key: &VerifyingKey) -> Result<&'a str, NoteError> {
    let (text, signatures) = split(note)?;
    let mut signed = false;
    for (i, line) in signatures.split('\n').enumerate() {
        if i >= MAX_SIGNATURES {
            return Err(NoteError::TooLarge);
        }
        let (name, bytes) = signature_line(line).ok_or(NoteError::Malformed)?;
        if name != key.name || bytes[..4] != key.id {
            continue;
        }
        let signature = Signature::from_slice(&bytes[4..]).map_err(|_| NoteError::Signature)?;
        key.key
            .verify_strict(text.as_bytes(), &signature)
            .map_err(|_| NoteError::Signature)?;
        signed = true;
    }
    if signed {
        Ok(text)
    } else {
        Err(NoteError::NotSigned)
    }
}

/// The text of a note and its signature lines, of which none was looked at yet.
pub(super) fn split(note: &str) -> Result<(&str, &str), NoteError> {
    if note.len() > MAX_NOTE {
        return Err(NoteError::TooLarge);
    }
    if has_control(note) {
        return Err(NoteError::Malformed);
    }
    // The last blank line parts the text from the signatures; the text keeps its own newline.
    let blank = note.rfind("\n\n").ok_or(NoteError::Malformed)?;
    let (text, rest) = note.split_at(blank + 1);
    let signatures = rest
        .get(1..)
        .and_then(|s| s.strip_suffix('\n'))
        .ok_or(NoteError::Malformed)?;
    Ok((text, signatures))
}

/// The name and the bytes of a signature, of which there are at least five.
pub(super) fn signature_line(line: &str) -> Option<(&str, Vec<u8>)> {
    let (name, signature) = line.strip_prefix("\u{2014} ")?.split_once(' ')?;
    let bytes = STANDARD.decode(signature).ok()?;
    (is_key_name(name) && bytes.len() > 4).then_some((name, bytes))
}

pub(super) fn is_key_name(name: &str) -> bool {
    (1..=MAX_KEY_NAME).contains(&name.len())
        && !name
            .chars()
            .any(|c| c.is_whitespace() || c.is_control() || c == '+')
}

/// A note has no control character of ASCII but the newline.
fn has_control(text: &str) -> bool {
    text.bytes().any(|b| b < 0x20 && b != b'\n')
}
