//! The keys on disk: the Ed25519 key that signs checkpoints, a secret for sessions and forms, and what signs papers, if anything.
//!
//! Trusted wholly: who has the folder can sign tree heads in the ledger's name. He still can't rewrite history past a
//! witness who kept an earlier checkpoint. Keys are made once, by `init`; a server whose keys are gone refuses to start
//! rather than make new ones, since new keys would sign a ledger that the old ones vouched for.

pub mod papers;
pub mod sealed;

use std::{
    fmt,
    fs::{self, DirBuilder, File, OpenOptions},
    io::{self, Read as _, Write as _},
    os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _, PermissionsExt as _},
    path::{Path, PathBuf},
    sync::Arc,
};

use ed25519_dalek::{SigningKey, VerifyingKey};
use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;

use crate::disclosure::signature::Signer;
use crate::disclosure::signature::certificate::CertificateError;
use crate::ledger::checkpoint::{Key, NoteError, VerifyingKey as NoteKey};
use crate::whole;

const SEED_FILE: &str = "checkpoint.seed";
const SECRET_FILE: &str = "server.secret";
const PUBLIC_FILE: &str = "checkpoint.vkey";

/// Why keys could not be had.
#[derive(Debug, thiserror::Error)]
pub enum KeysError {
    /// No key where one should be.
    #[error("there is no key at {}: put the keys back from the backup, or run `init` for a new ledger", .0.display())]
    Missing(PathBuf),
    /// Making keys where keys already are.
    #[error("there is already a key at {}: keys are made once for a ledger", .0.display())]
    AlreadyThere(PathBuf),
    /// Others than the owner may read the file.
    #[error("{} can be read by others: set its mode to 600", .0.display())]
    Open(PathBuf),
    /// The file is not 32 bytes long.
    #[error("{} is not a key: it has to be 32 bytes long", .0.display())]
    Length(PathBuf),
    /// The system gave no random bytes.
    #[error("the system gave no random bytes: {0}")]
    Random(getrandom::Error),
    /// A certificate for papers that cannot be used.
    #[error("{}: {}", .0.display(), .1)]
    Certificate(PathBuf, CertificateError),
    /// A certificate or a request could not be written.
    #[error("the certificate could not be made: {0}")]
    Request(String),
    /// The file system refused.
    #[error("{}: {source}", path.display())]
    Io {
        /// What was touched.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

fn at(path: &Path) -> impl FnOnce(io::Error) -> KeysError + '_ {
    move |source| KeysError::Io {
        path: path.to_owned(),
        source,
    }
}

/// Both keys, in memory, and what signs papers.
pub struct Keys {
    signing: SigningKey,
    secret: Secret,
    papers: Option<Arc<Signer>>,
}

impl fmt::Debug for Keys {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Keys")
            .field("public", &hex::encode(self.verifying().as_bytes()))
            .finish_non_exhaustive()
    }
}

impl Keys {
    /// Makes new keys in `folder` (mode 0700, files 0600) and returns them.
    ///
    /// # Errors
    /// [`KeysError::AlreadyThere`] when either key exists; nothing is touched then.
    pub fn create(folder: &Path) -> Result<Self, KeysError> {
        Self::write(folder, &random()?, &random()?)
    }

    fn write(folder: &Path, secret: &[u8; 32], seed: &[u8; 32]) -> Result<Self, KeysError> {
        DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(folder)
            .map_err(at(folder))?;
        for name in [SEED_FILE, SECRET_FILE] {
            let path = folder.join(name);
            if path.exists() {
                return Err(KeysError::AlreadyThere(path));
            }
        }
        write_new(folder, SECRET_FILE, secret)?;
        write_new(folder, SEED_FILE, seed)?;
        Self::open(folder)
    }

    /// Reads the keys in `folder`.
    ///
    /// # Errors
    /// When one is missing, is not 32 bytes long or can be read by others than its owner.
    pub fn open(folder: &Path) -> Result<Self, KeysError> {
        Ok(Self {
            signing: SigningKey::from_bytes(&read(&folder.join(SEED_FILE))?),
            secret: Secret(read(&folder.join(SECRET_FILE))?),
            papers: papers::open(folder)?.map(Arc::new),
        })
    }

    /// Writes keys that were kept elsewhere into `folder`, as [`Keys::create`] writes new ones, and reads them from there.
    ///
    /// # Errors
    /// [`KeysError::AlreadyThere`] when either key exists; nothing is touched then.
    pub fn put_back(folder: &Path, kept: &Self) -> Result<Self, KeysError> {
        Self::write(folder, &kept.secret.0, kept.signing.as_bytes())?;
        if let Some(signer) = kept.papers() {
            papers::put_back(folder, signer)?;
        }
        Self::open(folder)
    }

    /// Keys that live in memory only, for tests: the same seed gives the same keys.
    #[must_use]
    pub fn from_seed(seed: [u8; 32]) -> Self {
        Self {
            signing: SigningKey::from_bytes(&seed),
            secret: Secret(seed),
            papers: None,
        }
    }

    /// The same with this signing papers, for tests.
    #[must_use]
    pub fn with_papers(mut self, signer: Signer) -> Self {
        self.papers = Some(Arc::new(signer));
        self
    }

    /// What signs papers; none where there is no certificate, and papers are printed unsigned.
    #[must_use]
    pub fn papers(&self) -> Option<&Arc<Signer>> {
        self.papers.as_ref()
    }

    /// The key that signs checkpoints.
    #[must_use]
    pub fn signing(&self) -> &SigningKey {
        &self.signing
    }

    /// Its public half.
    #[must_use]
    pub fn verifying(&self) -> VerifyingKey {
        self.signing.verifying_key()
    }

    /// The same key under the name it signs checkpoints with.
    ///
    /// # Errors
    /// When the name can't stand in a signed note.
    pub fn checkpoint(&self, name: &str) -> Result<Key, NoteError> {
        Key::new(self.signing.as_bytes(), name)
    }

    /// The secret behind sessions and forms.
    #[must_use]
    pub fn secret(&self) -> &Secret {
        &self.secret
    }
}

/// Writes the public key beside the private one, as one line in the form in which witnesses and verifiers take it. It
/// may be read by everybody and written again.
///
/// # Errors
/// When the file system refuses.
pub fn write_public(folder: &Path, key: &NoteKey) -> Result<PathBuf, KeysError> {
    let path = folder.join(PUBLIC_FILE);
    fs::write(&path, format!("{key}\n")).map_err(at(&path))?;
    fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).map_err(at(&path))?;
    Ok(path)
}

/// 32 secret bytes that never leave the server.
pub struct Secret([u8; 32]);

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(..)")
    }
}

impl Secret {
    /// HMAC-SHA-256 over `data`, apart for each `purpose`: a token made for one purpose is worthless for another.
    #[must_use]
    pub fn mac(&self, purpose: &'static str, data: &[u8]) -> [u8; 32] {
        self.hmac(purpose, data).finalize().into_bytes().into()
    }

    /// Whether `tag` is [`Secret::mac`] of the same purpose and data; takes as long for a wrong tag as for a right one.
    #[must_use]
    pub fn is_mac(&self, purpose: &'static str, data: &[u8], tag: &[u8]) -> bool {
        self.hmac(purpose, data).verify_slice(tag).is_ok()
    }

    fn hmac(&self, purpose: &'static str, data: &[u8]) -> Hmac<Sha256> {
        // RFC 2104: a key shorter than the block is filled up with zeros.
        let mut block = [0; 64];
        block[..32].copy_from_slice(&self.0);
        let mut hmac = Hmac::<Sha256>::new(&block.into());
        // The length in front keeps purpose and data apart.
        hmac.update(&(purpose.len() as u64).to_be_bytes());
        hmac.update(purpose.as_bytes());
        hmac.update(data);
        hmac
    }
}

pub(crate) fn random() -> Result<[u8; 32], KeysError> {
    let mut out = [0; 32];
    getrandom::fill(&mut out).map_err(KeysError::Random)?;
    Ok(out)
}

fn write_new(folder: &Path, name: &str, bytes: &[u8; 32]) -> Result<(), KeysError> {
    let path = folder.join(name);
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(&path)
        .map_err(at(&path))?;
    file.write_all(bytes)
        .and_then(|()| file.sync_all())
        .map_err(at(&path))?;
    whole::sync_folder(folder).map_err(at(folder))
}

/// The 32 bytes of a key, which nobody but the owner may read.
pub(crate) fn read(path: &Path) -> Result<[u8; 32], KeysError> {
    let file = match File::open(path) {
        Ok(file) => file,
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            return Err(KeysError::Missing(path.to_owned()));
        }
        Err(e) => return Err(at(path)(e)),
    };
    let mode = file.metadata().map_err(at(path))?.permissions().mode();
    if mode & 0o077 != 0 {
        return Err(KeysError::Open(path.to_owned()));
    }
    let mut bytes = Vec::with_capacity(33);
    file.take(33).read_to_end(&mut bytes).map_err(at(path))?;
    bytes
        .try_into()
        .map_err(|_| KeysError::Length(path.to_owned()))
}
