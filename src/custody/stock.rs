//! The stock of boxes: what kinds of box an office has, how large they are inside, and how many are left. It stands with
//! the place where the boxes lie, so that whoever packs is told which to take.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::item::MAX_SIDE_MM;
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit};
use super::state::State;
use crate::ids::{PlaceId, Subject};
use crate::keeping::StockLine;
use crate::keeping::fitting::Sides;

/// How many kinds of box a place may have in stock.
pub const MAX_KINDS: usize = 100;
/// How many boxes of a kind a place may have.
pub const MAX_COUNT: u32 = 100_000;

/// Say what a place has in stock of a kind of box: after counting, or after a delivery. A count of none takes the kind
/// off the list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StockSet {
    /// Where the boxes lie.
    pub place: PlaceId,
    /// What the office calls the kind; unique in the place.
    pub kind: String,
    /// Kind of container, by the trade rules' identifier.
    pub container: String,
    /// Inside length, width and height in millimetres.
    pub inner_mm: Sides,
    /// How many there are.
    pub count: u32,
}

/// Take boxes from stock without packing on the record: for a van, or because they are spoiled.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StockTake {
    /// Where the boxes lie.
    pub place: PlaceId,
    /// What the office calls the kind.
    pub kind: String,
    /// How many.
    pub count: u32,
    /// What for.
    pub purpose: String,
}

/// A box from stock, for a package.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FromStock {
    /// Where the boxes lie.
    pub place: PlaceId,
    /// What the office calls the kind.
    pub kind: String,
}

/// The stock of a kind of box was counted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StockCounted {
    /// Where.
    pub place: PlaceId,
    /// What the office calls the kind.
    pub kind: String,
    /// Kind of container.
    pub container: String,
    /// Inside length, width and height in millimetres.
    pub inner_mm: Sides,
    /// How many there are.
    pub count: u32,
    /// How many the record said there were.
    pub before: u32,
}

/// Boxes were taken from stock.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StockTaken {
    /// Where.
    pub place: PlaceId,
    /// What the office calls the kind.
    pub kind: String,
    /// How many.
    pub count: u32,
    /// What for.
    pub purpose: String,
}

/// A kind as it is kept and compared: no space around it.
fn kind_of(typed: &str) -> &str {
    typed.trim()
}

pub(super) fn set(ctx: &Context<'_>, x: &StockSet) -> Result<Vec<Draft>, Refusal> {
    text("kind", &x.kind, 40, true)?;
    let place = ctx.place(x.place)?;
    if !ctx.trade.knows_container(&x.container) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("There is no container {}.", x.container),
            "Choose one of the list.",
        )
        .on("container"));
    }
    inside(x.inner_mm)?;
    if x.count > MAX_COUNT {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("A place has at most {MAX_COUNT} boxes of a kind."),
            "Count again.",
        )
        .on("count"));
    }
    let kind = kind_of(&x.kind);
    let before = place.stock.iter().find(|l| l.kind == kind);
    if before.is_none() && place.stock.len() >= MAX_KINDS {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("A place has at most {MAX_KINDS} kinds of box."),
            "Take a kind off the list by counting none of it, or use another place.",
        )
        .on("kind"));
    }
    let fact = Fact::StockCounted(StockCounted {
        place: x.place,
        kind: kind.to_owned(),
        container: x.container.clone(),
        inner_mm: x.inner_mm,
        count: x.count,
        before: before.map_or(0, |l| l.count),
    });
    Ok(ctx.draft(None, vec![Subject::Place(x.place)], fact))
}

/// The inside of a box, as far as it can be one.
///
/// # Errors
/// [`Rule::BadValue`].
pub(super) fn inside(inner_mm: Sides) -> Result<(), Refusal> {
    if inner_mm.iter().all(|s| (1..=MAX_SIDE_MM).contains(s)) {
        return Ok(());
    }
    Err(Refusal::new(
        Rule::BadValue,
        "Each side of a box measures between 1 mm and 100 m inside.",
        "Give inside length, width and height in millimetres.",
    )
    .on("inner_mm"))
}

pub(super) fn take(ctx: &Context<'_>, x: &StockTake) -> Result<Vec<Draft>, Refusal> {
    text("kind", &x.kind, 40, true)?;
    text("purpose", &x.purpose, 300, true)?;
    if x.count == 0 {
        return Err(
            Refusal::new(Rule::BadValue, "No box is taken.", "Give a number from 1.").on("count"),
        );
    }
    let line = find(ctx, x.place, &x.kind)?;
    enough(line, x.count)?;
    let fact = Fact::StockTaken(StockTaken {
        place: x.place,
        kind: line.kind.clone(),
        count: x.count,
        purpose: x.purpose.clone(),
    });
    Ok(ctx.draft(None, vec![Subject::Place(x.place)], fact))
}

/// A kind of box of a place.
///
/// # Errors
/// [`Rule::NotFound`], [`Rule::BadValue`].
pub(super) fn find<'a>(
    ctx: &'a Context<'_>,
    at: PlaceId,
    kind: &str,
) -> Result<&'a StockLine, Refusal> {
    let place = ctx.place(at)?;
    place
        .stock
        .iter()
        .find(|l| l.kind == kind_of(kind))
        .ok_or_else(|| {
            Refusal::new(
                Rule::BadValue,
                format!("{} has no kind of box {}.", place.added.name, kind_of(kind)),
                "Choose one of its list, or have the stock counted.",
            )
            .on("kind")
        })
}

/// There are so many left.
///
/// # Errors
/// [`Rule::NotInStock`].
pub(super) fn enough(line: &StockLine, count: u32) -> Result<(), Refusal> {
    if line.count >= count {
        return Ok(());
    }
    Err(Refusal::new(
        Rule::NotInStock,
        format!("Of {} there are {} in stock.", line.kind, line.count),
        "Take another kind, or count the stock where the boxes lie.",
    )
    .on("kind"))
}

pub(super) fn counted(state: &mut State, x: &StockCounted, meta: &Meta) -> Result<(), Misfit> {
    let place = state
        .places
        .get_mut(&x.place)
        .ok_or_else(|| meta.misfit("no such place"))?;
    place.stock.retain(|l| l.kind != x.kind);
    if x.count > 0 {
        place.stock.push(StockLine {
            kind: x.kind.clone(),
            container: x.container.clone(),
            inner_mm: x.inner_mm,
            count: x.count,
        });
        place.stock.sort_by(|a, b| a.kind.cmp(&b.kind));
    }
    Ok(())
}

/// Boxes left the stock. A kind of which none is left stays on the list, so that somebody sees it.
///
/// # Errors
/// [`Misfit`].
pub(super) fn taken(
    state: &mut State,
    (at, kind, count): (PlaceId, &str, u32),
    meta: &Meta,
) -> Result<(), Misfit> {
    let line = state
        .places
        .get_mut(&at)
        .and_then(|p| p.stock.iter_mut().find(|l| l.kind == kind))
        .ok_or_else(|| meta.misfit("no such kind of box in stock"))?;
    line.count = line
        .count
        .checked_sub(count)
        .ok_or_else(|| meta.misfit("more boxes were taken than there were"))?;
    Ok(())
}
