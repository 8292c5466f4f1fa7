//! The whole demo on PostgreSQL: told, audited, tampered with, exported; the same tree as the verifier computes.

use std::process::Command;

use liftledger::app::audit::audit;
use liftledger::app::demo;
use liftledger::app::site::Site;
use sqlx::Executor as _;

use super::cluster::Cluster;

fn program(site: &Site, address: &str, arguments: &[&str]) -> (Option<i32>, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(arguments)
        .arg("--data")
        .arg(&site.folder)
        .env("LIFTLEDGER_DATABASE", address)
        .output()
        .unwrap();
    let said = [done.stdout, done.stderr]
        .map(|b| String::from_utf8(b).unwrap())
        .concat();
    (done.status.code(), said)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_is_told_audited_and_exported() {
    let cluster = Cluster::shared();
    let database = cluster.database().await;
    let address = cluster.address(&database);
    let folder = tempfile::tempdir().unwrap();
    let site = Site {
        folder: folder.path().join("ledger"),
        database: Some(address.parse().unwrap()),
        originals: None,
    };
    let (house, _) = demo::begin(&site).await.unwrap();
    assert!(!site.folder.join("ledger.db").exists());
    let mut found = audit(house.store.as_ref(), &house.verifying, &[], |_| {})
        .await
        .unwrap();
    tokio::task::block_in_place(|| found.check_images(&house.originals));
    assert!(found.is_clean(), "{found:?}");
    let head = house.store.head().await.unwrap();
    assert!(
        found.ledger.events > 250 && found.ledger.events == head.size && !found.images.is_empty()
    );
    // The tree that the verifier computes from the events is the one that the checkpoint was signed over.
    let note = house.store.latest_checkpoint().await.unwrap().unwrap().note;
    let root = note.lines().nth(2).unwrap().to_owned();
    let counts = house.store.counts().await.unwrap();
    assert_eq!((counts.events, counts.payloads), (head.size, head.size));
    house.close().await;

    // From the command line.
    let (code, said) = program(&site, &address, &["verify", "--json"]);
    assert_eq!(code, Some(0), "{said}");
    let json: serde_json::Value = serde_json::from_str(&said).unwrap();
    let computed = hex(json["ledger"]["root"].as_str().unwrap());
    assert_eq!(computed, base64(&root));
    let (code, said) = program(&site, &address, &["case", "list"]);
    assert!(code == Some(0) && said.contains("HR-26-0417"), "{said}");
    let out = folder.path().join("export");
    let out = out.to_str().unwrap();
    let (code, said) = program(
        &site,
        &address,
        &["export", "--with-originals", "--out", out],
    );
    assert_eq!(code, Some(0), "{said}");
    let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["verify", "--folder", out])
        .output()
        .unwrap();
    assert!(done.status.success(), "{done:?}");
    // The demo is there already.
    let (code, said) = program(&site, &address, &["demo", "--once"]);
    assert!(code == Some(0) && said.contains("there already"), "{said}");

    // Somebody who owns the tables changes one event behind the guards' back.
    let mut raw = cluster.raw(&database).await;
    for sql in [
        "ALTER TABLE events DISABLE TRIGGER events_no_change",
        "UPDATE events SET header = replace(convert_from(header, 'UTF8'), 'custody.released', 'custody.received')::bytea \
         WHERE seq = (SELECT min(seq) FROM events WHERE position('custody.released' in convert_from(header, 'UTF8')) > 0)",
        "UPDATE docs SET active = NOT active WHERE subject = (SELECT min(subject) FROM docs)",
    ] {
        raw.execute(sql).await.expect(sql);
    }
    let (code, said) = program(&site, &address, &["verify"]);
    assert_eq!(code, Some(2), "{said}");
    for finding in ["guard-changed", "read-model-differs", "events_no_change"] {
        assert!(said.contains(finding), "{said}");
    }
}

fn hex(text: &str) -> Vec<u8> {
    (0..text.len() / 2)
        .map(|i| u8::from_str_radix(&text[2 * i..2 * i + 2], 16).unwrap())
        .collect()
}

fn base64(text: &str) -> Vec<u8> {
    use ::base64::Engine as _;
    ::base64::engine::general_purpose::STANDARD
        .decode(text)
        .unwrap()
}
