//! Signed papers: a PDF signature by ETSI EN 319 142-1 (PAdES), baseline level B-B, with the agency's ECDSA key on P-256.
//!
//! - [`certificate`] the agency's certificate and those above it: read, and refused where they are no good
//! - [`issue`] a self-signed certificate, and a request to an authority
//! - [`cms`] the signature itself (RFC 5652), and the check of one
//! - [`timestamp`] what is asked of a timestamp server and what it answers (RFC 3161)
//! - [`pdf`] the place for it in a PDF: one invisible field, added by an incremental update
//! - [`found`] signatures in a file that turned up
//!
//! The same PDF and key give the same bytes: the ECDSA nonce is that of RFC 6979, the time in the signature is the one that
//! stands in the PDF already, and there is no signing-time attribute. A timestamp, where a server gives one, differs each
//! time by its nature.

pub mod certificate;
pub mod cms;
pub mod found;
pub mod issue;
pub mod pdf;
pub mod timestamp;

use std::fmt;

use p256::ecdsa::SigningKey;

use certificate::Chain;

/// Why a paper was not signed. Each is a fault of the program or of what it was given, none of the person who prints.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SignatureError {
    /// A structure could not be written.
    #[error("the signature cannot be written: {0}")]
    Der(String),
    /// The PDF is none that can be signed.
    #[error("the PDF cannot be signed: {0}")]
    Pdf(String),
    /// The signature needs more bytes than were kept free for it.
    #[error("the signature has {has} bytes, and {room} were kept free for it")]
    Room {
        /// How long it is.
        has: usize,
        /// How long it may be.
        room: usize,
    },
}

impl From<der::Error> for SignatureError {
    fn from(e: der::Error) -> Self {
        Self::Der(e.to_string())
    }
}

/// What signs papers: the key, and the certificates that say whose it is.
pub struct Signer {
    key: SigningKey,
    chain: Chain,
}

impl fmt::Debug for Signer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Signer")
            .field("certificate", &self.chain.about().digest)
            .finish_non_exhaustive()
    }
}

impl Signer {
    /// A key with its chain.
    ///
    /// # Errors
    /// [`certificate::CertificateError::WrongKey`], [`certificate::CertificateError::KeyKind`].
    pub fn new(key: SigningKey, chain: Chain) -> Result<Self, certificate::CertificateError> {
        chain.is_of(key.verifying_key())?;
        Ok(Self { key, chain })
    }

    /// The key.
    #[must_use]
    pub fn key(&self) -> &SigningKey {
        &self.key
    }

    /// The certificates.
    #[must_use]
    pub fn chain(&self) -> &Chain {
        &self.chain
    }
}

/// Writes a structure.
fn written(x: &impl der::Encode) -> Result<Vec<u8>, SignatureError> {
    Ok(x.to_der()?)
}
