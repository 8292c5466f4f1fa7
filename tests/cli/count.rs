//! A sample planned from the command line.

use liftledger::keeping::sampling;

use super::liftledger;

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    liftledger(&["count", "plan"], args)
}

#[test]
fn the_plan_is_that_of_the_library_in_both_forms() {
    let args = [
        "--population",
        "400",
        "--missing",
        "4",
        "--confidence",
        "95%",
        "--seed",
        "boatyard",
    ];
    let n = sampling::size(400, 4, "0.95".parse().unwrap()).unwrap();
    let drawn = sampling::draw(400, n, "boatyard").unwrap();
    let (code, out, err) = run(&args);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    assert!(out.contains(&format!("\nsample          {n}\n")), "{out}");
    let (_, out, _) = run(&[&args[..], &["--json"]].concat());
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(json["sample"], n);
    assert_eq!(json["confidence"], "0.95");
    let told: Vec<u64> = json["drawn"]
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_u64().unwrap())
        .collect();
    let expected: Vec<u64> = drawn.iter().map(|x| u64::from(*x) + 1).collect();
    assert_eq!(told, expected);
    assert!(json["chance_of_none"].as_f64().unwrap() <= 0.05);
}

#[test]
fn a_plan_that_makes_no_sense_is_told() {
    for (population, missing, confidence, why) in [
        ("0", "1", "0.9", "the population is between"),
        ("10000001", "1", "0.9", "the population is between"),
        ("10", "11", "0.9", "the number missing is between"),
        ("10", "1", "0", "the confidence lies above 0"),
        ("10", "1", "1.5", "the confidence lies above 0"),
    ] {
        let (code, out, err) = run(&[
            "--population",
            population,
            "--missing",
            missing,
            "--confidence",
            confidence,
        ]);
        assert_eq!((code, out.as_str()), (Some(1), ""));
        assert!(err.contains(why), "{err}");
    }
}
