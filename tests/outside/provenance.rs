//! The provenance of the demo's bundle against the CASE ontology's own shapes: PyPI `case-utils`, whose `case_validate`
//! brings the ontology along. Nothing may be said against it, not even what the shapes only suggest.

use std::path::{Path, PathBuf};
use std::process::Command;

fn venv() -> PathBuf {
    std::env::var_os("LIFTLEDGER_VENV").map_or_else(|| PathBuf::from("target/venv"), PathBuf::from)
}

fn validate(file: &Path) -> (bool, String) {
    let out = Command::new(venv().join("bin/case_validate"))
        .arg(file)
        .output()
        .expect("tests/run makes the environment");
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(
        said.contains("Conforms: "),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    (
        out.status.success() && said.contains("Conforms: True"),
        said,
    )
}

#[test]
fn the_ontology_has_nothing_against_the_provenance_of_a_bundle() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    let (data, zip) = (at("demo"), at("bundle.zip"));
    for args in [
        vec!["demo", "--once", "--data", &data],
        vec![
            "bundle",
            "HR-26-0417",
            "--to",
            "Defence counsel",
            "--authority",
            "order of 4 March",
            "--withhold",
            "address=somebody lives there",
            "--out",
            &zip,
            "--data",
            &data,
        ],
    ] {
        let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .args(args)
            .output()
            .unwrap();
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
    }
    let script = "import zipfile,sys\nz=zipfile.ZipFile(sys.argv[1])\nn=[n for n in z.namelist() if n.endswith('/data/provenance.jsonld')][0]\nsys.stdout.buffer.write(z.read(n))\n";
    let out = Command::new(venv().join("bin/python"))
        .args(["-c", script, &zip])
        .output()
        .unwrap();
    let text = String::from_utf8(out.stdout).unwrap();
    let graph: serde_json::Value = serde_json::from_str(&text).unwrap();
    let all = graph["@graph"].as_array().unwrap();
    let of = |kind: &str| all.iter().filter(|x| x["@type"] == kind).count();
    assert!(
        of("case-investigation:InvestigativeAction") > 200,
        "{}",
        all.len()
    );
    assert!(of("case-investigation:ProvenanceRecord") > 20);
    assert!(of("uco-identity:Person") > 3);
    let file = dir.path().join("provenance.jsonld");
    std::fs::write(&file, &text).unwrap();
    let (conforms, said) = validate(&file);
    assert!(conforms, "{said}");

    // It would say so: a time that is no time, a name that is no text, a term that is none, an identifier of version 7.
    for (what, from, to) in [
        (
            "a time of another type",
            "\"@type\": \"xsd:dateTime\"",
            "\"@type\": \"xsd:date\"",
        ),
        (
            "a name that is a number",
            "\"uco-core:name\": \"Released\"",
            "\"uco-core:name\": 7",
        ),
        (
            "a term that is none",
            "case-investigation:exhibitNumber",
            "case-investigation:exhibitNo",
        ),
        ("an identifier of version 7", "-5", "-7"),
    ] {
        assert!(text.contains(from), "{what}");
        std::fs::write(&file, text.replace(from, to)).unwrap();
        let (conforms, said) = validate(&file);
        assert!(!conforms, "{what}: {said}");
    }
}
