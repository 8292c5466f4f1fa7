//! Keys under a passphrase.

use liftledger::keys::Keys;
use liftledger::keys::sealed::{SealedError, SealedKeys};

const VKEY: &str = "ledger.example/harrow-cove+00000000+AA==";

#[test]
fn keys_come_back_by_their_passphrase_only() {
    let keys = Keys::from_seed([5; 32]);
    let sealed = SealedKeys::seal(&keys, VKEY, "a kedge anchor, two oars").unwrap();
    let text = serde_json::to_string(&sealed).unwrap();
    // Neither half stands in it.
    assert!(!text.contains(&"05".repeat(32)));
    let back = sealed.open("a kedge anchor, two oars").unwrap();
    assert_eq!(back.signing().as_bytes(), keys.signing().as_bytes());
    assert_eq!(
        back.secret().mac("form", b"x"),
        keys.secret().mac("form", b"x")
    );
    assert_eq!(
        sealed.open("a kedge anchor, two oar").unwrap_err(),
        SealedError::Wrong
    );
    assert_eq!(
        SealedKeys::seal(&keys, VKEY, "fifteen letters").unwrap_err(),
        SealedError::TooShort
    );
    // Twice the same is never the same.
    assert_ne!(
        sealed,
        SealedKeys::seal(&keys, VKEY, "a kedge anchor, two oars").unwrap()
    );
    // Every part is bound to the rest.
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    for (part, other) in [
        ("salt", "00".repeat(16)),
        ("nonce", "00".repeat(12)),
        ("key", VKEY.replace("cove", "cave")),
    ] {
        let mut altered = json.clone();
        altered[part] = other.into();
        let altered: SealedKeys = serde_json::from_value(altered).unwrap();
        assert_eq!(
            altered.open("a kedge anchor, two oars").unwrap_err(),
            SealedError::Wrong,
            "{part}"
        );
    }
    let mut greedy = json.clone();
    greedy["memory_kib"] = 4_000_000_000_u32.into();
    let greedy: SealedKeys = serde_json::from_value(greedy).unwrap();
    assert_eq!(
        greedy.open("a kedge anchor, two oars").unwrap_err(),
        SealedError::Malformed
    );
}

#[test]
fn the_key_of_papers_goes_along() {
    use liftledger::disclosure::signature::issue::Whose;
    use liftledger::keys::papers;
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("keys");
    Keys::create(&folder).unwrap();
    let whose = Whose {
        name: "Evidence unit".into(),
        ..Whose::default()
    };
    let chain = papers::self_signed(&folder, &whose, chrono::Utc::now(), 1).unwrap();
    let keys = Keys::open(&folder).unwrap();
    let sealed = SealedKeys::seal(&keys, VKEY, "a kedge anchor, two oars").unwrap();
    let text = serde_json::to_string(&sealed).unwrap();
    let secret = hex::encode(keys.papers().unwrap().key().to_bytes());
    assert!(!text.contains(&secret));
    let back = sealed.open("a kedge anchor, two oars").unwrap();
    let there = dir.path().join("restored");
    let put = Keys::put_back(&there, &back).unwrap();
    let signer = put.papers().unwrap();
    assert_eq!(*signer.chain(), chain);
    assert_eq!(hex::encode(signer.key().to_bytes()), secret);
    assert_eq!(put.signing().as_bytes(), keys.signing().as_bytes());
    assert!(!format!("{put:?}{signer:?}").contains(&secret));
}
