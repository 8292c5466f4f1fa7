//! Making certificates: one that signs itself, and the request to an authority (PKCS #10, RFC 2986).

use std::time::Duration;

use chrono::{DateTime, Utc};
use der::asn1::{Any, GeneralizedTime, ObjectIdentifier, OctetString};
use der::{Decode as _, Encode as _, EncodePem as _, Tag};
use p256::ecdsa::{DerSignature, SigningKey};
use x509_cert::attr::AttributeTypeAndValue;
use x509_cert::builder::profile::BuilderProfile;
use x509_cert::builder::{Builder as _, CertificateBuilder};
use x509_cert::certificate::TbsCertificate;
use x509_cert::ext::Extension;
use x509_cert::ext::pkix::{BasicConstraints, KeyUsage, KeyUsages, SubjectKeyIdentifier};
use x509_cert::name::{Name, RdnSequence, RelativeDistinguishedName};
use x509_cert::request::RequestBuilder;
use x509_cert::serial_number::SerialNumber;
use x509_cert::spki::{SubjectPublicKeyInfoOwned, SubjectPublicKeyInfoRef};
use x509_cert::time::{Time, Validity};

use super::SignatureError;
use super::certificate::Chain;
use crate::ids::Digest;

/// The unit that a certificate names which is for a demonstration.
pub const DEMONSTRATION: &str = "Demonstration, not for use";
/// The longest text of a name: `ub-common-name` and `ub-organization-name` of RFC 5280, appendix A.1.
pub const MAX_TEXT: usize = 64;

/// Whose certificate it shall be.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Whose {
    /// Common name: what readers of PDF show as the signer.
    pub name: String,
    /// Organisation; empty for none.
    pub organisation: String,
    /// Unit; empty for none.
    pub unit: String,
    /// Two capital letters (ISO 3166-1); empty for none.
    pub country: String,
}

/// Why a name cannot stand in a certificate.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WhoseError {
    /// Nothing, or too much.
    #[error("{0}: write 1 to {MAX_TEXT} characters")]
    Length(&'static str),
    /// Others than printable characters.
    #[error("{0}: write it without line breaks and control characters")]
    Control(&'static str),
    /// Not a country's code.
    #[error("country: write two capital letters, as ISO 3166-1 has them")]
    Country,
}

impl Whose {
    /// Whether it can stand in a certificate.
    ///
    /// # Errors
    /// See [`WhoseError`].
    pub fn check(&self) -> Result<(), WhoseError> {
        let texts = [
            ("name", &self.name, true),
            ("organisation", &self.organisation, false),
            ("unit", &self.unit, false),
        ];
        for (which, text, needed) in texts {
            let n = text.chars().count();
            if n > MAX_TEXT || (needed && text.trim().is_empty()) {
                return Err(WhoseError::Length(which));
            }
            if text.chars().any(char::is_control) {
                return Err(WhoseError::Control(which));
            }
        }
        let letters = self.country.bytes().all(|b| b.is_ascii_uppercase());
        if !self.country.is_empty() && (self.country.len() != 2 || !letters) {
            return Err(WhoseError::Country);
        }
        Ok(())
    }

    fn name(&self) -> Result<Name, der::Error> {
        // RFC 4519: c, o, ou, cn; from the large to the small.
        let parts = [
            ("2.5.4.6", &self.country, Tag::PrintableString),
            ("2.5.4.10", &self.organisation, Tag::Utf8String),
            ("2.5.4.11", &self.unit, Tag::Utf8String),
            ("2.5.4.3", &self.name, Tag::Utf8String),
        ];
        let mut all = RdnSequence::default();
        for (oid, text, tag) in parts {
            if text.is_empty() {
                continue;
            }
            let mut one = RelativeDistinguishedName::default();
            one.insert(AttributeTypeAndValue {
                oid: ObjectIdentifier::new(oid).map_err(der::Error::from)?,
                value: Any::new(tag, text.as_bytes())?,
            })?;
            all.push(one);
        }
        Name::from_der(&all.to_der()?)
    }
}

struct SelfSigned(Name);

impl BuilderProfile for SelfSigned {
    fn get_issuer(&self, subject: &Name) -> Name {
        subject.clone()
    }

    fn get_subject(&self) -> Name {
        self.0.clone()
    }

    fn build_extensions(
        &self,
        _: SubjectPublicKeyInfoRef<'_>,
        _: SubjectPublicKeyInfoRef<'_>,
        _: &TbsCertificate,
    ) -> x509_cert::builder::Result<Vec<Extension>> {
        Ok(Vec::new())
    }
}

fn built(e: impl std::fmt::Display) -> SignatureError {
    SignatureError::Der(e.to_string())
}

fn time(at: DateTime<Utc>) -> Result<Time, SignatureError> {
    let seconds = u64::try_from(at.timestamp()).map_err(built)?;
    // The builder writes it as UTCTime until 2049, as RFC 5280 has it.
    let time = GeneralizedTime::from_unix_duration(Duration::from_secs(seconds))?;
    Ok(Time::GeneralTime(time))
}

fn usage() -> KeyUsage {
    KeyUsage(KeyUsages::DigitalSignature | KeyUsages::NonRepudiation)
}

/// A certificate for the key, signed by the key itself.
///
/// # Errors
/// [`SignatureError::Der`].
pub fn self_signed(
    key: &SigningKey,
    whose: &Whose,
    serial: [u8; 16],
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Chain, SignatureError> {
    let spki = SubjectPublicKeyInfoOwned::from_key(key.verifying_key()).map_err(built)?;
    let bits = spki.subject_public_key.as_bytes().unwrap_or_default();
    // RFC 7093, section 2, method 1: the leftmost 160 bits of the SHA-256 of the key.
    let id: Vec<u8> = Digest::of(bits).0.into_iter().take(20).collect();
    let mut builder = CertificateBuilder::new(
        SelfSigned(whose.name()?),
        SerialNumber::new(&serial)?,
        Validity::new(time(from)?, time(until)?),
        spki,
    )
    .map_err(built)?;
    let constraints = BasicConstraints {
        ca: false,
        path_len_constraint: None,
    };
    builder.add_extension(&constraints).map_err(built)?;
    builder.add_extension(&usage()).map_err(built)?;
    let id = SubjectKeyIdentifier(OctetString::new(id)?);
    builder.add_extension(&id).map_err(built)?;
    let one = builder.build::<_, DerSignature>(key).map_err(built)?;
    Chain::of(one, Vec::new()).map_err(built)
}

/// The request for a certificate for the key, as PEM.
///
/// # Errors
/// [`SignatureError::Der`].
pub fn request(key: &SigningKey, whose: &Whose) -> Result<String, SignatureError> {
    let mut builder = RequestBuilder::new(whose.name()?).map_err(built)?;
    builder.add_extension(&usage()).map_err(built)?;
    let made = builder.build::<_, DerSignature>(key).map_err(built)?;
    made.to_pem(der::pem::LineEnding::LF).map_err(built)
}
