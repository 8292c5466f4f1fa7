//! A thing of nobody that a person takes charge of.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Condition;
use super::seal_seen::{seal_on, seal_seen, seen_texts};
use crate::custody::fact::{Draft, Fact};
use crate::custody::package::seal_number;
use crate::custody::refusal::{Refusal, Rule, text};
use crate::custody::rules::Context;
use crate::custody::state::Holder;
use crate::ids::Piece;

/// Take charge of something that nobody released: found, left behind, brought without a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TakeCharge {
    /// What.
    pub piece: Piece,
    /// Where it was and why it was taken charge of.
    pub reason: String,
    /// The seal number seen.
    #[serde(default)]
    pub seal_seen: String,
    /// The condition seen.
    #[serde(default)]
    pub condition: Condition,
    /// Note.
    #[serde(default)]
    pub note: String,
}

/// Somebody took charge of a piece that nobody released.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChargeTaken {
    /// What.
    pub piece: Piece,
    /// The holder on record until then, in words.
    pub from: String,
    /// The place for two people in which it stood by the record: nobody else is named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alone_from: Option<String>,
    /// Time from here on is not accounted for: the last custody event before.
    pub unaccounted_since: DateTime<FixedOffset>,
    /// Where it was and why.
    pub reason: String,
    /// The seal on record; empty for none.
    pub seal: String,
    /// The seal seen.
    pub seal_seen: String,
    /// The condition seen.
    pub condition: Condition,
    /// Note.
    pub note: String,
}

pub(in crate::custody) fn take_charge(
    ctx: &Context<'_>,
    x: &TakeCharge,
) -> Result<Vec<Draft>, Refusal> {
    text("reason", &x.reason, 500, true)?;
    seen_texts(&x.seal_seen, &x.note)?;
    let me = ctx.me()?;
    let (custody, case) = ctx.piece(x.piece)?;
    ctx.loose(x.piece, custody)?;
    if custody.holder == (Holder::Person { person: me }) {
        return Err(Refusal::new(
            Rule::ToOneself,
            "You hold it already.",
            "Nothing is left to do.",
        ));
    }
    seal_seen(ctx.state, x.piece, &x.seal_seen, x.condition, &x.note)?;
    let fact = Fact::ChargeTaken(ChargeTaken {
        piece: x.piece,
        from: ctx.holder_name(&custody.holder),
        alone_from: custody
            .holder
            .place()
            .and_then(|p| ctx.state.two_person(p))
            .map(|p| p.added.name.clone()),
        unaccounted_since: custody.last_at,
        reason: x.reason.clone(),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        seal_seen: seal_number(&x.seal_seen),
        condition: x.condition,
        note: x.note.clone(),
    });
    Ok(ctx.draft(Some(case), vec![x.piece.into()], fact))
}
