//! An invented room in a CSV file, as a former record would give it, with rows that are wrong.
#![allow(dead_code)]

use std::collections::BTreeSet;
use std::fmt::Write as _;

pub const MAPPING: &str = r#"
date = "%d.%m.%Y"
[columns]
case = "Case No"
case-title = "Title"
item = "Item No"
description = "What"
kind = "Type"
medium = "Taken with"
object = "From"
place = "Shelf"
holder = "With"
container = "In"
seal = "Seal"
received = "Received"
[values.kind]
"LIFT" = "card-lift"
"CAST" = "cast"
[values.place]
"D/12" = "Shelf D-12"
"#;

pub const HEADING: &str =
    "Case No,Title,Item No,What,Type,Taken with,From,Shelf,With,In,Seal,Received,Extra\n";

/// An invented room of so many rows, every `nth` of them wrong: twice the same number, a seal that was used, no such
/// shelf, no day, no description, in turn. Gives the rows that are wrong.
pub fn room(rows: u64, nth: u64) -> (String, BTreeSet<u64>) {
    let mut out = String::from(HEADING);
    let mut wrong = BTreeSet::new();
    for row in 1..=rows {
        let case = format!("OLD-{:02}-{:04}", row / 997 % 30, row / 40);
        let is_wrong = nth > 0 && row % nth == 0;
        let mut cells = [
            case,
            format!("Stores of slip {}", row / 40),
            format!("{}", row % 40 + 1),
            format!("lift from the rail of boat {row}, \"port\" side"),
            if row % 2 == 0 { "LIFT" } else { "CAST" }.to_owned(),
            "clear tape".to_owned(),
            "rail, varnished".to_owned(),
            "D/12".to_owned(),
            String::new(),
            "envelope".to_owned(),
            format!("OS-{row:07}"),
            "07.03.2019".to_owned(),
            "=1+1".to_owned(),
        ];
        if is_wrong {
            wrong.insert(row);
            match row / nth % 5 {
                0 => cells[2] = format!("{}", (row - 1) % 40 + 1),
                1 => cells[10] = format!("os-{:07}", row - 1),
                2 => cells[7] = "Shelf of nowhere".to_owned(),
                3 => cells[11] = "31.02.2019".to_owned(),
                _ => cells[3] = "   ".to_owned(),
            }
            if (row / nth).is_multiple_of(5) {
                cells[0] = format!("OLD-{:02}-{:04}", (row - 1) / 997 % 30, (row - 1) / 40);
            }
        }
        let cells = cells.map(|c| format!("\"{}\"", c.replace('"', "\"\"")));
        writeln!(out, "{}", cells.join(",")).unwrap();
    }
    (out, wrong)
}
