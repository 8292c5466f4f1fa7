//! The trail of a piece: its own events, and what the packages around it went through while it was in them.
//!
//! An event of a package touches the package and not its contents, so what a hand-over of a box meant for the cast in
//! it is found here, by the times at which the cast went in and came out.

use std::collections::{BTreeMap, BTreeSet};

use futures_util::future::BoxFuture;

use crate::app::past::{HISTORY_MAX, Past, history};
use crate::app::reader::ReadError;
use crate::custody::Fact;
use crate::custody::package::MAX_DEPTH;
use crate::ids::{MarkId, PackageId, Piece, Seq, Subject};
use crate::store::Store;

/// One event of a trail.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// The event, as one of [`Step::of`].
    pub past: Past,
    /// Whose history it was read from: the piece itself, or a package around it.
    pub of: Subject,
    /// The package that it was recorded on, where that is not the piece itself.
    pub through: Option<PackageId>,
}

impl Step {
    /// Its place in the ledger.
    #[must_use]
    pub fn seq(&self) -> Seq {
        self.past.event.header.seq
    }
}

/// A time in a package: from the event that put the piece in to the event that took it out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Within {
    /// The package.
    pub package: PackageId,
    /// The event that put it in.
    pub from: Seq,
    /// The event that took it out; none while it is in.
    pub to: Option<Seq>,
}

impl Within {
    fn holds(&self, seq: Seq) -> bool {
        seq > self.from && self.to.is_none_or(|to| seq < to)
    }
}

/// When a piece was in which package, from its own history.
#[must_use]
pub fn stays(piece: Piece, own: &[Past]) -> Vec<Within> {
    let mut out: Vec<Within> = Vec::new();
    for past in own {
        let seq = past.event.header.seq;
        match &past.fact {
            Some(Fact::ItemImported(x)) if Piece::Item(x.item) == piece => {
                out.extend(x.package.map(|package| Within {
                    package,
                    from: seq,
                    to: None,
                }));
            }
            Some(Fact::PackageMade(x)) if x.contents.contains(&piece) => out.push(Within {
                package: x.package,
                from: seq,
                to: None,
            }),
            Some(Fact::PiecePutIn(x)) if x.piece == piece => out.push(Within {
                package: x.package,
                from: seq,
                to: None,
            }),
            Some(Fact::PieceTakenOut(x)) if x.piece == piece => {
                if let Some(last) = out.last_mut() {
                    last.to = Some(seq);
                }
            }
            _ => {}
        }
    }
    out
}

/// Whether an event of a package says something about what is in it. What was printed for the package does not.
fn reaches_contents(past: &Past) -> bool {
    !matches!(
        past.fact,
        Some(
            Fact::LabelPrinted(_)
                | Fact::ReportPrinted(_)
                | Fact::Amended(_)
                | Fact::FindingAnswered(_)
        )
    )
}

/// The trail of a piece, oldest first, each event once, at most [`HISTORY_MAX`]. Whether the piece may be seen, the
/// caller has asked before: what is around it belongs to the same case.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(store: &dyn Store, piece: Piece) -> Result<Vec<Step>, ReadError> {
    load_with(store, piece, &mut Known::new()).await
}

/// Trails of packages that were read before, for whoever reads the trails of many pieces.
pub type Known = BTreeMap<PackageId, Vec<Step>>;

/// As [`load`], with the trails of packages that were read before.
///
/// # Errors
/// See [`ReadError`].
pub async fn load_with(
    store: &dyn Store,
    piece: Piece,
    known: &mut Known,
) -> Result<Vec<Step>, ReadError> {
    let steps = deeper(store, piece, MAX_DEPTH + 1, known).await?;
    let most = usize::try_from(HISTORY_MAX).unwrap_or(usize::MAX);
    Ok(steps.into_iter().take(most).collect())
}

fn deeper<'a>(
    store: &'a dyn Store,
    piece: Piece,
    depth: usize,
    known: &'a mut Known,
) -> BoxFuture<'a, Result<Vec<Step>, ReadError>> {
    Box::pin(async move {
        let of = Subject::from(piece);
        let own = history(store, of).await?;
        let stays = stays(piece, &own);
        if let Some(inner) = depth.checked_sub(1) {
            let packages: BTreeSet<PackageId> = stays.iter().map(|w| w.package).collect();
            for package in packages {
                if !known.contains_key(&package) {
                    let steps = deeper(store, Piece::Package(package), inner, known).await?;
                    known.insert(package, steps);
                }
            }
            return Ok(joined(piece, own, &stays, known));
        }
        Ok(joined(piece, own, &[], known))
    })
}

/// A piece's own events, and those of the packages around it while it was in them, in the ledger's order, each once.
#[must_use]
pub fn joined(piece: Piece, own: Vec<Past>, stays: &[Within], packages: &Known) -> Vec<Step> {
    let of = Subject::from(piece);
    let mut by_seq: BTreeMap<Seq, Step> = BTreeMap::new();
    for past in own {
        let step = Step {
            past,
            of,
            through: None,
        };
        by_seq.insert(step.seq(), step);
    }
    let around: BTreeSet<PackageId> = stays.iter().map(|w| w.package).collect();
    for package in around {
        for step in packages.get(&package).into_iter().flatten() {
            let here = stays
                .iter()
                .any(|w| w.package == package && w.holds(step.seq()));
            if here && reaches_contents(&step.past) {
                by_seq.entry(step.seq()).or_insert_with(|| Step {
                    through: step.through.or(Some(package)),
                    ..step.clone()
                });
            }
        }
    }
    by_seq.into_values().collect()
}

/// The history of a mark, as steps.
///
/// # Errors
/// See [`ReadError`].
pub async fn of_mark(store: &dyn Store, mark: MarkId) -> Result<Vec<Step>, ReadError> {
    let of = Subject::Mark(mark);
    let all = history(store, of).await?.into_iter();
    Ok(all
        .map(|past| Step {
            past,
            of,
            through: None,
        })
        .collect())
}

/// Everything that a trail names and whose words are wanted: packages, pieces, places and people.
#[must_use]
pub fn named(steps: &[Step]) -> BTreeSet<Subject> {
    let mut out = BTreeSet::new();
    for step in steps {
        out.extend(step.past.event.header.touches.iter().map(|t| t.subject));
        out.extend(step.past.event.header.actor.map(Subject::Person));
        match &step.past.fact {
            Some(Fact::Stored(x)) => {
                out.insert(Subject::Place(x.place));
                out.extend(x.from_place.map(Subject::Place));
                out.extend(x.override_by.map(Subject::Person));
            }
            Some(Fact::Fetched(x)) => {
                out.insert(Subject::Place(x.place));
            }
            Some(Fact::Released(x)) => {
                out.insert(Subject::Person(x.to));
                out.extend(x.from_place.map(Subject::Place));
            }
            Some(Fact::Received(x)) => {
                out.insert(Subject::Person(x.from));
            }
            _ => {}
        }
    }
    out
}
