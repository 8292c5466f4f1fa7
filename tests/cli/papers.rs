//! Lists, labels and exports from the command line, run as a process on a small invented case.

use std::path::Path;
use std::process::Command;

use crate::app::boatyard::{Boatyard, CASE};

use super::liftledger;

fn run(args: &[&str], data: &Path) -> (Option<i32>, String, String) {
    liftledger(args, &["--data", data.to_str().unwrap()])
}

fn verify(folder: &str) -> Option<i32> {
    Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["verify", "--folder", folder])
        .output()
        .unwrap()
        .status
        .code()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn lists_labels_and_exports() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    // The house stays open all the while, as a server would keep it.
    let b = Boatyard::begin(&data).await;
    let (code, out, _) = run(&["case", "list"], &data);
    assert_eq!(code, Some(0));
    assert!(out.contains(CASE) && out.contains("Harrow Cove"), "{out}");
    let (_, out, _) = run(&["case", "list", "--json"], &data);
    let cases: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(cases[0]["number"], CASE);
    let (_, out, _) = run(&["item", "list", CASE], &data);
    assert_eq!(out.lines().count(), 4);
    assert!(
        out.contains("Shelf D-12 (in P1)") && out.contains("Tess Odell"),
        "{out}"
    );
    let (_, out, err) = run(&["item", "list", CASE, "--json", "--limit", "2"], &data);
    let items: Vec<serde_json::Value> = serde_json::from_str(&out).unwrap();
    assert_eq!(items.len(), 2);
    assert!(err.contains("--limit"), "{err}");
    // By code, by number within the case, by identifier; each print is another event.
    let file = dir.path().join("card.pdf");
    let out_file = file.to_str().unwrap();
    let code_text = items[0]["code"].as_str().unwrap();
    let id = items[0]["id"].as_str().unwrap();
    let by_number = format!("{CASE}/1");
    for name in [code_text, &by_number, id] {
        let args = [
            "label", name, "--kind", "card", "--out", out_file, "--force",
        ];
        let (code, out, err) = run(&args, &data);
        assert_eq!(code, Some(0), "{name}: {err}");
        assert!(out.contains("on the record as event"), "{out}");
        assert!(std::fs::read(&file).unwrap().starts_with(b"%PDF"));
    }
    let before = run(&["verify"], &data).1;
    let args = ["label", code_text, "--kind", "card", "--out", out_file];
    let (code, _, err) = run(&args, &data);
    assert_eq!(code, Some(1));
    assert!(err.contains("--force"), "{err}");
    // Refused before anything was recorded.
    assert_eq!(run(&["verify"], &data).1, before);
    let package = format!("{CASE}/P1");
    let place = b.shelf.to_string();
    for (name, kind) in [
        (package.as_str(), "box"),
        (package.as_str(), "seal-strip"),
        (CASE, "sheet"),
        (place.as_str(), "place"),
    ] {
        let file = dir.path().join(format!("{kind}.pdf"));
        let args = [
            "label",
            name,
            "--kind",
            kind,
            "--out",
            file.to_str().unwrap(),
        ];
        let (code, _, err) = run(&args, &data);
        assert_eq!(code, Some(0), "{kind}: {err}");
    }
    for name in [CASE, by_number.as_str(), package.as_str()] {
        let file = dir.path().join("report.pdf");
        let args = ["report", name, "--force", "--out", file.to_str().unwrap()];
        let (code, out, err) = run(&args, &data);
        assert_eq!(code, Some(0), "{name}: {err}");
        assert!(out.contains("on the record as event"), "{out}");
        assert!(std::fs::read(&file).unwrap().starts_with(b"%PDF"));
    }
    // The papers of the case, each known again by its file.
    let told = |args: &[&str], file: &Path| {
        let file = file.to_str().unwrap();
        let args = [&["paper"], args, &["--out", file]].concat();
        let (code, out, err) = run(&args, &data);
        assert_eq!(code, Some(0), "{args:?}: {err}");
        assert!(out.contains("on the record as event"), "{out}");
        let (code, out, err) = run(&["verify", "--pdf", file], &data);
        assert_eq!(code, Some(0), "{args:?}: {out}{err}");
    };
    for args in [
        &["receipt", CASE, "--items", "1,3", "--from", "R. Amsel"][..],
        &[
            "submission",
            CASE,
            "--to",
            "State laboratory",
            "--ask",
            "Compare",
        ],
        &[
            "sheet", CASE, "--of", "P1,1", "--empty", "2", "--paper", "a4",
        ],
        &["witness", CASE, "--person", "tess", "--paper", "letter"],
        &["certification", CASE],
    ] {
        told(args, &dir.path().join(format!("{} paper.pdf", args[0])));
    }
    let none = dir.path().join("exhibits.pdf");
    let args = ["paper", "exhibits", CASE, "--out", none.to_str().unwrap()];
    let (code, _, err) = run(&args, &data);
    assert_eq!(code, Some(1));
    assert!(err.contains("no item of case") && !none.exists(), "{err}");
    let (_, out, _) = run(&["paper", "list", CASE], &data);
    assert!(
        out.contains("Hand-over sheet") && out.contains("Label: box"),
        "{out}"
    );
    let (_, out, _) = run(&["paper", "list", CASE, "--json"], &data);
    let listed: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(listed["rows"][0]["paper"], "Certification of records");
    for (name, kind, says) in [
        ("HC-26-0117/99", "card", "no item 99"),
        ("nothing", "card", "there is no nothing"),
        (CASE, "card", "sheet"),
        (package.as_str(), "card", "Choose one of"),
    ] {
        let file = dir.path().join("none.pdf");
        let args = [
            "label",
            name,
            "--kind",
            kind,
            "--out",
            file.to_str().unwrap(),
        ];
        let (code, _, err) = run(&args, &data);
        assert_eq!(code, Some(1), "{name} {kind}");
        assert!(err.contains(says), "{err}");
        assert!(!file.exists());
    }
    // Exports, checked by the program itself without the ledger.
    let part = dir.path().join("part");
    let part = part.to_str().unwrap();
    let args = ["export", "--case", CASE, "--with-originals", "--out", part];
    let (code, out, err) = run(&args, &data);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.contains("3 originals"), "{out}");
    assert_eq!(verify(part), Some(0));
    let whole = dir.path().join("whole");
    let whole = whole.to_str().unwrap();
    assert_eq!(run(&["export", "--out", whole], &data).0, Some(0));
    assert_eq!(verify(whole), Some(0));
    let (code, _, err) = run(&["export", "--out", whole], &data);
    assert_eq!(code, Some(1));
    assert!(err.contains("--force"), "{err}");
    let events = Path::new(part).join("events.jsonl");
    let text = std::fs::read_to_string(&events).unwrap();
    std::fs::write(&events, text.replacen("locker door", "locker doom", 1)).unwrap();
    assert_eq!(verify(part), Some(2));
    // The open house goes on recording behind what the commands recorded, and all of it verifies.
    assert_eq!(run(&["verify"], &data).0, Some(0));
    b.house.close().await;
}
