//! Signed papers: the same bytes for the same key, everything covered, nothing changed unseen; certificates that are no good.

use chrono::{DateTime, TimeZone as _, Utc};
use liftledger::disclosure::signature::certificate::{CertificateError, Chain, MOST};
use liftledger::disclosure::signature::cms::{Signed, Why, check};
use liftledger::disclosure::signature::found::{beginnings, signatures_in};
use liftledger::disclosure::signature::issue::{
    DEMONSTRATION, Whose, WhoseError, request, self_signed,
};
use liftledger::disclosure::signature::pdf::{Room, Said};
use liftledger::disclosure::signature::timestamp::{self, TimestampError};
use liftledger::disclosure::signature::{SignatureError, Signer};
use liftledger::ids::Digest;
use liftledger::reports::custody_report::custody_report;
use p256::ecdsa::signature::Signer as _;
use p256::ecdsa::{Signature, SigningKey};

use crate::reports::sample::report;

fn key(n: u8) -> SigningKey {
    SigningKey::from_slice(&[n; 32]).unwrap()
}

fn day(y: i32, m: u32, d: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(y, m, d, 12, 0, 0).unwrap()
}

fn whose(unit: &str) -> Whose {
    Whose {
        name: "Evidence unit of Harrow Cove, Ελένη".into(),
        organisation: "Harrow Cove Police, County + Harbour".into(),
        unit: unit.into(),
        country: "XX".into(),
    }
}

fn chain(n: u8) -> Chain {
    let (from, until) = (day(2026, 1, 1), day(2029, 1, 1));
    self_signed(&key(n), &whose(DEMONSTRATION), [9; 16], from, until).unwrap()
}

fn signer() -> Signer {
    Signer::new(key(1), chain(1)).unwrap()
}

fn said() -> Said {
    Said {
        name: "Evidence unit (1) of Ελένη".into(),
        reason: "Printed by the ledger".into(),
    }
}

fn signed(pdf: &[u8]) -> Vec<u8> {
    let signer = signer();
    let room = Room::make(pdf.to_vec(), 3000, &said()).unwrap();
    let signature = Signed::new(&room.digest(), &signer).unwrap();
    room.fill(&signature.to_der().unwrap()).unwrap()
}

fn pdf() -> Vec<u8> {
    custody_report(&report(20)).unwrap()
}

/// RFC 6979, A.2.5: ECDSA on P-256 with SHA-256 over "sample"; the values from memory.
#[test]
fn signatures_are_those_of_rfc_6979() {
    let secret = hex::decode("c9afa9d845ba75166b5c215767b1d6934e50c3db36e89b127b8a622b120f6721");
    let key = SigningKey::from_slice(&secret.unwrap()).unwrap();
    let made: Signature = key.sign(b"sample");
    assert_eq!(
        hex::encode(made.to_bytes()),
        "efd48b2aacb6a8fd1140dd9cd45e81d69d2c877b56aaf991c34d0ea84eaf3716\
         f7cb1c942d657c41d436c7a1b6e29f65f3e900dbb9aff4064dc4ab2f843acda8"
    );
}

#[test]
fn the_same_paper_and_key_give_the_same_bytes() {
    let pdf = pdf();
    let (one, two) = (signed(&pdf), signed(&pdf));
    assert!(one == two, "the bytes differ");
    assert!(one.starts_with(&pdf), "the paper itself was changed");
    assert!(one.len() > pdf.len() + 3000);
    let parsed = lopdf::Document::load_mem(&one).unwrap();
    let before = lopdf::Document::load_mem(&pdf).unwrap();
    assert_eq!(parsed.get_pages().len(), before.get_pages().len());
    // The time is the paper's own, and there is no signing-time attribute (OID 1.2.840.113549.1.9.5).
    let info = before.trailer.get(b"Info").unwrap().as_reference().unwrap();
    let info = before.get_object(info).unwrap().as_dict().unwrap();
    let made_at = info
        .get(b"CreationDate")
        .unwrap()
        .as_str()
        .unwrap()
        .to_vec();
    let added = String::from_utf8_lossy(&one[pdf.len()..]).into_owned();
    assert!(added.contains(&format!("/M({})", String::from_utf8(made_at).unwrap())));
    assert!(!added.contains("06092a864886f70d010905"));
}

/// DER by hand from X.690 and RFC 5035: the attribute with nothing but the hash of the certificate.
#[test]
fn the_signing_certificate_is_an_attribute() {
    let signature = Signed::new(&Digest([5; 32]), &signer()).unwrap();
    let der = hex::encode(signature.to_der().unwrap());
    let attribute = format!(
        "303706{oid}3128302630243022{octets}{hash}",
        oid = "0b2a864886f70d010910022f",
        octets = "0420",
        hash = chain(1).digest()
    );
    assert!(der.contains(&attribute), "{der}");
    // id-messageDigest with the digest, and id-contentType with id-data.
    let digest = format!("302f06092a864886f70d01090431220420{}", "05".repeat(32));
    assert!(der.contains(&digest), "{der}");
    assert!(der.contains("301806092a864886f70d010903310b06092a864886f70d010701"));
}

/// Written by OpenSSL 3.0: `openssl ts -query -digest abab… -sha256 -cert`.
#[test]
fn the_question_to_a_timestamp_server_is_what_openssl_asks() {
    let asked = timestamp::question(&Digest([0xab; 32]), 0x9013_3f78_03c3_2d72).unwrap();
    assert_eq!(
        hex::encode(asked),
        "30440201013031300d060960864801650304020105000420abababababababababababababababababababababababababababababab\
         abab02090090133f7803c32d720101ff"
            .replace(' ', "")
    );
}

#[test]
fn answers_that_are_no_timestamps_are_refused() {
    let of = Digest([1; 32]);
    // PKIStatusInfo with status 2, rejection, and nothing else.
    let rejection = hex::decode("30053003020102").unwrap();
    assert_eq!(
        timestamp::answer(&rejection, &of, 1),
        Err(TimestampError::Refused(2))
    );
    let granted_nothing = hex::decode("30053003020100").unwrap();
    for bytes in [&b""[..], b"<html>", &granted_nothing, &[0x30; 200]] {
        assert_eq!(
            timestamp::answer(bytes, &of, 1),
            Err(TimestampError::Unreadable)
        );
    }
    // A million brackets deep, and a length that is not there.
    let deep = [0x30, 0x80].repeat(100_000);
    assert!(timestamp::answer(&deep, &of, 1).is_err());
    assert!(timestamp::read(&[0x30, 0x84, 0xff, 0xff, 0xff, 0xff], &of).is_err());
}

#[test]
fn a_signature_covers_the_whole_file_and_any_changed_byte_breaks_it() {
    let pdf = pdf();
    let whole = signed(&pdf);
    let found = signatures_in(&whole);
    assert_eq!(found.len(), 1);
    assert!(found[0].whole);
    let who = found[0].who.as_ref().unwrap();
    let kind = who.certificate.kind();
    assert_eq!(kind, "self-signed demonstration certificate");
    assert!(
        who.certificate
            .subject
            .starts_with("Evidence unit of Harrow Cove, Ελένη")
    );
    assert_eq!(who.certificate.digest, chain(1).digest());
    assert_eq!(who.timestamp, None);
    let place = whole.windows(10).rposition(|w| w == b"/Contents<").unwrap();
    // Outside the place of the signature, every thousandth byte and the last.
    let step = (0..whole.len()).step_by(997).chain([whole.len() - 1]);
    for at in step.filter(|at| *at < place || *at > place + 10 + 6000) {
        let mut altered = whole.clone();
        altered[at] ^= 1;
        let found = signatures_in(&altered);
        assert!(
            found.iter().all(|f| f.who.is_err()),
            "byte {at} of {}",
            whole.len()
        );
    }
    // In it: the attributes, the certificate, the signature itself.
    let der = check_place(&whole);
    for at in (0..der).step_by(37) {
        let mut altered = whole.clone();
        let digit = &mut altered[place + 10 + 2 * at + 1];
        *digit = if *digit == b'0' { b'1' } else { b'0' };
        let found = signatures_in(&altered);
        assert!(
            found.iter().all(|f| f.who.as_ref() != Ok(who)),
            "byte {at} of the signature"
        );
    }
    // A number there is no room for.
    let mut altered = whole.clone();
    altered[place + 10 + 5998] = b'1';
    assert_eq!(signatures_in(&altered)[0].who, Err(Why::Unreadable));
}

/// How many bytes the signature has before the zeros.
fn check_place(whole: &[u8]) -> usize {
    let place = whole.windows(10).rposition(|w| w == b"/Contents<").unwrap() + 10;
    let digits = &whole[place..place + 6000];
    digits.iter().rposition(|b| *b != b'0').unwrap() / 2 + 1
}

#[test]
fn what_was_added_behind_is_told_from_what_was_altered() {
    let whole = signed(&pdf());
    let mut more = whole.clone();
    more.extend(b"\n99 0 obj\n<<>>\nendobj\n%%EOF\n");
    let found = signatures_in(&more);
    assert_eq!(found.len(), 1);
    assert!(found[0].who.is_ok() && !found[0].whole);
    assert_eq!(found[0].covers, whole.len());
    let begins = beginnings(&more);
    assert!(begins.contains(&(Digest::of(&whole), whole.len())));
    // The whole file is no beginning of itself.
    assert!(
        !beginnings(&whole)
            .iter()
            .any(|(_, end)| *end == whole.len())
    );
    assert_eq!(beginnings(b""), []);
    // Many ends and many ranges cost no more than some.
    let many = "%%EOF /ByteRange [0 1 2 3]".repeat(50_000);
    assert!(beginnings(many.as_bytes()).len() <= 16);
    assert!(signatures_in(many.as_bytes()).len() <= 8);
    for range in [
        "[0 5 2 3]",
        "[0 1 2 99999999999999999999]",
        "[1 2 3 4]",
        "[0 1 2",
        "(",
        "[0 0 0 0 0]",
    ] {
        let text = format!("%PDF-1.7 /ByteRange {range} and more of it");
        assert_eq!(signatures_in(text.as_bytes()), [], "{range}");
    }
    let huge = format!("/ByteRange [0 3 {} 1]", usize::MAX);
    assert_eq!(signatures_in(huge.as_bytes()), []);
}

#[test]
fn another_digest_another_certificate_and_rubbish_are_refused() {
    let signature = Signed::new(&Digest([5; 32]), &signer()).unwrap();
    let der = signature.to_der().unwrap();
    assert!(check(&der, &Digest([5; 32])).is_ok());
    assert_eq!(check(&der, &Digest([6; 32])), Err(Why::Changed));
    assert_eq!(
        check(&der[..der.len() - 1], &Digest([5; 32])),
        Err(Why::Unreadable)
    );
    assert_eq!(check(b"", &Digest([5; 32])), Err(Why::Unreadable));
    // The same name and number, another key: the certificate exchanged.
    let other = hex::encode(chain(2).to_pem().map(|_| chain(2)).unwrap().digest().0);
    assert_ne!(other, hex::encode(chain(1).digest().0));
    let wrong = Signer::new(key(2), chain(1)).unwrap_err();
    assert!(matches!(wrong, CertificateError::WrongKey(_)));
}

#[test]
fn a_pdf_that_is_none_of_ours_and_too_little_room_are_errors() {
    let none = Room::make(b"%PDF-1.7 nothing".to_vec(), 100, &said());
    assert!(matches!(none, Err(SignatureError::Pdf(_))));
    // One that has a signature already.
    let twice = Room::make(signed(&pdf()), 3000, &said());
    assert!(matches!(twice, Err(SignatureError::Pdf(why)) if why.contains("form already")));
    let room = Room::make(pdf(), 100, &said()).unwrap();
    assert_eq!(
        room.fill(&[1; 101]).unwrap_err(),
        SignatureError::Room {
            has: 101,
            room: 100
        }
    );
}

#[test]
fn certificates_that_are_no_good_are_refused_by_name() {
    let now = day(2026, 11, 26);
    let ours = *key(1).verifying_key();
    let read = |pem: &str| Chain::read(pem.as_bytes()).unwrap();
    let good = chain(1);
    assert_eq!(good.check(&ours, now), Ok(()));
    // Words of other programs around it, line ends of another system, and DER.
    let text = good.to_pem().unwrap();
    let around = format!("subject=CN = x\r\n{}\r\n", text.replace('\n', "\r\n"));
    assert_eq!(read(&around), good);
    for nothing in [
        "",
        "no certificate",
        "-----BEGIN CERTIFICATE-----\nAAAA\n",
        "\u{0}",
    ] {
        assert_eq!(
            Chain::read(nothing.as_bytes()),
            Err(CertificateError::Unreadable)
        );
    }
    assert_eq!(
        Chain::read(text.repeat(MOST + 1).as_bytes()),
        Err(CertificateError::TooMany)
    );
    assert_eq!(
        Chain::read(&vec![b' '; 70_000]),
        Err(CertificateError::TooMany)
    );
    let said = |e: Result<(), CertificateError>| e.unwrap_err().to_string();
    assert!(said(good.check(&ours, day(2029, 1, 2))).contains("expired on 1 Jan 2029"));
    assert!(said(good.check(&ours, day(2025, 12, 31))).contains("valid from 1 Jan 2026"));
    let other = *key(2).verifying_key();
    assert!(matches!(
        good.check(&other, now),
        Err(CertificateError::WrongKey(_))
    ));
    // P-384 and Ed25519, made with OpenSSL 3.0.
    for pem in [
        include_str!("certificates/p384.pem"),
        include_str!("certificates/ed.pem"),
    ] {
        let refused = read(pem).check(&ours, now);
        assert!(
            matches!(refused, Err(CertificateError::KeyKind(_))),
            "{refused:?}"
        );
    }
    // One behind it that did not issue it.
    let foreign = include_str!("certificates/p384.pem");
    let refused = read(&format!("{text}{foreign}")).check(&ours, now);
    assert!(
        matches!(refused, Err(CertificateError::Order { .. })),
        "{refused:?}"
    );
    // A byte of its name changed: it is not what its own key signed.
    let base64: String = text.lines().filter(|l| !l.starts_with('-')).collect();
    use base64::Engine as _;
    let mut der = base64::engine::general_purpose::STANDARD
        .decode(base64)
        .unwrap();
    let at = der.windows(7).rposition(|w| w == b"Harbour").unwrap();
    for at in [at, der.windows(7).position(|w| w == b"Harbour").unwrap()] {
        der[at] = b'K';
    }
    let forged = Chain::read(&der).unwrap().check(&ours, now);
    assert!(
        matches!(forged, Err(CertificateError::Signature(_))),
        "{forged:?}"
    );
}

#[test]
fn names_that_cannot_stand_in_a_certificate_are_refused() {
    assert_eq!(whose("").check(), Ok(()));
    let with = |change: fn(&mut Whose)| {
        let mut whose = whose("");
        change(&mut whose);
        whose.check()
    };
    assert_eq!(
        with(|w| w.name = " ".into()),
        Err(WhoseError::Length("name"))
    );
    assert_eq!(
        with(|w| w.unit = "u".repeat(65)),
        Err(WhoseError::Length("unit"))
    );
    assert_eq!(
        with(|w| w.organisation = "a\nb".into()),
        Err(WhoseError::Control("organisation"))
    );
    assert_eq!(with(|w| w.country = "xx".into()), Err(WhoseError::Country));
    let text = request(&key(1), &whose("")).unwrap();
    assert!(text.starts_with("-----BEGIN CERTIFICATE REQUEST-----\n"));
}
