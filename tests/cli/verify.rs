//! `liftledger verify` on folders: clean ones, and ones that somebody laid hands on.

use std::collections::HashMap;
use std::fs;
use std::path::Path;
use std::process::Command;

use liftledger::app::export::{Folder, part, whole};
use liftledger::ids::{Digest, Piece, Subject};
use liftledger::ledger::checkpoint::Key;

use crate::app::world::{World, five_hundred};

fn write(dir: &Path, folder: &Folder) {
    fs::create_dir_all(dir).unwrap();
    fs::write(dir.join("events.jsonl"), &folder.events).unwrap();
    fs::write(dir.join("checkpoint.txt"), &folder.checkpoint).unwrap();
    fs::write(dir.join("vkey.txt"), &folder.vkey).unwrap();
    fs::write(dir.join("subjects.json"), &folder.subjects).unwrap();
    if let Some(proofs) = &folder.proofs {
        fs::write(dir.join("proofs.jsonl"), proofs).unwrap();
    }
}

fn verify(dir: &Path, more: &[&str]) -> (Option<i32>, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .arg("verify")
        .arg("--folder")
        .arg(dir)
        .args(more)
        .output()
        .unwrap();
    (
        out.status.code(),
        String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap(),
    )
}

fn key() -> Key {
    Key::new(&[7; 32], "ledger.example/test").unwrap()
}

fn whole_of(w: &World) -> Folder {
    let note = String::from_utf8(w.checkpoint(&key()).note).unwrap();
    whole(&w.events, &note, &key().verifying_key().to_string())
}

fn part_of(w: &World, piece: Piece) -> Folder {
    let nodes: HashMap<(u8, u64), Digest> = w
        .nodes
        .iter()
        .map(|n| ((n.level, n.index), n.hash))
        .collect();
    let note = String::from_utf8(w.checkpoint(&key()).note).unwrap();
    let lookup = |level, index| nodes.get(&(level, index)).copied();
    let subjects: [Subject; 1] = [piece.into()];
    part(
        &w.events,
        &subjects,
        w.stage.size(),
        lookup,
        &note,
        &key().verifying_key().to_string(),
    )
    .unwrap()
}

#[test]
fn a_clean_folder_is_clean_and_says_whose_key_it_used() {
    let (w, piece, _) = five_hundred();
    let dir = tempfile::tempdir().unwrap();
    for (name, folder) in [("whole", whole_of(&w)), ("part", part_of(&w, piece))] {
        let at = dir.path().join(name);
        write(&at, &folder);
        let (code, text) = verify(&at, &[]);
        assert_eq!(code, Some(0), "{name}: {text}");
        assert!(
            text.contains("0 findings") && text.contains("The key is the folder's own"),
            "{text}"
        );
        let (code, text) = verify(&at, &["--key", &key().verifying_key().to_string()]);
        assert_eq!(code, Some(0), "{name}: {text}");
        // Another agency's key: everything may agree with itself, and is still not theirs.
        let other = Key::new(&[8; 32], "ledger.example/test").unwrap();
        let (code, text) = verify(&at, &["--key", &other.verifying_key().to_string()]);
        assert_eq!(code, Some(2), "{name}: {text}");
    }
}

#[test]
fn an_altered_or_missing_line_fails_with_code_2() {
    let (w, piece, _) = five_hundred();
    let dir = tempfile::tempdir().unwrap();
    for (name, folder) in [("whole", whole_of(&w)), ("part", part_of(&w, piece))] {
        let text = String::from_utf8(folder.events.clone()).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        let mut altered = folder.clone();
        altered.events = text.replacen("to and fro", "to and for", 1).into_bytes();
        let mut missing = folder.clone();
        missing.events = (lines[..lines.len() - 1].join("\n") + "\n").into_bytes();
        let mut swapped = folder.clone();
        let mut order = lines.clone();
        order.swap(10, 11);
        swapped.events = (order.join("\n") + "\n").into_bytes();
        for (what, bad) in [
            ("altered", altered),
            ("missing", missing),
            ("swapped", swapped),
        ] {
            let at = dir.path().join(format!("{name}-{what}"));
            write(&at, &bad);
            let (code, text) = verify(&at, &["--json"]);
            assert_eq!(code, Some(2), "{name} {what}: {text}");
            let report: serde_json::Value = serde_json::from_str(&text).unwrap();
            let named = report["findings"]
                .as_array()
                .unwrap()
                .iter()
                .any(|f| f["seq"].is_u64() || f["subject"].is_string());
            assert!(named, "{name} {what}: {text}");
        }
    }
}

#[test]
fn what_cannot_run_says_so_with_code_1() {
    let dir = tempfile::tempdir().unwrap();
    let (code, text) = verify(dir.path(), &[]);
    assert_eq!(code, Some(1));
    assert!(text.contains("events.jsonl"), "{text}");
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .arg("fly")
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(1));
}

fn verify_data(data: &Path, more: &[&str]) -> (Option<i32>, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["verify", "--data"])
        .arg(data)
        .args(more)
        .output()
        .unwrap();
    (
        out.status.code(),
        String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap(),
    )
}

/// The originals of a folder, by digest.
fn originals(data: &Path) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![data.join("originals")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

#[test]
fn a_data_folder_is_clean_until_an_original_is_altered_or_gone() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("demo");
    let demo = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["demo", "--once", "--data"])
        .arg(&data)
        .output()
        .unwrap();
    assert!(demo.status.success());
    let (code, text) = verify_data(&data, &[]);
    assert_eq!(code, Some(0), "{text}");
    let files = originals(&data);
    assert!(files.len() > 1);
    // The working copies lie beside the originals, each under its own digest, and are made again from them.
    let said = |what: &str| -> usize {
        let before = text.split_once(what).unwrap().0;
        before.rsplit(' ').next().unwrap().parse().unwrap()
    };
    let (originals, copies) = (
        said(" originals checked"),
        said(" working copies made again"),
    );
    assert_eq!(originals + copies, files.len(), "{text}");
    assert!(copies > 0 && text.contains(" 0 findings"), "{text}");

    let digest = |at: usize| {
        files[at]
            .file_name()
            .unwrap()
            .to_string_lossy()
            .into_owned()
    };
    let mut bytes = fs::read(&files[0]).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    // The file is read-only, so somebody who alters it puts another in its place.
    fs::remove_file(&files[0]).unwrap();
    fs::write(&files[0], bytes).unwrap();
    fs::remove_file(&files[1]).unwrap();
    let (code, text) = verify_data(&data, &[]);
    assert_eq!(code, Some(2), "{text}");
    let line = |code: &str, digest: &str| {
        text.lines()
            .any(|l| l.starts_with(&format!("{code}: event ")) && l.contains(digest))
    };
    assert!(line("image-altered", &digest(0)), "{text}");
    assert!(line("image-missing", &digest(1)), "{text}");
    let (code, text) = verify_data(&data, &["--json"]);
    assert_eq!(code, Some(2), "{text}");
    let report: serde_json::Value = serde_json::from_str(&text).unwrap();
    let models = report["models"].as_array().unwrap();
    let codes: std::collections::BTreeSet<&str> =
        models.iter().filter_map(|m| m["code"].as_str()).collect();
    assert_eq!(codes, ["image-altered", "image-missing"].into());
    assert!(models.iter().all(|m| m["seq"].is_u64()), "{text}");
    assert_eq!(report["originals"], originals);
}
