//! Everything that was made with one lot of a medium: for a recall.

use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::app::reader::{Page, Part, ReadError, Reader, Thing};
use crate::custody::kit::lot_number;
use crate::ids::{CaseId, Code, ItemId, Piece, Subject};

/// An item made with the lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct LotLine {
    /// Which.
    pub item: ItemId,
    /// Its case.
    pub case: CaseId,
    /// The case's number.
    pub case_number: String,
    /// Number in the case.
    pub number: u32,
    /// The code on its label.
    pub code: Code,
    /// Whether only those assigned see the case. The line then says no more than numbers: what a case is about is read on
    /// its own pages, where the reading goes on the record.
    pub restricted: bool,
    /// What it is; empty where the case is restricted.
    pub what: String,
    /// When the medium was put on, in words; the same.
    pub started: String,
    /// Who recovered it; the same.
    pub by: String,
    /// Who has it; the same.
    pub with: String,
}

/// A lot, and what was made with it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LotFile {
    /// Medium, by the trade rules' identifier.
    pub medium: String,
    /// Its name.
    pub medium_name: String,
    /// Lot, as it is compared: capitals, no outer spaces.
    pub lot: String,
    /// The items, of cases that the reader may see, oldest record first.
    pub items: Page<LotLine>,
}

/// Reads what was made with a lot.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(
    reader: &Reader<'_>,
    medium: &str,
    lot: &str,
    part: &Part,
) -> Result<LotFile, ReadError> {
    let zone = reader.house().zone().await?;
    let page = reader.made_with(medium, lot, part).await?;
    let subjects: Vec<Subject> = page.rows.iter().map(|t| t.piece().into()).collect();
    let mut state = reader.around(&subjects).await?;
    let by: Vec<Subject> = page
        .rows
        .iter()
        .filter_map(|t| match t {
            Thing::Item(i) => i.recovered_by.map(Subject::Person),
            Thing::Package(_) => None,
        })
        .collect();
    let people = reader.around(&by).await?.people;
    state.people.extend(people);
    let mut rows = Vec::with_capacity(page.rows.len());
    for thing in &page.rows {
        let Thing::Item(item) = thing else { continue };
        let case = state
            .cases
            .get(&item.case)
            .ok_or_else(|| ReadError::Corrupt(format!("item {} has no case", item.id)))?;
        let open = |text: String| {
            if case.restricted { String::new() } else { text }
        };
        rows.push(LotLine {
            item: item.id,
            case: item.case,
            case_number: case.number.clone(),
            number: item.number,
            code: item.code.clone(),
            restricted: case.restricted,
            what: open(item.recovered.description.clone()),
            started: open(words::minute(&item.recovered.started_at, zone)),
            by: open(
                item.recovered_by
                    .map_or_else(|| "somebody".into(), |p| words::person_in(&state, p)),
            ),
            with: open(words::held_by(&state, Piece::Item(item.id)).unwrap_or_default()),
        });
    }
    let known = reader.house().rules.medium_ever(medium);
    Ok(LotFile {
        medium: medium.to_owned(),
        medium_name: known.map_or_else(|| medium.to_owned(), |m| m.name.clone()),
        lot: lot_number(lot),
        items: Page {
            rows,
            next: page.next,
        },
    })
}
