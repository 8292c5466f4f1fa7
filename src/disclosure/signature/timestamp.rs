//! Timestamps (RFC 3161): the question to a server, and its answer.
//!
//! An answer is read leniently, since servers write it in many ways, and is kept as it came. What is checked of it: that it is
//! granted, that it is about what was asked, that it bears the number that was asked with, and, where it is made with ECDSA on
//! P-256 and SHA-256, its own signature. A signature of another kind is left to readers of PDF.

use chrono::{DateTime, NaiveDateTime, Utc};
use cms::content_info::ContentInfo;
use cms::signed_data::SignedData;
use der::asn1::{Any, AnyRef, ObjectIdentifier, OctetString};
use der::{Decode as _, Encode as _, Reader as _, Sequence, SliceReader, Tag, Tagged as _};
use x509_cert::Certificate;
use x509_cert::spki::AlgorithmIdentifierOwned;

use super::certificate::about;
use super::cms::{SHA256, SIGNED_DATA, Why, signer};
use super::{SignatureError, written};
use crate::ids::Digest;

/// `id-ct-TSTInfo`, RFC 3161.
const TST_INFO: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.16.1.4");
/// How long an answer may be, in bytes.
pub const MAX_ANSWER: usize = 16 * 1024;
/// How many parts of one structure are looked at.
const MOST_PARTS: usize = 64;

/// `MessageImprint` of RFC 3161, 2.4.1.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
struct MessageImprint {
    hash_algorithm: AlgorithmIdentifierOwned,
    hashed_message: OctetString,
}

/// `TimeStampReq` of RFC 3161, 2.4.1, without what is never asked for.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
struct Request {
    version: u8,
    message_imprint: MessageImprint,
    nonce: u64,
    cert_req: bool,
}

/// The question: a timestamp over a SHA-256, with the server's certificate in the answer.
///
/// # Errors
/// [`SignatureError::Der`].
pub fn question(imprint: &Digest, nonce: u64) -> Result<Vec<u8>, SignatureError> {
    written(&Request {
        version: 1,
        message_imprint: MessageImprint {
            // With NULL, as servers have long been asked; without it is as right (RFC 5754, 2).
            hash_algorithm: AlgorithmIdentifierOwned {
                oid: SHA256,
                parameters: Some(Any::null()),
            },
            hashed_message: OctetString::new(imprint.0)?,
        },
        nonce,
        cert_req: true,
    })
}

/// Why an answer is no timestamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TimestampError {
    /// Cannot be read.
    #[error("the timestamp cannot be read")]
    Unreadable,
    /// The server says no: `PKIStatus` of RFC 3161, 2.4.2.
    #[error("the timestamp server refused, with status {0}")]
    Refused(u64),
    /// Of something else.
    #[error("the timestamp is of something else")]
    Imprint,
    /// An answer to another question.
    #[error("the timestamp answers another question")]
    Nonce,
    /// Its signature does not hold.
    #[error("the signature of the timestamp does not hold")]
    Forged,
}

/// A timestamp.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// As it came.
    pub der: Vec<u8>,
    /// The time.
    pub at: DateTime<Utc>,
    /// Who says so.
    pub by: String,
    /// Whether its own signature was checked here, and holds.
    pub is_checked: bool,
    nonce: Vec<u8>,
}

fn unreadable<E>(_: E) -> TimestampError {
    TimestampError::Unreadable
}

/// The parts of a structure.
fn parts(bytes: &[u8]) -> Result<Vec<AnyRef<'_>>, TimestampError> {
    let mut reader = SliceReader::new(bytes).map_err(unreadable)?;
    let mut out = Vec::new();
    while !reader.is_finished() {
        if out.len() == MOST_PARTS {
            return Err(TimestampError::Unreadable);
        }
        out.push(AnyRef::decode(&mut reader).map_err(unreadable)?);
    }
    Ok(out)
}

fn within<'a>(one: Option<&AnyRef<'a>>, tag: Tag) -> Result<Vec<AnyRef<'a>>, TimestampError> {
    match one {
        Some(one) if one.tag() == tag => parts(one.value()),
        _ => Err(TimestampError::Unreadable),
    }
}

fn is_context(one: &AnyRef<'_>, number: u32) -> bool {
    matches!(one.tag(), Tag::ContextSpecific { number: n, .. } if n.value() == number)
}

/// A generalized time, with or without parts of a second: RFC 3161, 2.4.2.
fn time(one: &AnyRef<'_>) -> Option<DateTime<Utc>> {
    let text = std::str::from_utf8(one.value()).ok()?.strip_suffix('Z')?;
    let whole = text.get(..14)?;
    let fraction = text.get(14..)?;
    let digits = fraction.strip_prefix('.').unwrap_or(fraction);
    if one.tag() != Tag::GeneralizedTime || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    Some(
        NaiveDateTime::parse_from_str(whole, "%Y%m%d%H%M%S")
            .ok()?
            .and_utc(),
    )
}

fn unsigned(one: &AnyRef<'_>) -> Vec<u8> {
    let bytes = one.value().iter().skip_while(|b| **b == 0);
    bytes.copied().collect()
}

/// Reads a server's whole answer to a question.
///
/// # Errors
/// See [`TimestampError`].
pub fn answer(bytes: &[u8], imprint: &Digest, nonce: u64) -> Result<Token, TimestampError> {
    let outer = AnyRef::from_der(bytes).map_err(unreadable)?;
    let outer = within(Some(&outer), Tag::Sequence)?;
    let status = within(outer.first(), Tag::Sequence)?;
    let status = status.first().filter(|s| s.tag() == Tag::Integer);
    let status = status.ok_or(TimestampError::Unreadable)?;
    let status = unsigned(status)
        .iter()
        .take(8)
        .fold(0_u64, |n, b| (n << 8) | u64::from(*b));
    // Granted, or granted with changes.
    if status > 1 {
        return Err(TimestampError::Refused(status));
    }
    let token = outer.get(1).ok_or(TimestampError::Unreadable)?;
    let token = read(&token.to_der().map_err(unreadable)?, imprint)?;
    let asked = nonce.to_be_bytes();
    let asked: Vec<u8> = asked.iter().copied().skip_while(|b| *b == 0).collect();
    if token.nonce != asked {
        return Err(TimestampError::Nonce);
    }
    Ok(token)
}

/// Reads a timestamp, and whether it is of this SHA-256.
///
/// # Errors
/// See [`TimestampError`].
pub fn read(der: &[u8], imprint: &Digest) -> Result<Token, TimestampError> {
    let outer = AnyRef::from_der(der).map_err(unreadable)?;
    let outer = within(Some(&outer), Tag::Sequence)?;
    let kind = outer.first().ok_or(TimestampError::Unreadable)?;
    let kind = kind.decode_as::<ObjectIdentifier>().map_err(unreadable)?;
    let content = outer
        .get(1)
        .filter(|c| is_context(c, 0) && kind == SIGNED_DATA);
    let content = parts(content.ok_or(TimestampError::Unreadable)?.value())?;
    let data = within(content.first(), Tag::Sequence)?;
    // Version, digest algorithms, content.
    let inner = within(data.get(2), Tag::Sequence)?;
    let kind = inner.first().ok_or(TimestampError::Unreadable)?;
    let kind = kind.decode_as::<ObjectIdentifier>().map_err(unreadable)?;
    let info = inner
        .get(1)
        .filter(|c| is_context(c, 0) && kind == TST_INFO);
    let info = parts(info.ok_or(TimestampError::Unreadable)?.value())?;
    let info = info.first().filter(|o| o.tag() == Tag::OctetString);
    let info_bytes = info.ok_or(TimestampError::Unreadable)?.value();
    let info = AnyRef::from_der(info_bytes).map_err(unreadable)?;
    let info = within(Some(&info), Tag::Sequence)?;
    // Version, policy, imprint, serial number, time; then what may be left out.
    let of = within(info.get(2), Tag::Sequence)?;
    let algorithm = within(of.first(), Tag::Sequence)?;
    let algorithm = algorithm.first().ok_or(TimestampError::Unreadable)?;
    let algorithm = algorithm.decode_as::<ObjectIdentifier>();
    let value = of.get(1).ok_or(TimestampError::Unreadable)?.value();
    if algorithm.map_err(unreadable)? != SHA256 || value != imprint.0 {
        return Err(TimestampError::Imprint);
    }
    let at = info.get(4).and_then(time);
    let nonce = info.iter().skip(5).find(|x| x.tag() == Tag::Integer);
    let certificates = data.iter().find(|x| is_context(x, 0));
    let by = certificates.and_then(|all| named(all.value()));
    Ok(Token {
        der: der.to_vec(),
        at: at.ok_or(TimestampError::Unreadable)?,
        by: by.unwrap_or_else(|| "a server that does not name itself".into()),
        is_checked: is_checked(der, &Digest::of(info_bytes))?,
        nonce: nonce.map(unsigned).unwrap_or_default(),
    })
}

/// The subject of the certificate that may sign timestamps (`id-kp-timeStamping`, RFC 3161, 2.3), or of the first.
fn named(certificates: &[u8]) -> Option<String> {
    use x509_cert::ext::pkix::ExtendedKeyUsage;
    const STAMPS: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.3.6.1.5.5.7.3.8");
    let all: Vec<Certificate> = parts(certificates)
        .ok()?
        .iter()
        .filter_map(|c| Certificate::from_der(&c.to_der().ok()?).ok())
        .collect();
    let stamps = |c: &&Certificate| {
        let usage = c.tbs_certificate().get_extension::<ExtendedKeyUsage>();
        usage.is_ok_and(|u| u.is_some_and(|(_, u)| u.0.contains(&STAMPS)))
    };
    let one = all.iter().find(stamps).or(all.first())?;
    Some(about(one).subject)
}

/// Whether the token's own signature holds; false where it is one that is not checked here.
fn is_checked(der: &[u8], digest: &Digest) -> Result<bool, TimestampError> {
    let data = ContentInfo::from_der(der).and_then(|c| c.content.decode_as::<SignedData>());
    let Ok(data) = data else { return Ok(false) };
    match signer(&data, TST_INFO, digest) {
        Ok(_) => Ok(true),
        Err(Why::Algorithm | Why::Unreadable) => Ok(false),
        Err(Why::Changed | Why::Forged) => Err(TimestampError::Forged),
    }
}
