//! Each rule of the writer has a row: what breaks it, and the code that says so.

use std::collections::BTreeSet;

use liftledger::disclosure::itl::{
    ContextPicture, Density, ItlRule, Operation, Tone, Transaction, write,
};
use liftledger::lifting::handedness::Lateral;

use super::sample::{png, raw, with_features};

fn good() -> Transaction {
    let data: Vec<u8> = (0..192).map(|i| i as u8).collect();
    with_features(&png(16, 12, &data))
}

/// A change to a good transaction.
type Break = fn(&mut Transaction);

const TABLE: &[(ItlRule, Break)] = &[
    (ItlRule::AgencyMissing, |t| {
        t.header.destination = " ".into()
    }),
    (ItlRule::AgencyMissing, |t| {
        t.header.originating = String::new()
    }),
    (ItlRule::AgencyMissing, |t| {
        t.header.transaction = String::new()
    }),
    (ItlRule::NoImage, |t| t.latent.data = vec![]),
    (ItlRule::NoImage, |t| {
        t.context = Some(ContextPicture {
            taken: t.header.date,
            file_type: "JPG".into(),
            comment: None,
            data: vec![],
        });
    }),
    (ItlRule::Lossy, |t| {
        t.latent.data = b"\xff\xd8\xff\xe0 a JPEG".to_vec()
    }),
    (ItlRule::Lossy, |t| {
        *t = Transaction {
            latent: liftledger::disclosure::itl::Latent {
                data: vec![0; 191],
                ..raw().latent
            },
            ..raw()
        }
    }),
    (ItlRule::Pixels, |t| t.latent.bits = 16),
    (ItlRule::Dimension, |t| t.latent.width = 9),
    (ItlRule::Dimension, |t| t.latent.height = 100_000),
    (ItlRule::Dimension, |t| {
        t.latent.density = Density::PerInch(0)
    }),
    // Half a metre: 19.7 inches.
    (ItlRule::Dimension, |t| {
        t.latent.width = 99_999;
        t.latent.density = Density::PerInch(500);
    }),
    (ItlRule::ReversalWithoutScale, |t| {
        t.latent.density = Density::UNKNOWN
    }),
    (ItlRule::ReversalWithoutScale, |t| {
        t.latent.density = Density::UNKNOWN;
        let f = t.features.as_mut().unwrap();
        (f.lateral, f.tone) = (Lateral::Direct, Tone::Unknown);
    }),
    (ItlRule::TooManyMethods, |t| {
        let all = [
            "VIS", "SGF", "BLP", "R6G", "ALS", "NIN", "DFO", "12I", "PDV", "SVN",
        ];
        t.features.as_mut().unwrap().methods = all.map(str::to_owned).to_vec();
    }),
    (ItlRule::UnknownCode, |t| {
        t.features.as_mut().unwrap().methods = vec!["XYZ".into()]
    }),
    (ItlRule::UnknownCode, |t| {
        t.features.as_mut().unwrap().methods = vec!["BLP".into(), "BLP".into()]
    }),
    (ItlRule::UnknownCode, |t| {
        t.features.as_mut().unwrap().substrate = Some(("5A".into(), "x".into()))
    }),
    (ItlRule::UnknownCode, |t| {
        t.features.as_mut().unwrap().matrix = Some(11)
    }),
    (ItlRule::UnknownCode, |t| t.header.priority = Some(0)),
    (ItlRule::UnknownCode, |t| {
        t.descriptive.fields.insert(999, "no image".into());
    }),
    (ItlRule::UnknownCode, |t| {
        t.descriptive.fields.insert(2, "no designation".into());
    }),
    (ItlRule::UnknownCode, |t| {
        t.context = Some(ContextPicture {
            taken: t.header.date,
            file_type: "J".into(),
            comment: None,
            data: vec![1],
        });
    }),
    (ItlRule::Position, |t| t.latent.positions = vec![]),
    (ItlRule::Position, |t| t.latent.positions = vec![13]),
    // A joint or tip needs field 13.014, which is not written.
    (ItlRule::Position, |t| t.latent.positions = vec![19]),
    (ItlRule::Position, |t| t.latent.positions = vec![1, 21]),
    (ItlRule::Position, |t| t.latent.positions = vec![1, 1]),
    (ItlRule::Position, |t| {
        t.latent.positions = vec![1, 2, 3, 4, 5, 6, 7]
    }),
    (ItlRule::TextMarker, |t| {
        t.latent.comment = Some("see 13.999: there".into())
    }),
    (ItlRule::TextMarker, |t| t.header.control = "999:".into()),
    (ItlRule::TextMarker, |t| {
        t.descriptive.fields.insert(4, "a999:b".into());
    }),
    (ItlRule::TextSeparator, |t| {
        t.latent.comment = Some("a\u{1d}b".into())
    }),
    (ItlRule::TextSeparator, |t| {
        t.features.as_mut().unwrap().substrate = Some(("2B".into(), "pane\u{1f}x".into()))
    }),
    (ItlRule::TextSeparator, |t| {
        t.descriptive.fields.insert(4, "a\u{1c}".to_owned() + "b");
    }),
    (ItlRule::TextSeparator, |t| {
        t.latent.agency = Some("a\u{1e}b".into())
    }),
    (ItlRule::TextSeparator, |t| {
        t.latent.agency = Some("a\u{0}b".into())
    }),
    (ItlRule::TextLength, |t| {
        t.latent.comment = Some("x".repeat(127))
    }),
    (ItlRule::TextLength, |t| {
        t.latent.comment = Some("  ".into())
    }),
    (ItlRule::TextLength, |t| {
        t.latent.agency = Some("x".repeat(126))
    }),
    (ItlRule::TextLength, |t| {
        t.header.transaction = "A".repeat(17)
    }),
    (ItlRule::TextLength, |t| {
        t.latent.operations = vec![Operation {
            at: t.header.moment,
            program: "p".into(),
            owner: "o".repeat(65),
            what: "w".into(),
        }];
    }),
    (ItlRule::TextNotAscii, |t| {
        t.header.destination = "Hafenbehörde".into()
    }),
    (ItlRule::TextNotAscii, |t| t.header.control = "№ 1".into()),
    (ItlRule::TooLarge, |t| {
        (t.latent.width, t.latent.height) = (20_000, 5_000);
        t.latent.density = Density::PerInch(10_000);
        t.latent.coding = liftledger::disclosure::itl::Coding::Raw;
        t.latent.data = vec![0; 100_000_000];
    }),
];

/// Rules that the application asks before it has anything to write; `tests/app/afis.rs` has their rows.
const ELSEWHERE: &[ItlRule] = &[
    ItlRule::NoReceiver,
    ItlRule::NotFrictionRidge,
    ItlRule::OrientationTag,
    ItlRule::DensityUnknown,
];

#[test]
fn each_row_is_refused_by_its_rule() {
    write(&good()).unwrap();
    for (i, (rule, change)) in TABLE.iter().enumerate() {
        let mut t = good();
        change(&mut t);
        let refusal = write(&t)
            .err()
            .unwrap_or_else(|| panic!("row {i}, {rule:?}: written"));
        assert_eq!(refusal.rule, *rule, "row {i}: {refusal}");
        assert!(
            refusal.sentence.ends_with('.') && refusal.next.ends_with('.'),
            "{refusal}"
        );
    }
}

#[test]
fn every_rule_has_a_row_and_a_code_of_its_own() {
    let here: BTreeSet<ItlRule> = TABLE.iter().map(|(rule, _)| *rule).collect();
    let missing: Vec<_> = ItlRule::ALL
        .iter()
        .filter(|r| !here.contains(r) && !ELSEWHERE.contains(r))
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
    let codes: BTreeSet<&str> = ItlRule::ALL.iter().map(|r| r.code()).collect();
    assert_eq!(codes.len(), ItlRule::ALL.len());
}

#[test]
fn without_a_density_a_direct_image_goes_and_says_what_is_left_out() {
    let mut t = good();
    t.latent.density = Density::Unknown { across: 2, down: 1 };
    let f = t.features.as_mut().unwrap();
    (f.lateral, f.tone) = (Lateral::Direct, Tone::Positive);
    let written = write(&t).unwrap();
    assert_eq!(written.left_out.len(), 1);
    // Without a density the contents have no Type-9, and 13.008 to 13.010 say the ratio.
    let all = liftledger::disclosure::itl::check(&written.bytes).err();
    // Two different ratios are allowed with units 0 only.
    assert_eq!(all, None);
}
