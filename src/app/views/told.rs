//! What a piece's trail tells: rows, findings and thread from one reading, so that no two of them disagree.

use chrono::{DateTime, FixedOffset, Utc};

use super::custody_rows::{self, CustodyRow};
use super::findings::{self, Asked, Finding};
use super::trail::{self, Step};
use super::{thread, words};
use crate::app::reader::{ReadError, Reader};
use crate::custody::State;
use crate::custody::thread::Thread;
use crate::ids::{Piece, Subject};

/// What a trail tells.
#[derive(Clone, Debug)]
pub struct Told {
    /// The trail.
    pub steps: Vec<Step>,
    /// Everything that its words need, as it is now.
    pub state: State,
    /// The custody table, flagged.
    pub rows: Vec<CustodyRow>,
    /// The findings.
    pub findings: Vec<Finding>,
    /// The thread.
    pub thread: Thread,
    /// The agency's zone.
    pub zone: FixedOffset,
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
    let zone = reader.house().agency().await?.zone;
    let steps = trail::load(reader, piece).await?;
    let mut asked: Vec<Subject> = trail::named(&steps).into_iter().collect();
    asked.push(piece.into());
    let state = reader.around(&asked).await?;
    Ok(tell(piece, steps, state, zone, now))
}

/// Tells a trail.
#[must_use]
pub fn tell(
    piece: Piece,
    steps: Vec<Step>,
    state: State,
    zone: FixedOffset,
    now: DateTime<Utc>,
) -> Told {
    let mut rows = custody_rows::rows(&steps, &state, zone);
    let asked = Asked {
        piece,
        steps: &steps,
        state: &state,
        zone,
        now,
    };
    let findings = findings::findings(&asked);
    findings::flag(&mut rows, &findings);
    let thread = thread::thread(&words::title(&state, piece), piece, &steps, &rows, now);
    Told {
        steps,
        state,
        rows,
        findings,
        thread,
        zone,
        now,
    }
}
