//! The agency's retention schedule: strict, with file and line.

use liftledger::trade::TradeRules;
use liftledger::trade::retention::{SCHEDULE, Schedule};

const DEMO: &str = include_str!("../../seed/demo/retention.toml");

fn wrong(text: &str) -> String {
    Schedule::parse("retention.toml", text)
        .unwrap_err()
        .to_string()
}

#[test]
fn the_demo_has_a_schedule_that_says_it_is_invented() {
    let schedule = Schedule::parse(SCHEDULE, DEMO).unwrap();
    assert_eq!(schedule.classes.len(), 4);
    assert!(schedule.version.contains("invented") && schedule.source.contains("invented"));
    assert!(
        schedule
            .classes
            .iter()
            .all(|c| c.source.contains("invented"))
    );
    assert_eq!(schedule.class("property").unwrap().months, Some(36));
    assert_eq!(schedule.class("death").unwrap().months, None);
    assert!(schedule.class("piracy").is_none());
}

#[test]
fn what_is_wrong_is_told_with_its_line() {
    let cases = [
        (
            DEMO.replace("months = 36", "months = 0"),
            "line 10: months is between 1 and 2400",
        ),
        (
            DEMO.replace("months = 36", "months = \"long\""),
            "line 10: ",
        ),
        (
            DEMO.replace("months = 36\n", "\n"),
            "either months or for_good",
        ),
        (
            DEMO.replace("months = 36", "months = 36\nfor_good = true"),
            "either months or for_good",
        ),
        (
            DEMO.replace("id = \"person\"", "id = \"property\""),
            "line 15: the class property is there twice",
        ),
        (
            DEMO.replace("id = \"found\"", "id = \"Found It\""),
            "line 29: the id",
        ),
        (
            DEMO.replace("name = \"Unexplained death\"", "name = \" \""),
            "line 23: the name of a class",
        ),
        (
            DEMO.replace("version = \"invented-1\"\n", ""),
            "missing field `version`",
        ),
        (
            DEMO.replace("months = 6\n", "months = 6\ndays = 3\n"),
            "line 32: unknown field `days`",
        ),
    ];
    for (text, said) in cases {
        let told = wrong(&text);
        assert!(
            told.starts_with("retention.toml, line ") && told.contains(said),
            "{told}"
        );
    }
}

#[test]
fn a_data_folder_has_its_own_schedule_or_none() {
    let dir = tempfile::tempdir().unwrap();
    let none = TradeRules::of_folder(dir.path()).unwrap();
    assert_eq!(none.schedule(), &Schedule::default());
    std::fs::write(dir.path().join(SCHEDULE), DEMO).unwrap();
    let some = TradeRules::of_folder(dir.path()).unwrap();
    assert_eq!(some.schedule().classes.len(), 4);
    std::fs::write(dir.path().join(SCHEDULE), "version = 3").unwrap();
    let told = TradeRules::of_folder(dir.path()).unwrap_err().to_string();
    assert!(told.contains("retention.toml, line 1"), "{told}");
}
