//! Keys on disk.

use std::{fs, os::unix::fs::PermissionsExt};

use liftledger::keys::{Keys, KeysError, write_public};
use liftledger::ledger::checkpoint::{VerifyingKey, open_text, sign_text};

#[test]
fn keys_are_made_once_and_stay_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("keys");
    assert!(matches!(Keys::open(&folder), Err(KeysError::Missing(_))));
    let made = Keys::create(&folder).unwrap();
    let read = Keys::open(&folder).unwrap();
    assert_eq!(made.verifying(), read.verifying());
    assert_eq!(
        made.secret().mac("form", b"x"),
        read.secret().mac("form", b"x")
    );
    assert!(matches!(
        Keys::create(&folder),
        Err(KeysError::AlreadyThere(_))
    ));
    assert_eq!(Keys::open(&folder).unwrap().verifying(), made.verifying());
}

#[test]
fn two_ledgers_have_two_keys() {
    let dir = tempfile::tempdir().unwrap();
    let a = Keys::create(&dir.path().join("a")).unwrap();
    let b = Keys::create(&dir.path().join("b")).unwrap();
    assert_ne!(a.verifying(), b.verifying());
    assert_ne!(a.secret().mac("form", b""), b.secret().mac("form", b""));
}

#[test]
fn only_the_owner_may_read_them() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("keys");
    Keys::create(&folder).unwrap();
    let mode = |name: &str| {
        fs::metadata(folder.join(name))
            .unwrap()
            .permissions()
            .mode()
            & 0o777
    };
    assert_eq!(
        fs::metadata(&folder).unwrap().permissions().mode() & 0o777,
        0o700
    );
    assert_eq!(
        (mode("checkpoint.seed"), mode("server.secret")),
        (0o600, 0o600)
    );
    fs::set_permissions(
        folder.join("checkpoint.seed"),
        fs::Permissions::from_mode(0o640),
    )
    .unwrap();
    assert!(matches!(Keys::open(&folder), Err(KeysError::Open(_))));
}

#[test]
fn a_file_of_another_length_is_no_key() {
    let dir = tempfile::tempdir().unwrap();
    Keys::create(dir.path()).unwrap();
    for bytes in [&b"short"[..], &[1; 33]] {
        fs::write(dir.path().join("server.secret"), bytes).unwrap();
        assert!(matches!(Keys::open(dir.path()), Err(KeysError::Length(_))));
    }
}

#[test]
fn a_token_is_good_for_its_purpose_only() {
    let keys = Keys::from_seed([7; 32]);
    let tag = keys.secret().mac("form", b"session 1");
    assert!(keys.secret().is_mac("form", b"session 1", &tag));
    assert!(!keys.secret().is_mac("session", b"session 1", &tag));
    assert!(!keys.secret().is_mac("form", b"session 2", &tag));
    assert!(!keys.secret().is_mac("form", b"session 1", &tag[..31]));
    // Moving a letter from the data to the purpose gives another token.
    assert_ne!(
        keys.secret().mac("forms", b"x"),
        keys.secret().mac("form", b"sx")
    );
    assert_eq!(format!("{:?}", keys.secret()), "Secret(..)");
}

#[test]
fn the_public_key_is_for_everybody() {
    let dir = tempfile::tempdir().unwrap();
    let key = Keys::from_seed([7; 32]).checkpoint("boatyard").unwrap();
    let path = write_public(dir.path(), key.verifying_key()).unwrap();
    let line = fs::read_to_string(&path).unwrap();
    assert!(line.starts_with("boatyard+") && line.ends_with('\n'));
    let read: VerifyingKey = line.trim_end().parse().unwrap();
    assert_eq!(read.to_string(), key.verifying_key().to_string());
    assert_eq!(
        fs::metadata(path).unwrap().permissions().mode() & 0o777,
        0o644
    );
}

#[test]
fn the_key_on_disk_signs_what_its_public_half_opens() {
    let keys = Keys::from_seed([7; 32]);
    let key = keys.checkpoint("boatyard").unwrap();
    let note = sign_text("one line\n", &key).unwrap();
    assert_eq!(open_text(&note, key.verifying_key()).unwrap(), "one line\n");
    let other = Keys::from_seed([8; 32]).checkpoint("boatyard").unwrap();
    assert!(open_text(&note, other.verifying_key()).is_err());
    assert!(keys.checkpoint("a name with spaces").is_err());
}
