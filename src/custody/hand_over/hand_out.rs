//! Out to somebody without an account.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::seal_seen::{seal_on, sealed_or_reason, unsealed_text};
use super::{custody_mut, due};
use crate::custody::fact::{Draft, Fact};
use crate::custody::refusal::{Refusal, text};
use crate::custody::rules::{Context, Meta, Misfit};
use crate::custody::state::{Holder, Loan, Out, State};
use crate::custody::weight::{Weighed, weighed};
use crate::ids::Piece;

/// Somebody without an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Party {
    /// Name.
    pub name: String,
    /// Organisation.
    pub organisation: String,
    /// The identification that was seen.
    pub identification: String,
    /// Reference number: consignment, court file.
    #[serde(default)]
    pub reference: String,
}

/// Hand to somebody without an account. The person who records it witnesses it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HandOut {
    /// What.
    pub piece: Piece,
    /// To whom.
    pub party: Party,
    /// Why.
    pub purpose: String,
    /// By whose authority it goes: a court's order, a request, a rule of the agency; empty where none is needed.
    #[serde(default)]
    pub authority: String,
    /// Due back, if it comes back.
    #[serde(default)]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Why it goes unsealed, if it does.
    #[serde(default)]
    pub unsealed_reason: Option<String>,
    /// The carrier's tracking number.
    #[serde(default)]
    pub tracking: String,
    /// What it weighs as it goes.
    #[serde(default)]
    pub weighed: Option<Weighed>,
}

/// Handed to somebody without an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HandedOut {
    /// What.
    pub piece: Piece,
    /// Name.
    pub name: String,
    /// Organisation.
    pub organisation: String,
    /// The identification that was seen.
    pub identification: String,
    /// Reference number.
    pub reference: String,
    /// Why.
    pub purpose: String,
    /// By whose authority; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// The seal on it; empty for none.
    pub seal: String,
    /// Due back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Why it goes unsealed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unsealed_reason: Option<String>,
    /// The due date is that of this hand-out alone: nothing was on loan from the storeroom before it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub own_loan: bool,
    /// The carrier's tracking number; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub tracking: String,
    /// Its weight in milligrams, where it was weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weight_mg: Option<u64>,
    /// The scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
}

pub(super) fn party(x: &Party) -> Result<(), Refusal> {
    text("name", &x.name, 100, true)?;
    text("organisation", &x.organisation, 200, true)?;
    text("identification", &x.identification, 200, true)?;
    text("reference", &x.reference, 100, false)
}

pub(in crate::custody) fn hand_out(ctx: &Context<'_>, x: &HandOut) -> Result<Vec<Draft>, Refusal> {
    text("purpose", &x.purpose, 300, true)?;
    text("authority", &x.authority, 200, false)?;
    party(&x.party)?;
    unsealed_text(x.unsealed_reason.as_deref())?;
    text("tracking", &x.tracking, 100, false)?;
    let (weight_mg, scale) = weighed(x.weighed.as_ref())?.unzip();
    let (custody, case) = ctx.in_hand(x.piece)?;
    crate::custody::hold::free(ctx, x.piece)?;
    let own_loan = x.due_at.is_some() && custody.loan.is_none();
    due(ctx, x.due_at, false)?;
    sealed_or_reason(ctx.state, x.piece, x.unsealed_reason.as_deref())?;
    let fact = Fact::HandedOut(HandedOut {
        piece: x.piece,
        name: x.party.name.clone(),
        organisation: x.party.organisation.clone(),
        identification: x.party.identification.clone(),
        reference: x.party.reference.clone(),
        purpose: x.purpose.clone(),
        authority: x.authority.trim().to_owned(),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        due_at: x.due_at,
        unsealed_reason: x.unsealed_reason.clone().filter(|r| !r.trim().is_empty()),
        own_loan,
        tracking: x.tracking.trim().to_owned(),
        weight_mg,
        scale,
    });
    Ok(ctx.draft(Some(case), vec![x.piece.into()], fact))
}

pub(in crate::custody) fn handed_out(
    state: &mut State,
    x: &HandedOut,
    meta: &Meta,
) -> Result<(), Misfit> {
    let custody = custody_mut(state, x.piece, meta)?;
    custody.holder = Holder::Outside {
        name: x.name.clone(),
        organisation: x.organisation.clone(),
    };
    custody.out = Some(Box::new(Out {
        at: meta.at,
        authority: x.authority.clone(),
        tracking: x.tracking.clone(),
        weight_mg: x.weight_mg,
        scale: x.scale.clone(),
    }));
    if x.due_at.is_some() {
        custody.loan = Some(Box::new(Loan {
            purpose: x.purpose.clone(),
            // It stands with how it went out.
            authority: String::new(),
            due_at: x.due_at,
            since: meta.at,
            outside: x.own_loan,
        }));
    }
    Ok(())
}
