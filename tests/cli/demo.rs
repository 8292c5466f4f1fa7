//! `liftledger demo --once`, and the same folder again.

use std::path::Path;
use std::process::Command;

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

    // A ledger that is no demo is left alone.
    std::fs::remove_file(data.join("demo-sign-ins.txt")).unwrap();
    let (code, _, errors) = demo(&data);
    assert_eq!(code, Some(1));
    assert!(errors.contains("name another folder"), "{errors}");
}
