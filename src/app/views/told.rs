//! What a piece's trail tells: rows, findings and thread from one reading, so that no two of them disagree.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};

use super::custody_rows::{self, CustodyRow};
use super::findings::{self, Asked, Continuity, Finding};
use super::trail::{self, Step};
use super::{thread, words};
use crate::app::past;
use crate::app::reader::{ReadError, Reader};
use crate::custody::State;
use crate::custody::finding::FindingKey;
use crate::custody::thread::Thread;
use crate::ids::{ItemId, MarkId, Piece, Seq, Subject};
use crate::keeping::Stand;
use crate::store::Store;
use crate::zone::Zone;

/// What was read of a piece: what is told comes from nothing else.
#[derive(Clone, Debug, Default)]
pub struct Read {
    /// Its trail.
    pub steps: Vec<Step>,
    /// The history of the mark that an item was recovered from; empty for a package.
    pub mark: Vec<Step>,
    /// The events that recovered items in a package, where something of them is late now.
    pub recoveries: BTreeMap<ItemId, Seq>,
    /// Everything that its words need, as it is now.
    pub state: State,
}

/// What a trail tells.
#[derive(Clone, Debug)]
pub struct Told {
    /// The trail.
    pub steps: Vec<Step>,
    /// The history of the mark that an item was recovered from; empty for a package.
    pub mark: Vec<Step>,
    /// Everything that its words need, as it is now.
    pub state: State,
    /// The custody table, flagged.
    pub rows: Vec<CustodyRow>,
    /// The findings.
    pub findings: Vec<Finding>,
    /// How much of the time is accounted for.
    pub continuity: Continuity,
    /// The thread.
    pub thread: Thread,
    /// The agency's zone.
    pub zone: Zone,
    /// When this was read.
    pub now: DateTime<Utc>,
}

/// Reads what a piece's trail tells. Whether the piece may be seen, the caller has asked before.
///
/// # Errors
/// See [`ReadError`].
pub async fn told(reader: &Reader<'_>, piece: Piece) -> Result<Told, ReadError> {
    told_at(reader, piece, Utc::now()).await
}

/// The same as of a moment.
///
/// # Errors
/// See [`ReadError`].
pub async fn told_at(
    reader: &Reader<'_>,
    piece: Piece,
    now: DateTime<Utc>,
) -> Result<Told, ReadError> {
    reader.must(crate::people::Action::ReadEvidence)?;
    let zone = reader.house().zone().await?;
    let read = read(reader.house().store.as_ref(), piece, now).await?;
    Ok(tell(piece, read, zone, now))
}

/// Reads a piece, asking nobody's permission.
async fn read(store: &dyn Store, piece: Piece, now: DateTime<Utc>) -> Result<Read, ReadError> {
    let steps = trail::load(store, piece).await?;
    let mut asked: Vec<Subject> = trail::named(&steps).into_iter().collect();
    asked.push(piece.into());
    let state = past::around(store, &asked).await?;
    let mark = match mark_of(&state, piece) {
        Some(mark) => trail::of_mark(store, mark).await?,
        None => Vec::new(),
    };
    Ok(Read {
        recoveries: recoveries(store, piece, &state, now).await?,
        steps,
        mark,
        state,
    })
}

/// The mark that an item was recovered from; none of a package.
pub(super) fn mark_of(state: &State, piece: Piece) -> Option<MarkId> {
    match piece {
        Piece::Item(id) => state.items.get(&id).map(|i| i.mark),
        Piece::Package(_) => None,
    }
}

/// The events that recovered those items in a package of which something is late now.
///
/// # Errors
/// See [`ReadError`].
pub async fn recoveries(
    store: &dyn Store,
    piece: Piece,
    state: &State,
    now: DateTime<Utc>,
) -> Result<BTreeMap<ItemId, Seq>, ReadError> {
    let mut out = BTreeMap::new();
    if !matches!(piece, Piece::Package(_)) {
        return Ok(out);
    }
    let at = now.fixed_offset();
    for item in state.items_in(piece) {
        let moments = item.moments();
        let mut limits = item.needs().into_iter().flat_map(|n| &n.packing.limits);
        if limits.any(|l| l.stand(&moments, at) == Stand::Late) {
            let first = store
                .events_of(&Subject::Item(item.id).to_string(), 0, 1)
                .await?;
            let seq = first
                .first()
                .and_then(|e| Seq::try_from(e.event.seq).ok())
                .ok_or_else(|| ReadError::Corrupt(format!("item:{} has no event", item.id)))?;
            out.insert(item.id, seq);
        }
    }
    Ok(out)
}

/// The findings that there are of a subject: of an item or a package its own, of a mark those of an item recovered from it. Empty
/// for anything else. Asks nobody's permission: it is what an answer is held against.
///
/// # Errors
/// See [`ReadError`].
pub async fn keys(
    store: &dyn Store,
    of: Subject,
    now: DateTime<Utc>,
) -> Result<BTreeSet<FindingKey>, ReadError> {
    let piece = match of {
        Subject::Item(id) => Some(Piece::Item(id)),
        Subject::Package(id) => Some(Piece::Package(id)),
        Subject::Mark(id) => {
            let state = past::around(store, &[of]).await?;
            let first = state.marks.get(&id).and_then(|m| m.items.first());
            first.map(|item| Piece::Item(*item))
        }
        _ => None,
    };
    let Some(piece) = piece else {
        return Ok(BTreeSet::new());
    };
    let read = read(store, piece, now).await?;
    if read.steps.is_empty() {
        return Ok(BTreeSet::new());
    }
    let told = tell(piece, read, Zone::default(), now);
    let keys = told.findings.into_iter().map(|f| f.key);
    Ok(keys.filter(|k| k.of == of).collect())
}

/// Tells what was read.
#[must_use]
pub fn tell(piece: Piece, read: Read, zone: Zone, now: DateTime<Utc>) -> Told {
    let Read {
        steps,
        mark,
        recoveries,
        state,
    } = read;
    let mut rows = custody_rows::rows(&steps, &state, zone);
    let asked = Asked {
        piece,
        steps: &steps,
        mark: &mark,
        recoveries: &recoveries,
        state: &state,
        zone,
        now,
    };
    let findings = findings::findings(&asked);
    findings::flag(&mut rows, &findings);
    let continuity = findings::continuity(&findings::stretches(&steps, now));
    let thread = thread::thread(&words::title(&state, piece), piece, &steps, &rows, now);
    Told {
        steps,
        mark,
        state,
        rows,
        findings,
        continuity,
        thread,
        zone,
        now,
    }
}
