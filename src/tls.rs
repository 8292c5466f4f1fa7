//! TLS: the certificate that a server shows, read anew where it is replaced, and whom this program trusts as a client.
//!
//! A new certificate or key is taken only where both can be read and belong together; until then the old pair stays in
//! force, also while only one of the two files has been replaced. A date that is over, or not there yet, is told and stops
//! nothing: a browser refuses such a certificate anyway, and a server that stops over a date helps nobody.

use std::fmt;
use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use chrono::{DateTime, Utc};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls;
use tokio_rustls::rustls::crypto::{CryptoProvider, ring};
use tokio_rustls::rustls::pki_types::pem::PemObject as _;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::rustls::server::{ClientHello, ResolvesServerCert};
use tokio_rustls::rustls::sign::CertifiedKey;

use crate::disclosure::signature::certificate::Chain;
use crate::ids::Digest;

/// How long either file may be, in bytes.
const MAX_BYTES: u64 = 1024 * 1024;

/// Why a pair cannot be used. It never repeats what stands in a file.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// The certificate's file.
    #[error("{}: {why}", path.display())]
    Certificate {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The key's file.
    #[error("{}: {why}", path.display())]
    Key {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// They do not belong together.
    #[error("the key in {} is not that of the first certificate in {}", key.display(), certificate.display())]
    Strangers {
        /// The certificate's file.
        certificate: PathBuf,
        /// The key's file.
        key: PathBuf,
    },
    /// The library's word.
    #[error("TLS: {0}")]
    Library(#[from] rustls::Error),
}

fn provider() -> Arc<CryptoProvider> {
    Arc::new(ring::default_provider())
}

/// Where the certificate, with those that vouch for it, and its key are: PEM files.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pair {
    /// The server's certificate first, then the others up to the root.
    pub certificate: PathBuf,
    /// Its private key.
    pub key: PathBuf,
}

/// Both files as they are now.
struct Files {
    certificate: Vec<u8>,
    key: Vec<u8>,
}

fn read(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(MAX_BYTES).read_to_end(&mut bytes)?;
    Ok(bytes)
}

impl Pair {
    fn bad_certificate(&self, why: impl fmt::Display) -> TlsError {
        TlsError::Certificate {
            path: self.certificate.clone(),
            why: why.to_string(),
        }
    }

    fn bad_key(&self, why: impl fmt::Display) -> TlsError {
        TlsError::Key {
            path: self.key.clone(),
            why: why.to_string(),
        }
    }

    fn files(&self) -> Result<Files, TlsError> {
        Ok(Files {
            certificate: read(&self.certificate).map_err(|e| self.bad_certificate(e))?,
            key: read(&self.key).map_err(|e| self.bad_key(e))?,
        })
    }

    fn chain(&self, pem: &[u8]) -> Result<Vec<CertificateDer<'static>>, TlsError> {
        let chain: Vec<_> = CertificateDer::pem_slice_iter(pem)
            .collect::<Result<_, _>>()
            .map_err(|_| self.bad_certificate("it is no PEM file of certificates"))?;
        if chain.is_empty() {
            return Err(self.bad_certificate("there is no certificate in it"));
        }
        Ok(chain)
    }

    fn private(&self, pem: &[u8]) -> Result<PrivateKeyDer<'static>, TlsError> {
        // The library's reason is left out: it could repeat a piece of the key.
        PrivateKeyDer::from_pem_slice(pem)
            .map_err(|_| self.bad_key("there is no private key in it (PEM, without a passphrase)"))
    }

    fn together(&self, files: &Files) -> Result<CertifiedKey, TlsError> {
        let chain = self.chain(&files.certificate)?;
        let key = self.private(&files.key)?;
        let key = ring::sign::any_supported_type(&key)
            .map_err(|_| self.bad_key("its kind of key is not known here"))?;
        let pair = CertifiedKey::new(chain, key);
        match pair.keys_match() {
            Ok(()) => Ok(pair),
            Err(rustls::Error::InconsistentKeys(_)) => Err(TlsError::Strangers {
                certificate: self.certificate.clone(),
                key: self.key.clone(),
            }),
            Err(_) => Err(self.bad_certificate("its first certificate cannot be read")),
        }
    }

    /// Why browsers will refuse the certificate by its dates at this time, in words; none where they will not, and where
    /// the dates cannot be read.
    #[must_use]
    pub fn out_of_date(&self, now: DateTime<Utc>) -> Option<String> {
        let chain = Chain::read(&read(&self.certificate).ok()?).ok()?;
        let why = chain.is_valid(now).err()?;
        Some(format!(
            "{}: {why}; until then browsers and other clients refuse this server",
            self.certificate.display()
        ))
    }

    /// Everything that is wrong with it now.
    #[must_use]
    pub fn wrong(&self) -> Vec<TlsError> {
        let certificate = read(&self.certificate)
            .map_err(|e| self.bad_certificate(e))
            .and_then(|pem| self.chain(&pem).map(|_| pem));
        let key = read(&self.key)
            .map_err(|e| self.bad_key(e))
            .and_then(|pem| self.private(&pem).map(|_| pem));
        match (certificate, key) {
            (Ok(certificate), Ok(key)) => self
                .together(&Files { certificate, key })
                .err()
                .into_iter()
                .collect(),
            (certificate, key) => [certificate.err(), key.err()]
                .into_iter()
                .flatten()
                .collect(),
        }
    }
}

/// What is shown to whoever connects next.
#[derive(Debug)]
struct InForce(RwLock<Arc<CertifiedKey>>);

impl ResolvesServerCert for InForce {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        // It is replaced whole, so that a panic elsewhere leaves it usable.
        Some(
            self.0
                .read()
                .unwrap_or_else(PoisonError::into_inner)
                .clone(),
        )
    }
}

/// What a look at the files came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reloaded {
    /// They are as they were at the last look.
    Same,
    /// A new pair is in force.
    New,
}

/// A server's TLS.
pub struct Tls {
    pair: Pair,
    in_force: Arc<InForce>,
    config: Arc<rustls::ServerConfig>,
    /// What the files were known by at the last look, so that a bad pair is told once.
    looked: Mutex<Digest>,
}

impl fmt::Debug for Tls {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Tls").field(&self.pair).finish()
    }
}

fn known_by(files: &Files) -> Digest {
    let both = [Digest::of(&files.certificate), Digest::of(&files.key)];
    Digest::of(&both.map(|d| d.0).concat())
}

impl Tls {
    /// Reads the pair.
    ///
    /// # Errors
    /// See [`TlsError`].
    pub fn open(pair: Pair) -> Result<Self, TlsError> {
        let files = pair.files()?;
        let certified = pair.together(&files)?;
        let in_force = Arc::new(InForce(RwLock::new(Arc::new(certified))));
        let mut config = rustls::ServerConfig::builder_with_provider(provider())
            .with_safe_default_protocol_versions()?
            .with_no_client_auth()
            .with_cert_resolver(in_force.clone());
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Self {
            pair,
            in_force,
            config: Arc::new(config),
            looked: Mutex::new(known_by(&files)),
        })
    }

    /// Looks at the files, and puts a new pair in force for whoever connects from now on. Connections that are open go on.
    ///
    /// # Errors
    /// Where the new pair cannot be used: the old one stays in force. The same bad pair is told once.
    pub fn reload(&self) -> Result<Reloaded, TlsError> {
        let files = self.pair.files();
        let known = match &files {
            Ok(files) => known_by(files),
            Err(e) => Digest::of(e.to_string().as_bytes()),
        };
        let mut looked = self.looked.lock().unwrap_or_else(PoisonError::into_inner);
        if *looked == known {
            return Ok(Reloaded::Same);
        }
        *looked = known;
        let certified = Arc::new(self.pair.together(&files?)?);
        *self
            .in_force
            .0
            .write()
            .unwrap_or_else(PoisonError::into_inner) = certified;
        Ok(Reloaded::New)
    }

    /// As [`Pair::out_of_date`], of the files as they are now.
    #[must_use]
    pub fn out_of_date(&self, now: DateTime<Utc>) -> Option<String> {
        self.pair.out_of_date(now)
    }

    /// For connections.
    #[must_use]
    pub fn acceptor(&self) -> TlsAcceptor {
        TlsAcceptor::from(self.config.clone())
    }
}

/// As a client this program trusts whom the machine trusts: the system's certificates, or those of the files that
/// `SSL_CERT_FILE` and `SSL_CERT_DIR` name.
#[must_use]
pub fn client() -> ureq::tls::TlsConfig {
    let found = rustls_native_certs::load_native_certs();
    for error in &found.errors {
        tracing::warn!(%error, "the system's certificates");
    }
    let roots = found
        .certs
        .iter()
        .map(|c| ureq::tls::Certificate::from_der(c).to_owned())
        .collect();
    ureq::tls::TlsConfig::builder()
        .root_certs(ureq::tls::RootCerts::Specific(Arc::new(roots)))
        .unversioned_rustls_crypto_provider(provider())
        .build()
}
