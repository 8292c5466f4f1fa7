//! Passwords, check characters and canonical JSON held against independent Python libraries.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use liftledger::ids::{Code, ItemId, Subject, mod_37_36};
use liftledger::ledger::canonical;
use liftledger::people::password;
use serde_json::json;

/// The Python of the environment that `tests/run` made.
pub fn python() -> PathBuf {
    let venv = std::env::var_os("LIFTLEDGER_VENV")
        .map_or_else(|| PathBuf::from("target/venv"), PathBuf::from);
    let python = venv.join("bin/python");
    assert!(
        python.exists(),
        "{} is missing: run tests/run",
        python.display()
    );
    python
}

/// Runs a script with this input; gives what it printed.
pub fn ask(script: &str, input: &[u8]) -> Vec<u8> {
    let mut child = Command::new(python())
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(input).unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(out.status.success());
    out.stdout
}

/// Source: PyPI argon2-cffi, which wraps the reference implementation of Argon2 (RFC 9106).
#[test]
fn an_independent_argon2_takes_our_password_hash() {
    let phc = password::hash("slipway lantern 42", "ivo").unwrap();
    assert!(phc.starts_with("$argon2id$"));
    let script = "import sys,argon2\n\
        phc=sys.stdin.read()\n\
        h=argon2.PasswordHasher()\n\
        print(h.verify(phc,'slipway lantern 42'))\n\
        try:\n    h.verify(phc,'slipway lantern 43'); print('taken')\n\
        except argon2.exceptions.VerifyMismatchError: print('refused')\n";
    assert_eq!(ask(script, phc.as_bytes()), b"True\nrefused\n");
    // And the other way round: a hash made there is taken here.
    let made = ask(
        "import argon2;print(argon2.PasswordHasher().hash('slipway lantern 42'),end='')",
        b"",
    );
    let made = String::from_utf8(made).unwrap();
    assert!(password::verify("slipway lantern 42", Some(&made)));
    assert!(!password::verify("slipway lantern 43", Some(&made)));
}

/// Source: PyPI python-stdnum, module stdnum.iso7064.mod_37_36 (ISO/IEC 7064).
#[test]
fn an_independent_library_finds_the_same_check_characters() {
    let codes: Vec<String> = (0..500)
        .map(|_| Code::of(Subject::Item(ItemId::new())).unwrap().to_string())
        .collect();
    let script = "import sys\nfrom stdnum.iso7064 import mod_37_36\n\
        for line in sys.stdin.read().split(): print(mod_37_36.calc_check_digit(line[:-1])+str(mod_37_36.is_valid(line)))\n";
    let answer = String::from_utf8(ask(script, codes.join("\n").as_bytes())).unwrap();
    let answers: Vec<&str> = answer.lines().collect();
    assert_eq!(answers.len(), codes.len());
    for (code, theirs) in codes.iter().zip(answers) {
        let ours = mod_37_36(&code[..11]).unwrap();
        assert_eq!(theirs, format!("{ours}True"), "{code}");
    }
}

/// Source: PyPI rfc8785.
#[test]
fn an_independent_library_writes_the_same_canonical_json() {
    let value = json!({
        "\u{20ac}": "Euro", "\r": "return", "\u{fb33}": "dalet", "1": "one", "\u{1f600}": "smiley", "\u{80}": "control",
        "\u{f6}": "o", "list": [1, -2, 9_007_199_254_740_991_i64, true, null, "Ż\"\\\u{8}\u{f}/"], "by": "Łucja Βάρνα Ж",
    });
    let script = "import sys,json,rfc8785\nsys.stdout.buffer.write(rfc8785.dumps(json.load(sys.stdin.buffer)))\n";
    let theirs = ask(script, &serde_json::to_vec(&value).unwrap());
    assert_eq!(canonical::to_bytes(&value).unwrap(), theirs);
}
