//! Signatures in a file that turned up. It may be broken or made to do harm, so no parser of PDF touches it: byte ranges are
//! looked for as they are written, and what they cover is hashed.

use memchr::memmem;
use sha2::{Digest as _, Sha256};

use super::cms::{Who, Why, check};
use crate::ids::Digest;

/// How many signatures of one file are looked at.
const MOST: usize = 8;
/// How many ends of a revision are looked at.
const MOST_ENDS: usize = 16;
/// The longest signature, in bytes.
const MAX_SIGNATURE: usize = 128 * 1024;

/// A signature in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// How many bytes from the beginning on it covers, its own place aside.
    pub covers: usize,
    /// Whether that is the whole file.
    pub whole: bool,
    /// Who signed, where it holds.
    pub who: Result<Who, Why>,
}

/// The four numbers behind a `/ByteRange`.
fn range(text: &[u8]) -> Option<[usize; 4]> {
    let text = text.get(..text.len().min(128))?;
    let from = text.iter().position(|b| *b == b'[')?;
    let to = text.iter().position(|b| *b == b']')?;
    if text.get(..from)?.iter().any(|b| !b.is_ascii_whitespace()) {
        return None;
    }
    let inner = std::str::from_utf8(text.get(from + 1..to)?).ok()?;
    let mut numbers = inner.split_ascii_whitespace().map(str::parse::<usize>);
    let mut next = || numbers.next()?.ok();
    let four = [next()?, next()?, next()?, next()?];
    numbers.next().is_none().then_some(four)
}

fn one(bytes: &[u8], [zero, until, from, more]: [usize; 4]) -> Option<Found> {
    let end = from.checked_add(more)?;
    if zero != 0 || until >= from || end > bytes.len() {
        return None;
    }
    let covers = end;
    let whole = end == bytes.len();
    let unreadable = Found {
        covers,
        whole,
        who: Err(Why::Unreadable),
    };
    let place = bytes.get(until..from)?;
    let Some(digits) = place.strip_prefix(b"<").and_then(|p| p.strip_suffix(b">")) else {
        return Some(unreadable);
    };
    if digits.len() > 2 * MAX_SIGNATURE {
        return Some(unreadable);
    }
    let Ok(signature) = hex::decode(digits) else {
        return Some(unreadable);
    };
    let mut hash = Sha256::new();
    hash.update(bytes.get(..until)?);
    hash.update(bytes.get(from..end)?);
    let who = check(&signature, &Digest(hash.finalize().into()));
    Some(Found { covers, whole, who })
}

/// The signatures in a file, in the order in which they stand, at most eight.
#[must_use]
pub fn signatures_in(bytes: &[u8]) -> Vec<Found> {
    memmem::find_iter(bytes, "/ByteRange")
        .take(4 * MOST)
        .filter_map(|at| {
            let behind = bytes.get(at + "/ByteRange".len()..)?;
            one(bytes, range(behind)?)
        })
        .take(MOST)
        .collect()
}

/// The digests of a file's beginnings up to where a revision of it ends, the last such end of the file itself left out: each
/// with its length. A paper to which somebody added a revision begins with the paper as it was.
#[must_use]
pub fn beginnings(bytes: &[u8]) -> Vec<(Digest, usize)> {
    let mut out = Vec::new();
    let mut hash = Sha256::new();
    let mut done = 0;
    for at in memmem::find_iter(bytes, "%%EOF").take(MOST_ENDS) {
        let end = at + "%%EOF".len();
        hash.update(bytes.get(done..end).unwrap_or_default());
        done = end;
        if end < bytes.len() {
            out.push((Digest(hash.clone().finalize().into()), end));
        }
    }
    out
}
