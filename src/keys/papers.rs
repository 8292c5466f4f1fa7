//! The key that signs papers and its certificates, in the folder of the keys. A key's file bears the beginning of its public
//! half's SHA-256, so that a new one can wait for its certificate while the old one goes on; `papers.pem` says which is in use.
//! Trusted wholly: who has the key can sign papers in the agency's name, which no record of prints will know.

use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use p256::ecdsa::{SigningKey, VerifyingKey};

use super::{KeysError, at, random, read, write_new};
use crate::disclosure::signature::Signer;
use crate::disclosure::signature::certificate::{Chain, MAX_TEXT};
use crate::disclosure::signature::issue::{self, Whose};
use crate::ids::Digest;
use crate::whole;

/// The certificates in use.
pub const CHAIN: &str = "papers.pem";
/// How often bytes are drawn until they are a key: one in 2^32 is none.
const DRAWS: usize = 8;
/// How many keys may wait in the folder.
const MOST_KEYS: usize = 32;

fn name_of(key: &VerifyingKey) -> String {
    let digest = Digest::of(key.to_sec1_point(false).as_bytes()).to_string();
    format!("papers-{}.key", digest.get(..16).unwrap_or_default())
}

fn signing(bytes: &[u8; 32], path: &Path) -> Result<SigningKey, KeysError> {
    SigningKey::from_slice(bytes).map_err(|_| KeysError::Length(path.to_owned()))
}

/// Makes a key and puts it into the folder.
fn make(folder: &Path) -> Result<SigningKey, KeysError> {
    for _ in 0..DRAWS {
        let bytes = random()?;
        if let Ok(key) = SigningKey::from_slice(&bytes) {
            write_new(folder, &name_of(key.verifying_key()), &bytes)?;
            return Ok(key);
        }
    }
    Err(KeysError::Length(folder.to_owned()))
}

/// The keys in the folder, those too that wait for a certificate.
fn all(folder: &Path) -> Result<Vec<SigningKey>, KeysError> {
    let mut out = Vec::new();
    for entry in fs::read_dir(folder).map_err(at(folder))?.take(1000) {
        let path = entry.map_err(at(folder))?.path();
        let name = path.file_name().and_then(|n| n.to_str());
        let is_key = name.is_some_and(|n| n.starts_with("papers-") && n.ends_with(".key"));
        if is_key && out.len() < MOST_KEYS {
            out.push(signing(&read(&path)?, &path)?);
        }
    }
    Ok(out)
}

/// What signs papers; none where no certificate was made or installed.
///
/// # Errors
/// Where the certificate cannot be read, or its key is not there.
pub(super) fn open(folder: &Path) -> Result<Option<Signer>, KeysError> {
    let path = folder.join(CHAIN);
    let file = match File::open(&path) {
        Ok(file) => file,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(at(&path)(e)),
    };
    let mut text = Vec::new();
    file.take(MAX_TEXT as u64 + 1)
        .read_to_end(&mut text)
        .map_err(at(&path))?;
    let refused = |why| KeysError::Certificate(path.clone(), why);
    let chain = Chain::read(&text).map_err(refused)?;
    let key = folder.join(name_of(&chain.key().map_err(refused)?));
    let key = signing(&read(&key)?, &key)?;
    Signer::new(key, chain).map(Some).map_err(refused)
}

fn put(folder: &Path, chain: &Chain) -> Result<(), KeysError> {
    let path = folder.join(CHAIN);
    let refused = |why| KeysError::Certificate(path.clone(), why);
    let text = chain.to_pem().map_err(refused)?;
    let part = folder.join("papers.pem.part");
    whole::write(&path, part, text.as_bytes(), 0o644).map_err(at(&path))
}

/// Puts a key and its certificates back that were kept elsewhere.
///
/// # Errors
/// See [`KeysError`].
pub(super) fn put_back(folder: &Path, kept: &Signer) -> Result<(), KeysError> {
    let bytes: [u8; 32] = kept.key().to_bytes().into();
    write_new(folder, &name_of(kept.key().verifying_key()), &bytes)?;
    put(folder, kept.chain())
}

/// Makes a key with a certificate that it signs itself, and takes it into use.
///
/// # Errors
/// See [`KeysError`].
pub fn self_signed(
    folder: &Path,
    whose: &Whose,
    from: DateTime<Utc>,
    years: u32,
) -> Result<Chain, KeysError> {
    let key = make(folder)?;
    let random = random()?;
    let mut serial = [0; 16];
    serial.copy_from_slice(&random[..16]);
    // Positive, and not zero: RFC 5280, 4.1.2.2.
    serial[0] = serial[0] & 0x3f | 0x40;
    let until = from + TimeDelta::days(i64::from(years) * 365);
    let made = issue::self_signed(&key, whose, serial, from, until);
    let chain = made.map_err(|e| KeysError::Request(e.to_string()))?;
    put(folder, &chain)?;
    Ok(chain)
}

/// Makes a key and the request for its certificate. What is in use stays in use until a certificate for it is installed.
///
/// # Errors
/// See [`KeysError`].
pub fn request(folder: &Path, whose: &Whose) -> Result<String, KeysError> {
    let key = make(folder)?;
    issue::request(&key, whose).map_err(|e| KeysError::Request(e.to_string()))
}

/// Takes the certificates into use that came back for a request. Nothing changes where they are refused.
///
/// # Errors
/// [`KeysError::Certificate`] for one that is not for a key in the folder, not valid at `now`, or no good otherwise.
pub fn install(
    folder: &Path,
    path: &Path,
    text: &[u8],
    now: DateTime<Utc>,
) -> Result<Chain, KeysError> {
    let refused = |why| KeysError::Certificate(PathBuf::from(path), why);
    let chain = Chain::read(text).map_err(refused)?;
    let wanted = chain.key().map_err(refused)?;
    let keys = all(folder)?;
    let ours = keys.iter().find(|k| *k.verifying_key() == wanted);
    match ours {
        Some(key) => chain.check(key.verifying_key(), now).map_err(refused)?,
        None => {
            use crate::disclosure::signature::certificate::CertificateError;
            return Err(refused(CertificateError::WrongKey(chain.about().subject)));
        }
    }
    put(folder, &chain)?;
    Ok(chain)
}
