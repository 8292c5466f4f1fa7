//! Passwords.

use liftledger::people::password::{PasswordError, check, hash, is_outdated, verify};

#[test]
fn each_rule_refuses() {
    let long = "ä".repeat(129);
    let rows = [
        ("short", "nora", Err(PasswordError::TooShort)),
        ("eleven char", "nora", Err(PasswordError::TooShort)),
        ("twelve chars", "nora", Ok(())),
        (long.as_str(), "nora", Err(PasswordError::TooLong)),
        (&long[..256], "nora", Err(PasswordError::OneCharacter)),
        (
            "Nora.Brandt-1",
            "nora.brandt-1",
            Err(PasswordError::UserName),
        ),
        ("noranoranora", "Nora", Err(PasswordError::UserName)),
        ("aaaaaaaaaaaaa", "nora", Err(PasswordError::OneCharacter)),
        ("tide boat rope", "", Ok(())),
    ];
    for (password, name, expected) in rows {
        assert_eq!(check(password, name), expected, "{password}");
    }
}

#[test]
fn a_hash_fits_its_password_only() {
    let kept = hash("tide boat rope", "nora").unwrap();
    // PHC string format; parameters of the OWASP Password Storage Cheat Sheet's minimum for Argon2id.
    assert!(
        kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
        "{kept}"
    );
    assert!(verify("tide boat rope", Some(&kept)));
    assert!(!verify("tide boat Rope", Some(&kept)));
    assert!(!verify("", Some(&kept)));
    assert_ne!(kept, hash("tide boat rope", "nora").unwrap());
    assert!(!is_outdated(&kept));
}

#[test]
fn nobody_signs_in_without_a_hash() {
    for password in ["", "nobody signs in with this", "tide boat rope"] {
        assert!(!verify(password, None));
        assert!(!verify(password, Some("")));
        assert!(!verify(password, Some("not a hash")));
    }
}

#[test]
fn an_unknown_name_costs_as_much_as_a_known_one() {
    let kept = hash("tide boat rope", "nora").unwrap();
    let time = |hash: Option<&str>| {
        let mut best = u128::MAX;
        for _ in 0..5 {
            let start = std::time::Instant::now();
            assert!(!verify("wrong password", hash));
            best = best.min(start.elapsed().as_micros());
        }
        best
    };
    time(None);
    let (known, unknown) = (time(Some(&kept)), time(None));
    // Wide bounds, for machines that do other things meanwhile; without the dummy it would be thousands to one.
    assert!(
        known < unknown * 4 && unknown < known * 4,
        "{known} {unknown}"
    );
}

#[test]
fn a_hash_that_asks_for_too_much_is_no_hash() {
    let greedy = "$argon2id$v=19$m=4000000,t=2,p=1$c29tZXNhbHRzb21lc2FsdA$c29tZXNhbHRzb21lc2FsdHNvbWVzYWx0c29tZXNhbHQ";
    assert!(!verify("tide boat rope", Some(greedy)));
    let weak = "$argon2id$v=19$m=8192,t=1,p=1$c29tZXNhbHRzb21lc2FsdA$c29tZXNhbHRzb21lc2FsdHNvbWVzYWx0c29tZXNhbHQ";
    assert!(is_outdated(weak));
}
