//! `liftledger verify --pdf`: the paper that was printed, one that was altered, one that nobody knows.

use std::path::Path;

use crate::app::boatyard::{Boatyard, CASE};

use super::liftledger;

fn verify(file: &Path, data: &Path, more: &[&str]) -> (Option<i32>, String) {
    let (file, data) = (file.to_str().unwrap(), data.to_str().unwrap());
    let (code, out, err) = liftledger(&["verify", "--pdf", file, "--data", data], more);
    (code, out + &err)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_paper_gets_its_answer() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    let b = Boatyard::begin(&data).await;
    let (report, label) = (dir.path().join("report.pdf"), dir.path().join("card.pdf"));
    let (first, data_text) = (format!("{CASE}/1"), data.to_str().unwrap());
    for args in [
        vec!["report", &first, "--out", report.to_str().unwrap()],
        vec![
            "label",
            &first,
            "--kind",
            "card",
            "--out",
            label.to_str().unwrap(),
        ],
    ] {
        let (code, out, err) = liftledger(&args, &["--data", data_text]);
        assert_eq!(code, Some(0), "{out}{err}");
    }
    for (file, act) in [(&report, "Report printed"), (&label, "Label printed")] {
        let (code, said) = verify(file, &data, &[]);
        assert_eq!(code, Some(0), "{said}");
        assert!(
            said.contains("This is the paper that was printed"),
            "{said}"
        );
        assert!(said.contains(act) && said.contains(CASE), "{said}");
        assert!(said.contains("by the server's operator"), "{said}");
    }
    let (code, said) = verify(&report, &data, &["--json"]);
    let json: serde_json::Value = serde_json::from_str(&said).unwrap();
    assert_eq!((code, &json["answer"]), (Some(0), &"printed".into()));
    assert!(json["prints"][0]["seq"].as_u64().unwrap() > 1, "{json}");

    // One bit, anywhere but in the identifier, and another byte behind the end.
    let whole = std::fs::read(&report).unwrap();
    let altered = dir.path().join("altered.pdf");
    let mark = whole
        .windows(17)
        .position(|w| w == b"liftledger-print:")
        .unwrap();
    for at in [
        9,
        whole.len() / 3,
        whole.len() / 2,
        mark - 3,
        whole.len() - 2,
    ] {
        let mut bytes = whole.clone();
        bytes[at] ^= 1;
        std::fs::write(&altered, &bytes).unwrap();
        let (code, said) = verify(&altered, &data, &[]);
        assert_eq!(code, Some(2), "{at}: {said}");
        assert!(
            said.contains("it was altered") && said.contains(CASE),
            "{at}: {said}"
        );
    }
    std::fs::write(&altered, [&whole[..], b"\n"].concat()).unwrap();
    let (code, said) = verify(&altered, &data, &["--json"]);
    let json: serde_json::Value = serde_json::from_str(&said).unwrap();
    assert_eq!((code, &json["answer"]), (Some(2), &"appended".into()));
    assert_eq!(json["added"], 1);
    assert_ne!(json["digest"], json["prints"][0]["digest"]);

    // The identifier exchanged for one that nobody has; a label that was altered; a strange file.
    let mut bytes = whole.clone();
    bytes[mark + 17..mark + 53].copy_from_slice(b"0197f3a0-5b1c-7c3e-8a51-3f0e6f2d9b10");
    std::fs::write(&altered, &bytes).unwrap();
    let (code, said) = verify(&altered, &data, &[]);
    assert_eq!(code, Some(2), "{said}");
    assert!(
        said.contains("not known") && said.contains("another ledger's"),
        "{said}"
    );
    let mut bytes = std::fs::read(&label).unwrap();
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    std::fs::write(&altered, &bytes).unwrap();
    let (code, said) = verify(&altered, &data, &[]);
    assert_eq!(code, Some(2), "{said}");
    assert!(
        said.contains("it was altered") && said.contains("Label printed"),
        "{said}"
    );

    std::fs::write(&altered, b"PK\x03\x04 no PDF").unwrap();
    let (code, said) = verify(&altered, &data, &[]);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("is not a PDF"), "{said}");
    let (code, said) = verify(&dir.path().join("none.pdf"), &data, &[]);
    assert_eq!(code, Some(1), "{said}");
    b.house.close().await;
}
