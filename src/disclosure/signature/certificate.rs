//! The agency's certificate for papers, and those above it (X.509 version 3, RFC 5280).

use chrono::{DateTime, Utc};
use der::asn1::ObjectIdentifier;
use der::{Decode as _, DecodePem as _, Encode as _, EncodePem as _};
use p256::ecdsa::signature::Verifier as _;
use p256::ecdsa::{DerSignature, VerifyingKey};
use x509_cert::Certificate;
use x509_cert::ext::pkix::KeyUsage;
use x509_cert::name::Name;
use x509_cert::time::Time;

use super::issue::DEMONSTRATION;
use crate::ids::Digest;

/// How many certificates a chain has at the most.
pub const MOST: usize = 8;
/// How long its text may be, in bytes.
pub const MAX_TEXT: usize = 64 * 1024;
/// How many characters of a name are shown.
const MAX_NAME: usize = 200;

/// `id-ecPublicKey`, RFC 5480.
const EC_KEY: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.10045.2.1");
/// `secp256r1`, which is P-256, RFC 5480.
const P256: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.10045.3.1.7");
/// `ecdsa-with-SHA256`, RFC 5758.
pub(super) const ECDSA_SHA256: ObjectIdentifier =
    ObjectIdentifier::new_unwrap("1.2.840.10045.4.3.2");

/// Why a certificate cannot be used for papers.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CertificateError {
    /// Nothing that can be read.
    #[error(
        "no certificate can be read in it: name a PEM file with the agency's certificate first and those above it behind it"
    )]
    Unreadable,
    /// More than [`MOST`], or too long a text.
    #[error("it holds more than {MOST} certificates, or more than 64 kB")]
    TooMany,
    /// Another kind of key.
    #[error(
        "the key of \"{0}\" is not an ECDSA key on P-256: have one issued for the request that this program made"
    )]
    KeyKind(String),
    /// For another key.
    #[error(
        "the certificate of \"{0}\" is for another key than this ledger's: name the one that came back for this ledger's request, \
         the agency's own first"
    )]
    WrongKey(String),
    /// No longer valid.
    #[error("the certificate of \"{subject}\" expired on {at}: have a new one issued")]
    Expired {
        /// Whose.
        subject: String,
        /// When.
        at: String,
    },
    /// Not valid yet.
    #[error(
        "the certificate of \"{subject}\" is valid from {at} on only: wait, or set this machine's clock right"
    )]
    NotYet {
        /// Whose.
        subject: String,
        /// When.
        at: String,
    },
    /// Issued for something else.
    #[error(
        "the certificate of \"{0}\" is not for signing: its key usage allows neither signatures nor commitment"
    )]
    Usage(String),
    /// One that did not issue the one before it.
    #[error(
        "\"{above}\" did not issue the certificate of \"{subject}\": put them in order, the agency's own first"
    )]
    Order {
        /// Whose certificate.
        subject: String,
        /// Whose stands behind it.
        above: String,
    },
    /// A signature that does not hold.
    #[error(
        "the signature under the certificate of \"{0}\" is not its issuer's: the file is damaged or made up"
    )]
    Signature(String),
}

/// A certificate and those above it, the agency's own first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chain {
    first: Certificate,
    above: Vec<Certificate>,
    digest: Digest,
}

/// What a certificate says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct About {
    /// Whose it is.
    pub subject: String,
    /// Who issued it.
    pub issuer: String,
    /// Whether its own key signed it.
    pub self_signed: bool,
    /// Whether it says that it is a demonstration.
    pub demonstration: bool,
    /// From when on it is valid.
    pub from: DateTime<Utc>,
    /// Until when.
    pub until: DateTime<Utc>,
    /// SHA-256 of its DER.
    pub digest: Digest,
}

impl About {
    /// What kind it is, in words for papers and pages.
    #[must_use]
    pub fn kind(&self) -> String {
        match (self.self_signed, self.demonstration) {
            (true, true) => "self-signed demonstration certificate".into(),
            (true, false) => "self-signed certificate, for which nobody else vouches".into(),
            (false, _) => format!("certificate issued by {}", self.issuer),
        }
    }
}

/// What a certificate says.
#[must_use]
pub fn about(one: &Certificate) -> About {
    let tbs = one.tbs_certificate();
    let subject = words(tbs.subject());
    About {
        demonstration: says_demonstration(tbs.subject()),
        self_signed: tbs.subject() == tbs.issuer(),
        issuer: words(tbs.issuer()),
        from: at(tbs.validity().not_before),
        until: at(tbs.validity().not_after),
        digest: one.to_der().map_or(Digest([0; 32]), |der| Digest::of(&der)),
        subject,
    }
}

fn at(time: Time) -> DateTime<Utc> {
    let seconds = time.to_unix_duration().as_secs();
    i64::try_from(seconds)
        .ok()
        .and_then(|s| DateTime::from_timestamp(s, 0))
        .unwrap_or_default()
}

fn day(at: DateTime<Utc>) -> String {
    at.format("%-d %b %Y %H:%M UTC").to_string()
}

/// The texts of a name, in the order common name, unit, organisation, everything else; for people only.
fn words(name: &Name) -> String {
    // Object identifiers of RFC 4519: cn, ou, o.
    let rank = |oid: &ObjectIdentifier| match oid.to_string().as_str() {
        "2.5.4.3" => 0,
        "2.5.4.11" => 1,
        "2.5.4.10" => 2,
        _ => 3,
    };
    let mut parts: Vec<(u8, String)> = name
        .iter()
        .map(|a| {
            let text = String::from_utf8_lossy(a.value.value())
                .chars()
                .filter(|c| !c.is_control())
                .collect();
            (rank(&a.oid), text)
        })
        .collect();
    parts.sort_by_key(|(rank, _)| *rank);
    let all: Vec<String> = parts.into_iter().map(|(_, text)| text).collect();
    let mut text: String = all.join(", ").chars().take(MAX_NAME).collect();
    if text.is_empty() {
        text = "somebody without a name".into();
    }
    text
}

fn says_demonstration(name: &Name) -> bool {
    name.iter()
        .any(|a| a.value.value() == DEMONSTRATION.as_bytes())
}

/// The P-256 key of a certificate; none where it has another.
#[must_use]
pub fn key_of(one: &Certificate) -> Option<VerifyingKey> {
    let spki = one.tbs_certificate().subject_public_key_info();
    let curve = spki.algorithm.parameters.as_ref()?;
    let curve = curve.decode_as::<ObjectIdentifier>().ok()?;
    if spki.algorithm.oid != EC_KEY || curve != P256 {
        return None;
    }
    VerifyingKey::from_sec1_bytes(spki.subject_public_key.as_bytes()?).ok()
}

/// Whether a certificate is signed by this key; none where it is signed by another algorithm, which is not checked here.
fn signed_by(one: &Certificate, key: &VerifyingKey) -> Option<bool> {
    if one.signature_algorithm().oid != ECDSA_SHA256 {
        return None;
    }
    let body = one.tbs_certificate().to_der().ok()?;
    let signature = DerSignature::try_from(one.signature().as_bytes()?).ok();
    Some(signature.is_some_and(|s| key.verify(&body, &s).is_ok()))
}

impl Chain {
    pub(super) fn of(
        first: Certificate,
        above: Vec<Certificate>,
    ) -> Result<Self, CertificateError> {
        let der = first.to_der().map_err(|_| CertificateError::Unreadable)?;
        Ok(Self {
            digest: Digest::of(&der),
            first,
            above,
        })
    }

    /// Reads certificates from PEM, or one from DER. Nothing of them is checked yet.
    ///
    /// # Errors
    /// [`CertificateError::Unreadable`], [`CertificateError::TooMany`].
    pub fn read(text: &[u8]) -> Result<Self, CertificateError> {
        const BEGIN: &str = "-----BEGIN CERTIFICATE-----";
        const END: &str = "-----END CERTIFICATE-----";
        if text.len() > MAX_TEXT {
            return Err(CertificateError::TooMany);
        }
        if let Ok(one) = Certificate::from_der(text) {
            return Self::of(one, Vec::new());
        }
        let text = std::str::from_utf8(text).map_err(|_| CertificateError::Unreadable)?;
        let mut all = Vec::new();
        let mut rest = text;
        // What stands around the blocks is other programs' words.
        while let Some(from) = rest.find(BEGIN) {
            let block = rest.get(from..).unwrap_or_default();
            let Some(end) = block.find(END).map(|at| at + END.len()) else {
                return Err(CertificateError::Unreadable);
            };
            let (block, behind) = block.split_at(end);
            let block = block.replace('\r', "");
            let one = Certificate::from_pem(&block).map_err(|_| CertificateError::Unreadable)?;
            all.push(one);
            if all.len() > MOST {
                return Err(CertificateError::TooMany);
            }
            rest = behind;
        }
        let mut all = all.into_iter();
        let first = all.next().ok_or(CertificateError::Unreadable)?;
        Self::of(first, all.collect())
    }

    /// The text in which [`Chain::read`] reads it.
    ///
    /// # Errors
    /// [`CertificateError::Unreadable`]: never for one that was read.
    pub fn to_pem(&self) -> Result<String, CertificateError> {
        let mut out = String::new();
        for one in self.all() {
            let text = one.to_pem(der::pem::LineEnding::LF);
            out.push_str(&text.map_err(|_| CertificateError::Unreadable)?);
        }
        Ok(out)
    }

    /// All, the agency's own first.
    pub fn all(&self) -> impl Iterator<Item = &Certificate> {
        std::iter::once(&self.first).chain(&self.above)
    }

    /// The agency's own.
    #[must_use]
    pub fn first(&self) -> &Certificate {
        &self.first
    }

    /// SHA-256 of the agency's own.
    #[must_use]
    pub fn digest(&self) -> Digest {
        self.digest
    }

    /// What the agency's own says.
    #[must_use]
    pub fn about(&self) -> About {
        about(&self.first)
    }

    /// The key that the agency's own is for.
    ///
    /// # Errors
    /// [`CertificateError::KeyKind`].
    pub fn key(&self) -> Result<VerifyingKey, CertificateError> {
        key_of(&self.first).ok_or_else(|| CertificateError::KeyKind(self.about().subject))
    }

    /// Whether the agency's own is for this key.
    ///
    /// # Errors
    /// [`CertificateError::KeyKind`], [`CertificateError::WrongKey`].
    pub fn is_of(&self, key: &VerifyingKey) -> Result<(), CertificateError> {
        if self.key()? == *key {
            return Ok(());
        }
        Err(CertificateError::WrongKey(self.about().subject))
    }

    /// Whether the agency's own is valid at this time.
    ///
    /// # Errors
    /// [`CertificateError::Expired`], [`CertificateError::NotYet`].
    pub fn is_valid(&self, now: DateTime<Utc>) -> Result<(), CertificateError> {
        valid(&self.about(), now)
    }

    /// Everything that can be said of a chain before papers are signed with it. A signature of another algorithm than ECDSA
    /// with SHA-256 on P-256 is not checked here; who reads the paper does.
    ///
    /// # Errors
    /// The first [`CertificateError`] that there is.
    pub fn check(&self, key: &VerifyingKey, now: DateTime<Utc>) -> Result<(), CertificateError> {
        self.is_of(key)?;
        self.is_valid(now)?;
        let subject = || self.about().subject;
        let usage = self.first.tbs_certificate().get_extension::<KeyUsage>();
        let usage = usage.map_err(|_| CertificateError::Unreadable)?;
        if usage.is_some_and(|(_, u)| !u.digital_signature() && !u.non_repudiation()) {
            return Err(CertificateError::Usage(subject()));
        }
        let mut below = &self.first;
        for one in &self.above {
            let (lower, upper) = (about(below), about(one));
            if below.tbs_certificate().issuer() != one.tbs_certificate().subject() {
                return Err(CertificateError::Order {
                    subject: lower.subject,
                    above: upper.subject,
                });
            }
            valid(&upper, now)?;
            if key_of(one).and_then(|key| signed_by(below, &key)) == Some(false) {
                return Err(CertificateError::Signature(lower.subject));
            }
            below = one;
        }
        let last = about(below);
        if last.self_signed && key_of(below).and_then(|key| signed_by(below, &key)) == Some(false) {
            return Err(CertificateError::Signature(last.subject));
        }
        Ok(())
    }
}

fn valid(of: &About, now: DateTime<Utc>) -> Result<(), CertificateError> {
    let subject = of.subject.clone();
    if now > of.until {
        let at = day(of.until);
        return Err(CertificateError::Expired { subject, at });
    }
    if now < of.from {
        let at = day(of.from);
        return Err(CertificateError::NotYet { subject, at });
    }
    Ok(())
}
