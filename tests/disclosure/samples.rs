//! Our files against two that were not made by this program.

use liftledger::disclosure::itl::read::{ReadRecord, records};
use liftledger::disclosure::itl::{Capture, Edition, check, write};
use sha2::{Digest as _, Sha256};

use super::sample::{PNG, RAW, pixels, raw, with_features};

fn same_fields(ours: &[u8], theirs: &[u8]) {
    let (ours, theirs) = (check(ours).unwrap(), records(theirs).unwrap());
    let list = |all: &[ReadRecord<'_>]| -> Vec<(u8, u16, Vec<u8>)> {
        all.iter()
            .flat_map(|r| {
                r.fields
                    .iter()
                    .map(move |f| (r.kind, f.number, f.value.to_vec()))
            })
            .collect()
    };
    for (one, other) in list(&ours).iter().zip(list(&theirs)) {
        assert_eq!(*one, other, "{}.{:03}", one.0, one.1);
    }
    assert_eq!(list(&ours).len(), list(&theirs).len());
}

#[test]
fn the_files_beside_this_one_are_the_ones_meant() {
    for (file, digest) in [
        (
            RAW,
            "b226bcb61caadb7a37fd296674fc8923e2e84f866f91a619b43a359cc711d361",
        ),
        (
            PNG,
            "11d61269892718ef506f6ed6963358018083eec2ea3223eae23d10cc9a71fc15",
        ),
    ] {
        assert_eq!(hex::encode(Sha256::digest(file)), digest);
    }
}

#[test]
fn our_raw_file_equals_theirs_field_by_field_and_byte_by_byte() {
    let written = write(&raw()).unwrap();
    assert!(written.left_out.is_empty());
    same_fields(&written.bytes, RAW);
    assert_eq!(written.bytes, RAW);
}

#[test]
fn our_png_file_equals_theirs_field_by_field_and_byte_by_byte() {
    let theirs = records(PNG).unwrap();
    let png = theirs[2].field(999).unwrap().value;
    let decoded = image::load_from_memory(png).unwrap().into_luma8();
    assert_eq!(decoded.as_raw(), &pixels());
    let ours = write(&with_features(png)).unwrap().bytes;
    same_fields(&ours, PNG);
    assert_eq!(ours, PNG);
}

#[test]
fn both_are_taken_by_our_checker() {
    assert_eq!(check(RAW).unwrap().len(), 3);
    assert_eq!(check(PNG).unwrap().len(), 4);
}

/// Source of the codes: two public readers, which say from which edition 5 to 7, 12 to 15 and 32 to 39 are deprecated.
#[test]
fn the_impression_is_coded_by_edition_and_part_of_the_body() {
    let expect = |edition, capture, positions: &[u8]| {
        let mut t = raw();
        t.edition = edition;
        t.latent.capture = capture;
        t.latent.positions = positions.to_vec();
        let bytes = write(&t).unwrap().bytes;
        let all = check(&bytes).unwrap();
        (
            all[0].text(2).unwrap().to_owned(),
            all[2].text(3).unwrap().to_owned(),
            all[2].text(901).map(str::to_owned),
        )
    };
    let of = |v: &str, i: &str, f: Option<&str>| (v.to_owned(), i.to_owned(), f.map(str::to_owned));
    use Capture::{Cast, Impression, Lift, Photo, Tracing};
    for (edition, version) in [(Edition::Y2011, "0500"), (Edition::Y2013, "0501")] {
        for (capture, finger, palm, sole, unknown) in [
            (Impression, "4", "12", "32", "36"),
            (Tracing, "5", "13", "33", "37"),
            (Photo, "6", "14", "34", "38"),
            (Lift, "7", "15", "35", "39"),
            (Cast, "4", "12", "32", "36"),
        ] {
            assert_eq!(expect(edition, capture, &[0]), of(version, finger, None));
            assert_eq!(expect(edition, capture, &[1, 2]), of(version, finger, None));
            assert_eq!(expect(edition, capture, &[20]), of(version, palm, None));
            assert_eq!(expect(edition, capture, &[60]), of(version, sole, None));
            assert_eq!(expect(edition, capture, &[18]), of(version, unknown, None));
        }
    }
    for (capture, technology) in [
        (Impression, "18"),
        (Photo, "19"),
        (Cast, "20"),
        (Tracing, "21"),
        (Lift, "22"),
    ] {
        for position in [0, 20, 60, 18] {
            assert_eq!(
                expect(Edition::Y2015, capture, &[position]),
                of("0502", "4", Some(technology))
            );
        }
    }
}
