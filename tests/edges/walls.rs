//! The walls between the layers, held by reading the imports.

use std::fs;
use std::path::{Path, PathBuf};

const CORE: &[&str] = &[
    "ids.rs",
    "ledger",
    "custody",
    "lifting",
    "keeping",
    "people",
    "imaging",
    "reports",
    "disclosure",
];

fn sources(at: &Path, out: &mut Vec<PathBuf>) {
    if at.is_file() {
        if at.extension().is_some_and(|e| e == "rs") {
            out.push(at.to_owned());
        }
        return;
    }
    for entry in fs::read_dir(at).unwrap() {
        sources(&entry.unwrap().path(), out);
    }
}

/// Every line of code (no comments) under `src/…` that holds one of the words.
fn offences(parts: &[&str], words: &[&str]) -> Vec<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    for part in parts {
        sources(&root.join(part), &mut files);
    }
    assert!(!files.is_empty(), "no files under {parts:?}");
    let mut out = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        for (n, line) in text.lines().enumerate() {
            let code = line.trim();
            if !code.starts_with("//") && words.iter().any(|w| code.contains(w)) {
                out.push(format!("{}:{}: {code}", file.display(), n + 1));
            }
        }
    }
    out
}

#[test]
fn the_core_knows_no_edge() {
    let edges = [
        "crate::app",
        "crate::cli",
        "crate::clock",
        "crate::keys",
        "crate::originals",
        "crate::store",
        "crate::trade",
        "crate::web",
        "crate::whole",
    ];
    assert_eq!(offences(CORE, &edges), Vec::<String>::new());
}

#[test]
fn the_core_is_pure() {
    let impure = [
        "sqlx::", "axum::", "tokio::", "std::fs", "std::env", "std::net", "::now()", "async fn",
        ".await",
    ];
    assert_eq!(offences(CORE, &impure), Vec::<String>::new());
}

#[test]
fn the_ledger_knows_nothing_of_custody() {
    let nouns = [
        "crate::custody",
        "crate::lifting",
        "crate::keeping",
        "crate::people",
        "crate::imaging",
        "crate::reports",
        "crate::disclosure",
    ];
    assert_eq!(offences(&["ledger"], &nouns), Vec::<String>::new());
}

#[test]
fn pages_never_go_to_the_database() {
    // error.rs turns the store's errors into answers; it reads and writes nothing.
    let found: Vec<String> = offences(&["web"], &["crate::store", "house().store", ".store."])
        .into_iter()
        .filter(|o| !o.contains("web/error.rs"))
        .collect();
    assert_eq!(found, Vec::<String>::new());
}

#[test]
fn the_walls_can_fail() {
    assert!(!offences(&["app"], &["crate::store"]).is_empty());
}
