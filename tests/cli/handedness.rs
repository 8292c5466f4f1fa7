//! Which way round an image reads, asked from the command line.

use liftledger::lifting::{Step, read};

use super::liftledger;

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    liftledger(&["handedness"], args)
}

#[test]
fn the_answer_is_that_of_the_library() {
    for chain in [
        vec![],
        vec!["through-medium", "dark-powder"],
        vec!["contact-face", "cast", "dark-powder", "flip"],
        vec!["contact-face", "black-gel", "light-powder"],
        vec!["front", "unknown"],
    ] {
        let steps: Vec<Step> = chain.iter().map(|s| s.parse().unwrap()).collect();
        let expected = read(&steps);
        let mut args = chain.clone();
        let (code, out, err) = run(&args);
        assert_eq!((code, err.as_str()), (Some(0), ""));
        assert!(out.ends_with(&format!("{}\n", expected.sentence)), "{out}");
        args.push("--json");
        let (_, out, _) = run(&args);
        let json: serde_json::Value = serde_json::from_str(&out).unwrap();
        assert_eq!(
            json["lateral"],
            serde_json::to_value(expected.lateral).unwrap()
        );
        assert_eq!(
            json["relief"],
            serde_json::to_value(expected.relief).unwrap()
        );
        assert_eq!(json["tone"], serde_json::to_value(expected.tone).unwrap());
        assert_eq!(json["sentence"], expected.sentence);
        assert_eq!(json["steps"], serde_json::to_value(&steps).unwrap());
    }
}

#[test]
fn a_step_that_is_not_of_the_list_makes_the_answer_unknown() {
    let (code, out, err) = run(&["contact-face", "sideways", "--json"]);
    assert_eq!(code, Some(0));
    assert!(err.contains("\"sideways\" is not of the list"), "{err}");
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    for of in ["lateral", "relief", "tone"] {
        assert_eq!(json[of], "unknown");
    }
    assert_eq!(json["not_known"][0], "sideways");
    // More steps than are read, and a switch that is not there, are told and not answered.
    assert_eq!(run(&["flip"; 65]).0, Some(1));
    assert_eq!(run(&["--sideways"]).0, Some(1));
    let (_, help, _) = run(&["--help"]);
    assert!(Step::ALL.iter().all(|s| help.contains(s.name())), "{help}");
}
