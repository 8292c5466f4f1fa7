//! The checker finds what is wrong: every kind of fault put into a good file.

use liftledger::disclosure::itl::read::records;
use liftledger::disclosure::itl::{check, write};

use super::sample::{PNG, RAW, raw, with_features};

fn replaced(file: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let at = file
        .windows(from.len())
        .position(|w| w == from)
        .unwrap_or_else(|| panic!("{} is not in the file", String::from_utf8_lossy(from)));
    [&file[..at], to, &file[at + from.len()..]].concat()
}

/// Faults that keep every length: what is said is wrong, and only that.
#[test]
fn a_wrong_word_of_the_same_length_is_found() {
    for (what, from, to, why) in [
        // What a common reader takes without a word: the designation is right, the type is not.
        (
            "a type in the contents",
            "\u{1e}13\u{1f}1",
            "\u{1e}14\u{1f}1",
            "1.003",
        ),
        (
            "a designation in the contents",
            "\u{1e}13\u{1f}1",
            "\u{1e}13\u{1f}2",
            "1.003",
        ),
        (
            "the count of the contents",
            "1.003:1\u{1f}3",
            "1.003:1\u{1f}4",
            "1.003",
        ),
        ("the edition", "1.002:0502", "1.002:0599", "1.002"),
        ("the digest", "13.996:65", "13.996:66", "13.996"),
        ("the impression", "13.003:4", "13.003:7", "13.003"),
        (
            "the impression of the features",
            "9.003:4",
            "9.003:5",
            "impression",
        ),
        ("a density", "13.009:1000", "13.009:1001", "densities"),
        ("a coding", "13.011:PNG", "13.011:JP2", "coded"),
        ("a size", "13.006:16", "13.006:17", "PNG"),
        ("a depth", "13.012:8", "13.012:9", "bits"),
        ("a position", "13.013:0", "13.013:\u{b5}", "13.013"),
        ("a tonal reversal", "9.314:N", "9.314:Y", "9.314"),
        // The letter that the table of field conditions gives as an example; NIST's own reader throws on it.
        ("a lateral reversal", "9.315:L", "9.315:A", "9.315"),
        ("a method", "9.352:SGF", "9.352:SGX", "9.352"),
        ("a substrate", "9.355:2B", "9.355:9B", "9.355"),
        ("a form", "9.004:U", "9.004:S", "9.004"),
        (
            "a designation with a leading zero",
            "2.002:0\u{1d}2.003:CASE",
            "2.002:00\u{1d}2.003:ASE",
            "2.002",
        ),
    ] {
        let bad = replaced(PNG, from.as_bytes(), to.as_bytes());
        if bad.len() != PNG.len() {
            // `µ` has two bytes; the lengths no longer agree, which is a fault of its own.
            check(&bad).unwrap_err();
            continue;
        }
        let faults = check(&bad).unwrap_err();
        assert!(
            faults.iter().any(|f| f.why.contains(why)),
            "{what}: {faults:?}"
        );
    }
}

#[test]
fn a_length_off_by_one_a_byte_more_and_every_truncation_are_found() {
    for file in [RAW, PNG] {
        for (from, to) in [
            ("13.001:4", "13.001:5"),
            ("2.001:38", "2.001:37"),
            ("2.001:38", "2.001:39"),
        ] {
            if let Some(at) = file.windows(from.len()).position(|w| w == from.as_bytes()) {
                let bad = [&file[..at], to.as_bytes(), &file[at + from.len()..]].concat();
                check(&bad).unwrap_err();
            }
        }
        for cut in 0..file.len() {
            check(&file[..cut]).unwrap_err();
        }
        for extra in [0u8, b'x', 0x1c, 0x1d] {
            check(&[file, &[extra]].concat()).unwrap_err();
        }
    }
}

#[test]
fn records_in_another_order_twice_or_missing_are_found() {
    let parts: Vec<&[u8]> = {
        let mut at = 0;
        records(PNG)
            .unwrap()
            .iter()
            .map(|r| {
                let part = &PNG[at..at + r.len];
                at += r.len;
                part
            })
            .collect()
    };
    let joined =
        |order: &[usize]| -> Vec<u8> { order.iter().flat_map(|i| parts[*i].to_vec()).collect() };
    check(&joined(&[0, 1, 2, 3])).unwrap();
    for order in [
        vec![0, 1, 3, 2],
        vec![0, 2, 1, 3],
        vec![1, 0, 2, 3],
        vec![0, 1, 2],
        vec![0, 1, 2, 3, 3],
        vec![0, 0, 1, 2, 3],
        vec![0],
    ] {
        check(&joined(&order)).unwrap_err();
    }
}

/// The length counts its own digits: it is right on both sides of every power of ten.
#[test]
fn the_length_is_exact_where_its_digits_grow() {
    let mut t = raw();
    t.latent.width = 10;
    for height in [
        10, 50, 51, 52, 53, 54, 55, 56, 57, 58, 59, 60, 960, 970, 975, 980, 990, 9960, 9970, 9980,
    ] {
        for comment in [
            "a",
            "ab",
            "abc",
            "abcd",
            "abcde",
            "abcdef",
            "abcdefg",
            "abcdefgh",
            "abcdefghi",
            "abcdefghij",
        ] {
            t.latent.height = height;
            t.latent.data = vec![7; 10 * height as usize];
            t.latent.comment = Some(comment.into());
            let bytes = write(&t).unwrap().bytes;
            let all = check(&bytes).unwrap();
            assert_eq!(all.iter().map(|r| r.len).sum::<usize>(), bytes.len());
        }
    }
}

#[test]
fn an_image_may_hold_every_separator_and_the_marker() {
    let mut t = raw();
    t.latent.width = 10;
    t.latent.height = 10;
    t.latent.data = [
        b"13.999:\x1c\x1d\x1e\x1f1.001:5\x1c".repeat(6),
        vec![0x1c; 4],
    ]
    .concat();
    t.latent.data.truncate(100);
    t.latent.data.resize(100, 0x1d);
    let bytes = write(&t).unwrap().bytes;
    let all = check(&bytes).unwrap();
    assert_eq!(all[2].field(999).unwrap().value, t.latent.data);
}

#[test]
fn direct_with_dark_ridges_carries_neither_letter() {
    use liftledger::disclosure::itl::Tone;
    use liftledger::lifting::handedness::Lateral;
    let png = records(PNG).unwrap()[2].field(999).unwrap().value.to_vec();
    for (lateral, letter) in [
        (Lateral::Direct, None),
        (Lateral::Reversed, Some("L")),
        (Lateral::Unknown, Some("U")),
    ] {
        for (tone, shade) in [
            (Tone::Positive, None),
            (Tone::Negative, Some("N")),
            (Tone::Partial, Some("P")),
            (Tone::Unknown, Some("U")),
        ] {
            let mut t = with_features(&png);
            let f = t.features.as_mut().unwrap();
            (f.lateral, f.tone) = (lateral, tone);
            let bytes = write(&t).unwrap().bytes;
            let all = check(&bytes).unwrap();
            assert_eq!(all[3].text(315), letter);
            assert_eq!(all[3].text(314), shade);
        }
    }
}
