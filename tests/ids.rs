//! Identifiers, digests and the codes on labels.

use liftledger::ids::*;
use uuid::Uuid;

fn codes() -> Vec<Code> {
    [0_u128, 1, 0x1234_5678_9abc_def0, (1 << 50) - 1, u128::MAX]
        .into_iter()
        .flat_map(|n| {
            let id = Uuid::from_u128(n);
            [
                Subject::Item(ItemId(id)),
                Subject::Package(PackageId(id)),
                Subject::Place(PlaceId(id)),
            ]
        })
        .map(|s| Code::of(s).unwrap())
        .collect()
}

#[test]
fn a_code_reads_back_and_reading_forgives() {
    for code in codes() {
        assert_eq!(code.as_str().parse::<Code>().unwrap(), code);
        assert_eq!(code.grouped().parse::<Code>().unwrap(), code);
        let small = code.grouped().to_lowercase().replace(' ', "-");
        assert_eq!(small.parse::<Code>().unwrap(), code);
        let (head, check) = code.as_str().split_at(11);
        let (kind, body) = head.split_at(1);
        for one in ["I", "L"] {
            let read = body.replace('0', "O").replace('1', one);
            let read = format!("{kind}{read}{check}");
            assert_eq!(read.parse::<Code>().unwrap(), code, "{read}");
        }
    }
}

#[test]
fn every_wrong_character_and_neighbour_swap_is_found() {
    for code in codes() {
        let right: Vec<char> = code.as_str().chars().collect();
        for at in 0..12 {
            for c in ('0'..='9').chain('A'..='Z') {
                let mut wrong = right.clone();
                wrong[at] = c;
                let text: String = wrong.into_iter().collect();
                // Another spelling of the same character reads as the same code; nothing else is a code.
                if let Ok(read) = text.parse::<Code>() {
                    assert_eq!(read, code, "{text}");
                }
            }
            if at < 11 && right[at] != right[at + 1] {
                let mut wrong = right.clone();
                wrong.swap(at, at + 1);
                let text: String = wrong.into_iter().collect();
                assert!(text.parse::<Code>().is_err(), "{text}");
            }
        }
    }
}

#[test]
fn only_what_bears_a_label_has_a_code() {
    let id = Uuid::from_u128(7);
    assert_eq!(Code::of(Subject::Case(CaseId(id))), None);
    assert_eq!(Code::of(Subject::Mark(MarkId(id))), None);
    assert_eq!(Code::of(Subject::Person(PersonId(id))), None);
    assert_eq!("I".parse::<Code>(), Err(IdError::NotACode));
    assert_eq!("X00000000000".parse::<Code>(), Err(IdError::NotACode));
}

#[test]
fn digests_subjects_and_pieces_parse_and_refuse() {
    let hex = "0a".repeat(32);
    assert_eq!(hex.parse::<Digest>().unwrap().to_string(), hex);
    for bad in [
        String::new(),
        "0A".repeat(32),
        "0a".repeat(31),
        "zz".repeat(32),
    ] {
        assert_eq!(bad.parse::<Digest>(), Err(IdError::NotADigest), "{bad}");
    }
    let id = Uuid::from_u128(7);
    for kind in ["person", "place", "case", "mark", "item", "package"] {
        let text = format!("{kind}:{id}");
        assert_eq!(text.parse::<Subject>().unwrap().to_string(), text);
        assert_eq!(
            text.parse::<Piece>().is_ok(),
            matches!(kind, "item" | "package"),
            "{kind}"
        );
    }
    for bad in [
        "",
        "item",
        "item:",
        "item:7",
        "shelf:00000000-0000-0000-0000-000000000007",
    ] {
        assert_eq!(bad.parse::<Subject>(), Err(IdError::NotASubject), "{bad}");
    }
}

/// Source of the values: PyPI python-stdnum 2.2, `stdnum.iso7064.mod_37_36.calc_check_digit` (ISO/IEC 7064).
#[test]
fn check_characters_are_those_of_the_standard() {
    for (text, check) in [
        ("A12425GABC1234002", 'M'),
        ("I0000000000", 'P'),
        ("P0123456789", 'H'),
        ("SZZZZZZZZZZ", 'H'),
    ] {
        assert_eq!(mod_37_36(text), Some(check), "{text}");
    }
    assert_eq!(mod_37_36("a"), None);
}
