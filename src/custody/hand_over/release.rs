//! An offer to a person with an account: released, and taken back before it was answered.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::seal_seen::{seal_on, sealed_or_reason, unsealed_text};
use super::{custody_mut, due, mine_or_shelved, subjects};
use crate::custody::fact::{Draft, Fact};
use crate::custody::refusal::{Refusal, Rule, text};
use crate::custody::rules::{Context, Meta, Misfit, capital, not_found};
use crate::custody::state::{Holder, Offer, State};
use crate::custody::two_person;
use crate::ids::{PersonId, Piece, PlaceId};

/// Release to a person: an offer until they receive it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Release {
    /// What.
    pub piece: Piece,
    /// To whom.
    pub to: PersonId,
    /// Why.
    pub purpose: String,
    /// By whose authority it goes: a request with its number, a court's order; empty where none is needed.
    #[serde(default)]
    pub authority: String,
    /// Due back; needed when it leaves the storeroom.
    #[serde(default)]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Why it goes unsealed, if it does.
    #[serde(default)]
    pub unsealed_reason: Option<String>,
}

/// Withdraw an offer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Withdraw {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// Released.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Released {
    /// What.
    pub piece: Piece,
    /// To whom.
    pub to: PersonId,
    /// Their name at that moment.
    pub to_name: String,
    /// Why.
    pub purpose: String,
    /// By whose authority; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// The seal on it; empty for none.
    pub seal: String,
    /// The place it leaves, if it was on a shelf.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_place: Option<PlaceId>,
    /// Due back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Why it goes unsealed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unsealed_reason: Option<String>,
    /// Who else was there and signed, where it is taken out of a place for two people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second: Option<PersonId>,
    /// Their name at that moment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_name: Option<String>,
}

/// An offer was withdrawn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Withdrawn {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

pub(in crate::custody) fn release(ctx: &Context<'_>, x: &Release) -> Result<Vec<Draft>, Refusal> {
    text("purpose", &x.purpose, 300, true)?;
    text("authority", &x.authority, 200, false)?;
    unsealed_text(x.unsealed_reason.as_deref())?;
    let me = ctx.me()?;
    let (_, from_place) = mine_or_shelved(ctx, x.piece)?;
    if x.to == me {
        return Err(Refusal::new(
            Rule::ToOneself,
            "You released it to yourself.",
            "Choose who is to receive it; to take it from a shelf yourself, fetch it.",
        )
        .on("to"));
    }
    let to = ctx
        .state
        .people
        .get(&x.to)
        .ok_or_else(|| not_found("person").on("to"))?;
    let case = ctx
        .state
        .case_of(x.piece.into())
        .ok_or_else(|| not_found("case"))?;
    let sees = ctx
        .state
        .cases
        .get(&case)
        .is_some_and(|c| c.seen_by(Some(x.to)));
    if !to.active || !to.roles.iter().any(|r| r.may_hold()) || !sees {
        let why = if !to.active {
            "has an account that is switched off"
        } else if !sees {
            "is not assigned to this restricted case"
        } else {
            "has no role that may hold evidence"
        };
        return Err(Refusal::new(
            Rule::RecipientMayNot,
            format!("{} {why}.", to.name),
            "Choose somebody else, or ask a supervisor.",
        )
        .on("to"));
    }
    due(ctx, x.due_at, from_place.is_some())?;
    sealed_or_reason(ctx.state, x.piece, x.unsealed_reason.as_deref())?;
    let second = two_person::second(ctx, &[from_place], case)?;
    let fact = Fact::Released(Released {
        piece: x.piece,
        to: x.to,
        to_name: to.name.clone(),
        purpose: x.purpose.clone(),
        authority: x.authority.trim().to_owned(),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        from_place,
        due_at: x.due_at,
        unsealed_reason: x.unsealed_reason.clone().filter(|r| !r.trim().is_empty()),
        second: second.as_ref().map(|s| s.person),
        second_name: second.map(|s| s.name),
    });
    Ok(ctx.draft(Some(case), subjects(x.piece, from_place), fact))
}

fn offer<'a>(ctx: &'a Context<'_>, piece: Piece) -> Result<&'a Offer, Refusal> {
    let (custody, _) = ctx.piece(piece)?;
    custody.offer.as_ref().ok_or_else(|| {
        let mine = ctx.actor.id.map(|person| Holder::Person { person });
        if mine.is_some() && ctx.state.holder(piece) == mine.as_ref() {
            return Refusal::new(
                Rule::NoOffer,
                format!(
                    "{} is not on offer: you have it already.",
                    capital(&ctx.state.name(piece))
                ),
                "Nothing is left to receive, refuse or withdraw.",
            );
        }
        let who = ctx
            .state
            .holder(piece)
            .map_or_else(|| "nobody".into(), |h| ctx.holder_name(h));
        Refusal::new(
            Rule::NoOffer,
            format!(
                "{} is not on offer: {who} has it.",
                capital(&ctx.state.name(piece))
            ),
            "Ask for its release first.",
        )
    })
}

pub(super) fn addressed<'a>(ctx: &'a Context<'_>, piece: Piece) -> Result<&'a Offer, Refusal> {
    let offer = offer(ctx, piece)?;
    if ctx.actor.id == Some(offer.to) {
        Ok(offer)
    } else {
        Err(Refusal::new(
            Rule::NotAddressee,
            format!(
                "{} is on offer to {}.",
                capital(&ctx.state.name(piece)),
                ctx.state.person_name(offer.to)
            ),
            "Only they can receive or refuse it; the releaser can withdraw it and release it to you.",
        ))
    }
}

pub(in crate::custody) fn withdraw(ctx: &Context<'_>, x: &Withdraw) -> Result<Vec<Draft>, Refusal> {
    text("reason", &x.reason, 500, true)?;
    let offer = offer(ctx, x.piece)?;
    if ctx.actor.id != Some(offer.by) {
        return Err(Refusal::new(
            Rule::NotReleaser,
            format!("{} released it.", ctx.state.person_name(offer.by)),
            "Only they can withdraw it; the addressee can refuse it.",
        ));
    }
    let fact = Fact::Withdrawn(Withdrawn {
        piece: x.piece,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft_of(x.piece, fact))
}

pub(in crate::custody) fn released(
    state: &mut State,
    x: &Released,
    meta: &Meta,
) -> Result<(), Misfit> {
    let by = meta
        .actor
        .ok_or_else(|| meta.misfit("a release has an actor"))?;
    let custody = custody_mut(state, x.piece, meta)?;
    custody.offer = Some(Offer {
        by,
        to: x.to,
        at: meta.at,
        purpose: x.purpose.clone(),
        authority: x.authority.clone(),
        due_at: x.due_at,
        from_place: x.from_place.is_some(),
    });
    Ok(())
}

pub(in crate::custody) fn offer_ended(
    state: &mut State,
    piece: Piece,
    meta: &Meta,
) -> Result<(), Misfit> {
    custody_mut(state, piece, meta)?.offer = None;
    Ok(())
}
