//! Cosignatures after C2SP tlog-cosignature (c2sp.org/tlog-cosignature, the Ed25519 kind), signed and verified here against
//! the text of that page: what is signed, how the identifier is made, how the line is laid out.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use ed25519_dalek::{Signer as _, SigningKey};
use liftledger::ids::Digest;
use liftledger::ledger::checkpoint::{self, Checkpoint, Key, NoteError};
use liftledger::ledger::cosignature::{WitnessKey, WitnessVerifyingKey, cosign, cosigned};
use sha2::{Digest as _, Sha256};

const NAME: &str = "witness.example/slip-road";
const TIME: u64 = 1_900_000_000;

fn note() -> (String, Key) {
    let key = Key::new(&[3; 32], "ledger.example/harrow-cove").unwrap();
    let head = Checkpoint {
        origin: key.name().to_owned(),
        size: 7,
        root: Digest([5; 32]),
    };
    (checkpoint::sign(&head, &key).unwrap(), key)
}

#[test]
fn the_line_is_the_one_that_the_standard_describes() {
    let (note, ledger) = note();
    let witness = WitnessKey::new(&[4; 32], NAME).unwrap();
    let both = cosign(&note, &witness, TIME).unwrap();
    // The ledger's own part is untouched, and its verifier passes the other line over.
    assert!(both.starts_with(&note));
    assert_eq!(
        checkpoint::open(&both, ledger.verifying_key())
            .unwrap()
            .size,
        7
    );
    // Made here by hand from the standard's text.
    let secret = SigningKey::from_bytes(&[4; 32]);
    let public = secret.verifying_key();
    let mut hash = Sha256::new();
    hash.update(NAME.as_bytes());
    hash.update(b"\n\x04");
    hash.update(public.as_bytes());
    let id = &hash.finalize()[..4];
    let text = note.split("\n\n").next().unwrap().to_owned() + "\n";
    let message = format!("cosignature/v1\ntime {TIME}\n{text}");
    let mut bytes = id.to_vec();
    bytes.extend(TIME.to_be_bytes());
    bytes.extend(secret.sign(message.as_bytes()).to_bytes());
    let line = format!("\u{2014} {NAME} {}\n", STANDARD.encode(bytes));
    assert_eq!(both, format!("{note}{line}"));
    let vkey = witness.verifying_key().to_string();
    let mut material = vec![4];
    material.extend(public.as_bytes());
    assert_eq!(
        vkey,
        format!("{NAME}+{}+{}", hex::encode(id), STANDARD.encode(material))
    );
    let read: WitnessVerifyingKey = vkey.parse().unwrap();
    assert_eq!(cosigned(&both, &read), Ok(TIME));
}

#[test]
fn whatever_is_altered_is_refused() {
    let (note, ledger) = note();
    let witness = WitnessKey::new(&[4; 32], NAME).unwrap();
    let key = witness.verifying_key();
    assert_eq!(cosigned(&note, key), Err(NoteError::NotSigned));
    let both = cosign(&note, &witness, TIME).unwrap();
    let altered = both.replacen("\n7\n", "\n8\n", 1);
    assert_eq!(cosigned(&altered, key), Err(NoteError::Signature));
    // Every byte of the signature counts, the time's too.
    let (before, line) = both.trim_end().rsplit_once(' ').unwrap();
    let bytes = STANDARD.decode(line).unwrap();
    for at in 4..bytes.len() {
        let mut other = bytes.clone();
        other[at] ^= 1;
        let forged = format!("{before} {}\n", STANDARD.encode(&other));
        assert_eq!(
            cosigned(&forged, key),
            Err(NoteError::Signature),
            "byte {at}"
        );
    }
    let other = WitnessKey::new(&[5; 32], NAME).unwrap();
    assert_eq!(
        cosigned(&both, other.verifying_key()),
        Err(NoteError::NotSigned)
    );
    // A later one takes the place of the earlier one; one of another witness stands beside it.
    let later = cosign(&both, &witness, TIME + 60).unwrap();
    assert_eq!(later.lines().count(), both.lines().count());
    assert_eq!(cosigned(&later, key), Ok(TIME + 60));
    let two = cosign(&later, &other, TIME).unwrap();
    assert_eq!(
        (cosigned(&two, key), cosigned(&two, other.verifying_key())),
        (Ok(TIME + 60), Ok(TIME))
    );
    // The ledger's key is no witness's.
    assert!(
        ledger
            .verifying_key()
            .to_string()
            .parse::<WitnessVerifyingKey>()
            .is_err()
    );
    assert!(key.to_string().parse::<checkpoint::VerifyingKey>().is_err());
}
