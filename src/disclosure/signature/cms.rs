//! The signature: CMS signed data over the digest of a PDF (RFC 5652), with the attributes that PAdES asks for at level B-B
//! (ETSI EN 319 142-1, 6.3, from memory): content type, message digest, signing certificate (RFC 5035), and no signing time.

use cms::cert::{CertificateChoices, IssuerAndSerialNumber};
use cms::content_info::{CmsVersion, ContentInfo};
use cms::signed_data::{
    CertificateSet, EncapsulatedContentInfo, SignedData, SignerIdentifier, SignerInfo, SignerInfos,
};
use der::asn1::{Any, ObjectIdentifier, OctetString, SetOfVec};
use der::{Decode as _, Encode, Reader as _, Sequence};
use p256::ecdsa::DerSignature;
use p256::ecdsa::signature::{Signer as _, Verifier as _};
use x509_cert::Certificate;
use x509_cert::attr::Attribute;
use x509_cert::spki::AlgorithmIdentifierOwned;

use super::certificate::{About, ECDSA_SHA256, about, key_of};
use super::timestamp::{self, Token};
use super::{SignatureError, Signer, written};
use crate::ids::Digest;

const fn oid(text: &str) -> ObjectIdentifier {
    ObjectIdentifier::new_unwrap(text)
}

/// `id-signedData`, RFC 5652.
pub(super) const SIGNED_DATA: ObjectIdentifier = oid("1.2.840.113549.1.7.2");
/// `id-data`, RFC 5652.
const DATA: ObjectIdentifier = oid("1.2.840.113549.1.7.1");
/// `id-contentType`, RFC 5652.
const CONTENT_TYPE: ObjectIdentifier = oid("1.2.840.113549.1.9.3");
/// `id-messageDigest`, RFC 5652.
const MESSAGE_DIGEST: ObjectIdentifier = oid("1.2.840.113549.1.9.4");
/// `id-aa-signingCertificateV2`, RFC 5035.
const SIGNING_CERTIFICATE: ObjectIdentifier = oid("1.2.840.113549.1.9.16.2.47");
/// `id-aa-timeStampToken`, RFC 3161.
const TIMESTAMP: ObjectIdentifier = oid("1.2.840.113549.1.9.16.2.14");
/// `id-sha256`, RFC 5754.
pub(super) const SHA256: ObjectIdentifier = oid("2.16.840.1.101.3.4.2.1");

/// `SigningCertificateV2` of RFC 5035, 3.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
struct SigningCertificate {
    certs: Vec<CertificateId>,
    #[asn1(optional = "true")]
    policies: Option<Any>,
}

/// `ESSCertIDv2` of RFC 5035, 4. SHA-256 is the default and so is not written.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
struct CertificateId {
    #[asn1(optional = "true")]
    hash_algorithm: Option<AlgorithmIdentifierOwned>,
    cert_hash: OctetString,
    #[asn1(optional = "true")]
    issuer_serial: Option<Any>,
}

pub(super) fn algorithm(oid: ObjectIdentifier) -> AlgorithmIdentifierOwned {
    AlgorithmIdentifierOwned {
        oid,
        parameters: None,
    }
}

fn attribute(oid: ObjectIdentifier, value: &impl Encode) -> Result<Attribute, SignatureError> {
    let value = Any::from_der(&written(value)?)?;
    let values = SetOfVec::try_from(vec![value])?;
    Ok(Attribute { oid, values })
}

/// A signature, made.
pub struct Signed {
    certificates: CertificateSet,
    info: SignerInfo,
}

impl Signed {
    /// Signs the digest of what a PDF's signature covers. The same digest and key give the same bytes.
    ///
    /// # Errors
    /// [`SignatureError::Der`].
    pub fn new(covered: &Digest, signer: &Signer) -> Result<Self, SignatureError> {
        let chain = signer.chain();
        let named = SigningCertificate {
            certs: vec![CertificateId {
                hash_algorithm: None,
                cert_hash: OctetString::new(chain.digest().0)?,
                issuer_serial: None,
            }],
            policies: None,
        };
        let attributes = SetOfVec::try_from(vec![
            attribute(CONTENT_TYPE, &DATA)?,
            attribute(MESSAGE_DIGEST, &OctetString::new(covered.0)?)?,
            attribute(SIGNING_CERTIFICATE, &named)?,
        ])?;
        // RFC 5652, 5.4: what is signed is the set under its own tag, not under the implicit one.
        let signature: DerSignature = signer.key().sign(&written(&attributes)?);
        let first = chain.first().tbs_certificate();
        let all = chain.all().cloned().map(CertificateChoices::Certificate);
        Ok(Self {
            certificates: CertificateSet::try_from(all.collect::<Vec<_>>())?,
            info: SignerInfo {
                version: CmsVersion::V1,
                sid: SignerIdentifier::IssuerAndSerialNumber(IssuerAndSerialNumber {
                    issuer: first.issuer().clone(),
                    serial_number: first.serial_number().clone(),
                }),
                digest_alg: algorithm(SHA256),
                signed_attrs: Some(attributes),
                signature_algorithm: algorithm(ECDSA_SHA256),
                signature: OctetString::new(signature.as_bytes())?,
                unsigned_attrs: None,
            },
        })
    }

    /// SHA-256 of the signature's value: what a timestamp is asked for (RFC 3161, appendix A).
    #[must_use]
    pub fn imprint(&self) -> Digest {
        Digest::of(self.info.signature.as_bytes())
    }

    /// Puts a timestamp beside the signature.
    ///
    /// # Errors
    /// [`SignatureError::Der`].
    pub fn stamp(&mut self, token: &Token) -> Result<(), SignatureError> {
        let value = Any::from_der(&token.der)?;
        let one = Attribute {
            oid: TIMESTAMP,
            values: SetOfVec::try_from(vec![value])?,
        };
        self.info.unsigned_attrs = Some(SetOfVec::try_from(vec![one])?);
        Ok(())
    }

    /// The DER of the whole.
    ///
    /// # Errors
    /// [`SignatureError::Der`].
    pub fn to_der(&self) -> Result<Vec<u8>, SignatureError> {
        let data = SignedData {
            version: CmsVersion::V1,
            digest_algorithms: SetOfVec::try_from(vec![algorithm(SHA256)])?,
            encap_content_info: EncapsulatedContentInfo {
                econtent_type: DATA,
                econtent: None,
            },
            certificates: Some(self.certificates.clone()),
            crls: None,
            signer_infos: SignerInfos::try_from(vec![self.info.clone()])?,
        };
        written(&ContentInfo {
            content_type: SIGNED_DATA,
            content: Any::from_der(&written(&data)?)?,
        })
    }
}

/// Why a signature says nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Why {
    /// Not in the form in which this program reads signatures.
    #[error("it cannot be read by this program; a reader of PDF may tell more")]
    Unreadable,
    /// Another algorithm.
    #[error(
        "it is made with an algorithm that this program does not check; a reader of PDF may tell more"
    )]
    Algorithm,
    /// What it covers was changed.
    #[error("what it covers was changed after it was signed")]
    Changed,
    /// Not made by the certificate's key.
    #[error("it was not made with the key of the certificate that it names")]
    Forged,
}

/// Who signed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Who {
    /// Their certificate.
    pub certificate: About,
    /// The timestamp beside the signature, or why the one that is there says nothing.
    pub timestamp: Option<Result<Token, timestamp::TimestampError>>,
}

/// Signed data in a file: what a signature in a PDF holds, and zeros behind it.
fn opened(bytes: &[u8]) -> Result<SignedData, Why> {
    let mut reader = der::SliceReader::new(bytes).map_err(|_| Why::Unreadable)?;
    let info = ContentInfo::decode(&mut reader).map_err(|_| Why::Unreadable)?;
    let behind = reader.read_slice(reader.remaining_len());
    if behind.map_err(|_| Why::Unreadable)?.iter().any(|b| *b != 0) {
        return Err(Why::Unreadable);
    }
    if info.content_type != SIGNED_DATA {
        return Err(Why::Unreadable);
    }
    info.content.decode_as().map_err(|_| Why::Unreadable)
}

fn value_of(info: &SignerInfo, oid: ObjectIdentifier) -> Option<&Any> {
    let all = info.signed_attrs.as_ref()?;
    let one = all.iter().find(|a| a.oid == oid)?;
    one.values.iter().next()
}

/// The certificate of the one signer whose signature over `digest` as `content` holds.
pub(super) fn signer(
    data: &SignedData,
    content: ObjectIdentifier,
    digest: &Digest,
) -> Result<(Certificate, SignerInfo), Why> {
    let mut infos = data.signer_infos.0.iter();
    let (Some(info), None) = (infos.next(), infos.next()) else {
        return Err(Why::Unreadable);
    };
    let SignerIdentifier::IssuerAndSerialNumber(sid) = &info.sid else {
        return Err(Why::Unreadable);
    };
    let all = data.certificates.as_ref().ok_or(Why::Unreadable)?;
    let named = all.0.iter().find_map(|c| match c {
        CertificateChoices::Certificate(c)
            if *c.tbs_certificate().issuer() == sid.issuer
                && *c.tbs_certificate().serial_number() == sid.serial_number =>
        {
            Some(c)
        }
        _ => None,
    });
    let one = named.ok_or(Why::Unreadable)?;
    let key = key_of(one).ok_or(Why::Algorithm)?;
    // Some write the hash's own algorithm there and mean the same (RFC 5754, 3.3 has both).
    if info.digest_alg.oid != SHA256 || info.signature_algorithm.oid != ECDSA_SHA256 {
        return Err(Why::Algorithm);
    }
    let attributes = info.signed_attrs.as_ref().ok_or(Why::Unreadable)?;
    let kind = value_of(info, CONTENT_TYPE).and_then(|v| v.decode_as::<ObjectIdentifier>().ok());
    if kind != Some(content) || data.encap_content_info.econtent_type != content {
        return Err(Why::Unreadable);
    }
    let of = value_of(info, MESSAGE_DIGEST).and_then(|v| v.decode_as::<OctetString>().ok());
    if of.ok_or(Why::Unreadable)?.as_bytes() != digest.0 {
        return Err(Why::Changed);
    }
    let signed = attributes.to_der().map_err(|_| Why::Unreadable)?;
    let signature = DerSignature::try_from(info.signature.as_bytes()).map_err(|_| Why::Forged)?;
    key.verify(&signed, &signature).map_err(|_| Why::Forged)?;
    Ok((one.clone(), info.clone()))
}

/// Checks a signature in a PDF over this digest. Whether its certificate is to be trusted is another question.
///
/// # Errors
/// See [`Why`].
pub fn check(bytes: &[u8], covered: &Digest) -> Result<Who, Why> {
    let data = opened(bytes)?;
    let (one, info) = signer(&data, DATA, covered)?;
    let certificate = about(&one);
    // Nothing signs these; a signature that says otherwise there was tampered with.
    let mut named_there = data.digest_algorithms.iter().map(|a| a.oid);
    if named_there.next() != Some(SHA256) || info.version != CmsVersion::V1 {
        return Err(Why::Unreadable);
    }
    let named = value_of(&info, SIGNING_CERTIFICATE).ok_or(Why::Unreadable)?;
    let named: SigningCertificate = named.decode_as().map_err(|_| Why::Unreadable)?;
    let named = named.certs.first().ok_or(Why::Unreadable)?;
    let other = named
        .hash_algorithm
        .as_ref()
        .is_some_and(|a| a.oid != SHA256);
    if other {
        return Err(Why::Algorithm);
    }
    if named.cert_hash.as_bytes() != certificate.digest.0 {
        return Err(Why::Forged);
    }
    let imprint = Digest::of(info.signature.as_bytes());
    let token = info.unsigned_attrs.as_ref().and_then(|all| {
        let one = all.iter().find(|a| a.oid == TIMESTAMP)?;
        one.values.iter().next()?.to_der().ok()
    });
    Ok(Who {
        certificate,
        timestamp: token.map(|der| timestamp::read(&der, &imprint)),
    })
}
