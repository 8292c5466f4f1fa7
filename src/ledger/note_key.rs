//! Keys of signed notes: an Ed25519 key with a name and a number for what it signs. A ledger's key and a witness's differ
//! only in that number.

use std::{fmt, str::FromStr};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use ed25519_dalek::{Signature, Signer as _};
use sha2::{Digest as _, Sha256};

use super::checkpoint::{MAX_KEY_NAME, NoteError, is_key_name};

/// A key that signs, with its name. `KIND` is the byte that says what it signs, in the key and in its identifier.
#[derive(Clone)]
pub struct Signing<const KIND: u8> {
    public: Verifying<KIND>,
    secret: ed25519_dalek::SigningKey,
}

impl<const KIND: u8> Signing<KIND> {
    /// The key that grows from 32 secret bytes (RFC 8032 section 5.1.5), under a name: a host of its owner's and a path,
    /// without a scheme.
    ///
    /// # Errors
    /// [`NoteError::KeyName`].
    pub fn new(seed: &[u8; 32], name: &str) -> Result<Self, NoteError> {
        let secret = ed25519_dalek::SigningKey::from_bytes(seed);
        let public = Verifying::new(name, secret.verifying_key())?;
        Ok(Self { public, secret })
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.public.name
    }

    /// The half that may be given away.
    #[must_use]
    pub fn verifying_key(&self) -> &Verifying<KIND> {
        &self.public
    }

    /// A signature's line, with its newline: the signature of `message`, and `before` it in the same bytes.
    pub(super) fn line(&self, before: &[u8], message: &[u8]) -> String {
        let mut bytes = self.public.id.to_vec();
        bytes.extend_from_slice(before);
        bytes.extend_from_slice(&self.secret.sign(message).to_bytes());
        format!("\u{2014} {} {}\n", self.name(), STANDARD.encode(bytes))
    }
}

impl<const KIND: u8> fmt::Debug for Signing<KIND> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Signing").field(&self.public).finish()
    }
}

/// A key that checks signatures, with its name. As text: `name+identifier+key`.
#[derive(Clone, PartialEq, Eq)]
pub struct Verifying<const KIND: u8> {
    name: String,
    id: [u8; 4],
    key: ed25519_dalek::VerifyingKey,
}

impl<const KIND: u8> Verifying<KIND> {
    fn new(name: &str, key: ed25519_dalek::VerifyingKey) -> Result<Self, NoteError> {
        if !is_key_name(name) {
            return Err(NoteError::KeyName);
        }
        let hash = Sha256::new()
            .chain_update(name)
            .chain_update([b'\n', KIND])
            .chain_update(key.as_bytes())
            .finalize();
        Ok(Self {
            name: name.to_owned(),
            id: [hash[0], hash[1], hash[2], hash[3]],
            key,
        })
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether a signature's line, of this name and these bytes, is this key's; it may still be wrong.
    pub(super) fn is_of(&self, name: &str, bytes: &[u8]) -> bool {
        name == self.name && bytes.starts_with(&self.id)
    }

    pub(super) fn check(&self, message: &[u8], signature: &[u8]) -> Result<(), NoteError> {
        let signature = Signature::from_slice(signature).map_err(|_| NoteError::Signature)?;
        self.key
            .verify_strict(message, &signature)
            .map_err(|_| NoteError::Signature)
    }
}

impl<const KIND: u8> fmt::Display for Verifying<KIND> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut key = vec![KIND];
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

impl<const KIND: u8> fmt::Debug for Verifying<KIND> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl<const KIND: u8> FromStr for Verifying<KIND> {
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
            Some((kind, key)) if *kind == KIND => key.try_into().map_err(|_| NoteError::Key)?,
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
