//! Film, material and set time from the command line.

use super::liftledger;

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    liftledger(&["measure"], args)
}

#[test]
fn measures() {
    let (code, out, _) = run(&["film", "--length", "22", "--width", "18"]);
    assert_eq!(code, Some(0));
    assert!(
        out.starts_with("The film measures at least 28.4 by 24.4 mm"),
        "{out}"
    );
    let (_, out, _) = run(&[
        "cast",
        "--length",
        "60",
        "--width",
        "25",
        "--thickness",
        "4",
        "--strips",
        "8x4",
        "--json",
    ]);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (
            json["with_allowance_mm3"].as_u64(),
            json["strips_mm"].as_u64()
        ),
        (Some(7500), Some(120))
    );
    let (_, out, _) = run(&["set", "clear-pvs", "--air", "20"]);
    assert!(
        out.starts_with("Not before 2 min 30 s (our assumption)") && out.contains("our assumption"),
        "{out}"
    );
    let (_, out, _) = run(&["set", "clear-pvs", "--air", "-20"]);
    assert!(out.contains("At -20 °C the set time is not known"), "{out}");
    let (_, out, _) = run(&["set", "silicone-putty", "--thickness", "4.5", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(json["usual"]["seconds"], 450);
    assert_eq!(json["usual"]["assumed"], true);
    let (_, out, _) = run(&["set", "lifting-tape"]);
    assert!(out.contains("no setting time"), "{out}");
    for (args, said) in [
        (
            ["film", "--length", "0", "--width", "18"].as_slice(),
            "between 0.1 and 1000 mm",
        ),
        (
            &["film", "--length", "22.25", "--width", "18"],
            "at most one decimal",
        ),
        (
            &[
                "film",
                "--length",
                "22",
                "--width",
                "18",
                "--medium",
                "clear-pvs",
            ],
            "no medium that dries to a film",
        ),
        (&["set", "no-such"], "there is no medium no-such"),
        (&["set", "clear-pvs", "--air", "99"], "99"),
        (
            &[
                "cast",
                "--length",
                "1",
                "--width",
                "1",
                "--thickness",
                "1",
                "--strips",
                "8",
            ],
            "such as 8x4",
        ),
    ] {
        let (code, _, err) = run(args);
        assert_eq!(code, Some(1), "{args:?}");
        assert!(err.contains(said), "{args:?}: {err}");
    }
}
