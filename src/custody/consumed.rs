//! What an examination uses up: part of an item, or all of it. All of it ends its custody: nothing is left to keep, to hand
//! over or to dispose of, and nothing more is done with it. It takes no three people, as a disposition does: whoever used
//! it up says so in a report that the event names.
//!
//! Nothing under a hold is used up, not in part either. Whether an examination may use a thing up, who must be told and
//! who must agree before, local law and counsel decide; the event says by whose authority it was done.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::disposition::Method;
use super::fact::{Draft, Fact};
use super::hold;
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, capital};
use super::state::{Holder, State};
use crate::ids::{ItemId, Piece, Subject};

/// How often something may be used up of one item.
pub const MAX_CONSUMED: usize = 100;

/// Record that an examination used an item up, or part of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Consume {
    /// Which item.
    pub item: ItemId,
    /// Nothing of it is left: its custody ends.
    pub whole: bool,
    /// How much, in words: `all of it`, `two of three swabs`.
    pub quantity: String,
    /// Who says so: the examiner, or the laboratory.
    pub said_by: String,
    /// By whose authority: a prosecutor's consent, a court's order, a rule of the agency.
    pub authority: String,
    /// The report or the laboratory's number that shows it.
    pub report: String,
    /// Note.
    #[serde(default)]
    pub note: String,
}

/// An examination used an item up, or part of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ItemConsumed {
    /// Which item.
    pub item: ItemId,
    /// Nothing of it is left.
    pub whole: bool,
    /// How much, in words.
    pub quantity: String,
    /// Who says so.
    pub said_by: String,
    /// By whose authority.
    pub authority: String,
    /// The report that shows it.
    pub report: String,
    /// Note.
    pub note: String,
}

/// What was used up of an item, on its record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Consumed {
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Nothing of it is left.
    pub whole: bool,
    /// How much, in words.
    pub quantity: String,
    /// Who says so.
    pub said_by: String,
    /// The report that shows it.
    pub report: String,
}

/// Of what can be used up: no hold, not too often.
pub(super) fn can_be(ctx: &Context<'_>, item: ItemId) -> Result<(), Refusal> {
    if let Some((hold, what)) = hold::on(ctx.state, Piece::Item(item)) {
        return Err(Refusal::new(
            Rule::Held,
            format!(
                "{} is not used up: a hold stands on {what} since {} (ordered by {}: {}).",
                capital(&ctx.state.name(Piece::Item(item))),
                hold.at.format("%Y-%m-%d %H:%M %:z"),
                hold.authority,
                hold.reason
            ),
            "Only whoever may lift the hold can change that; ask a supervisor or the court liaison.",
        ));
    }
    let often = ctx.state.items.get(&item).map_or(0, |i| i.consumed.len());
    if often >= MAX_CONSUMED {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("Something was used up of it {MAX_CONSUMED} times."),
            "Record what was used up since together.",
        ));
    }
    Ok(())
}

/// The texts; who says so is left out where it is whoever brings it back.
pub(super) fn texts(
    quantity: &str,
    said_by: Option<&str>,
    authority: &str,
    report: &str,
) -> Result<(), Refusal> {
    text("quantity", quantity, 200, true)?;
    if let Some(said_by) = said_by {
        text("said_by", said_by, 200, true)?;
    }
    text("authority", authority, 200, true)?;
    text("report", report, 200, true)
}

pub(super) fn consume(ctx: &Context<'_>, x: &Consume) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    texts(&x.quantity, Some(&x.said_by), &x.authority, &x.report)?;
    text("note", &x.note, 1000, false)?;
    let piece = Piece::Item(x.item);
    let (custody, case) = ctx.piece(piece)?;
    // Of what is in a package part may be gone, as a report says; what is gone whole is not in it any more.
    if x.whole {
        ctx.loose(piece, custody)?;
    }
    let outermost = ctx.state.outermost(piece);
    if let Some(outer) = ctx.state.custody(outermost) {
        ctx.no_offer(outermost, outer)?;
    }
    if !matches!(ctx.state.holder(piece), Some(Holder::Outside { .. })) {
        ctx.held(piece)?;
    }
    can_be(ctx, x.item)?;
    let fact = Fact::ItemConsumed(ItemConsumed {
        item: x.item,
        whole: x.whole,
        quantity: x.quantity.clone(),
        said_by: x.said_by.clone(),
        authority: x.authority.clone(),
        report: x.report.clone(),
        note: x.note.clone(),
    });
    Ok(ctx.draft(Some(case), vec![Subject::Item(x.item)], fact))
}

pub(super) fn was_consumed(state: &mut State, x: &ItemConsumed, meta: &Meta) -> Result<(), Misfit> {
    let item = state
        .items
        .get_mut(&x.item)
        .ok_or_else(|| meta.misfit("no such item"))?;
    item.consumed.push(Consumed {
        at: meta.at,
        whole: x.whole,
        quantity: x.quantity.clone(),
        said_by: x.said_by.clone(),
        report: x.report.clone(),
    });
    let custody = &mut item.custody;
    custody.last_at = custody.last_at.max(meta.at);
    if x.whole {
        if custody.inside.is_some() {
            return Err(meta.misfit(format!(
                "{} is in a package",
                capital(&format!("item {}", item.number))
            )));
        }
        custody.holder = Holder::Disposed {
            method: Method::Consumed,
        };
        custody.loan = None;
        custody.out = None;
        custody.disposition = None;
    }
    Ok(())
}
