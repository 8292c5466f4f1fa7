//! A file gone through: the dry run, and the real one.

use std::collections::BTreeSet;

use chrono::Utc;

use super::file::{self, Rows, Table};
use super::mapping::{Mapped, Mapper};
use super::{ImportError, Mapping, Problem, Summary};
use crate::app::house::House;
use crate::app::record::{RecordError, Sent};
use crate::app::rows;
use crate::custody::capacity::DEEPEST;
use crate::custody::import::{self, Before, Import, MAX_ROWS, derived};
use crate::custody::package::seal_number;
use crate::custody::{Act, Command, Signed, State};
use crate::ids::{CommandId, Digest, PersonId, Subject};
use crate::ledger::event::Source;

/// What is asked of a run.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The file.
    pub file: Table<'a>,
    /// The mapping.
    pub mapping: &'a Mapping,
    /// Who takes the rows over, having signed; of a dry run whoever shall, or none for the server's operator.
    pub by: Option<PersonId>,
    /// How many rows are recorded by one command, at most [`MAX_ROWS`]; none for a dry run.
    pub batch: Option<usize>,
}

/// Goes through a file. `problem` hears everything that is wrong, in the order of rows; `progress` how many rows are done.
///
/// # Errors
/// See [`ImportError`]. What was recorded before one stays recorded, and is left out when the file is run again.
pub async fn run(
    house: &House,
    asked: Asked<'_>,
    mut problem: impl FnMut(&Problem),
    mut progress: impl FnMut(&Summary),
) -> Result<Summary, ImportError> {
    let digest = file::digest(asked.file)?;
    let mut rows = Rows::open(asked.file, asked.mapping.separator()?)?;
    let origin = house.verifying.name().to_owned();
    let mapper = Mapper {
        mapping: asked.mapping,
        places: asked.mapping.places(&rows.heading)?,
        columns: rows.heading.len(),
        origin: &origin,
    };
    let size = asked.batch.unwrap_or(MAX_ROWS).clamp(1, MAX_ROWS);
    let mut before = Before::default();
    let mut summary = Summary::default();
    let mut end = false;
    while !end {
        let mut batch = Vec::with_capacity(size);
        while batch.len() < size {
            let Some(row) = rows.next()? else {
                end = true;
                break;
            };
            batch.push(mapper.row(&row));
        }
        if end && rows.digest() != digest {
            return Err(ImportError::Changed);
        }
        summary.rows += batch.len() as u64;
        let state = known(house, &batch).await?;
        // What is on the record is left out, whatever else its row says now; a second row of the same thing is not.
        let all = batch.len();
        batch.retain(|m| {
            let there = state.items.contains_key(&m.row.item);
            !there || import::is_hidden(&state, asked.by, &m.row) || !before.first(m.row.item)
        });
        summary.before += (all - batch.len()) as u64;
        let mut wrong = 0_u64;
        for mapped in &mut batch {
            let now = Utc::now();
            for found in import::problems(&state, asked.by, now, &mapped.row, &mut before) {
                let field = found.field.as_deref();
                mapper.add(mapped, field, &found.sentence, &found.next);
            }
            mapped.problems.iter().for_each(&mut problem);
            wrong += u64::from(!mapped.problems.is_empty());
        }
        if asked.batch.is_some() {
            // What was recorded stands in its place by now, and what was not takes no room.
            before.next_batch();
        }
        summary.wrong += wrong;
        let good = batch.len() as u64 - wrong;
        if asked.batch.is_none() || wrong == 0 {
            if asked.batch.is_some() && good > 0 {
                record(house, asked, digest, batch).await?;
            }
            summary.good += good;
        } else {
            summary.held_back += good;
            summary.batches_refused += 1;
        }
        progress(&summary);
    }
    Ok(summary)
}

/// What the ledger has of what the rows name.
async fn known(house: &House, batch: &[Mapped]) -> Result<State, ImportError> {
    let store = &house.store;
    let mut state = State::default();
    let bad = |e: rows::BadDoc| RecordError::Corrupt(e.to_string());
    let items = batch.iter().map(|m| Subject::Item(m.row.item).to_string());
    let items: Vec<String> = items.collect();
    for doc in store.docs(&items).await? {
        rows::take(&mut state, &doc).map_err(bad)?;
    }
    let cases: BTreeSet<&str> = batch.iter().map(|m| m.row.case.as_str()).collect();
    let places: BTreeSet<&str> = batch.iter().map(|m| m.row.place.as_str()).collect();
    for (kind, names) in [("case", cases), ("place", places)] {
        for name in names {
            if name.is_empty() || name.chars().any(char::is_control) {
                continue;
            }
            let Some(doc) = store.doc_by_name(kind, name).await? else {
                continue;
            };
            rows::take(&mut state, &doc).map_err(bad)?;
            match doc.subject.parse() {
                Ok(Subject::Case(id)) => drop(state.case_numbers.insert(name.to_owned(), id)),
                Ok(Subject::Place(id)) => drop(state.place_names.insert(name.to_owned(), id)),
                _ => {}
            }
        }
    }
    // Whether two people are needed in a place stands on those around it.
    for _ in 0..DEEPEST {
        let around: Vec<String> = state
            .places
            .values()
            .filter_map(|p| p.added.parent)
            .filter(|id| !state.places.contains_key(id))
            .map(|id| Subject::Place(id).to_string())
            .collect();
        if around.is_empty() {
            break;
        }
        for doc in store.docs(&around).await? {
            rows::take(&mut state, &doc).map_err(bad)?;
        }
    }
    for mapped in batch {
        let number = seal_number(&mapped.row.seal);
        if number.is_empty() || number.chars().any(char::is_control) {
            continue;
        }
        if let Some(seal) = store.seal(&number).await?
            && let Ok(Subject::Package(id)) = seal.package.parse()
        {
            state.seals.insert(number, id);
        }
    }
    Ok(state)
}

async fn record(
    house: &House,
    asked: Asked<'_>,
    digest: Digest,
    batch: Vec<Mapped>,
) -> Result<(), ImportError> {
    let file = asked.file.name();
    let rows: Vec<_> = batch.into_iter().map(|m| m.row).collect();
    let mut named = format!("import\n{digest}");
    for row in &rows {
        named.push_str(&format!("\n{}", row.item));
    }
    let command = Command {
        id: CommandId(derived(&named)),
        claimed_at: None,
        late_reason: None,
        paper_sheet: None,
        act: Act::Import(Import { file, digest, rows }),
    };
    let sent = Sent {
        person: asked.by,
        signed: Signed::Password,
        beside: None,
        source: Source::Import,
        command,
    };
    house.recorder.record(sent).await?;
    Ok(())
}
