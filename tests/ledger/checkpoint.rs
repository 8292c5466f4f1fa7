//! Signed notes and checkpoints.

use liftledger::ledger::checkpoint::{
    Checkpoint, Key, MAX_NOTE, NoteError, VerifyingKey, open, open_text, sign, sign_text,
};

/// Source: C2SP signed-note, the example under "Ed25519 signatures".
const VKEY: &str = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k";
const NOTE: &str = "This is an example message.\n\n\u{2014} example.com/foo \
    Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n";

/// Secret key: RFC 8032 section 7.1, test 1. Root: the eight leaves of the tree's public vectors. The note was made with
/// another program from those two.
const SEED: &str = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60";
const OWN_VKEY: &str = "ledger.example/test+bc8d6e27+AddamAGCsQq31Uv+08lkBzoO4XLz2qYjJa8CGmj3B1Ea";
const OWN_NOTE: &str = "ledger.example/test\n8\nXcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=\n\n\u{2014} ledger.example/test \
    vI1uJyGa/+z3J1WypGxn/YrH/dtYlPRf1fu4iW5v+IEPu2D8S+6rg0FAwfMSj2jedrcmO3QoAI9iXD4YWA/0dvxjbQQ=\n";

fn own_key() -> Key {
    Key::new(
        &hex::decode(SEED).unwrap().try_into().unwrap(),
        "ledger.example/test",
    )
    .unwrap()
}

fn own_head() -> Checkpoint {
    Checkpoint {
        origin: "ledger.example/test".to_owned(),
        size: 8,
        root: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"
            .parse()
            .unwrap(),
    }
}

#[test]
fn the_public_note_opens() {
    let key: VerifyingKey = VKEY.parse().unwrap();
    assert_eq!(key.to_string(), VKEY);
    assert_eq!(open_text(NOTE, &key), Ok("This is an example message.\n"));
    assert_eq!(open(NOTE, &key), Err(NoteError::NotACheckpoint));
}

#[test]
fn our_checkpoint_is_the_one_another_program_made() {
    let key = own_key();
    assert_eq!(key.verifying_key().to_string(), OWN_VKEY);
    assert_eq!(sign(&own_head(), &key).unwrap(), OWN_NOTE);
    assert_eq!(open(OWN_NOTE, &OWN_VKEY.parse().unwrap()), Ok(own_head()));
}

#[test]
fn no_byte_of_a_note_can_be_changed() {
    let key: VerifyingKey = OWN_VKEY.parse().unwrap();
    for at in 0..OWN_NOTE.len() {
        for mask in [0x01, 0x20, 0x80] {
            let mut bytes = OWN_NOTE.as_bytes().to_vec();
            bytes[at] ^= mask;
            if let Ok(note) = String::from_utf8(bytes) {
                assert!(open(&note, &key).is_err(), "byte {at}: {note}");
            }
        }
    }
    for cut in 0..OWN_NOTE.len() {
        if let Some(note) = OWN_NOTE.get(..cut) {
            assert!(open(note, &key).is_err(), "cut at {cut}");
        }
    }
    assert!(open(&format!("{OWN_NOTE}\n"), &key).is_err());
}

#[test]
fn signatures_of_others_are_passed_over() {
    let own: VerifyingKey = OWN_VKEY.parse().unwrap();
    let witness = Key::new(&[1; 32], "witness.example/w1").unwrap();
    let same_name = Key::new(&[2; 32], "ledger.example/test").unwrap();
    let text = own_head().text();
    let line = |key: &Key| {
        sign_text(&text, key)
            .unwrap()
            .split_once("\n\n")
            .unwrap()
            .1
            .to_owned()
    };
    let (mine, theirs, named_alike) = (line(&own_key()), line(&witness), line(&same_name));
    assert_eq!(
        open(&format!("{text}\n{theirs}{mine}{named_alike}"), &own),
        Ok(own_head())
    );
    assert_eq!(
        open(&format!("{text}\n{theirs}{named_alike}"), &own),
        Err(NoteError::NotSigned)
    );
    assert_eq!(
        open(&format!("{text}\n{mine}{theirs}"), witness.verifying_key()),
        Err(NoteError::Origin)
    );
    // A wrong signature under the known key refuses the note, even beside a good one.
    let wrong = sign_text("another text\n", &own_key())
        .unwrap()
        .split_once("\n\n")
        .unwrap()
        .1
        .to_owned();
    assert_eq!(
        open(&format!("{text}\n{mine}{wrong}"), &own),
        Err(NoteError::Signature)
    );
}

#[test]
fn bounds() {
    let own: VerifyingKey = OWN_VKEY.parse().unwrap();
    let (text, line) = OWN_NOTE.split_once("\n\n").unwrap();
    let with = |n: usize| format!("{text}\n\n{}", line.repeat(n));
    assert_eq!(open(&with(16), &own), Ok(own_head()));
    assert_eq!(open(&with(64), &own), Ok(own_head()));
    assert_eq!(open(&with(65), &own), Err(NoteError::TooLarge));
    assert_eq!(
        open(&"x".repeat(MAX_NOTE + 1), &own),
        Err(NoteError::TooLarge)
    );
    assert_eq!(
        sign_text(&format!("{}\n", "x".repeat(MAX_NOTE)), &own_key()),
        Err(NoteError::TooLarge)
    );
}

#[test]
fn a_text_that_is_signed_but_no_checkpoint() {
    let key = own_key();
    let root = "XcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=";
    for text in [
        format!("ledger.example/test\n08\n{root}\n"),
        format!("ledger.example/test\n+8\n{root}\n"),
        format!("ledger.example/test\n-8\n{root}\n"),
        format!("ledger.example/test\n8\n{root}\nmore\n"),
        format!("ledger.example/test\n8\n{root}\n\n"),
        format!("\n8\n{root}\n"),
        "ledger.example/test\n8\nXcnaeacGWamtVZy3\n".to_owned(),
        "ledger.example/test\n8\n".to_owned(),
        "ledger.example/test\n18446744073709551616\n\n".to_owned(),
    ] {
        let note = sign_text(&text, &key).unwrap();
        assert_eq!(
            open(&note, key.verifying_key()),
            Err(NoteError::NotACheckpoint),
            "{text}"
        );
    }
    let other = sign_text(&format!("ledger.example/other\n8\n{root}\n"), &key).unwrap();
    assert_eq!(open(&other, key.verifying_key()), Err(NoteError::Origin));
    assert_eq!(
        sign(
            &Checkpoint {
                origin: "x".into(),
                ..own_head()
            },
            &key
        ),
        Err(NoteError::Origin)
    );
    assert_eq!(sign_text("no newline", &key), Err(NoteError::Malformed));
    assert_eq!(sign_text("tab\t\n", &key), Err(NoteError::Malformed));
}

#[test]
fn keys_that_are_not_keys() {
    for name in [
        "",
        "a b",
        "a+b",
        "a\u{2003}b",
        "a\nb",
        "a\u{7f}b",
        &"a".repeat(256),
    ] {
        assert_eq!(
            Key::new(&[1; 32], name).unwrap_err(),
            NoteError::KeyName,
            "{name:?}"
        );
    }
    let weak = format!("ledger.example/test+00000000+AQ{}", "A".repeat(42));
    for text in [
        "",
        "a",
        "a+b",
        "a+b+c",
        &OWN_VKEY.replace("bc8d6e27", "bc8d6e28"),
        &OWN_VKEY.replace("/test", "/tess"),
        &weak,
    ] {
        assert!(text.parse::<VerifyingKey>().is_err(), "{text}");
    }
}

#[test]
fn a_key_does_not_show_its_secret() {
    let shown = format!("{:?}", own_key());
    assert!(
        shown.contains("bc8d6e27") && !shown.contains("9d61") && !shown.contains("157, 97"),
        "{shown}"
    );
}
