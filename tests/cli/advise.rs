//! `liftledger advise`, run as a process.

use std::io::Write as _;
use std::process::{Command, Stdio};

use serde_json::Value;

fn ask(question: &str, args: &[&str]) -> (Option<i32>, String, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .arg("advise")
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // It may not read all of it.
    let _ = child.stdin.take().unwrap().write_all(question.as_bytes());
    let out = child.wait_with_output().unwrap();
    (
        out.status.code(),
        String::from_utf8(out.stdout).unwrap(),
        String::from_utf8(out.stderr).unwrap(),
    )
}

const PRY_MARK: &str = r#"{"surface":{"texture":"impressed"},"mark":{"kind":"toolmark"},
    "kit":[{"medium":"silicone-putty","lot":"SP-0931","expires_on":"2026-03-13"}],"date":"2026-03-13"}"#;

#[test]
fn a_table_and_json() {
    let (code, out, err) = ask(PRY_MARK, &[]);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    for said in [
        "First of all, photograph",
        "Caution. Strong light",
        "silicone-putty",
        "SP-0931",
        "reads reversed: flip before comparison; depth inverted",
        "NOT ADVISED",
        "depth is taken by a cast",
    ] {
        assert!(out.contains(said), "{said}: {out}");
    }
    let (code, out, _) = ask(PRY_MARK, &["--json"]);
    assert_eq!(code, Some(0));
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(told["ranked"][0]["medium"], "silicone-putty");
    assert_eq!(told["ranked"][0]["lots"][0]["lot"], "SP-0931");
    let steps = told["ranked"][0]["steps"].as_array().unwrap();
    assert_eq!(steps[1]["cautions"][0]["id"], "casting-material");
    // What it must be packed in comes with it.
    assert!(!told["ranked"][0]["packing"].as_array().unwrap().is_empty());

    // A day later the lot has expired.
    let (code, out, _) = ask(
        &PRY_MARK.replace("\"date\":\"2026-03-13\"", "\"date\":\"2026-03-14\""),
        &["--json"],
    );
    assert_eq!(code, Some(0));
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(told["nothing"]["code"], "kit-expired");
}

#[test]
fn from_a_file_and_what_cannot_be_read() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("question.json");
    std::fs::write(&file, PRY_MARK).unwrap();
    let (code, out, _) = ask("", &[file.to_str().unwrap()]);
    assert_eq!(code, Some(0));
    assert!(out.contains("silicone-putty"));
    for (question, said) in [
        ("", "cannot be read"),
        ("{\"mark\":{\"kind\":\"dance\"}}", "unknown variant"),
        (
            "{\"mark\":{\"kind\":\"toolmark\"},\"surface\":{\"substrate\":\"9Z\"}}",
            "9Z is no substrate code",
        ),
    ] {
        let (code, out, err) = ask(question, &[]);
        assert_eq!((code, out.as_str()), (Some(1), ""));
        assert!(err.contains(said), "{err}");
    }
    let (code, _, err) = ask(&" ".repeat(300 * 1024), &[]);
    assert_eq!(code, Some(1));
    assert!(err.contains("longer than"), "{err}");
}
