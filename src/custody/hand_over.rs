//! Hand-overs: one release and one receipt. An offer moves nothing; only an acceptance does.

mod hand_out;
mod receive;
mod release;
mod seal_seen;
mod take_back;
mod take_charge;

use chrono::{DateTime, FixedOffset, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::refusal::{Refusal, Rule};
use super::rules::{Context, Meta, Misfit};
use super::state::{Custody, Holder, State};
use crate::ids::{Piece, PlaceId, Subject};
use crate::people::{Action, permission};

pub use self::hand_out::{HandOut, HandedOut, Party};
pub(super) use self::hand_out::{hand_out, handed_out};
pub use self::receive::{Receive, Received, Refuse, Refused};
pub(super) use self::receive::{receive, received, refuse};
pub use self::release::{Release, Released, Withdraw, Withdrawn};
pub(super) use self::release::{offer_ended, release, released, withdraw};
pub use self::seal_seen::seal_on;
pub(super) use self::seal_seen::{seal_seen, sealed_or_reason, seen_texts, unsealed_text};
pub use self::take_back::{Absent, Stayed, TakeBack, TakenBack};
pub(super) use self::take_back::{take_back, taken_back};
pub(super) use self::take_charge::take_charge;
pub use self::take_charge::{ChargeTaken, TakeCharge};

/// The condition in which something was seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Condition {
    /// Seal and package whole, seal number as on record.
    #[default]
    Intact,
    /// The package is damaged.
    Damaged,
    /// The package is open.
    Open,
    /// Wet.
    Wet,
    /// Leaking.
    Leaking,
    /// The seal seen is not the seal on record.
    Mismatch,
}

fn due(
    ctx: &Context<'_>,
    due_at: Option<DateTime<FixedOffset>>,
    needed: bool,
) -> Result<(), Refusal> {
    match due_at {
        None if needed => Err(Refusal::new(
            Rule::NoDueDate,
            "What leaves the storeroom has a date on which it is due back.",
            "Give the date and time.",
        )
        .on("due_at")),
        Some(due) if due.with_timezone(&Utc) <= ctx.at.with_timezone(&Utc) => Err(Refusal::new(
            Rule::NoDueDate,
            "The due date lies before the release.",
            "Give a later date.",
        )
        .on("due_at")),
        _ => Ok(()),
    }
}

/// Held by the actor, or on a shelf while the actor keeps the storeroom.
fn mine_or_shelved<'a>(
    ctx: &'a Context<'_>,
    piece: Piece,
) -> Result<(&'a Custody, Option<PlaceId>), Refusal> {
    let (custody, _) = ctx.piece(piece)?;
    ctx.loose(piece, custody)?;
    ctx.no_offer(piece, custody)?;
    match &custody.holder {
        Holder::Place { place } if permission::allows(&ctx.actor.roles, Action::Keep) => {
            Ok((custody, Some(*place)))
        }
        _ => ctx.held(piece).map(|()| (custody, None)),
    }
}

fn subjects(piece: Piece, place: Option<PlaceId>) -> Vec<Subject> {
    let mut out = vec![piece.into()];
    out.extend(place.map(Subject::Place));
    out
}

fn may_hold(ctx: &Context<'_>) -> Result<(), Refusal> {
    if ctx.actor.roles.iter().any(|r| r.may_hold()) {
        return Ok(());
    }
    Err(Refusal::new(
        Rule::RecipientMayNot,
        "Your role may not hold evidence.",
        "Have a custodian do it.",
    ))
}

fn custody_mut<'a>(
    state: &'a mut State,
    piece: Piece,
    meta: &Meta,
) -> Result<&'a mut Custody, Misfit> {
    let custody = state
        .custody_mut(piece)
        .ok_or_else(|| meta.misfit("no such piece"))?;
    custody.last_at = meta.at;
    Ok(custody)
}
