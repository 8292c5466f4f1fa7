//! Excursions read from the command line.

use std::path::PathBuf;
use std::sync::OnceLock;

use super::liftledger;

/// The demo, told once for all tests here.
fn demo_folder() -> PathBuf {
    static TOLD: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, folder) = TOLD.get_or_init(|| {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("demo");
        let data = folder.to_str().unwrap();
        let (code, _, err) = liftledger(&["demo", "--once"], &["--data", data]);
        assert_eq!(code, Some(0), "{err}");
        (dir, folder)
    });
    folder.clone()
}

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    let folder = demo_folder();
    let folder = folder.to_str().unwrap();
    liftledger(&["climate"], &[args, &["--data", folder]].concat())
}

#[test]
fn a_place_tells_its_excursions_by_name_and_as_json() {
    let (code, out, err) = run(&["Freezer F"]);
    assert_eq!((code, err.as_str()), (Some(2), ""), "{out}");
    assert!(out.contains("7 readings of logger Logger 2"), "{out}");
    assert!(out.contains("2.1"), "{out}");
    let (code, out, _) = run(&["Freezer F", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, &json["count"]), (Some(2), &1.into()));
    let (code, out, _) = run(&["Cabinet A"]);
    assert_eq!(code, Some(0));
    assert!(out.starts_with("No reading of a logger"), "{out}");
}

#[test]
fn a_thing_tells_what_it_stood_in_and_nonsense_is_told() {
    let (code, out, err) = run(&["HR-26-0417/1"]);
    assert_eq!((code, err.as_str()), (Some(0), ""), "{out}");
    assert!(out.starts_with("It stood nowhere"), "{out}");
    let (code, _, err) = run(&["HR-26-0417"]);
    assert_eq!(code, Some(1));
    assert!(err.contains("neither a place nor"), "{err}");
    assert_eq!(run(&["no such thing"]).0, Some(1));
}
