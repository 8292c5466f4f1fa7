//! The exhibit list: the items of a case that have an exhibit number, in the order of their numbers.

use super::pieces::{items, subjects};
use super::{PaperError, Setting, Told};
use crate::app::reader::Reader;
use crate::app::views::words;
use crate::custody::state::Item;
use crate::ids::{Piece, Subject};
use crate::reports::parts::{Part, col};
use crate::reports::table::Row;
use crate::zone::Zone;

/// What an exhibit number is ordered by: its letters, and its digits as numbers, so that 9 comes before 10.
#[must_use]
pub fn order(number: &str) -> Vec<(String, u64)> {
    let mut out: Vec<(String, u64)> = Vec::new();
    let mut rest = number.to_uppercase();
    while !rest.is_empty() {
        let letters: String = rest.chars().take_while(|c| !c.is_ascii_digit()).collect();
        let digits: String = rest
            .chars()
            .skip(letters.chars().count())
            .take_while(char::is_ascii_digit)
            .collect();
        rest = rest
            .chars()
            .skip(letters.chars().count() + digits.len())
            .collect();
        out.push((letters, digits.parse().unwrap_or(0)));
    }
    out
}

fn earlier(item: &Item, zone: Zone) -> String {
    let before = item.exhibits.len().saturating_sub(1);
    let list: Vec<String> = item
        .exhibits
        .iter()
        .take(before)
        .map(|e| format!("{}, from {}", e.number, words::minute(&e.at, zone)))
        .collect();
    list.join("\n")
}

pub(super) async fn told(reader: &Reader<'_>, s: &Setting) -> Result<Told, PaperError> {
    let all = items(reader, s.case.id).await?;
    let zone = s.agency.zone;
    let mut listed: Vec<&Item> = all.iter().filter(|i| !i.exhibits.is_empty()).collect();
    if listed.is_empty() {
        return Err(PaperError::Count(format!(
            "no item of case {} has an exhibit number yet. Give one on the item's page",
            s.case.number
        )));
    }
    listed.sort_by_key(|i| i.exhibits.last().map(|e| order(&e.number)));
    let mut asked: Vec<Subject> = all.iter().map(|i| Subject::Item(i.id)).collect();
    let who = all.iter().flat_map(|i| &i.exhibits).filter_map(|e| e.by);
    asked.extend(who.map(Subject::Person));
    let state = reader.around(&asked).await?;
    let rows: Vec<Row> = listed
        .iter()
        .filter_map(|item| {
            let exhibit = item.exhibits.last()?;
            let who = exhibit
                .by
                .map(|p| words::person_in(&state, p))
                .unwrap_or_default();
            let given = words::minute(&exhibit.at, zone);
            let mut of_court = exhibit.court.clone();
            if !of_court.is_empty() {
                of_court.push('\n');
            }
            Some(Row {
                cells: vec![
                    exhibit.number.clone(),
                    item.number.to_string(),
                    item.code.grouped(),
                    item.recovered.description.clone(),
                    format!("{of_court}{given}\n{who}").trim().to_owned(),
                    earlier(item, zone),
                    words::held_by(&state, Piece::Item(item.id)).unwrap_or_default(),
                ],
                flagged: false,
            })
        })
        .collect();
    let without: Vec<String> = all
        .iter()
        .filter(|i| i.exhibits.is_empty())
        .map(|i| i.number.to_string())
        .collect();
    let mut parts = vec![Part::Table {
        name: "Exhibits",
        columns: vec![
            col("Exhibit", 1.2, true),
            col("Item", 0.7, false),
            col("Code", 2.4, true),
            col("Description", 3.4, false),
            col("Court, number given", 2.6, false),
            col("Earlier numbers", 2.0, false),
            col("Now with", 1.8, false),
        ],
        rows,
    }];
    if !without.is_empty() {
        let words = format!("Items without an exhibit number: {}.", without.join(", "));
        parts.push(Part::Text(words));
    }
    Ok(Told {
        lead: format!(
            "{} of {} in this case.",
            words::capital(&words::counted(listed.len(), "exhibit")),
            words::counted(all.len(), "item")
        ),
        note: "An exhibit number says what a court calls an item; whether the item is admitted, the court decides. A number \
               that an item had before stays with that item and is given to no other."
            .into(),
        facts: Vec::new(),
        parts,
        subjects: subjects(s.case.id, all.iter().map(|i| Piece::Item(i.id))),
        name: String::new(),
    })
}
