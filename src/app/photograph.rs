//! From a file that is kept to the command that records it, the same for pages and for programs.

use std::io::BufReader;

use chrono::{DateTime, FixedOffset};
use tokio::sync::Semaphore;

use crate::custody::image::AddImage;
use crate::custody::{Act, Command};
use crate::ids::{CommandId, Subject};
use crate::imaging::probe::{Probe, ProbeError, probe};
use crate::originals::{Kept, Originals, OriginalsError};

/// How many files are looked at at once: each may take [`crate::imaging::probe::MAX_HEAD`] bytes of memory twice over.
static LOOKS: Semaphore = Semaphore::const_new(2);

/// A photograph as somebody adds it, beside its bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taken {
    /// The command's identifier.
    pub id: CommandId,
    /// What it shows: a mark or an item.
    pub of: Subject,
    /// The file's name.
    pub name: String,
    /// View steps; empty for the usual ones.
    pub view: Vec<String>,
    /// When it was taken, if not now.
    pub claimed_at: Option<DateTime<FixedOffset>>,
    /// Why it is entered late.
    pub late_reason: Option<String>,
}

impl Taken {
    /// The command that records it.
    #[must_use]
    pub fn command(self, kept: &Kept, seen: Probe) -> Command {
        Command {
            id: self.id,
            claimed_at: self.claimed_at,
            late_reason: self.late_reason,
            paper_sheet: None,
            act: Act::AddImage(AddImage {
                of: self.of,
                digest: kept.digest,
                name: self.name,
                media_type: seen.media_type.into(),
                bytes: kept.bytes,
                width: seen.pixels.map(|(w, _)| w),
                height: seen.pixels.map(|(_, h)| h),
                view: self.view,
                says: seen.says,
            }),
        }
    }
}

/// Why it could not be found out what a kept file is.
#[derive(Debug, thiserror::Error)]
pub enum LookError {
    /// It cannot be had.
    #[error(transparent)]
    Original(#[from] OriginalsError),
    /// It is none that is taken.
    #[error(transparent)]
    Probe(#[from] ProbeError),
}

/// Finds out what a kept file is. With `as_it_is` a damaged picture is taken as bytes, for when it is all there is.
///
/// # Errors
/// See [`LookError`]; never [`ProbeError::CutOff`], [`ProbeError::Damaged`] or [`ProbeError::Size`] with `as_it_is`.
pub async fn look(originals: &Originals, kept: &Kept, as_it_is: bool) -> Result<Probe, LookError> {
    let (originals, digest) = (originals.clone(), kept.digest);
    let _turn = LOOKS.acquire().await.map_err(|_| ProbeError::Unreadable)?;
    let seen = tokio::task::spawn_blocking(move || {
        let file = originals.stored(digest)?;
        Ok::<_, OriginalsError>(probe(BufReader::new(file)))
    })
    .await
    // A library of pictures that panics on a file has met a damaged one; the panic itself has been logged.
    .unwrap_or(Ok(Err(ProbeError::Damaged("it cannot be read to its end"))))?;
    match seen {
        Err(why) if as_it_is && why != ProbeError::Unreadable => Ok(Probe::kept_as_it_is(&why)),
        seen => Ok(seen?),
    }
}
