//! The rules checked and shown from the command line.

use super::liftledger;

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    liftledger(&["rules"], args)
}

#[test]
fn a_file_is_checked_before_it_is_put_in_place() {
    let (code, out, _) = run(&["check"]);
    assert_eq!(code, Some(0));
    assert!(
        out.starts_with("The rules are sound, version 1.0+"),
        "{out}"
    );
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("rules.toml");
    let (name, folder) = (file.to_str().unwrap(), dir.path().to_str().unwrap());
    std::fs::write(
        &file,
        "format = 1\nagency = \"Harrow County\"\n[[disable.medium]]\nid = \"rubber-black\"\nsource = \"directive 12\"\n",
    )
    .unwrap();
    for args in [["check", name].as_slice(), &["check", "--data", folder]] {
        let (code, out, _) = run(args);
        assert_eq!(code, Some(0), "{out}");
        assert!(
            out.contains("Harrow County: 0 added or replaced, 1 disabled."),
            "{out}"
        );
    }
    let (_, out, _) = run(&["show", "--data", folder]);
    assert!(
        out.contains("With the file of Harrow County")
            && out.contains("Disabled: medium rubber-black (directive 12)"),
        "{out}"
    );
    std::fs::write(
        &file,
        "format = 1\n[[add.tape]]\n[[disable.medium]]\nid = \"x\"\n",
    )
    .unwrap();
    let (code, out, _) = run(&["check", name]);
    assert_eq!(code, Some(1));
    let lines: Vec<&str> = out.lines().collect();
    assert_eq!(lines.len(), 4, "{out}");
    assert!(
        lines[0].contains(", line 1: the file does not say who"),
        "{out}"
    );
    assert!(
        lines[1].contains(", line 2: there is no kind \"tape\""),
        "{out}"
    );
    assert!(
        lines[2].contains(", line 3: missing field `source`"),
        "{out}"
    );
    assert!(lines[3].starts_with("3 errors"), "{out}");
    // No command runs on rules that are not sound.
    let (code, _, err) = run(&["show", "--data", folder]);
    assert_eq!(code, Some(1));
    assert!(err.contains("2 more; liftledger rules check"), "{err}");
    let (code, out, _) = run(&["check", "no-such-file.toml"]);
    assert_eq!(code, Some(1));
    assert!(out.contains("cannot be read"), "{out}");
}

#[test]
fn what_is_in_force_is_shown() {
    let (code, out, _) = run(&["show"]);
    assert_eq!(code, Some(0));
    assert!(
        out.contains("method") && out.contains("48") && out.contains("development methods"),
        "{out}"
    );
    let (_, out, _) = run(&["show", "substrate"]);
    assert_eq!(out.lines().count(), 23);
    assert!(
        out.contains("2B") && out.contains("Glass") && out.contains("9.355"),
        "{out}"
    );
    let (_, out, _) = run(&["show", "packing", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    let rows = json["shelves"][0]["rows"].as_array().unwrap();
    assert!(rows.iter().any(|r| r["id"] == "dental-stone-never-plastic"
        && r["source"].as_str().unwrap().contains("Oregon")));
    let (code, _, err) = run(&["show", "tape"]);
    assert_eq!(code, Some(1));
    assert!(err.contains("the kinds are medium, method"), "{err}");
}
