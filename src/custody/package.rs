//! Packages: made, filled, sealed, opened. What is in a package goes where it goes; nothing leaves a sealed one.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::hand_over::{Condition, Stayed, seal_seen, seen_texts};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, TradeReason, capital, not_found};
use super::state::{Custody, Key, Loan, Package, SealOn, State, Thing};
use super::stock::{self, FromStock};
use crate::ids::{CaseId, Code, PackageId, Piece, PlaceId, Subject};
use crate::keeping::fitting::{self, Sides, TOO_SMALL};
use crate::keeping::{Met, StockLine};

/// How deep packages may stand in packages.
pub const MAX_DEPTH: usize = 8;
/// How many pieces a package may hold.
pub const MAX_CONTENTS: usize = 500;
/// How many seals a package may have had.
pub const MAX_SEALS: usize = 200;

/// A seal number as the ledger keeps and compares it: no space around it, one space where several stood, ASCII letters
/// in capitals. A number is typed or scanned by several people, and these differences are not differences of the seal.
#[must_use]
pub fn seal_number(typed: &str) -> String {
    let parts: Vec<&str> = typed.split_whitespace().collect();
    parts.join(" ").to_ascii_uppercase()
}

/// Make a package of pieces that the actor holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Pack {
    /// Case.
    pub case: CaseId,
    /// Kind of container, by the trade rules' identifier.
    pub container: String,
    /// The box is taken from the stock of an office, which then has one less.
    #[serde(default)]
    pub stock: Option<FromStock>,
    /// Inside length, width and height in millimetres, where it was measured; known of a box from stock.
    #[serde(default)]
    pub inner_mm: Option<Sides>,
    /// What goes in.
    #[serde(default)]
    pub contents: Vec<Piece>,
    /// Note.
    #[serde(default)]
    pub note: String,
}

/// Put a piece into an open package.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PutIn {
    /// Package.
    pub package: PackageId,
    /// Piece.
    pub piece: Piece,
}

/// Take a piece out of an open package.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TakeOut {
    /// Package.
    pub package: PackageId,
    /// Piece.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// Seal a package.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Seal {
    /// Package.
    pub package: PackageId,
    /// The number printed on the seal; never used twice.
    pub number: String,
    /// Initials and date written across the seal onto the package.
    #[serde(default)]
    pub initialled: bool,
}

/// Open a sealed package.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Open {
    /// Package.
    pub package: PackageId,
    /// Why.
    pub reason: String,
    /// The seal number seen before cutting.
    pub seal_seen: String,
    /// The condition seen.
    #[serde(default)]
    pub condition: Condition,
    /// Note; needed for any condition other than intact.
    #[serde(default)]
    pub note: String,
}

/// A package was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackageMade {
    /// Package.
    pub package: PackageId,
    /// Case.
    pub case: CaseId,
    /// Number in the case.
    pub number: u32,
    /// The code on its label.
    pub code: Code,
    /// Kind of container.
    pub container: String,
    /// Inside length, width and height in millimetres, where they are known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inner_mm: Option<Sides>,
    /// Whose stock the box is from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stock_place: Option<PlaceId>,
    /// What that office calls the kind of box.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stock_kind: Option<String>,
    /// What went in.
    pub contents: Vec<Piece>,
    /// Note.
    pub note: String,
    /// What a rule asks for first and is not on the record.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
}

/// A piece was put in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PiecePutIn {
    /// Package.
    pub package: PackageId,
    /// Piece.
    pub piece: Piece,
    /// What a rule asks for first and is not on the record.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
}

/// A piece was taken out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PieceTakenOut {
    /// Package.
    pub package: PackageId,
    /// Piece.
    pub piece: Piece,
    /// Why.
    pub reason: String,
    /// The package came back from outside without it, for this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stayed: Option<Stayed>,
}

/// A package was sealed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackageSealed {
    /// Package.
    pub package: PackageId,
    /// Seal number.
    pub seal: String,
    /// Initials and date across the seal.
    pub initialled: bool,
}

/// A package was opened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackageOpened {
    /// Package.
    pub package: PackageId,
    /// The seal on record.
    pub seal: String,
    /// The seal seen.
    pub seal_seen: String,
    /// The condition seen.
    pub condition: Condition,
    /// Why.
    pub reason: String,
    /// Note.
    pub note: String,
    /// It came back from outside opened: what was seen then stands in the event of its return.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub outside: bool,
}

fn get<'a>(ctx: &'a Context<'_>, id: PackageId) -> Result<&'a Package, Refusal> {
    ctx.state
        .packages
        .get(&id)
        .ok_or_else(|| not_found("package"))
}

/// The package and every package around it must be open.
pub(super) fn open_all_the_way(ctx: &Context<'_>, id: PackageId) -> Result<(), Refusal> {
    let mut at = Some(id);
    for _ in 0..=MAX_DEPTH {
        let Some(package) = at.and_then(|p| ctx.state.packages.get(&p)) else {
            break;
        };
        if package.seal().is_some() {
            return Err(Refusal::new(
                Rule::Sealed,
                format!("Package P{} is sealed.", package.number),
                "Open it on the record first.",
            ));
        }
        at = package.custody.inside;
    }
    Ok(())
}

/// Whether all these pieces may be in one container together.
fn fits(
    ctx: &Context<'_>,
    container: &str,
    inner_mm: Option<Sides>,
    pieces: impl Iterator<Item = Piece>,
) -> Result<(), Refusal> {
    let things: Vec<Thing<'_>> = pieces.filter_map(|p| ctx.state.thing(p)).collect();
    let refused = |rule: Rule, why: TradeReason| {
        let next = if why.next.is_empty() {
            "Choose another container.".to_owned()
        } else {
            why.next
        };
        Refusal::new(
            rule,
            format!("{} (rule {}, {})", why.sentence, why.rule, why.source),
            next,
        )
        .on("container")
    };
    ctx.trade
        .container(&things, container, inner_mm)
        .map_err(|why| {
            let rule = if why.rule == TOO_SMALL {
                Rule::TooSmall
            } else {
                Rule::ContainerForbidden
            };
            refused(rule, why)
        })?;
    ctx.trade
        .dry_enough(&things, container, ctx.at)
        .map_err(|why| refused(Rule::NotDry, why))
}

/// What a rule asks to be done at once with these things, and what is not on the record although they are packed now.
fn undone(ctx: &Context<'_>, pieces: &[Piece]) -> Vec<String> {
    let mut out = Vec::new();
    for piece in pieces {
        let Piece::Item(id) = piece else { continue };
        let Some(item) = ctx.state.items.get(id) else {
            continue;
        };
        let Some(needs) = item.needs() else { continue };
        let moments = item.moments();
        for limit in &needs.packing.limits {
            let asked = limit.met_by() == Some(Met::Photograph);
            if asked && limit.stand(&moments, ctx.at).calls() {
                out.push(format!(
                    "Item {} was packed before a photograph of it was on the record (rule {}).",
                    item.number,
                    limit.rule()
                ));
            }
        }
    }
    out
}

fn depth_below(state: &State, piece: Piece, left: usize) -> usize {
    match piece {
        Piece::Item(_) => 0,
        Piece::Package(_) if left == 0 => MAX_DEPTH + 1,
        Piece::Package(id) => {
            let inner = state.packages.get(&id).map_or(0, |p| {
                p.contents
                    .iter()
                    .map(|c| depth_below(state, *c, left - 1))
                    .max()
                    .unwrap_or(0)
            });
            inner + 1
        }
    }
}

fn depth_above(state: &State, id: PackageId) -> usize {
    let mut at = Some(id);
    let mut depth = 0;
    while let Some(package) = at.and_then(|p| state.packages.get(&p)) {
        depth += 1;
        if depth > MAX_DEPTH {
            break;
        }
        at = package.custody.inside;
    }
    depth
}

fn nesting(sentence: &str) -> Refusal {
    Refusal::new(Rule::Nesting, sentence, "Use another package.")
}

pub(super) fn pack(ctx: &Context<'_>, x: &Pack) -> Result<Vec<Draft>, Refusal> {
    prepared(ctx, x, |piece| ctx.in_hand(piece).map(|(_, case)| case))
}

/// A new package of pieces. Whether a piece may go in, and of which case it is, `of` says.
///
/// # Errors
/// Those of packing, and those of `of`.
pub(super) fn prepared(
    ctx: &Context<'_>,
    x: &Pack,
    of: impl Fn(Piece) -> Result<CaseId, Refusal>,
) -> Result<Vec<Draft>, Refusal> {
    let case = ctx.case(x.case)?;
    ctx.me()?;
    text("note", &x.note, 500, false)?;
    if !ctx.trade.knows_container(&x.container) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("There is no container {}.", x.container),
            "Choose one of the list.",
        )
        .on("container"));
    }
    let stock = match &x.stock {
        Some(from) => Some(from_stock(ctx, x, from)?),
        None => None,
    };
    if let Some(inner) = x.inner_mm {
        stock::inside(inner)?;
    }
    let inner_mm = stock.map(|line| line.inner_mm).or(x.inner_mm);
    if x.contents.len() > MAX_CONTENTS {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("A package holds at most {MAX_CONTENTS} pieces."),
            "Use several packages.",
        )
        .on("contents"));
    }
    let package = PackageId(ctx.command.id.0);
    let mut subjects = vec![Subject::Case(x.case), Subject::Package(package)];
    for (i, piece) in x.contents.iter().enumerate() {
        if of(*piece)? != x.case {
            return Err(other_case(ctx, *piece));
        }
        if x.contents[..i].contains(piece) {
            return Err(nesting(&format!(
                "{} is named twice.",
                capital(&ctx.state.name(*piece))
            )));
        }
        if depth_below(ctx.state, *piece, MAX_DEPTH) >= MAX_DEPTH {
            return Err(nesting(&format!(
                "Packages stand at most {MAX_DEPTH} deep."
            )));
        }
        subjects.push((*piece).into());
    }
    fits(ctx, &x.container, inner_mm, x.contents.iter().copied())?;
    if let Some(line) = stock {
        stock::enough(line, 1).map_err(|r| r.on("stock"))?;
    }
    let stock_place = x.stock.as_ref().map(|from| from.place);
    subjects.extend(stock_place.map(Subject::Place));
    let code = Code::of(Subject::Package(package)).ok_or_else(|| not_found("code"))?;
    let fact = Fact::PackageMade(PackageMade {
        package,
        case: x.case,
        number: case.packages + 1,
        code,
        container: x.container.clone(),
        inner_mm,
        stock_place,
        stock_kind: stock.map(|line| line.kind.clone()),
        contents: x.contents.clone(),
        note: x.note.clone(),
        warnings: undone(ctx, &x.contents),
    });
    Ok(ctx.draft(Some(x.case), subjects, fact))
}

/// The line of the stock that the box is from; it is of the container that was asked for.
fn from_stock<'a>(
    ctx: &'a Context<'_>,
    x: &Pack,
    from: &FromStock,
) -> Result<&'a StockLine, Refusal> {
    let line = stock::find(ctx, from.place, &from.kind).map_err(|r| r.on("stock"))?;
    if line.container == x.container && x.inner_mm.is_none_or(|inner| inner == line.inner_mm) {
        return Ok(line);
    }
    Err(Refusal::new(
        Rule::BadValue,
        format!(
            "{} is a {}, {} inside.",
            line.kind,
            line.container,
            fitting::words(line.inner_mm)
        ),
        "Name that container, and no other inside.",
    )
    .on("stock"))
}

pub(super) fn other_case(ctx: &Context<'_>, piece: Piece) -> Refusal {
    Refusal::new(
        Rule::OtherCase,
        format!(
            "{} belongs to another case.",
            capital(&ctx.state.name(piece))
        ),
        "Keep each case in its own packages.",
    )
}

pub(super) fn put_in(ctx: &Context<'_>, x: &PutIn) -> Result<Vec<Draft>, Refusal> {
    let package = get(ctx, x.package)?;
    let (custody, case) = ctx.piece(Piece::Package(x.package))?;
    let outermost = ctx.state.outermost(Piece::Package(x.package));
    if let Some(outer) = ctx.state.custody(outermost) {
        ctx.no_offer(outermost, outer)?;
    }
    ctx.no_offer(Piece::Package(x.package), custody)?;
    ctx.held(Piece::Package(x.package))?;
    let (_, of) = ctx.in_hand(x.piece)?;
    open_all_the_way(ctx, x.package)?;
    if package.closed_at.is_some() {
        return Err(Refusal::new(
            Rule::Closed,
            format!(
                "Package P{} was emptied when its contents were packed anew: nothing goes in any more.",
                package.number
            ),
            "Use another package.",
        ));
    }
    if of != case {
        return Err(other_case(ctx, x.piece));
    }
    if outermost == x.piece || x.piece == Piece::Package(x.package) {
        return Err(nesting("A package does not go into itself."));
    }
    if package.contents.len() >= MAX_CONTENTS {
        return Err(nesting(&format!(
            "A package holds at most {MAX_CONTENTS} pieces."
        )));
    }
    if depth_above(ctx.state, x.package) + depth_below(ctx.state, x.piece, MAX_DEPTH) > MAX_DEPTH {
        return Err(nesting(&format!(
            "Packages stand at most {MAX_DEPTH} deep."
        )));
    }
    let together = package.contents.iter().copied().chain([x.piece]);
    fits(ctx, &package.container, package.inner_mm, together)?;
    let fact = Fact::PiecePutIn(PiecePutIn {
        package: x.package,
        piece: x.piece,
        warnings: undone(ctx, &[x.piece]),
    });
    let mut subjects = vec![Subject::Package(x.package), x.piece.into()];
    // The piece's loan passes to the outermost package, which is then changed too.
    if outermost != Piece::Package(x.package)
        && ctx.state.custody(x.piece).is_some_and(|c| c.loan.is_some())
    {
        subjects.push(outermost.into());
    }
    Ok(ctx.draft(Some(case), subjects, fact))
}

pub(super) fn take_out(ctx: &Context<'_>, x: &TakeOut) -> Result<Vec<Draft>, Refusal> {
    text("reason", &x.reason, 500, true)?;
    let (_, case) = ctx.piece(x.piece)?;
    let outermost = ctx.state.outermost(x.piece);
    if let Some(outer) = ctx.state.custody(outermost) {
        ctx.no_offer(outermost, outer)?;
    }
    ctx.held(x.piece)?;
    open_all_the_way(ctx, x.package)?;
    let fact = Fact::PieceTakenOut(PieceTakenOut {
        package: x.package,
        piece: x.piece,
        reason: x.reason.clone(),
        stayed: None,
    });
    Ok(ctx.draft(
        Some(case),
        vec![Subject::Package(x.package), x.piece.into()],
        fact,
    ))
}

pub(super) fn seal(ctx: &Context<'_>, x: &Seal) -> Result<Vec<Draft>, Refusal> {
    let package = get(ctx, x.package)?;
    let piece = Piece::Package(x.package);
    text("number", &x.number, 40, true)?;
    let number = seal_number(&x.number);
    if package.seals.len() >= MAX_SEALS {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("The package had {MAX_SEALS} seals."),
            "Use another package.",
        ));
    }
    let (_, case) = ctx.in_hand(piece)?;
    if package.seal().is_some() {
        return Err(Refusal::new(
            Rule::Sealed,
            format!("Package P{} is sealed already.", package.number),
            "Open it on the record before a new seal goes on.",
        ));
    }
    if package.contents.is_empty() {
        return Err(Refusal::new(
            Rule::Empty,
            format!("There is nothing in package P{}.", package.number),
            "Put in what it is for, then seal it.",
        ));
    }
    free_seal(ctx, &number).map_err(|r| r.on("number"))?;
    let fact = Fact::PackageSealed(PackageSealed {
        package: x.package,
        seal: number,
        initialled: x.initialled,
    });
    Ok(ctx.draft(Some(case), vec![Subject::Package(x.package)], fact))
}

/// Each seal number is used once.
pub(super) fn free_seal(ctx: &Context<'_>, number: &str) -> Result<(), Refusal> {
    if ctx.state.seals.contains_key(number) {
        return Err(Refusal::new(
            Rule::Taken,
            format!("Seal {number} was used before."),
            "Take a new seal: each number is used once.",
        ));
    }
    Ok(())
}

pub(super) fn open(ctx: &Context<'_>, x: &Open) -> Result<Vec<Draft>, Refusal> {
    let package = get(ctx, x.package)?;
    text("reason", &x.reason, 500, true)?;
    seen_texts(&x.seal_seen, &x.note)?;
    let piece = Piece::Package(x.package);
    let (_, case) = ctx.in_hand(piece)?;
    let Some(seal) = package.seal() else {
        return Err(Refusal::new(
            Rule::NotSealed,
            format!("Package P{} is not sealed.", package.number),
            "Nothing is left to open.",
        ));
    };
    seal_seen(ctx.state, piece, &x.seal_seen, x.condition, &x.note)?;
    let fact = Fact::PackageOpened(PackageOpened {
        package: x.package,
        seal: seal.number.clone(),
        seal_seen: seal_number(&x.seal_seen),
        condition: x.condition,
        reason: x.reason.clone(),
        note: x.note.clone(),
        outside: false,
    });
    Ok(ctx.draft(Some(case), vec![Subject::Package(x.package)], fact))
}

/// Of two loans the one that is due first; one that is due before one that is not.
fn more_urgent(a: Option<Box<Loan>>, b: Option<Box<Loan>>) -> Option<Box<Loan>> {
    let loans = a.into_iter().chain(b);
    loans.min_by_key(|l| (l.due_at.is_none(), l.due_at, l.since))
}

pub(super) fn made(state: &mut State, x: &PackageMade, meta: &Meta) -> Result<(), Misfit> {
    let person = meta
        .actor
        .ok_or_else(|| meta.misfit("a package has a maker"))?;
    let case = state
        .cases
        .get_mut(&x.case)
        .ok_or_else(|| meta.misfit("no such case"))?;
    if x.number != case.packages + 1 {
        return Err(meta.misfit("the package's number is not the next one"));
    }
    case.packages = x.number;
    if let (Some(place), Some(kind)) = (x.stock_place, &x.stock_kind) {
        stock::taken(state, (place, kind, 1), meta)?;
    }
    let mut custody_of_all = Custody::begin(person, meta.at);
    for piece in &x.contents {
        let custody = state
            .custody_mut(*piece)
            .ok_or_else(|| meta.misfit("no such piece"))?;
        custody.inside = Some(x.package);
        custody.last_at = meta.at;
        custody_of_all.loan = more_urgent(custody_of_all.loan.take(), custody.loan.take());
    }
    state
        .known
        .insert(Key::Subject(Subject::Package(x.package)));
    state.known.insert(Key::Code(x.code.clone()));
    state
        .codes
        .insert(x.code.clone(), Subject::Package(x.package));
    state.packages.insert(
        x.package,
        Package {
            id: x.package,
            case: x.case,
            number: x.number,
            code: x.code.clone(),
            container: x.container.clone(),
            inner_mm: x.inner_mm,
            contents: x.contents.clone(),
            seals: Vec::new(),
            answers: Vec::new(),
            custody: custody_of_all,
            repacked_from: Vec::new(),
            repacked_into: Vec::new(),
            closed_at: None,
            expunged: None,
        },
    );
    Ok(())
}

fn package_mut<'a>(
    state: &'a mut State,
    id: PackageId,
    meta: &Meta,
) -> Result<&'a mut Package, Misfit> {
    state
        .packages
        .get_mut(&id)
        .ok_or_else(|| meta.misfit("no such package"))
}

pub(super) fn was_put_in(state: &mut State, x: &PiecePutIn, meta: &Meta) -> Result<(), Misfit> {
    let package = package_mut(state, x.package, meta)?;
    package.contents.push(x.piece);
    package.custody.last_at = meta.at;
    let outermost = state.outermost(Piece::Package(x.package));
    let custody = state
        .custody_mut(x.piece)
        .ok_or_else(|| meta.misfit("no such piece"))?;
    custody.inside = Some(x.package);
    custody.last_at = meta.at;
    if let Some(loan) = custody.loan.take() {
        let outer = state
            .custody_mut(outermost)
            .ok_or_else(|| meta.misfit("no such package"))?;
        outer.loan = more_urgent(outer.loan.take(), Some(loan));
    }
    Ok(())
}

pub(super) fn was_taken_out(
    state: &mut State,
    x: &PieceTakenOut,
    meta: &Meta,
) -> Result<(), Misfit> {
    let holder = state
        .holder(x.piece)
        .cloned()
        .ok_or_else(|| meta.misfit("no such piece"))?;
    let outermost = state.outermost(x.piece);
    let around = state.custody(outermost);
    let loan = around.and_then(|c| c.loan.clone());
    // What stays outside without the package still went out with it, but was not weighed alone.
    let out = around.and_then(|c| c.out.clone()).map(|mut out| {
        (out.weight_mg, out.scale) = (None, None);
        out
    });
    let package = package_mut(state, x.package, meta)?;
    package.contents.retain(|p| *p != x.piece);
    package.custody.last_at = meta.at;
    // An empty package owes nothing: the loan goes on with the last piece taken out.
    if outermost == Piece::Package(x.package) && package.contents.is_empty() {
        package.custody.loan = None;
    }
    let custody = state
        .custody_mut(x.piece)
        .ok_or_else(|| meta.misfit("no such piece"))?;
    custody.inside = None;
    custody.holder = holder;
    // What was taken out of a package on loan is still on loan.
    custody.loan = loan;
    custody.out = out;
    custody.last_at = meta.at;
    Ok(())
}

pub(super) fn sealed(state: &mut State, x: &PackageSealed, meta: &Meta) -> Result<(), Misfit> {
    state.seals.insert(x.seal.clone(), x.package);
    state.known.insert(Key::Seal(x.seal.clone()));
    let package = package_mut(state, x.package, meta)?;
    package.seals.push(SealOn {
        number: x.seal.clone(),
        at: meta.at,
        by: meta.actor,
        cut_at: None,
        cut_reason: None,
    });
    package.custody.last_at = meta.at;
    Ok(())
}

pub(super) fn opened(state: &mut State, x: &PackageOpened, meta: &Meta) -> Result<(), Misfit> {
    let package = package_mut(state, x.package, meta)?;
    let seal = package
        .seals
        .last_mut()
        .ok_or_else(|| meta.misfit("opened without a seal"))?;
    seal.cut_at = Some(meta.at);
    seal.cut_reason = Some(x.reason.clone());
    package.custody.last_at = meta.at;
    Ok(())
}
