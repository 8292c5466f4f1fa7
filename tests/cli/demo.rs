//! `liftledger demo --once`, the same folder again, and the demo served.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

fn demo(data: &Path) -> (Option<i32>, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["demo", "--once", "--data"])
        .arg(data)
        .output()
        .unwrap();
    let text = |b| String::from_utf8(b).unwrap();
    (out.status.code(), text(out.stdout), text(out.stderr))
}

#[test]
fn a_demo_is_loaded_once_and_told_again() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("demo");
    let (code, first, errors) = demo(&data);
    assert_eq!((code, errors.as_str()), (Some(0), ""));
    assert!(first.contains("Милена Дражева") && first.contains("court liaison"));
    let (code, second, _) = demo(&data);
    assert_eq!(code, Some(0));
    let table = |text: &str| text.split_once("\n\n").unwrap().1.to_owned();
    assert_eq!(table(&first), table(&second));
    let mode = std::fs::metadata(data.join("demo-sign-ins.txt")).unwrap();
    assert_eq!(
        std::os::unix::fs::PermissionsExt::mode(&mode.permissions()) & 0o777,
        0o600
    );

    // Everything that was made with a lot, as on a recall.
    let lot = |args: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .arg("lot")
            .args(args)
            .arg("--data")
            .arg(&data)
            .output()
            .unwrap();
        let text = |b| String::from_utf8(b).unwrap();
        (out.status.code(), text(out.stdout), text(out.stderr))
    };
    let (code, out, _) = lot(&["silicone-putty", "sp-0931"]);
    assert_eq!(code, Some(0));
    assert_eq!(out.lines().count(), 3, "{out}");
    assert!(
        out.contains("HR-26-0417") && out.contains("pry mark"),
        "{out}"
    );
    let (_, out, err) = lot(&["lifting-tape", "LT-209", "--json", "--limit", "1"]);
    let rows: Vec<serde_json::Value> = serde_json::from_str(&out).unwrap();
    assert_eq!(rows.len(), 1);
    assert!(err.contains("--limit"), "{err}");
    let (_, out, _) = lot(&["lifting-tape", "LT-209"]);
    assert!(out.contains("restricted"), "{out}");
    let (code, out, _) = lot(&["silicone-putty", "none"]);
    assert_eq!(code, Some(0));
    assert!(out.contains("No item on record"), "{out}");
    let (code, _, err) = lot(&["toffee", "1"]);
    assert_eq!(code, Some(1));
    assert!(err.contains("rules show medium"), "{err}");

    // A ledger that is no demo is left alone.
    std::fs::remove_file(data.join("demo-sign-ins.txt")).unwrap();
    let (code, _, errors) = demo(&data);
    assert_eq!(code, Some(1));
    assert!(errors.contains("name another folder"), "{errors}");
}

#[test]
fn a_demo_is_served_on_a_free_port_and_says_where() {
    let dir = tempfile::tempdir().unwrap();
    let begun = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["demo", "--listen", "127.0.0.1:0", "--data"])
        .arg(dir.path().join("demo"))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    // Kept open to the end: a server whose output nobody reads ends with an error.
    let mut lines = BufReader::new(child.stdout.take().unwrap())
        .lines()
        .map(|l| l.unwrap());
    let address = lines
        .find_map(|l| l.strip_prefix("Serving it at ").map(str::to_owned))
        .unwrap();
    // Five seconds are promised of an optimised build; this one is not, and shares its processors with other tests.
    assert!(begun.elapsed() < Duration::from_secs(60));
    let runa = lines.find(|l| l.starts_with("runa ")).unwrap();
    let password = runa.split_whitespace().last().unwrap();
    let agent =
        ureq::Agent::new_with_config(ureq::Agent::config_builder().max_redirects(0).build());
    let enter = |password: &str| {
        agent
            .post(format!("{address}/sign-in"))
            .header("Origin", &address)
            .header("Sec-Fetch-Site", "same-origin")
            .send_form([("user_name", "runa"), ("password", password)])
            .map(|answer| answer.headers().contains_key("set-cookie"))
    };
    let (right, wrong) = (enter(password), enter("not-the-password-00"));
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(right.unwrap(), "the password that was told signs in");
    assert!(!wrong.unwrap_or(false));
}

#[test]
fn a_port_that_was_asked_for_and_is_taken_is_an_error_before_anything_is_loaded() {
    let dir = tempfile::tempdir().unwrap();
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args([
            "demo",
            "--listen",
            &taken.local_addr().unwrap().to_string(),
            "--data",
        ])
        .arg(dir.path().join("demo"))
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(1));
    assert!(
        String::from_utf8(out.stderr)
            .unwrap()
            .contains("cannot listen on")
    );
    assert!(!dir.path().join("demo").exists());
}
