//! Between the state and the store's documents.

use serde::de::DeserializeOwned;

use crate::custody::State;
use crate::custody::expungement::Expungement;
use crate::custody::kit::lot_key;
use crate::custody::state::{Custody, Holder, Key};
use crate::ids::{Code, PlaceId, Subject};
use crate::ledger::times;
use crate::store::DocRow;

/// To whom, in the column of offers, a case with an open order to expunge is offered.
pub const ORDER_WAITS: &str = "expungement";

/// In what, in the column of what things are in, a place lies that is in no other.
const OUTERMOST: &str = "storeroom";

/// In what a place lies, as the column of what things are in holds it.
#[must_use]
pub fn around_place(parent: Option<PlaceId>) -> String {
    parent.map_or_else(|| OUTERMOST.to_owned(), |id| Subject::Place(id).to_string())
}

/// A document that cannot be what was written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the document of {subject} cannot be read: {why}")]
pub struct BadDoc {
    /// Whose.
    pub subject: String,
    /// Why.
    pub why: String,
}

fn custody(row: &mut DocRow, custody: &Custody) {
    row.inside = custody.inside.map(|p| Subject::Package(p).to_string());
    // Inside a package nobody holds a thing by itself, so it stands on no desk by itself.
    if row.inside.is_none() {
        row.holder = Some(custody.holder.key());
        if let Holder::Place { place } = &custody.holder {
            row.place = Some(Subject::Place(*place).to_string());
        }
    }
    row.offer_to = custody
        .offer
        .as_ref()
        .map(|o| Subject::Person(o.to).to_string());
    // Whoever is to witness a disposition finds it where offers are found: both wait for one person.
    if let Some(done) = custody
        .disposition
        .as_ref()
        .and_then(|d| d.executed.as_ref())
    {
        row.offer_to = match &custody.holder {
            Holder::Disposed { .. } => None,
            _ => Some(Subject::Person(done.witness).to_string()),
        };
    }
    row.active = !matches!(custody.holder, Holder::Disposed { .. });
    row.due_at = custody
        .loan
        .as_ref()
        .and_then(|l| l.due_at)
        .map(|t| times::recorded(t.to_utc()));
}

/// The document of a subject as the state has it; none where the state does not hold it.
///
/// # Errors
/// [`BadDoc`] where it does not serialise.
pub fn row(state: &State, subject: Subject) -> Result<Option<DocRow>, BadDoc> {
    let bad = |e: serde_json::Error| BadDoc {
        subject: subject.to_string(),
        why: e.to_string(),
    };
    let mut row = DocRow {
        subject: subject.to_string(),
        kind: subject.kind().into(),
        code: Code::of(subject).map(|c| c.to_string()),
        active: true,
        ..DocRow::default()
    };
    row.case_id = state.case_of(subject).map(|c| c.to_string());
    row.doc = match subject {
        Subject::Person(id) => {
            let Some(x) = state.people.get(&id) else {
                return Ok(None);
            };
            row.name = Some(x.user_name.clone());
            row.active = x.active;
            serde_json::to_string(x).map_err(bad)?
        }
        Subject::Place(id) => {
            let Some(x) = state.places.get(&id) else {
                return Ok(None);
            };
            row.name = Some(x.added.name.clone());
            row.inside = Some(around_place(x.added.parent));
            serde_json::to_string(x).map_err(bad)?
        }
        Subject::Case(id) => {
            let Some(x) = state.cases.get(&id) else {
                return Ok(None);
            };
            row.name = Some(x.number.clone());
            // Where offers are found, whoever carries orders out finds those that wait.
            if x.expungements.iter().any(Expungement::is_open) {
                row.offer_to = Some(ORDER_WAITS.into());
            }
            serde_json::to_string(x).map_err(bad)?
        }
        Subject::Mark(id) => {
            let Some(x) = state.marks.get(&id) else {
                return Ok(None);
            };
            row.number = Some(i64::from(x.number));
            serde_json::to_string(x).map_err(bad)?
        }
        Subject::Item(id) => {
            let Some(x) = state.items.get(&id) else {
                return Ok(None);
            };
            row.number = Some(i64::from(x.number));
            row.lot = lot_key(&x.recovered.medium, &x.recovered.lot);
            custody(&mut row, &x.custody);
            serde_json::to_string(x).map_err(bad)?
        }
        Subject::Package(id) => {
            let Some(x) = state.packages.get(&id) else {
                return Ok(None);
            };
            row.number = Some(i64::from(x.number));
            custody(&mut row, &x.custody);
            serde_json::to_string(x).map_err(bad)?
        }
        Subject::Count(id) => {
            let Some(x) = state.counts.get(&id) else {
                return Ok(None);
            };
            row.active = x.is_active();
            serde_json::to_string(x).map_err(bad)?
        }
    };
    Ok(Some(row))
}

fn read<T: DeserializeOwned>(row: &DocRow) -> Result<T, BadDoc> {
    serde_json::from_str(&row.doc).map_err(|e| BadDoc {
        subject: row.subject.clone(),
        why: e.to_string(),
    })
}

/// Takes a document into the state.
///
/// # Errors
/// [`BadDoc`] where it is not what its subject says.
pub fn take(state: &mut State, row: &DocRow) -> Result<(), BadDoc> {
    let subject: Subject = row.subject.parse().map_err(|_| BadDoc {
        subject: row.subject.clone(),
        why: "the subject cannot be read".into(),
    })?;
    match subject {
        Subject::Person(id) => {
            state.people.insert(id, read(row)?);
        }
        Subject::Place(id) => {
            state.places.insert(id, read(row)?);
        }
        Subject::Case(id) => {
            state.cases.insert(id, read(row)?);
        }
        Subject::Mark(id) => {
            state.marks.insert(id, read(row)?);
        }
        Subject::Item(id) => {
            state.items.insert(id, read(row)?);
        }
        Subject::Package(id) => {
            state.packages.insert(id, read(row)?);
        }
        Subject::Count(id) => {
            state.counts.insert(id, read(row)?);
        }
    }
    state.known.insert(Key::Subject(subject));
    Ok(())
}
