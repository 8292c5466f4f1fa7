//! Signed tree heads: C2SP checkpoints in C2SP signed notes, with Ed25519.
//!
//! A checkpoint says: the log of this name had this many events, and its tree had this root. The log's name is the name
//! of the key that signs. Signatures of other keys may stand beside it (a witness's) and are passed over.

use base64::{Engine as _, engine::general_purpose::STANDARD};

use super::note_key::{Signing, Verifying};
use crate::ids::Digest;

/// Largest note that is looked at, in bytes.
pub const MAX_NOTE: usize = 64 * 1024;
/// Most signatures of a note.
pub const MAX_SIGNATURES: usize = 64;
/// Longest name of a key, in bytes.
pub const MAX_KEY_NAME: usize = 255;

/// The byte that says "Ed25519" in a key and a key's identifier.
const ED25519: u8 = 1;
/// How many bytes of a signature line are the key's identifier.
const ID: usize = 4;

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

/// A ledger's key that signs checkpoints; its name is the log's origin.
pub type Key = Signing<ED25519>;
/// A ledger's key that checks them.
pub type VerifyingKey = Verifying<ED25519>;

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
    if found.origin == key.name() {
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
    let note = format!("{text}\n{}", key.line(&[], text.as_bytes()));
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
    signed_by(note, key, |text, signature| {
        key.check(text.as_bytes(), signature)
    })
}

/// The text of a note that this key has signed. Each line that names the key is checked, by its text and its bytes without
/// the key's identifier.
pub(super) fn signed_by<'a, const KIND: u8>(
    note: &'a str,
    key: &Verifying<KIND>,
    mut check: impl FnMut(&str, &[u8]) -> Result<(), NoteError>,
) -> Result<&'a str, NoteError> {
    let (text, lines) = split(note)?;
    let mut signed = false;
    for (i, line) in lines.split('\n').enumerate() {
        if i >= MAX_SIGNATURES {
            return Err(NoteError::TooLarge);
        }
        let (name, bytes) = signature_line(line).ok_or(NoteError::Malformed)?;
        if key.is_of(name, &bytes) {
            check(text, &bytes[ID..])?;
            signed = true;
        }
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
    (is_key_name(name) && bytes.len() > ID).then_some((name, bytes))
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
