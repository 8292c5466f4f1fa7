//! Records brought up to this program: what a newer version keeps with a place or an item is worked out from the events once.
//!
//! Records are derived, so nothing is asked of anybody: the first start after an upgrade replays the ledger and writes the
//! records that a replay makes otherwise. A ledger that is begun by this version has nothing to bring up.

use crate::app::reader::opened;
use crate::app::{replay, rows};
use crate::ids::Subject;
use crate::store::{Batch, DocRow, KEYS_MAX, Store, StoreError};

/// The setting that says by which version the records were made.
const SETTING: &str = "records";
/// Goes up when what a record holds is made otherwise from the same events.
const VERSION: &str = "2";

/// Brings the records of a ledger up to this version, where that was not done.
///
/// # Errors
/// [`StoreError::Corrupt`] where the events lead nowhere; and what the database could not do.
pub async fn ensure(store: &dyn Store) -> Result<(), StoreError> {
    if store.setting(SETTING).await?.as_deref() == Some(VERSION) {
        return Ok(());
    }
    if store.head().await?.size > 0 {
        refresh(store).await?;
    }
    are_new(store).await
}

/// Says that the records of a database are this version's: whoever has just made them all by a replay knows.
///
/// # Errors
/// What the database could not do.
pub async fn are_new(store: &dyn Store) -> Result<(), StoreError> {
    store.set_setting(SETTING, VERSION).await
}

async fn refresh(store: &dyn Store) -> Result<(), StoreError> {
    let corrupt = |why: String| StoreError::Corrupt(why);
    let mut tx = store.begin().await?;
    let open = |raw| opened(raw).map_err(|e| corrupt(e.to_string()));
    let state = replay::whole(store, tx.as_mut(), open).await?;
    let places = state.places.keys().map(|id| Subject::Place(*id));
    let items = state.items.keys().map(|id| Subject::Item(*id));
    let subjects: Vec<Subject> = places.chain(items).collect();
    let mut written = 0_usize;
    for part in subjects.chunks(KEYS_MAX.min(500)) {
        let names: Vec<String> = part.iter().map(ToString::to_string).collect();
        let before = tx.load_docs(&names).await?;
        let mut docs: Vec<DocRow> = Vec::new();
        for subject in part {
            let row = rows::row(&state, *subject).map_err(|e| corrupt(e.to_string()))?;
            docs.extend(row.filter(|row| !before.contains(row)));
        }
        written += docs.len();
        tx.append(Batch {
            docs,
            ..Batch::default()
        })
        .await?;
    }
    tx.commit().await?;
    tracing::info!(
        records = written,
        "the records were brought up to this version"
    );
    Ok(())
}
