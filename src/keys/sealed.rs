//! The keys under a passphrase, as a backup carries them: Argon2id makes a key of the passphrase (RFC 9106), and
//! ChaCha20-Poly1305 (RFC 8439) encrypts them with it: 64 bytes, then, where papers are signed, the 32 of that key and its certificates as PEM. The salt is fresh each time, and so is the key.

use std::sync::Arc;

use argon2::{Algorithm, Argon2, Params, Version};
use chacha20poly1305::ChaCha20Poly1305;
use chacha20poly1305::aead::{Aead as _, KeyInit as _, Payload};
use ed25519_dalek::SigningKey;
use p256::ecdsa::SigningKey as PaperKey;
use serde::{Deserialize, Serialize};

use super::{Keys, Secret};
use crate::disclosure::signature::Signer;
use crate::disclosure::signature::certificate::Chain;

/// Memory for a new one, in KiB: RFC 9106, section 4, the second recommended option (64 MiB, three passes, four lanes).
const MEMORY_KIB: u32 = 65_536;
const PASSES: u32 = 3;
const LANES: u32 = 4;
/// The most that one from elsewhere may ask for.
const MOST_MEMORY_KIB: u32 = 1_048_576;
const MOST_PASSES: u32 = 16;
const MOST_LANES: u32 = 16;
/// The shortest passphrase. Our assumption: there is no second attempt to slow down, so longer than a password must be.
pub const SHORTEST: usize = 16;

/// Why keys could not be sealed or opened.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SealedError {
    /// Too few characters.
    #[error("the passphrase has fewer than {SHORTEST} characters: take a few words in a row")]
    TooShort,
    /// Not by this passphrase, or altered.
    #[error("the keys do not open: the passphrase is another one, or the file was altered")]
    Wrong,
    /// Parts that no sealing of ours has.
    #[error("the sealed keys cannot be read")]
    Malformed,
    /// No random bytes, or no memory.
    #[error("the machine gave no random bytes or no memory for it")]
    Machine,
}

/// Both keys, encrypted. Binary parts are in hex.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SealedKeys {
    /// `argon2id`.
    kdf: String,
    memory_kib: u32,
    passes: u32,
    lanes: u32,
    salt: String,
    /// `chacha20-poly1305`.
    cipher: String,
    nonce: String,
    /// The ledger's public key, which the cipher binds to the rest.
    key: String,
    sealed: String,
}

impl SealedKeys {
    /// Encrypts the keys of the ledger whose checkpoints are verified with `vkey`.
    ///
    /// # Errors
    /// [`SealedError::TooShort`], [`SealedError::Machine`].
    pub fn seal(keys: &Keys, vkey: &str, passphrase: &str) -> Result<Self, SealedError> {
        if passphrase.chars().count() < SHORTEST {
            return Err(SealedError::TooShort);
        }
        let (mut salt, mut nonce) = ([0_u8; 16], [0_u8; 12]);
        getrandom::fill(&mut salt).map_err(|_| SealedError::Machine)?;
        getrandom::fill(&mut nonce).map_err(|_| SealedError::Machine)?;
        let mut out = Self {
            kdf: "argon2id".into(),
            memory_kib: MEMORY_KIB,
            passes: PASSES,
            lanes: LANES,
            salt: hex::encode(salt),
            cipher: "chacha20-poly1305".into(),
            nonce: hex::encode(nonce),
            key: vkey.into(),
            sealed: String::new(),
        };
        let mut both = keys.signing.as_bytes().to_vec();
        both.extend_from_slice(&keys.secret.0);
        if let Some(signer) = keys.papers() {
            both.extend_from_slice(&signer.key().to_bytes());
            let pem = signer
                .chain()
                .to_pem()
                .map_err(|_| SealedError::Malformed)?;
            both.extend_from_slice(pem.as_bytes());
        }
        let payload = Payload {
            msg: &both,
            aad: vkey.as_bytes(),
        };
        let sealed = out
            .cipher(&salt, passphrase)?
            .encrypt(&nonce.into(), payload)
            .map_err(|_| SealedError::Machine)?;
        out.sealed = hex::encode(sealed);
        Ok(out)
    }

    /// Decrypts them.
    ///
    /// # Errors
    /// [`SealedError::Wrong`], [`SealedError::Malformed`], [`SealedError::Machine`].
    pub fn open(&self, passphrase: &str) -> Result<Keys, SealedError> {
        let bytes = |text: &str| hex::decode(text).map_err(|_| SealedError::Malformed);
        let within = self.kdf == "argon2id"
            && self.cipher == "chacha20-poly1305"
            && self.memory_kib <= MOST_MEMORY_KIB
            && self.passes <= MOST_PASSES
            && self.lanes <= MOST_LANES;
        let salt = bytes(&self.salt)?;
        if !within || salt.len() != 16 {
            return Err(SealedError::Malformed);
        }
        let nonce: [u8; 12] = bytes(&self.nonce)?
            .try_into()
            .map_err(|_| SealedError::Malformed)?;
        let sealed = bytes(&self.sealed)?;
        let payload = Payload {
            msg: &sealed,
            aad: self.key.as_bytes(),
        };
        let both = self
            .cipher(&salt, passphrase)?
            .decrypt(&nonce.into(), payload)
            .map_err(|_| SealedError::Wrong)?;
        let (seed, rest) = both.split_first_chunk().ok_or(SealedError::Malformed)?;
        let (secret, rest) = rest.split_first_chunk().ok_or(SealedError::Malformed)?;
        let papers = match rest.split_first_chunk::<32>() {
            None if rest.is_empty() => None,
            None => return Err(SealedError::Malformed),
            Some((key, pem)) => {
                let key = PaperKey::from_slice(key).map_err(|_| SealedError::Malformed)?;
                let chain = Chain::read(pem).map_err(|_| SealedError::Malformed)?;
                let signer = Signer::new(key, chain).map_err(|_| SealedError::Malformed)?;
                Some(Arc::new(signer))
            }
        };
        Ok(Keys {
            signing: SigningKey::from_bytes(seed),
            secret: Secret(*secret),
            papers,
        })
    }

    fn cipher(&self, salt: &[u8], passphrase: &str) -> Result<ChaCha20Poly1305, SealedError> {
        let params = Params::new(self.memory_kib, self.passes, self.lanes, Some(32))
            .map_err(|_| SealedError::Malformed)?;
        let mut key = [0_u8; 32];
        Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
            .hash_password_into(passphrase.as_bytes(), salt, &mut key)
            .map_err(|_| SealedError::Machine)?;
        Ok(ChaCha20Poly1305::new(&key.into()))
    }
}
