//! The answer to an offer: received or refused.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::release::addressed;
use super::seal_seen::{seal_on, seal_seen, seen_texts};
use super::{Condition, custody_mut};
use crate::custody::capacity;
use crate::custody::fact::{Draft, Fact};
use crate::custody::package::seal_number;
use crate::custody::refusal::{Refusal, text};
use crate::custody::rules::{Context, Meta, Misfit};
use crate::custody::state::{Holder, Loan, State};
use crate::ids::{PersonId, Piece};

/// Receive what is offered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Receive {
    /// What.
    pub piece: Piece,
    /// The seal number seen; needed where there is a seal.
    #[serde(default)]
    pub seal_seen: String,
    /// The condition seen.
    #[serde(default)]
    pub condition: Condition,
    /// Note; needed for any condition other than intact.
    #[serde(default)]
    pub note: String,
}

/// Refuse what is offered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Refuse {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// Received.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Received {
    /// What.
    pub piece: Piece,
    /// Who released it.
    pub from: PersonId,
    /// Their name at that moment.
    pub from_name: String,
    /// The seal on record; empty for none.
    pub seal: String,
    /// The seal seen.
    pub seal_seen: String,
    /// The condition seen.
    pub condition: Condition,
    /// Note.
    pub note: String,
}

/// An offer was refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refused {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

pub(in crate::custody) fn receive(ctx: &Context<'_>, x: &Receive) -> Result<Vec<Draft>, Refusal> {
    seen_texts(&x.seal_seen, &x.note)?;
    let offer = addressed(ctx, x.piece)?;
    seal_seen(ctx.state, x.piece, &x.seal_seen, x.condition, &x.note)?;
    let fact = Fact::Received(Received {
        piece: x.piece,
        from: offer.by,
        from_name: ctx.state.person_name(offer.by),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        seal_seen: seal_number(&x.seal_seen),
        condition: x.condition,
        note: x.note.clone(),
    });
    Ok(ctx.draft_of(x.piece, fact))
}

pub(in crate::custody) fn refuse(ctx: &Context<'_>, x: &Refuse) -> Result<Vec<Draft>, Refusal> {
    text("reason", &x.reason, 500, true)?;
    addressed(ctx, x.piece)?;
    let fact = Fact::Refused(Refused {
        piece: x.piece,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft_of(x.piece, fact))
}

pub(in crate::custody) fn received(
    state: &mut State,
    x: &Received,
    meta: &Meta,
) -> Result<(), Misfit> {
    let person = meta
        .actor
        .ok_or_else(|| meta.misfit("a receipt has an actor"))?;
    let custody = custody_mut(state, x.piece, meta)?;
    let offer = custody
        .offer
        .take()
        .ok_or_else(|| meta.misfit("received without an offer"))?;
    if offer.from_place || offer.due_at.is_some() {
        custody.loan = Some(Box::new(Loan {
            purpose: offer.purpose,
            authority: offer.authority,
            due_at: offer.due_at,
            since: meta.at,
            outside: false,
        }));
    }
    let from = custody.holder.place();
    custody.holder = Holder::Person { person };
    capacity::moved(state, from, None, meta)
}
