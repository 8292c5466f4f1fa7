//! A witness's signature on a checkpoint: C2SP tlog-cosignature, the Ed25519 kind (`cosignature/v1`).
//!
//! It says: as of this time, the largest tree of this ledger that the witness has seen, each going on from the one before,
//! has this root. The line stands in the checkpoint's note beside the ledger's own signature, which is not changed by it.

use super::checkpoint::{MAX_NOTE, MAX_SIGNATURES, NoteError, signature_line, signed_by, split};
use super::note_key::{Signing, Verifying};

/// The byte that says "Ed25519 cosignature" in a key and its identifier.
const COSIGNATURE: u8 = 4;
/// Time and signature.
const LENGTH: usize = 8 + 64;

/// A witness's key that signs.
pub type WitnessKey = Signing<COSIGNATURE>;
/// A witness's key that checks cosignatures.
pub type WitnessVerifyingKey = Verifying<COSIGNATURE>;

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
    let mut out = format!("{text}\n");
    let mut count = 1;
    for line in lines.split('\n') {
        let (name, bytes) = signature_line(line).ok_or(NoteError::Malformed)?;
        if key.verifying_key().is_of(name, &bytes) {
            continue;
        }
        count += 1;
        out.push_str(line);
        out.push('\n');
    }
    out.push_str(&key.line(&time.to_be_bytes(), message(time, text).as_bytes()));
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
    let mut when = 0;
    signed_by(note, key, |text, bytes| {
        if bytes.len() != LENGTH {
            return Err(NoteError::Signature);
        }
        let (time, signature) = bytes.split_at(8);
        let time: [u8; 8] = time.try_into().map_err(|_| NoteError::Signature)?;
        let time = u64::from_be_bytes(time);
        if i64::try_from(time).is_err() {
            return Err(NoteError::Signature);
        }
        when = when.max(time);
        key.check(message(time, text).as_bytes(), signature)
    })?;
    Ok(when)
}
