//! Our checkpoints and cosignatures in the hands of another implementation of Ed25519 (pyca/cryptography) that reads notes by
//! the published formats alone (c2sp.org/signed-note, c2sp.org/tlog-cosignature); and a cosignature that it made, in ours.

use std::path::Path;
use std::process::{Command, Output};

use liftledger::app::house::House;
use liftledger::app::site::Site;
use liftledger::ledger::checkpoint;
use liftledger::ledger::cosignature::{WitnessKey, WitnessVerifyingKey, cosign, cosigned};

use super::boatyard::Boatyard;

const WITNESS: &str = "witness.example/slip-road";
const OTHER: &str = "other.example/far-shore";
/// When: 2031-05-02T08:00:00Z.
const TIME: u64 = 1_935_648_000;

fn python(arguments: &[&str]) -> Output {
    let venv = std::env::var("LIFTLEDGER_VENV").unwrap_or_else(|_| "target/venv".into());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/cosigned.py");
    let out = Command::new(Path::new(&venv).join("bin/python"))
        .arg(script)
        .args(arguments)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(!said.contains("ModuleNotFoundError"), "{said}");
    out
}

/// A verifier key that others published: the Go checksum database's (go.dev/ref/mod, GOSUMDB; from memory). Its identifier
/// shows that the script reads keys as the world does.
const PUBLISHED: &str = "sum.golang.org+033de0ae+Ac4zctda0e5eza+HJyk9SxEdh+s3Ux18htTTAD8OuAn8";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn another_implementation_verifies_our_notes_and_we_verify_its() {
    assert!(python(&["id", PUBLISHED]).status.success());
    assert!(PUBLISHED.parse::<checkpoint::VerifyingKey>().is_ok());
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    let site = Site::from(&dir.path().join("ledger"));
    let yard = Boatyard::begin(&site).await;
    let ledger = yard.house.verifying.to_string();
    let note = yard
        .house
        .store
        .latest_checkpoint()
        .await
        .unwrap()
        .unwrap()
        .note;
    yard.house.close().await;

    // Ours, there.
    let witness = WitnessKey::new(&[9; 32], WITNESS).unwrap();
    let ours = cosign(&note, &witness, TIME).unwrap();
    let vkey = witness.verifying_key().to_string();
    std::fs::write(at("ours"), &ours).unwrap();
    let out = python(&["check", &at("ours"), &ledger, &vkey]);
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let found: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(found[0]["time"], 0);
    assert_eq!(
        (&found[1]["name"], &found[1]["time"]),
        (&WITNESS.into(), &TIME.into())
    );
    // One digit of what was signed changed: the other one sees that, too.
    let size = checkpoint::open(&note, &ledger.parse().unwrap())
        .unwrap()
        .size;
    std::fs::write(
        at("altered"),
        ours.replacen(&size.to_string(), &(size + 1).to_string(), 1),
    )
    .unwrap();
    for key in [&ledger, &vkey] {
        assert!(!python(&["check", &at("altered"), key]).status.success());
    }

    // Theirs, here: beside the ledger's own and our witness's.
    let seed = hex::encode([5_u8; 32]);
    let out = python(&["cosign", &at("ours"), OTHER, &seed, &TIME.to_string()]);
    let said = String::from_utf8(out.stdout).unwrap();
    let (key, theirs) = said.split_once('\n').unwrap();
    let other: WitnessVerifyingKey = key.parse().unwrap();
    assert_eq!(other.name(), OTHER);
    assert_eq!(cosigned(theirs, &other).unwrap(), TIME);
    assert_eq!(cosigned(theirs, witness.verifying_key()).unwrap(), TIME);
    assert!(checkpoint::open(theirs, &ledger.parse().unwrap()).is_ok());
    let altered = theirs.replacen(&size.to_string(), &(size + 1).to_string(), 1);
    assert!(cosigned(&altered, &other).is_err());
    // And a ledger that is told of that witness keeps it.
    std::fs::write(
        site.folder.join("witnesses.toml"),
        format!("[[witness]]\nkey = \"{key}\"\n"),
    )
    .unwrap();
    let house = House::open(&site).await.unwrap();
    house.keep_cosignature(theirs).await.unwrap();
    let kept = house.cosignatures().await.unwrap();
    assert_eq!((kept.len(), kept[0].size), (1, Some(size)));
    house.close().await;
}
