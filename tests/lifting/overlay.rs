//! An agency's own file laid over the rules: what it may do, and what it is refused with file and line.

use liftledger::lifting::contrast::Ground;
use liftledger::trade::{Kind, SourceFile, SourceFiles, TradeErrors, TradeRules};

const HEAD: &str = "format = 1\nagency = \"Harrow County Sheriff\"\n";

fn laid(text: &str) -> Result<TradeRules, TradeErrors> {
    let file = SourceFile {
        name: "rules.toml",
        text,
    };
    TradeRules::read(&SourceFiles::embedded(), Some(file))
}

/// Everything that is wrong with the file, as "line: problem".
fn wrong(body: &str) -> Vec<String> {
    let text = format!("{HEAD}{body}");
    let errors = laid(&text).unwrap_err();
    assert!(errors.0.iter().all(|e| e.file == "rules.toml"), "{errors}");
    errors
        .0
        .iter()
        .map(|e| format!("{}: {}", e.line, e.problem))
        .collect()
}

#[test]
fn an_agency_adds_replaces_and_disables() {
    let text = format!(
        "{HEAD}
[[add.caution]]
id = \"cold-floor\"
source = \"our directive 3\"
text = \"Kneel on a mat: the floor of the bay is cold and wet.\"
defers_to = \"Our safety officer's rules come first.\"

[[replace.caution]]
id = \"powder\"
source = \"our directive 4\"
text = \"Fine powder hangs in the air: our half masks are to be worn.\"
defers_to = \"The safety data sheet of the powder comes first.\"

[[add.container]]
id = \"box-harrow\"
source = \"our stores list\"
name = \"Harrow box\"
description = \"A stiff box of our own measure.\"
properties = [\"rigid\", \"keeps-flat\"]
inner_mm = [250, 180, 60]

[[add.packing]]
id = \"harrow-casts\"
source = \"our directive 5\"
sentence = \"Casts go into a box that a knee does not crush.\"
forms = [\"cast\"]
must_be = [\"rigid\"]
cautions = [\"cold-floor\"]

[[disable.medium]]
id = \"rubber-black\"
source = \"our directive 12: no longer bought\"
"
    );
    let rules = laid(&text).unwrap();
    let plain = TradeRules::load_embedded().unwrap();
    assert_eq!(rules.agency(), Some("Harrow County Sheriff"));
    assert_eq!(plain.agency(), None);
    assert!(rules.container("box-harrow").is_some());
    assert!(rules.caution("powder").unwrap().text.contains("half masks"));
    // A replaced entry keeps its place; what is added comes last.
    let ids =
        |r: &TradeRules| -> Vec<String> { r.cautions().iter().map(|c| c.id.clone()).collect() };
    let mut expected = ids(&plain);
    expected.push("cold-floor".into());
    assert_eq!(ids(&rules), expected);
    // A disabled medium is offered no more, and what is on the record of it is still understood.
    assert!(rules.medium("rubber-black").is_none());
    assert_eq!(rules.media().len(), plain.media().len() - 1);
    assert_eq!(
        rules.medium_ever("rubber-black").unwrap().ground,
        Some(Ground::Black)
    );
    assert!(plain.medium("rubber-black").is_some());
    assert_eq!(
        rules.off(),
        [(
            Kind::Medium,
            "rubber-black".to_owned(),
            "our directive 12: no longer bought".to_owned()
        )]
    );
    assert!(rules.is_of_agency(Kind::Caution, "powder"));
    assert!(!rules.is_of_agency(Kind::Caution, "solvents"));
    // The list for people says the same.
    let shelf = rules.shelf(Kind::Container);
    let own: Vec<&str> = shelf
        .rows
        .iter()
        .filter(|r| r.agency)
        .map(|r| r.id.as_str())
        .collect();
    assert_eq!(own, ["box-harrow"]);
}

#[test]
fn the_file_is_part_of_the_version() {
    let plain = TradeRules::load_embedded().unwrap();
    let one = laid(HEAD).unwrap();
    let two = laid(&format!("{HEAD}# a note\n")).unwrap();
    let base = plain.version();
    assert!(
        one.version().starts_with(&format!("{base}.")),
        "{}",
        one.version()
    );
    assert_eq!(one.version().len(), base.len() + 13);
    assert_ne!(one.version(), two.version());
    assert_eq!(one.version(), laid(HEAD).unwrap().version());
}

#[test]
fn codes_of_the_open_standard_are_not_invented() {
    for (kind, field, entry) in [
        (
            "method",
            "9.352",
            "name = \"Harrow powder\"\ntone = \"dark\"\ntone_source = \"we looked\"\n",
        ),
        (
            "substrate",
            "9.355",
            "name = \"Slate\"\nclass = \"porous\"\n",
        ),
        ("matrix", "9.356", "name = \"Tar\"\n"),
    ] {
        let said = wrong(&format!(
            "[[add.{kind}]]\nid = \"9Z\"\nsource = \"our own list\"\n{entry}"
        ));
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(
            said[0].starts_with("3: \"9Z\"")
                && said[0].contains(field)
                && said[0].contains("cannot be invented"),
            "{said:?}"
        );
    }
    // What the standard has may be said otherwise: an agency's grey powder is dark.
    let text = format!(
        "{HEAD}[[replace.method]]\nid = \"GRP\"\nsource = \"ANSI/NIST-ITL 1-2011 field 9.352\"\nname = \"Grey powder\"\ntone = \"dark\"\ntone_source = \"our powder, tried on white and black\"\ncautions = [\"powder\"]\n"
    );
    let rules = laid(&text).unwrap();
    assert_eq!(
        rules.method("GRP").unwrap().tone,
        liftledger::lifting::MarkTone::Dark
    );
    assert_eq!(rules.methods().len(), 48);
}

/// (body of the file, what is said, on which line)
const WRONG: &[(&str, &str, usize)] = &[
    ("colour = 1\n", "there is no \"colour\"", 3),
    ("[[add.tape]]\nid = \"x\"\n", "there is no kind \"tape\"", 3),
    ("[add]\nmedium = 3\n", "each under [[medium]]", 4),
    (
        "[[add.caution]]\nid = \"x\"\ntext = \"a\"\ndefers_to = \"b\"\n",
        "missing field `source`",
        3,
    ),
    (
        "[[replace.caution]]\nid = \"powder\"\nsource = \" \"\ntext = \"a\"\ndefers_to = \"b\"\n",
        "source is missing or blank",
        3,
    ),
    (
        "[[replace.caution]]\nid = \"powder\"\nsource = \"s\"\ntext = \"a\"\ndefers_to = \"b\"\nloud = true\n",
        "unknown field `loud`",
        8,
    ),
    (
        "[[add.caution]]\nid = \"powder\"\nsource = \"s\"\ntext = \"a\"\ndefers_to = \"b\"\n",
        "there is one already",
        3,
    ),
    (
        "[[replace.caution]]\nid = \"nowhere\"\nsource = \"s\"\ntext = \"a\"\ndefers_to = \"b\"\n",
        "there is none to replace",
        3,
    ),
    (
        "[[disable.medium]]\nid = \"nowhere\"\nsource = \"s\"\n",
        "there is no medium of this identifier",
        3,
    ),
    (
        "[[disable.medium]]\nid = \"rubber-black\"\nsource = \"\"\n",
        "source is missing or blank",
        3,
    ),
    (
        "[[disable.medium]]\nid = \"rubber-black\"\n",
        "missing field `source`",
        3,
    ),
    (
        "[[disable.caution]]\nid = \"powder\"\nsource = \"s\"\n",
        "still names this caution",
        3,
    ),
    (
        "[[add.packing]]\nid = \"x\"\nsource = \"s\"\nsentence = \"S.\"\nmedia = [\"rubber-pink\"]\nalone = true\n",
        "there is no medium \"rubber-pink\"",
        7,
    ),
    (
        "[[add.packing]]\nid = \"x\"\nsource = \"s\"\nsentence = \"S.\"\nwhen = [\"wet\", \"dry\"]\nalone = true\n",
        "nothing is both wet and dry",
        7,
    ),
    (
        "[[add.packing]]\nid = \"x\"\nsource = \"s\"\nsentence = \"S.\"\nforms = [\"cast\"]\n",
        "asks for nothing",
        3,
    ),
    (
        "[[add.packing]]\nid = \"x\"\nsource = \"s\"\nsentence = \"S.\"\nforms = [\"gel\"]\nwhen = [\"wet\"]\nalone = true\n",
        "adds nothing: \"gel-flat-box\"",
        3,
    ),
    (
        "[[add.place]]\nid = \"x\"\nsource = \"s\"\nsentence = \"S.\"\nneed = \"not-damp\"\nforms = [\"gel\"]\n",
        "adds nothing: \"place-dry\"",
        3,
    ),
    (
        "[[add.place]]\nid = \"x\"\nsource = \"s\"\nsentence = \"S.\"\nneed = \"flat\"\ncontainers = [\"jar-glass\"]\nforms = [\"gel\"]\n",
        "never asked",
        3,
    ),
    (
        "[[add.caution]]\nid = \"x\"\nsource = \"s\"\ntext = \"a\"\ndefers_to = \"b\"\n",
        "nobody would ever see it",
        3,
    ),
    (
        "[[replace.caution]]\nid = \"powder\"\nsource = \"s\"\ntext = \"a\"\ndefers_to = \" \"\n",
        "what it defers to",
        3,
    ),
    (
        "[[disable.medium]]\nid = \"rubber-black\"\nsource = \"s\"\n[[disable.medium]]\nid = \"rubber-black\"\nsource = \"s\"\n",
        "more than once",
        6,
    ),
];

#[test]
fn what_is_wrong_is_told_with_its_line() {
    for (body, problem, line) in WRONG {
        let said = wrong(body);
        assert!(
            said.iter()
                .any(|s| s.contains(problem) && s.starts_with(&format!("{line}: "))),
            "{body}\n{said:?}"
        );
    }
}

#[test]
fn every_error_is_told_and_not_only_the_first() {
    let said = wrong(
        "colour = 1
[[add.caution]]
id = \"one\"
text = \"a\"
defers_to = \"b\"
[[disable.medium]]
id = \"nowhere\"
source = \"s\"
[[add.packing]]
id = \"two\"
source = \"s\"
sentence = \" \"
media = [\"rubber-pink\"]
alone = true
",
    );
    let lines: Vec<&str> = said.iter().map(|s| s.split_once(':').unwrap().0).collect();
    assert_eq!(lines, ["3", "4", "8", "11", "15"], "{said:?}");
}

#[test]
fn a_file_says_its_format_and_who_stands_behind_it() {
    for (text, problem) in [
        ("", "format = 1"),
        ("agency = \"A\"\n", "format = 1"),
        ("format = 2\nagency = \"A\"\n", "only format = 1"),
        ("format = 1\n", "who stands behind it"),
        ("format = 1\nagency = \" \"\n", "who stands behind"),
        ("format = 1\nagency = 3\n", "string"),
        ("format = 1\nagency = \"A\nB\"\n", ""),
        ("]", ""),
    ] {
        let errors = laid(text).unwrap_err();
        assert!(
            errors.0.iter().any(|e| e.problem.contains(problem)),
            "{text}: {errors:?}"
        );
    }
    let long = format!("{HEAD}#{}", "x".repeat(liftledger::trade::MAX_FILE));
    assert!(
        laid(&long).unwrap_err().0[0]
            .problem
            .contains("larger than")
    );
}

#[test]
fn disabling_does_not_make_the_programs_own_rules_unsound() {
    // All gelatin lifters go: the rules about them are out of reach, and that is no error of the agency's.
    let mut text = HEAD.to_owned();
    for id in ["gelatin-black", "gelatin-white", "gelatin-clear"] {
        text.push_str(&format!(
            "[[disable.medium]]\nid = \"{id}\"\nsource = \"s\"\n"
        ));
    }
    assert!(laid(&text).is_ok());
    // But a rule may not be left with no container at all.
    let said = wrong("[[disable.container]]\nid = \"mailing-box-flat\"\nsource = \"s\"\n");
    assert_eq!(said.len(), 1);
    assert!(
        said[0].contains("dust-lift-box") && said[0].contains("left with no container"),
        "{said:?}"
    );
}

#[test]
fn an_agencys_file_is_read_from_a_data_folder() {
    let dir = tempfile::tempdir().unwrap();
    assert_eq!(
        TradeRules::of_folder(dir.path()).unwrap().version(),
        TradeRules::load_embedded().unwrap().version()
    );
    let path = dir.path().join("rules.toml");
    std::fs::write(&path, HEAD).unwrap();
    assert_eq!(
        TradeRules::of_folder(dir.path()).unwrap().agency(),
        Some("Harrow County Sheriff")
    );
    std::fs::write(&path, [0xff, 0xfe]).unwrap();
    assert!(
        TradeRules::of_folder(dir.path())
            .unwrap_err()
            .to_string()
            .contains("cannot be read")
    );
    std::fs::write(&path, format!("{HEAD}a = 1\nb = 2\n")).unwrap();
    let said = TradeRules::of_folder(dir.path()).unwrap_err().to_string();
    assert!(said.contains("line 3") && said.contains("1 more"), "{said}");
}
