//! Holds: somebody with the authority says that evidence stays.
//!
//! A hold stands on an item or on a whole case. While one stands, the item is neither handed to anybody outside nor
//! disposed of, and nothing that contains it is. What happens inside the agency goes on: hand-overs between people with an
//! account, shelves, packages, examinations. A hold says that something must stay in the agency's hands, not that
//! nobody may work with it. What a hold must cover, and who may lift it, local law and counsel decide.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, capital, not_found};
use super::state::State;
use crate::ids::{PersonId, Piece, Subject};

/// How many holds an item or a case may have had.
pub const MAX_HOLDS: usize = 100;

/// Place a hold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlaceHold {
    /// An item, or a whole case.
    pub of: Subject,
    /// Why.
    pub reason: String,
    /// Who ordered it: a court, a prosecutor, a statute.
    pub authority: String,
}

/// Lift a hold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LiftHold {
    /// An item, or a whole case.
    pub of: Subject,
    /// Which of its holds, by number.
    pub number: u32,
    /// Why.
    pub reason: String,
    /// Who ordered it.
    pub authority: String,
}

/// A hold was placed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HoldPlaced {
    /// An item, or a whole case.
    pub of: Subject,
    /// Which of its holds, 1 for the first.
    pub number: u32,
    /// Why.
    pub reason: String,
    /// Who ordered it.
    pub authority: String,
}

/// A hold was lifted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HoldLifted {
    /// An item, or a whole case.
    pub of: Subject,
    /// Which of its holds.
    pub number: u32,
    /// Why.
    pub reason: String,
    /// Who ordered it.
    pub authority: String,
}

/// A hold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Hold {
    /// Which, 1 for the first.
    pub number: u32,
    /// Why.
    pub reason: String,
    /// Who ordered it.
    pub authority: String,
    /// Who recorded it.
    pub by: Option<PersonId>,
    /// Since when.
    pub at: DateTime<FixedOffset>,
    /// When it was lifted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lifted_at: Option<DateTime<FixedOffset>>,
}

/// The holds that stand, of all that there were.
pub fn standing(holds: &[Hold]) -> impl Iterator<Item = &Hold> {
    holds.iter().filter(|h| h.lifted_at.is_none())
}

fn holds(state: &State, of: Subject) -> Option<&Vec<Hold>> {
    match of {
        Subject::Item(id) => state.items.get(&id).map(|x| &x.holds),
        Subject::Case(id) => state.cases.get(&id).map(|x| &x.holds),
        _ => None,
    }
}

/// The first hold on a piece, on anything in it, or on its case, with what it stands on in words.
#[must_use]
pub fn on(state: &State, piece: Piece) -> Option<(&Hold, String)> {
    if let Some(case) = state
        .case_of(piece.into())
        .and_then(|id| state.cases.get(&id))
        && let Some(hold) = standing(&case.holds).next()
    {
        return Some((hold, format!("case {}", case.number)));
    }
    state.items_in(piece).into_iter().find_map(|item| {
        let hold = standing(&item.holds).next()?;
        Some((hold, format!("item {}", item.number)))
    })
}

/// Nothing in the piece is held.
///
/// # Errors
/// [`Rule::Held`] with the hold's reason.
pub(super) fn free(ctx: &Context<'_>, piece: Piece) -> Result<(), Refusal> {
    match on(ctx.state, piece) {
        None => Ok(()),
        Some((hold, what)) => Err(Refusal::new(
            Rule::Held,
            format!(
                "{} does not leave the agency: a hold stands on {what} since {} (ordered by {}: {}).",
                capital(&ctx.state.name(piece)),
                hold.at.format("%Y-%m-%d %H:%M %:z"),
                hold.authority,
                hold.reason
            ),
            "Only whoever may lift the hold can change that; ask a supervisor or the court liaison.",
        )),
    }
}

fn texts(reason: &str, authority: &str) -> Result<(), Refusal> {
    text("reason", reason, 500, true)?;
    text("authority", authority, 200, true)
}

pub(super) fn place(ctx: &Context<'_>, x: &PlaceHold) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    texts(&x.reason, &x.authority)?;
    let holds = holds(ctx.state, x.of).ok_or_else(|| not_found("item or case").on("of"))?;
    if holds.len() >= MAX_HOLDS {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("There were {MAX_HOLDS} holds on it already."),
            "Place the hold on the whole case.",
        ));
    }
    let fact = Fact::HoldPlaced(HoldPlaced {
        of: x.of,
        number: u32::try_from(holds.len() + 1).unwrap_or(u32::MAX),
        reason: x.reason.clone(),
        authority: x.authority.clone(),
    });
    Ok(ctx.draft_of(x.of, fact))
}

pub(super) fn lift(ctx: &Context<'_>, x: &LiftHold) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    texts(&x.reason, &x.authority)?;
    let holds = holds(ctx.state, x.of).ok_or_else(|| not_found("item or case").on("of"))?;
    if !standing(holds).any(|h| h.number == x.number) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("No hold {} stands on it.", x.number),
            "Look up which holds stand.",
        )
        .on("number"));
    }
    let fact = Fact::HoldLifted(HoldLifted {
        of: x.of,
        number: x.number,
        reason: x.reason.clone(),
        authority: x.authority.clone(),
    });
    Ok(ctx.draft_of(x.of, fact))
}

fn holds_mut<'a>(
    state: &'a mut State,
    of: Subject,
    meta: &Meta,
) -> Result<&'a mut Vec<Hold>, Misfit> {
    let found = match of {
        Subject::Item(id) => state.items.get_mut(&id).map(|x| &mut x.holds),
        Subject::Case(id) => state.cases.get_mut(&id).map(|x| &mut x.holds),
        _ => None,
    };
    found.ok_or_else(|| meta.misfit("no such item or case"))
}

pub(super) fn placed(state: &mut State, x: &HoldPlaced, meta: &Meta) -> Result<(), Misfit> {
    holds_mut(state, x.of, meta)?.push(Hold {
        number: x.number,
        reason: x.reason.clone(),
        authority: x.authority.clone(),
        by: meta.actor,
        at: meta.at,
        lifted_at: None,
    });
    Ok(())
}

pub(super) fn lifted(state: &mut State, x: &HoldLifted, meta: &Meta) -> Result<(), Misfit> {
    let hold = holds_mut(state, x.of, meta)?
        .iter_mut()
        .find(|h| h.number == x.number)
        .ok_or_else(|| meta.misfit("no such hold"))?;
    hold.lifted_at = Some(meta.at);
    Ok(())
}
