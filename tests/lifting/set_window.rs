//! Set times by temperature and thickness: what is given, what is drawn between, and where there is no answer.

use liftledger::lifting::set_time::check;
use liftledger::lifting::set_window::{SetRow, Sheet, row_problems, time_words, window};
use liftledger::lifting::{SetVerdict, Thickness, Window};
use liftledger::trade::{SourceFile, SourceFiles, TradeRules};

use super::rules;

/// (medium, air °C, thickness; earliest, usual, limit in seconds; a word of how it was found)
type Row = (
    &'static str,
    Option<i16>,
    &'static str,
    [Option<u32>; 3],
    &'static str,
);

/// The program's own figures. Putty: about 5 minutes, a thick layer about 10, not much longer. Clear siloxane: 2 to 3 minutes
/// according to the air. Stone: 20 minutes at least (Oregon State Police manual). The rest: common practice, no source; the
/// limits, the millimetres of thin and thick and the two temperatures are our assumption.
const OWN: &[Row] = &[
    (
        "silicone-putty",
        None,
        "",
        [Some(300), Some(600), Some(900)],
        "thickness is not recorded",
    ),
    (
        "silicone-putty",
        Some(12),
        "",
        [Some(300), Some(600), Some(900)],
        "thickness is not recorded",
    ),
    (
        "silicone-putty",
        None,
        "thin",
        [Some(300), Some(300), Some(600)],
        "",
    ),
    (
        "silicone-putty",
        None,
        "thick",
        [Some(600), Some(600), Some(900)],
        "",
    ),
    (
        "silicone-putty",
        None,
        "0.5",
        [Some(300), Some(300), Some(600)],
        "",
    ),
    (
        "silicone-putty",
        None,
        "3",
        [Some(300), Some(300), Some(600)],
        "",
    ),
    (
        "silicone-putty",
        None,
        "4.5",
        [Some(450), Some(450), Some(750)],
        "Between 3 and 6 mm",
    ),
    (
        "silicone-putty",
        None,
        "4",
        [Some(400), Some(400), Some(700)],
        "our assumption",
    ),
    (
        "silicone-putty",
        None,
        "6",
        [Some(600), Some(600), Some(900)],
        "",
    ),
    (
        "silicone-putty",
        None,
        "12",
        [Some(600), Some(600), Some(900)],
        "",
    ),
    (
        "silicone-putty",
        None,
        "30",
        [None, None, None],
        "not known",
    ),
    (
        "clear-pvs",
        None,
        "",
        [Some(120), Some(180), None],
        "air temperature is not recorded",
    ),
    ("clear-pvs", Some(25), "", [Some(120), Some(120), None], ""),
    ("clear-pvs", Some(15), "", [Some(180), Some(180), None], ""),
    (
        "clear-pvs",
        Some(20),
        "",
        [Some(150), Some(150), None],
        "Between 15 and 25 °C",
    ),
    (
        "clear-pvs",
        Some(10),
        "",
        [Some(210), Some(210), None],
        "carried on to 10 °C",
    ),
    // Warmer than the figures: never earlier than the earliest that is given.
    (
        "clear-pvs",
        Some(30),
        "",
        [Some(120), Some(120), None],
        "carried on to 30 °C",
    ),
    ("clear-pvs", Some(9), "", [None, None, None], "not known"),
    ("clear-pvs", Some(31), "", [None, None, None], "try a scrap"),
    (
        "dental-stone-cast",
        Some(5),
        "",
        [Some(1200), Some(1800), None],
        "",
    ),
    (
        "film-forming-liquid",
        Some(20),
        "thin",
        [None, None, None],
        "",
    ),
];

fn seconds(w: &Window) -> [Option<u32>; 3] {
    [w.earliest, w.usual, w.limit].map(|f| f.map(|f| f.seconds))
}

#[test]
fn the_programs_own_figures() {
    let rules = rules();
    for (medium, air, thickness, expected, how) in OWN {
        let m = rules.medium(medium).unwrap();
        let layer: Option<Thickness> = (!thickness.is_empty()).then(|| thickness.parse().unwrap());
        let got = rules.set_window(m, *air, layer).unwrap();
        let case = format!("{medium} {air:?} {thickness}: {}", got.sentence());
        assert_eq!(seconds(&got), *expected, "{case}");
        assert!(got.sentence().contains(how), "{case}");
        assert_eq!(
            got.unknown,
            how.contains("known") || how.contains("scrap"),
            "{case}"
        );
        assert!(!got.source.is_empty(), "{case}");
        // What lies between or beyond is said to be ours, figure by figure.
        if how.contains("Between") || how.contains("carried on") {
            for figure in [got.earliest, got.usual, got.limit].into_iter().flatten() {
                assert!(figure.assumed, "{case}");
            }
            assert!(
                got.how.iter().any(|h| h.contains("our assumption")),
                "{case}"
            );
        }
    }
    let tape = rules.medium("lifting-tape").unwrap();
    assert!(rules.set_window(tape, Some(20), None).is_none());
    // "About 5 minutes" is practice, "not longer than 10" is ours.
    let putty = rules.medium("silicone-putty").unwrap();
    let thin = rules
        .set_window(putty, None, Some(Thickness::Thin))
        .unwrap();
    assert_eq!(
        thin.figures(),
        "not before 5 min, usually 5 min, not longer than 10 min (our assumption)"
    );
}

fn sheet(rows: &[(i16, &str, u32, u32)]) -> Sheet {
    Sheet {
        id: "s".into(),
        source: "a maker's sheet, invented for this test".into(),
        medium: "silicone-putty".into(),
        note: String::new(),
        rows: rows
            .iter()
            .map(|(air, thickness, usual, limit)| SetRow {
                air_c: Some(*air),
                thickness: Some(thickness.parse().unwrap()),
                usual_s: Some(*usual),
                limit_s: Some(*limit),
                ..SetRow::default()
            })
            .collect(),
    }
}

/// A grid of two temperatures and two thicknesses, held against the straight lines worked out by hand.
#[test]
fn a_sheet_goes_before_our_figures() {
    let rules = rules();
    let putty = rules.medium("silicone-putty").unwrap();
    let s = sheet(&[
        (10, "2", 400, 800),
        (20, "2", 200, 400),
        (10, "6", 800, 1600),
        (20, "6", 400, 800),
    ]);
    for (air, thickness, usual, limit, assumed) in [
        (Some(10), Some("2"), Some(400), Some(800), false),
        (Some(20), Some("6"), Some(400), Some(800), false),
        (Some(15), Some("2"), Some(300), Some(600), true),
        (Some(10), Some("4"), Some(600), Some(1200), true),
        (Some(15), Some("4"), Some(450), Some(900), true),
        (Some(13), Some("3"), Some(425), Some(850), true),
        // Not recorded: the latest of all that is given.
        (None, Some("2"), Some(400), Some(800), false),
        (Some(10), None, Some(800), Some(1600), false),
        (None, None, Some(800), Some(1600), false),
        // Carried on a little: usual follows the line, the limit does not grow.
        (Some(8), Some("2"), Some(440), Some(800), true),
        (Some(22), Some("2"), Some(160), Some(320), true),
        (Some(10), Some("8"), Some(1000), Some(1600), true),
        (Some(10), Some("1"), Some(300), Some(600), true),
        // Too far away.
        (Some(4), Some("2"), None, None, false),
        (Some(26), Some("2"), None, None, false),
        (Some(10), Some("9.1"), None, None, false),
        (Some(10), Some("0.9"), None, None, false),
    ] {
        let layer = thickness.map(|t: &str| t.parse().unwrap());
        let got = window(putty, Some(&s), air, layer).unwrap();
        let case = format!("{air:?} {thickness:?}: {}", got.sentence());
        assert_eq!(got.usual.map(|f| f.seconds), usual, "{case}");
        assert_eq!(got.limit.map(|f| f.seconds), limit, "{case}");
        assert_eq!(got.usual.is_some_and(|f| f.assumed), assumed, "{case}");
        assert_eq!(got.unknown, usual.is_none(), "{case}");
        assert!(got.source.contains("maker's sheet"), "{case}");
    }
    // A word in place of a measure: thin is taken as 3 mm, which is said to be our assumption.
    let thin = window(putty, Some(&s), Some(10), Some(Thickness::Thin)).unwrap();
    assert_eq!(thin.usual.unwrap().seconds, 500);
    assert!(
        thin.sentence().contains("taken as 3 mm: our assumption"),
        "{}",
        thin.sentence()
    );
}

#[test]
fn an_agency_enters_a_sheet() {
    let text = "format = 1\nagency = \"Harrow County\"\n
[[add.sheet]]
id = \"putty-2026\"
source = \"maker's sheet of January 2026, our file 7\"
medium = \"silicone-putty\"
note = \"The lot may differ by a minute.\"
[[add.sheet.row]]
air_c = 20
earliest_s = 240
usual_s = 270
limit_s = 480
[[add.sheet.row]]
air_c = 10
earliest_s = 420
usual_s = 450
limit_s = 700
";
    fn file(text: &str) -> SourceFile<'_> {
        SourceFile {
            name: "rules.toml",
            text,
        }
    }
    let rules = TradeRules::read(&SourceFiles::embedded(), Some(file(text))).unwrap();
    let putty = rules.medium("silicone-putty").unwrap();
    let got = rules.set_window(putty, Some(20), None).unwrap();
    assert_eq!(seconds(&got), [Some(240), Some(270), Some(480)]);
    assert!(got.sentence().contains("our file 7") && got.sentence().contains("may differ"));
    assert!(!got.sentence().contains("our assumption"));
    let start = chrono::DateTime::parse_from_rfc3339("2026-03-14T21:10:00+01:00").unwrap();
    let late = check(
        putty,
        Some(&got),
        start,
        start + chrono::Duration::seconds(481),
    );
    assert_eq!(late.verdict, SetVerdict::TooLong);
    let cold = rules.set_window(putty, Some(-10), None).unwrap();
    let answer = check(
        putty,
        Some(&cold),
        start,
        start + chrono::Duration::minutes(20),
    );
    assert_eq!(
        (answer.verdict, answer.warning),
        (SetVerdict::NotKnown, true)
    );
    assert!(answer.sentence.contains("not known"), "{}", answer.sentence);
    // What is wrong with a sheet is told with its line.
    for (change, problem) in [
        (
            ("medium = \"silicone-putty\"", "medium = \"no-such\""),
            "there is no medium \"no-such\"",
        ),
        (("limit_s = 480", "limit_s = 200"), "out of order"),
        (("air_c = 10\n", ""), "either every row"),
        (("air_c = 10", "air_c = 20"), "says again"),
        (("air_c = 10", "air_c = 99"), "between -60 and 70"),
        (("usual_s = 450", "usual_s = 99999999"), "30 days"),
        (("note = ", "remark = "), "unknown field `remark`"),
        (
            (
                "source = \"maker's sheet of January 2026, our file 7\"\n",
                "",
            ),
            "missing field `source`",
        ),
    ] {
        let text = text.replacen(change.0, change.1, 1);
        let errors = TradeRules::read(&SourceFiles::embedded(), Some(file(&text))).unwrap_err();
        assert!(
            errors
                .0
                .iter()
                .any(|e| e.problem.contains(problem) && e.line >= 4),
            "{errors:?}"
        );
    }
}

#[test]
fn rows_that_do_not_agree_are_told() {
    let row = |t: &str| SetRow {
        thickness: Some(t.parse().unwrap()),
        usual_s: Some(60),
        ..SetRow::default()
    };
    assert!(row_problems(&[row("thin"), row("thick")]).is_empty());
    assert!(row_problems(&[row("thin"), row("5")]).is_empty());
    // 2 mm is a thin layer already.
    assert_eq!(row_problems(&[row("thin"), row("2")]).len(), 1);
    assert_eq!(row_problems(&[row("4"), row("4")]).len(), 1);
    let empty = SetRow::default();
    assert_eq!(
        row_problems(&[empty]),
        ["row 1 of set times gives no figure"]
    );
}

#[test]
fn thickness_is_read_and_written() {
    for (text, written, tenths) in [
        ("thin", "thin", None),
        (" thick ", "thick", None),
        ("2.5", "2.5", Some(25)),
        ("2,5 mm", "2.5", Some(25)),
        ("3.0", "3", Some(30)),
        ("100", "100", Some(1000)),
        ("0.1mm", "0.1", Some(1)),
    ] {
        let read: Thickness = text.parse().unwrap();
        assert_eq!(read.to_string(), written);
        if let Some(tenths) = tenths {
            assert_eq!(read, Thickness::Tenths(tenths));
        }
        let json = serde_json::to_value(read).unwrap();
        assert_eq!(json, written);
        assert_eq!(serde_json::from_value::<Thickness>(json).unwrap(), read);
    }
    for bad in [
        "", "0", "100.1", "2.55", "-3", "1e3", "two", "2.5 cm", ".5", "5.", "9999999",
    ] {
        assert!(bad.parse::<Thickness>().is_err(), "{bad}");
    }
    assert_eq!(time_words(45), "45 s");
    assert_eq!(time_words(150), "2 min 30 s");
    assert_eq!(time_words(3600), "60 min");
    assert_eq!(time_words(7200), "2 h");
}
