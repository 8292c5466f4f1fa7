//! The trail of a piece: its own events, and what the packages around it went through while it was in them.
//!
//! An event of a package touches the package and not its contents, so what a hand-over of a box meant for the cast in
//! it is found here, by the times at which the cast went in and came out.

use std::collections::{BTreeMap, BTreeSet};

use super::custody_rows::claimed_at;
use crate::app::past::{HISTORY_MAX, Past, histories};
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
    /// Where somebody took charge of what this was recorded on: the event with which it was certain last who had that. It is in
    /// that thing's own history, and need not be on the trail of what was put into it later.
    pub certain: Option<Seq>,
}

impl Step {
    /// An event as one of a subject's own.
    #[must_use]
    pub fn own(past: Past, of: Subject) -> Self {
        Self {
            past,
            of,
            through: None,
            certain: None,
        }
    }

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

/// Trails of packages that were read before, for whoever reads the trails of many pieces.
pub type Known = BTreeMap<PackageId, Vec<Step>>;

/// The trail of a piece, oldest first, each event once, at most [`HISTORY_MAX`]. Whether the piece may be seen, the
/// caller has asked before: what is around it belongs to the same case.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(store: &dyn Store, piece: Piece) -> Result<Vec<Step>, ReadError> {
    let mut all = load_all(store, &[piece], &mut Known::new()).await?;
    Ok(all.remove(&piece).unwrap_or_default())
}

/// A piece's own history, and when it was in which package.
type Own = BTreeMap<Piece, (Vec<Past>, Vec<Within>)>;

/// The trails of several pieces, read together, with those of packages that were read before.
///
/// # Errors
/// See [`ReadError`].
pub async fn load_all(
    store: &dyn Store,
    pieces: &[Piece],
    known: &mut Known,
) -> Result<BTreeMap<Piece, Vec<Step>>, ReadError> {
    let mut own = Own::new();
    let mut todo: BTreeSet<Piece> = pieces.iter().copied().collect();
    // From the pieces outward, a question for all that lie equally deep.
    for _ in 0..=MAX_DEPTH + 1 {
        todo.retain(|p| !is_known(known, *p) && !own.contains_key(p));
        if todo.is_empty() {
            break;
        }
        let subjects = todo.iter().map(|p| Subject::from(*p)).collect();
        let mut read = histories(store, &subjects).await?;
        let mut next = BTreeSet::new();
        for piece in todo {
            let past = read.remove(&piece.into()).unwrap_or_default();
            let stays = stays(piece, &past);
            next.extend(stays.iter().map(|w| Piece::Package(w.package)));
            own.insert(piece, (past, stays));
        }
        todo = next;
    }
    let most = usize::try_from(HISTORY_MAX).unwrap_or(usize::MAX);
    let mut out = BTreeMap::new();
    for piece in pieces {
        let mut steps = match piece {
            Piece::Package(package) => {
                settle(*package, &mut own, known);
                known.get(package).cloned().unwrap_or_default()
            }
            Piece::Item(_) => match own.remove(piece) {
                Some((past, stays)) => {
                    for within in &stays {
                        settle(within.package, &mut own, known);
                    }
                    joined(*piece, past, &stays, known)
                }
                None => continue,
            },
        };
        steps.truncate(most);
        out.insert(*piece, steps);
    }
    Ok(out)
}

fn is_known(known: &Known, piece: Piece) -> bool {
    matches!(piece, Piece::Package(package) if known.contains_key(&package))
}

/// Joins the trail of a package, those of the packages around it first. What was taken out of `own` is not gone into again,
/// so this ends however packages are said to lie in each other.
fn settle(package: PackageId, own: &mut Own, known: &mut Known) {
    let piece = Piece::Package(package);
    if known.contains_key(&package) {
        return;
    }
    let Some((past, stays)) = own.remove(&piece) else {
        return;
    };
    for within in &stays {
        settle(within.package, own, known);
    }
    let steps = joined(piece, past, &stays, known);
    known.insert(package, steps);
}

/// Of taking charge of something: the event, among those before it, with which it was certain last who had it.
fn certain(before: &[Step], step: &Step) -> Option<Seq> {
    let Some(Fact::ChargeTaken(x)) = &step.past.fact else {
        return None;
    };
    let custody = ["custody.", "package.", "item.recovered", "item.brought-in"];
    let of_custody = |s: &&Step| {
        let kind = &s.past.event.header.kind;
        claimed_at(s) == x.unaccounted_since && custody.iter().any(|c| kind.starts_with(c))
    };
    before.iter().rfind(of_custody).map(Step::seq)
}

/// A piece's own events, and those of the packages around it while it was in them, in the ledger's order, each once.
#[must_use]
pub fn joined(piece: Piece, own: Vec<Past>, stays: &[Within], packages: &Known) -> Vec<Step> {
    let of = Subject::from(piece);
    let mut by_seq: BTreeMap<Seq, Step> = BTreeMap::new();
    let mut own: Vec<Step> = own.into_iter().map(|past| Step::own(past, of)).collect();
    for i in 0..own.len() {
        own[i].certain = certain(&own[..i], &own[i]);
    }
    by_seq.extend(own.into_iter().map(|step| (step.seq(), step)));
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
    let mut all = of_marks(store, &[mark].into()).await?;
    Ok(all.remove(&mark).unwrap_or_default())
}

/// The histories of several marks, as steps, read together.
///
/// # Errors
/// See [`ReadError`].
pub async fn of_marks(
    store: &dyn Store,
    marks: &BTreeSet<MarkId>,
) -> Result<BTreeMap<MarkId, Vec<Step>>, ReadError> {
    let subjects = marks.iter().copied().map(Subject::Mark).collect();
    let mut read = histories(store, &subjects).await?;
    let steps = |mark: &MarkId| {
        let of = Subject::Mark(*mark);
        let all = read.remove(&of).unwrap_or_default().into_iter();
        let steps = all.map(|past| Step::own(past, of));
        (*mark, steps.collect())
    };
    Ok(marks.iter().map(steps).collect())
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
