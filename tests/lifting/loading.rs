//! The loader: what it takes, what it refuses, and that it says where.

use liftledger::trade::{SourceFile, SourceFiles, TradeError, TradeRules};

/// Loads the embedded data with one file replaced by the picked text, which must be refused on this line.
fn changed(
    pick: impl Fn(&mut SourceFiles<'_>) -> (&'static str, String),
    line: usize,
) -> TradeError {
    let mut files = SourceFiles::embedded();
    let (name, text) = pick(&mut files);
    // The text must outlive the files only for this call; a test may leak a little.
    let text: &'static str = Box::leak(text.into_boxed_str());
    let file = SourceFile { name, text };
    match name {
        "media" => files.media = file,
        "methods" => files.methods = file,
        "keeping" => files.keeping = file,
        "containers" => files.containers = file,
        "climate" => files.climate = file,
        "cautions" => files.cautions = file,
        _ => unreachable!(),
    }
    let error = TradeRules::load(&files).unwrap_err();
    assert_eq!(error.file, name, "{error}");
    assert_eq!(error.line, line, "{error}");
    assert!(
        error
            .to_string()
            .starts_with(&format!("{name}, line {line}: ")),
        "{error}"
    );
    error
}

fn line_with(text: &str, wanted: &str) -> usize {
    text.lines().position(|l| l.contains(wanted)).unwrap() + 1
}

fn swap(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from));
    text.replacen(from, to, 1)
}

#[test]
fn the_embedded_data_loads_and_has_a_version() {
    let rules = TradeRules::load_embedded().unwrap();
    let (shape, hash) = rules.version().split_once('+').unwrap();
    assert_eq!(shape, "1.0");
    assert_eq!(hash.len(), 12);
    assert!(
        hash.chars()
            .all(|c| c.is_ascii_digit() || ('a'..='f').contains(&c))
    );
    assert_eq!(
        rules.version(),
        TradeRules::load_embedded().unwrap().version()
    );
}

#[test]
fn one_changed_letter_is_another_version() {
    let mut files = SourceFiles::embedded();
    let before = TradeRules::load(&files).unwrap().version().to_owned();
    let text = swap(files.climate.text, "nothing controls", "Nothing controls");
    files.climate.text = &text;
    assert_ne!(TradeRules::load(&files).unwrap().version(), before);
}

#[test]
fn an_unknown_key_is_refused() {
    let text = SourceFiles::embedded().containers.text;
    let line = line_with(text, "name = \"coin envelope\"");
    let e = changed(
        |f| {
            (
                "containers",
                swap(
                    f.containers.text,
                    "name = \"coin envelope\"",
                    "name = \"coin envelope\"\ncolour = \"red\"",
                ),
            )
        },
        line + 1,
    );
    assert!(e.problem.contains("colour"), "{e}");
}

#[test]
fn a_missing_source_is_refused() {
    let text = SourceFiles::embedded().climate.text;
    let line = line_with(text, "[[climate]]");
    let e = changed(
        |f| {
            (
                "climate",
                swap(
                    f.climate.text,
                    "source = \"NISTIR 7928 (2013), definition of room temperature\"\n",
                    "",
                ),
            )
        },
        line,
    );
    assert!(e.problem.contains("source"), "{e}");
}

#[test]
fn a_blank_source_is_refused() {
    let text = SourceFiles::embedded().climate.text;
    let line = line_with(text, "[[climate]]");
    let e = changed(
        |f| {
            (
                "climate",
                swap(
                    f.climate.text,
                    "NISTIR 7928 (2013), definition of room temperature",
                    "  ",
                ),
            )
        },
        line,
    );
    assert!(
        e.problem.contains("source") && e.problem.contains("room-temperature"),
        "{e}"
    );
}

#[test]
fn dangling_references_are_refused_on_their_own_line() {
    let kept = SourceFiles::embedded().keeping.text;
    let one_of = line_with(kept, "one_of = [\"card-sleeve\"");
    let e = changed(
        |f| {
            (
                "keeping",
                swap(f.keeping.text, "\"envelope-coin\"", "\"envelope-bone\""),
            )
        },
        one_of,
    );
    assert!(e.problem.contains("no container \"envelope-bone\""), "{e}");

    let medium = line_with(kept, "media = [\"gelatin-black\"");
    let e = changed(
        |f| {
            (
                "keeping",
                swap(f.keeping.text, "\"gelatin-clear\"", "\"gelatin-pink\""),
            )
        },
        medium,
    );
    assert!(e.problem.contains("no medium \"gelatin-pink\""), "{e}");

    let class = line_with(kept, "climates = [");
    let e = changed(
        |f| {
            (
                "keeping",
                swap(f.keeping.text, "\"temperature-controlled\"", "\"tropical\""),
            )
        },
        class,
    );
    assert!(e.problem.contains("no climate class \"tropical\""), "{e}");

    let methods = SourceFiles::embedded().methods.text;
    let caution = line_with(methods, "\"bleach\"");
    let e = changed(
        |f| ("methods", swap(f.methods.text, "\"bleach\"", "\"peach\"")),
        caution,
    );
    assert!(e.problem.contains("no caution \"peach\""), "{e}");
}

#[test]
fn a_repeated_identifier_is_refused() {
    let text = SourceFiles::embedded().containers.text;
    let second = text.match_indices("[[container]]").nth(1).unwrap().0;
    let line = text[..second].lines().count() + 1;
    let e = changed(
        |f| {
            (
                "containers",
                swap(
                    f.containers.text,
                    "id = \"envelope-coin\"",
                    "id = \"envelope-paper\"",
                ),
            )
        },
        line,
    );
    assert!(e.problem.contains("twice"), "{e}");
}

#[test]
fn a_step_nobody_knows_is_refused() {
    let text = SourceFiles::embedded().media.text;
    let line = line_with(text, "steps = [\"through-medium\"]");
    let e = changed(
        |f| {
            (
                "media",
                swap(
                    f.media.text,
                    "steps = [\"through-medium\"]",
                    "steps = [\"sideways\"]",
                ),
            )
        },
        line,
    );
    assert!(e.problem.contains("sideways"), "{e}");
}

#[test]
fn a_medium_that_contradicts_itself_is_refused() {
    let e = {
        let mut files = SourceFiles::embedded();
        let text = swap(
            files.media.text,
            "steps = [\"contact-face\", \"cast\"]",
            "steps = [\"contact-face\"]",
        );
        files.media.text = &text;
        TradeRules::load(&files).unwrap_err()
    };
    assert!(e.problem.contains("disagree about depth"), "{e}");
    let e = {
        let mut files = SourceFiles::embedded();
        let text = swap(files.media.text, "usual = true", "usual = false");
        files.media.text = &text;
        TradeRules::load(&files).unwrap_err()
    };
    assert!(e.problem.contains("exactly one view"), "{e}");
    let e = {
        let mut files = SourceFiles::embedded();
        let text = swap(files.media.text, "limit = 15", "limit = 7");
        files.media.text = &text;
        TradeRules::load(&files).unwrap_err()
    };
    assert!(e.problem.contains("out of order"), "{e}");
}

#[test]
fn a_caution_that_defers_to_nothing_is_refused() {
    let mut files = SourceFiles::embedded();
    let text = swap(
        files.cautions.text,
        "The safety data sheet of the powder and local rules come first.",
        "",
    );
    files.cautions.text = &text;
    let e = TradeRules::load(&files).unwrap_err();
    assert!(e.problem.contains("defers to"), "{e}");
}

#[test]
fn no_shout_and_no_trade_mark_sign_in_the_data() {
    // Media are named by what they are. The names of method codes are the standard's own and are not looked at here.
    let f = SourceFiles::embedded();
    for file in [
        f.cautions,
        f.media,
        f.containers,
        f.climate,
        f.keeping,
        f.matrices,
        f.substrates,
    ] {
        assert!(!file.text.contains('!'), "{}", file.name);
        assert!(
            !file.text.contains('®') && !file.text.contains('™'),
            "{}",
            file.name
        );
    }
}
