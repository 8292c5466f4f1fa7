//! Packages split, merged and packed anew: one act that takes contents out of packages, which it opens where they are sealed,
//! and puts them into a new one. It is recorded as what it is made of (opened, taken out, made, sealed) and one event more,
//! which links the packages. All of it or nothing.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::hand_over::{Condition, seal_seen, seen_texts};
use super::package::{
    MAX_CONTENTS, Pack, PackageOpened, PackageSealed, PieceTakenOut, free_seal, other_case,
    prepared, seal_number,
};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, capital, not_found};
use super::state::{Package, State};
use super::stock::FromStock;
use crate::ids::{CaseId, PackageId, Piece, Subject};
use crate::keeping::fitting::Sides;

/// From how many packages one is made.
pub const MAX_SOURCES: usize = 50;
/// Into how many packages one goes, one after the other.
pub const MAX_INTO: usize = 200;

/// Why it is packed anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// Some of the contents get a package of their own.
    Split,
    /// The contents of several packages come into one.
    Merge,
    /// The package is damaged.
    Damaged,
    /// The package is wet.
    Wet,
    /// The container is not the right one for what is in it.
    WrongContainer,
    /// Something else, as the reason says.
    Other,
}

impl Why {
    /// Every reason.
    pub const ALL: [Self; 6] = [
        Self::Split,
        Self::Merge,
        Self::Damaged,
        Self::Wet,
        Self::WrongContainer,
        Self::Other,
    ];

    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Split => "split: some of the contents get a package of their own",
            Self::Merge => "merged: the contents of several packages come into one",
            Self::Damaged => "the package is damaged",
            Self::Wet => "the package is wet",
            Self::WrongContainer => "the container is not the right one",
            Self::Other => "another reason",
        }
    }

    /// The word in forms and commands.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Split => "split",
            Self::Merge => "merge",
            Self::Damaged => "damaged",
            Self::Wet => "wet",
            Self::WrongContainer => "wrong-container",
            Self::Other => "other",
        }
    }
}

/// A package that contents are taken out of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Package.
    pub package: PackageId,
    /// The seal number seen before cutting; needed where there is a seal.
    #[serde(default)]
    pub seal_seen: String,
    /// The condition seen.
    #[serde(default)]
    pub condition: Condition,
    /// Note; needed for any condition other than intact.
    #[serde(default)]
    pub note: String,
}

/// Make a new package of the contents of others.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Repack {
    /// The packages that contents are taken out of; those that are sealed are opened for it.
    pub sources: Vec<Source>,
    /// Which of the contents go over; none named: everything.
    #[serde(default)]
    pub contents: Vec<Piece>,
    /// Why.
    pub why: Why,
    /// The reason in words.
    pub reason: String,
    /// Kind of container, by the trade rules' identifier.
    pub container: String,
    /// The box is taken from the stock of an office, which then has one less.
    #[serde(default)]
    pub stock: Option<FromStock>,
    /// Inside length, width and height in millimetres, where it was measured; known of a box from stock.
    #[serde(default)]
    pub inner_mm: Option<Sides>,
    /// Note on the new package.
    #[serde(default)]
    pub note: String,
    /// The number of the seal on the new package; empty where it is sealed later.
    #[serde(default)]
    pub seal: String,
    /// Initials and date written across that seal onto the package.
    #[serde(default)]
    pub initialled: bool,
}

/// A package that contents were taken out of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RepackedFrom {
    /// Package.
    pub package: PackageId,
    /// Its number in the case.
    pub number: u32,
    /// How many pieces went over.
    pub pieces: usize,
    /// Nothing is in it any more: it is closed.
    pub emptied: bool,
}

/// Contents went from packages into a new one.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackageRepacked {
    /// The new package.
    pub package: PackageId,
    /// Its number in the case.
    pub number: u32,
    /// Where its contents were.
    pub from: Vec<RepackedFrom>,
    /// Why.
    pub why: Why,
    /// The reason in words.
    pub reason: String,
}

fn package<'a>(ctx: &'a Context<'_>, id: PackageId) -> Result<&'a Package, Refusal> {
    let found = ctx.state.packages.get(&id);
    found.ok_or_else(|| not_found("package").on("sources"))
}

fn bad(field: &str, sentence: impl Into<String>, next: &str) -> Refusal {
    Refusal::new(Rule::BadValue, sentence, next).on(field)
}

/// The packages are in the actor's hands, of one case, and hold something. Their case.
fn in_hand(ctx: &Context<'_>, x: &Repack) -> Result<CaseId, Refusal> {
    let mut case = None;
    for (i, source) in x.sources.iter().enumerate() {
        let piece = Piece::Package(source.package);
        if x.sources[..i].iter().any(|s| s.package == source.package) {
            return Err(Refusal::new(
                Rule::NamedTwice,
                format!("{} is named twice.", capital(&ctx.state.name(piece))),
                "Name each package once.",
            )
            .on("sources"));
        }
        let (_, of) = ctx.in_hand(piece)?;
        let package = package(ctx, source.package)?;
        if package.contents.is_empty() {
            return Err(Refusal::new(
                Rule::Empty,
                format!("There is nothing in package P{}.", package.number),
                "Leave it out.",
            ));
        }
        if package.seal().is_some() {
            seal_seen(
                ctx.state,
                piece,
                &source.seal_seen,
                source.condition,
                &source.note,
            )?;
        }
        if *case.get_or_insert(of) != of {
            return Err(other_case(ctx, piece));
        }
        if package.repacked_into.len() >= MAX_INTO {
            return Err(bad(
                "sources",
                format!("Package P{} was split {MAX_INTO} times.", package.number),
                "Pack what is left of it anew as a whole.",
            ));
        }
    }
    case.ok_or_else(|| not_found("package").on("sources"))
}

/// How many pieces stay behind fits why it is done.
fn fits_why(x: &Repack, stay: usize) -> Result<(), Refusal> {
    match x.why {
        Why::Split if x.sources.len() != 1 || stay == 0 => Err(bad(
            "why",
            "A package is split when some of its contents go over and some stay.",
            "Name one package and some of its contents, or say why all of it is packed anew.",
        )),
        Why::Merge if x.sources.len() < 2 => Err(bad(
            "why",
            "Packages are merged when contents of at least two come into one.",
            "Name the other packages too.",
        )),
        Why::Damaged | Why::Wet | Why::WrongContainer if stay > 0 => Err(bad(
            "contents",
            "A package that is damaged, wet or the wrong one is emptied.",
            "Let everything go over, or say that it is split.",
        )),
        _ => Ok(()),
    }
}

pub(super) fn repack(ctx: &Context<'_>, x: &Repack) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    text("reason", &x.reason, 500, true)?;
    text("seal", &x.seal, 40, false)?;
    for source in &x.sources {
        seen_texts(&source.seal_seen, &source.note)?;
    }
    if x.sources.is_empty() || x.sources.len() > MAX_SOURCES {
        return Err(bad(
            "sources",
            format!("A package is made of 1 to {MAX_SOURCES} others."),
            "Name the packages that its contents are in.",
        ));
    }
    if x.contents.len() > MAX_CONTENTS {
        return Err(bad(
            "contents",
            format!("A package holds at most {MAX_CONTENTS} pieces."),
            "Use several packages.",
        ));
    }
    let case = in_hand(ctx, x)?;
    let goes = |piece: &Piece| x.contents.is_empty() || x.contents.contains(piece);
    let mut drafts = Vec::new();
    let (mut contents, mut stay) = (Vec::new(), 0);
    let mut from = Vec::new();
    let mut taken = Vec::new();
    for source in &x.sources {
        let old = package(ctx, source.package)?;
        let (over, rest): (Vec<Piece>, Vec<Piece>) = old.contents.iter().partition(|p| goes(p));
        stay += rest.len();
        if over.is_empty() {
            return Err(bad(
                "contents",
                format!("Nothing of package P{} goes over.", old.number),
                "Leave it out, or name what goes over.",
            ));
        }
        if let Some(seal) = old.seal() {
            let fact = Fact::PackageOpened(PackageOpened {
                package: old.id,
                seal: seal.number.clone(),
                seal_seen: seal_number(&source.seal_seen),
                condition: source.condition,
                reason: x.reason.clone(),
                note: source.note.clone(),
                outside: false,
            });
            drafts.extend(ctx.draft(Some(case), vec![Subject::Package(old.id)], fact));
        }
        from.push(RepackedFrom {
            package: old.id,
            number: old.number,
            pieces: over.len(),
            emptied: rest.is_empty(),
        });
        taken.extend(over.iter().map(|piece| (old.id, *piece)));
        contents.extend(over);
    }
    fits_why(x, stay)?;
    // In the order in which they were named, where they were.
    if !x.contents.is_empty() {
        contents.clone_from(&x.contents);
    }
    let pack = Pack {
        case,
        container: x.container.clone(),
        stock: x.stock.clone(),
        inner_mm: x.inner_mm,
        contents,
        note: x.note.clone(),
    };
    let made = prepared(ctx, &pack, |_| Ok(case))?;
    let new = PackageId(ctx.command.id.0);
    let seal = seal_number(&x.seal);
    if !seal.is_empty() {
        free_seal(ctx, &seal).map_err(|r| r.on("seal"))?;
    }
    for (package, piece) in taken {
        let fact = Fact::PieceTakenOut(PieceTakenOut {
            package,
            piece,
            reason: x.reason.clone(),
            stayed: None,
        });
        let subjects = vec![Subject::Package(package), piece.into()];
        drafts.extend(ctx.draft(Some(case), subjects, fact));
    }
    drafts.extend(made);
    if !seal.is_empty() {
        let fact = Fact::PackageSealed(PackageSealed {
            package: new,
            seal,
            initialled: x.initialled,
        });
        drafts.extend(ctx.draft(Some(case), vec![Subject::Package(new)], fact));
    }
    let mut subjects = vec![Subject::Package(new)];
    subjects.extend(from.iter().map(|f| Subject::Package(f.package)));
    let number = ctx.case(case)?.packages + 1;
    let fact = Fact::PackageRepacked(PackageRepacked {
        package: new,
        number,
        from,
        why: x.why,
        reason: x.reason.clone(),
    });
    drafts.extend(ctx.draft(Some(case), subjects, fact));
    Ok(drafts)
}

pub(super) fn repacked(state: &mut State, x: &PackageRepacked, meta: &Meta) -> Result<(), Misfit> {
    let mut of = |id: PackageId, change: &mut dyn FnMut(&mut Package)| {
        let package = state.packages.get_mut(&id);
        let package = package.ok_or_else(|| meta.misfit("no such package"))?;
        change(package);
        package.custody.last_at = meta.at;
        Ok(())
    };
    of(x.package, &mut |new| {
        new.repacked_from = x.from.iter().map(|f| f.package).collect();
    })?;
    for old in &x.from {
        of(old.package, &mut |package| {
            package.repacked_into.push(x.package);
            if old.emptied {
                package.closed_at = Some(meta.at);
            }
        })?;
    }
    Ok(())
}
