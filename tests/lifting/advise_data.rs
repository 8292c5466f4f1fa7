//! The rules of advice as data: what the loader refuses, and that it says where.

use liftledger::trade::{SourceFiles, TradeError, TradeRules};

/// Loads the embedded data with other rules of advice, which must be refused.
fn refused(text: &str) -> TradeError {
    let mut files = SourceFiles::embedded();
    files.advice.text = text;
    let error = TradeRules::load(&files).unwrap_err();
    assert_eq!(error.file, "seed/trade/advice.toml");
    error
}

fn with(rule: &str) -> (String, usize) {
    let text = SourceFiles::embedded().advice.text;
    let line = text.lines().count() + 2;
    (format!("{text}\n[[advice]]\n{rule}\n"), line)
}

/// A rule at the end of the data, refused on its own line. A rule that excludes too much puts others out of reach besides.
fn at_the_end(rule: &str, problem: &str) {
    let (text, line) = with(rule);
    let mut files = SourceFiles::embedded();
    files.advice.text = &text;
    let errors = TradeRules::read(&files, None).unwrap_err();
    let found = errors.0.iter().find(|e| e.problem.contains(problem));
    let error = found.unwrap_or_else(|| panic!("{problem}: {errors:?}"));
    // The line of the rule's head, or of what is wrong in it.
    assert!(
        (line..line + 8).contains(&error.line),
        "{error}, not {line}"
    );
}

const TAPE: &str = "id = \"x\"\nsource = \"s\"\neffect = \"exclude\"\nmedia = [\"lifting-tape\"]\n";

#[test]
fn a_rule_that_would_do_loads() {
    let (text, _) = with(&format!(
        "{TAPE}when = {{ air_above = 60 }}\nsentence = \"Too hot.\""
    ));
    let mut files = SourceFiles::embedded();
    files.advice.text = &text;
    TradeRules::load(&files).unwrap();
}

#[test]
fn what_cannot_be_a_rule_is_refused_with_its_line() {
    let said = "sentence = \"No.\"";
    for (rule, problem) in [
        (format!("{TAPE}{said}\nbecause = 1"), "unknown field"),
        (
            format!("{TAPE}when = {{ smell = true }}\n{said}"),
            "unknown field",
        ),
        (
            format!("{TAPE}when = {{ textures = [\"velvet\"] }}\n{said}"),
            "unknown variant",
        ),
        (
            TAPE.replace("source = \"s\"", "source = \" \"") + said,
            "source is missing or blank",
        ),
        (TAPE.replace("source = \"s\"\n", "") + said, "missing field"),
        (format!("{TAPE}sentence = \" \""), "says nothing"),
        (format!("{TAPE}weight = 5\n{said}"), "weight above 0"),
        (TAPE.replace("exclude", "prefer") + said, "weight above 0"),
        (TAPE.replace("exclude", "note") + said, "a note names none"),
        (
            TAPE.replace("lifting-tape", "toffee") + said,
            "there is no medium \"toffee\"",
        ),
        (
            format!("{TAPE}when = {{ methods_any = [\"ZZZ\"] }}\n{said}"),
            "there is no processing code \"ZZZ\"",
        ),
        (
            TAPE.replace("\"x\"", "\"glue-is-slow\"") + said,
            "glue-is-slow",
        ),
        (
            TAPE.replace("\"x\"", "\"kit-expired\"") + said,
            "is kept for what the kit itself says",
        ),
    ] {
        at_the_end(&rule, problem);
    }
}

#[test]
fn a_rule_that_can_never_speak_is_refused() {
    let reach = "out of reach";
    // An earlier rule excludes ordinary tape from fine grain already.
    at_the_end(
        &format!("{TAPE}when = {{ textures = [\"fine-grain\"] }}\nsentence = \"No.\""),
        reach,
    );
    // Ordinary tape is never on bare wood, by its own entry: nothing can be preferred there.
    let prefer = TAPE.replace("exclude", "prefer");
    at_the_end(
        &format!(
            "{prefer}weight = 5\nwhen = {{ textures = [\"bare-wood\"] }}\nsentence = \"Yes.\""
        ),
        reach,
    );
    // Conditions that contradict one another.
    at_the_end(
        &format!(
            "{TAPE}when = {{ textures = [\"rough\"], textures_not = [\"rough\"] }}\nsentence = \"No.\""
        ),
        reach,
    );
}

#[test]
fn a_checklist_fits_its_medium() {
    let text = SourceFiles::embedded().advice.text;
    let gelatin =
        "id = \"gelatin-black\"\nsource = \"the medium's own steps\"\nat = { powder = [2, 3] }";
    for (other, problem) in [
        (gelatin.replace("[2, 3]", "[9]"), "no step 9"),
        (gelatin.replace("[2, 3]", "[0]"), "no step 0"),
        (gelatin.replace("[2, 3]", "[]"), "stands at no step"),
        (gelatin.replace("powder", "blood"), "names no caution"),
        (
            gelatin.replace("{ powder = [2, 3] }", "{}"),
            "stands at no step",
        ),
        (
            gelatin.replace("gelatin-black", "toffee"),
            "there is no medium",
        ),
    ] {
        let error = refused(&text.replacen(gelatin, &other, 1));
        assert!(error.problem.contains(problem), "{error}");
        let at = text[..text.find(gelatin).unwrap()].lines().count();
        assert!((at..at + 6).contains(&error.line), "{error}");
    }
}

#[test]
fn a_medium_whose_steps_do_not_begin_with_the_photograph_is_refused() {
    let mut files = SourceFiles::embedded();
    let step = "  \"Photograph the developed mark with a scale before anything touches it.\",\n  \"Lay one end down";
    let text = files.media.text.replacen(step, "  \"Lay one end down", 1);
    assert_ne!(text, files.media.text);
    // The numbers of its cautions' steps would be refused too; the first thing wrong is said.
    files.media.text = &text;
    let error = TradeRules::load(&files).unwrap_err();
    assert_eq!(error.file, "seed/trade/media.toml");
    assert!(error.problem.contains("photograph"), "{error}");
}
