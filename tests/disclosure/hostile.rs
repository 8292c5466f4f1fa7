//! Texts as anybody may type them: a file is refused, or it is whole and says exactly what was put in.

use liftledger::custody::value::Value;
use liftledger::disclosure::itl::{
    Assessment, ContextPicture, Domain, Operation, Transaction, check, write,
};
use proptest::prelude::*;

use super::sample::{png, with_features};

/// Texts near what breaks files: separators, markers, tags, lengths, other alphabets, nothing.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => "[ -~]{1,60}",
        2 => any::<String>(),
        1 => "[\\x00-\\x20]{0,4}",
        2 => prop::sample::select(vec![
            "999:", "13.999:", "2.999:\u{1c}", "\u{1d}13.006:1", "\u{1f}", "a\u{1e}b", "ÄÖ", "Żółć", "ΩΨ", "1.001:5\u{1c}",
            "", " ", "\n", "a\nb", "\u{7f}", "\u{85}", "\u{feff}", "\u{2028}", "9\u{200b}99:", "0", "00", "-1",
        ]).prop_map(str::to_owned),
        1 => "[a-zα-ω]{100,300}",
    ]
}

fn put(t: &mut Transaction, texts: &[String]) {
    let mut next = texts.iter().cloned();
    let mut one = move || next.next().unwrap_or_else(|| "x".into());
    t.header.destination = one();
    t.header.originating = one();
    t.header.transaction = one();
    t.header.control = one();
    t.header.domain = Some(Domain {
        name: one(),
        version: one(),
    });
    t.descriptive.fields = [(3, one()), (4, one())].into();
    t.latent.comment = Some(one());
    t.latent.agency = Some(one());
    t.latent.operations = vec![Operation {
        at: t.header.moment,
        program: one(),
        owner: one(),
        what: one(),
    }];
    let f = t.features.as_mut().unwrap();
    f.substrate = Some(("2B".into(), one()));
    f.assessment = Some(Assessment {
        value: Value::Limited,
        last_name: one(),
        first_name: one(),
        affiliation: one(),
        at: t.header.moment,
        comment: Some(one()),
    });
    t.context = Some(ContextPicture {
        taken: t.header.date,
        file_type: "JPG".into(),
        comment: Some(one()),
        data: vec![0x1c, 0x1d, b'9', b'9', b'9', b':'],
    });
}

/// What a text becomes in a field: one line, outer spaces gone.
fn kept(text: &str) -> String {
    let parts: Vec<&str> = text.split(['\n', '\r']).map(str::trim).collect();
    parts.join(" ").trim().to_owned()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    /// One text at a time is hostile, so that most files are written.
    #[test]
    fn a_hostile_text_is_refused_or_stands_as_typed(at in 0usize..18, hostile in text(), plain in "[A-Za-z0-9 ]{1,14}x") {
        let data: Vec<u8> = (0..192).map(|i| i as u8).collect();
        let mut t = with_features(&png(16, 12, &data));
        let mut texts = vec![plain; 18];
        texts[at].clone_from(&hostile);
        put(&mut t, &texts);
        match write(&t) {
            Err(refusal) => {
                prop_assert!(!refusal.rule.code().is_empty());
            }
            Ok(written) => {
                let all = check(&written.bytes);
                prop_assert!(all.is_ok(), "{:?}", all.err());
                let all = all.unwrap();
                prop_assert_eq!(all.iter().map(|r| r.kind).collect::<Vec<_>>(), vec![1, 2, 13, 9, 21]);
                prop_assert_eq!(all[2].field(999).unwrap().value, t.latent.data.as_slice());
                prop_assert_eq!(all[0].text(7).unwrap(), kept(&t.header.destination));
                prop_assert_eq!(all[0].text(9).unwrap(), kept(&t.header.control));
                prop_assert_eq!(all[1].text(4).unwrap(), kept(&t.descriptive.fields[&4]));
                prop_assert_eq!(all[2].text(20).unwrap(), kept(t.latent.comment.as_deref().unwrap()));
                prop_assert_eq!(all[4].text(20).unwrap(), kept(t.context.as_ref().unwrap().comment.as_deref().unwrap()));
                // A common reader finds the image by its marker; the first one in each record must be the real one.
                let marks = written.bytes.windows(7).filter(|w| *w == b"13.999:").count();
                prop_assert_eq!(marks, 1);
            }
        }
    }

    /// Any bytes at all: an answer, never a panic.
    #[test]
    fn the_checker_reads_anything(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = check(&bytes);
    }

    /// A good file with some bytes changed: whatever is taken still has lengths that add up.
    #[test]
    fn the_checker_holds_a_damaged_file_against_its_lengths(changes in prop::collection::vec((0usize..868, any::<u8>()), 1..6)) {
        let mut bytes = super::sample::PNG.to_vec();
        for (at, to) in changes {
            bytes[at] = to;
        }
        if let Ok(all) = check(&bytes) {
            prop_assert_eq!(all.iter().map(|r| r.len).sum::<usize>(), bytes.len());
        }
    }
}
