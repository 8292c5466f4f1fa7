//! `liftledger certificate`, and papers signed with what it made: by whom, over what, without a timestamp where none was had.

use std::io::{Read as _, Write as _};
use std::net::TcpListener;
use std::path::Path;

use crate::app::boatyard::{Boatyard, CASE};

use super::{liftledger, liftledger_in};

fn certificate(data: &Path, args: &[&str]) -> (Option<i32>, String) {
    let all: Vec<&str> = ["certificate"].iter().chain(args).copied().collect();
    let (code, out, err) = liftledger(&all, &["--data", data.to_str().unwrap()]);
    (code, out + &err)
}

fn printed(data: &Path, file: &Path, environment: &[(&str, &str)]) -> (Option<i32>, String) {
    let (first, data) = (format!("{CASE}/1"), data.to_str().unwrap());
    let out = file.to_str().unwrap();
    let args = ["report", &first, "--force", "--out", out, "--data", data];
    let (code, out, err) = liftledger_in(environment, &args, &[]);
    (code, out + &err)
}

fn verified(data: &Path, file: &Path, more: &[&str]) -> (Option<i32>, String) {
    let (file, data) = (file.to_str().unwrap(), data.to_str().unwrap());
    let (code, out, err) = liftledger(&["verify", "--pdf", file, "--data", data], more);
    (code, out + &err)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn papers_are_signed_from_the_certificate_on() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    let none = certificate(&data, &["self-signed", "--name", "Evidence unit"]);
    assert_eq!(none.0, Some(1), "{}", none.1);
    assert!(none.1.contains("begin a ledger first"), "{}", none.1);
    let b = Boatyard::begin(&data).await;
    let file = dir.path().join("report.pdf");
    let (_, said) = certificate(&data, &["show"]);
    assert!(said.contains("printed unsigned"), "{said}");
    assert_eq!(printed(&data, &file, &[]).0, Some(0));
    let (code, said) = verified(&data, &file, &[]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("It bears no signature"), "{said}");

    let wrong = ["self-signed", "--name", "x", "--country", "Harrow"];
    let (code, said) = certificate(&data, &wrong);
    assert_eq!(code, Some(1));
    assert!(said.contains("two capital letters"), "{said}");
    let unit = [
        "self-signed",
        "--name",
        "Evidence unit",
        "--organisation",
        "Harrow Cove Police",
    ];
    let (code, said) = certificate(&data, &unit);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("self-signed certificate, for which nobody else vouches"),
        "{said}"
    );
    let (code, said) = certificate(&data, &unit);
    assert_eq!(code, Some(1));
    assert!(said.contains("--replace"), "{said}");

    assert_eq!(printed(&data, &file, &[]).0, Some(0));
    let (code, said) = verified(&data, &file, &[]);
    assert_eq!(code, Some(0), "{said}");
    for part in [
        "Signed by Evidence unit, Harrow Cove Police (self-signed certificate, for which nobody else vouches",
        "holds and covers the whole file",
        "the one that the record of the print names",
        "It bears no timestamp.",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let whole = std::fs::read(&file).unwrap();
    let text = lopdf::Document::load_mem(&whole).unwrap();
    let pages: Vec<u32> = text.get_pages().into_keys().collect();
    let text = text.extract_text(&pages).unwrap().replace('\n', " ");
    assert!(
        text.contains("signed electronically by Evidence unit"),
        "{text}"
    );

    // A revision that somebody added, and a byte that somebody changed.
    let other = dir.path().join("other.pdf");
    std::fs::write(
        &other,
        [&whole[..], b"\n7 0 obj\n<<>>\nendobj\n%%EOF\n"].concat(),
    )
    .unwrap();
    let (code, said) = verified(&data, &other, &[]);
    assert_eq!(code, Some(2), "{said}");
    assert!(
        said.contains("Printed by this ledger, and then appended to"),
        "{said}"
    );
    assert!(
        said.contains("were added afterwards and are not signed"),
        "{said}"
    );
    let (_, json) = verified(&data, &other, &["--json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["answer"], "appended");
    assert_eq!(json["signatures"][0]["covers_whole_file"], false);
    assert_eq!(json["signatures"][0]["certificate_on_record"], true);
    let mut altered = whole.clone();
    altered[whole.len() / 3] ^= 1;
    std::fs::write(&other, altered).unwrap();
    let (code, said) = verified(&data, &other, &[]);
    assert_eq!(code, Some(2), "{said}");
    assert!(
        said.contains("it was altered") && said.contains("changed after it was signed"),
        "{said}"
    );
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_a_timestamp_the_paper_says_so_on_the_record() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    let b = Boatyard::begin(&data).await;
    assert_eq!(
        certificate(&data, &["self-signed", "--name", "Evidence unit"]).0,
        Some(0)
    );
    let file = dir.path().join("report.pdf");
    // A server that takes the question and says nothing; one that says something else; one that says too much.
    let silent = TcpListener::bind("127.0.0.1:0").unwrap();
    let talks = |answer: Vec<u8>| {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let at = format!("http://{}/", listener.local_addr().unwrap());
        std::thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            let _ = stream.read(&mut [0; 4096]);
            let head = format!(
                "HTTP/1.1 200 OK\r\ncontent-length: {}\r\n\r\n",
                answer.len()
            );
            let _ = stream.write_all(head.as_bytes());
            let _ = stream.write_all(&answer);
        });
        at
    };
    let refuses = talks(vec![0x30, 5, 0x30, 3, 2, 1, 2]);
    let endless = talks(vec![0x30; 200_000]);
    let nobody = format!("http://{}/", silent.local_addr().unwrap());
    for (url, why) in [
        (nobody.as_str(), "did not answer"),
        (&refuses, "refused, with status 2"),
        (&endless, "did not answer"),
    ] {
        let environment = [
            ("LIFTLEDGER_TIMESTAMP_URL", url),
            ("LIFTLEDGER_TIMESTAMP_SECONDS", "1"),
        ];
        let (code, said) = printed(&data, &file, &environment);
        assert_eq!(code, Some(0), "{said}");
        assert!(
            said.contains("Printed without a timestamp") && said.contains(why),
            "{said}"
        );
        let (code, said) = verified(&data, &file, &[]);
        assert_eq!(code, Some(0), "{said}");
        assert!(said.contains("Printed without a timestamp"), "{said}");
        assert!(said.contains("covers the whole file"), "{said}");
    }
    let wrong = [("LIFTLEDGER_TIMESTAMP_URL", "https://stamps.example/")];
    let (code, said) = printed(&data, &file, &wrong);
    assert_eq!(code, Some(1));
    assert!(said.contains("does not begin with http://"), "{said}");
    assert_eq!(
        liftledger(&["verify", "--data", data.to_str().unwrap()], &[]).0,
        Some(0)
    );
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_request_waits_for_its_certificate() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    let b = Boatyard::begin(&data).await;
    let csr = dir.path().join("papers.csr");
    let csr = csr.to_str().unwrap();
    let (code, said) = certificate(&data, &["request", "--name", "Evidence unit", "--out", csr]);
    assert_eq!(code, Some(0), "{said}");
    // Nothing is in use yet, and a certificate of somebody else is refused.
    assert!(certificate(&data, &["show"]).1.contains("printed unsigned"));
    let p384 = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/disclosure/certificates/p384.pem"
    );
    let (code, said) = certificate(&data, &["install", p384]);
    assert_eq!(code, Some(1));
    assert!(said.contains("not an ECDSA key on P-256"), "{said}");
    let elsewhere = dir.path().join("elsewhere");
    let c = Boatyard::begin(&elsewhere).await;
    assert_eq!(
        certificate(&elsewhere, &["self-signed", "--name", "Another"]).0,
        Some(0)
    );
    let theirs = elsewhere.join("keys/papers.pem");
    let (code, said) = certificate(&data, &["install", theirs.to_str().unwrap()]);
    assert_eq!(code, Some(1));
    assert!(
        said.contains("is for another key than this ledger's"),
        "{said}"
    );
    assert!(!data.join("keys/papers.pem").exists());
    // A certificate whose key is gone: nothing is printed rather than printed unsigned in silence.
    std::fs::copy(&theirs, data.join("keys/papers.pem")).unwrap();
    let (code, said) = printed(&data, &dir.path().join("report.pdf"), &[]);
    assert_eq!(code, Some(1));
    assert!(said.contains("there is no key at"), "{said}");
    b.house.close().await;
    c.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_expired_certificate_signs_nothing_and_is_not_taken() {
    use chrono::TimeZone as _;
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    let b = Boatyard::begin(&data).await;
    let whose = liftledger::disclosure::signature::issue::Whose {
        name: "Evidence unit".into(),
        ..Default::default()
    };
    let from = chrono::Utc.with_ymd_and_hms(2020, 1, 1, 0, 0, 0).unwrap();
    let keys = data.join("keys");
    liftledger::keys::papers::self_signed(&keys, &whose, from, 1).unwrap();
    let file = dir.path().join("report.pdf");
    let (code, said) = printed(&data, &file, &[]);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains(
            "Printed unsigned: the certificate of \"Evidence unit\" expired on 31 Dec 2020"
        ),
        "{said}"
    );
    let (code, said) = verified(&data, &file, &[]);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("Printed unsigned") && said.contains("It bears no signature"),
        "{said}"
    );
    assert!(certificate(&data, &["show"]).1.contains("printed unsigned"));
    let pem = dir.path().join("old.pem");
    std::fs::rename(keys.join("papers.pem"), &pem).unwrap();
    let (code, said) = certificate(&data, &["install", pem.to_str().unwrap()]);
    assert_eq!(code, Some(1));
    assert!(said.contains("expired on 31 Dec 2020"), "{said}");
    assert!(!keys.join("papers.pem").exists());
    b.house.close().await;
}
