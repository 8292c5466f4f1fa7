//! Dry since: a thing that was recovered wet is on record as dry, and from then on asks for what a dry thing asks for.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::item::needs_as_text;
use super::package::open_all_the_way;
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Holder, State};
use crate::ids::{ItemId, PersonId, Piece, Subject};
use crate::keeping::KeepNeeds;
use crate::people::{Action, permission};

/// Record that something recovered wet is dry. Since when is the command's `claimed_at`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NoteDry {
    /// Item.
    pub item: ItemId,
    /// How and where it was dried.
    pub how: String,
}

/// Something recovered wet is dry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ItemDried {
    /// Item.
    pub item: ItemId,
    /// How and where it was dried.
    pub how: String,
    /// What it asks for now, by the rules in force now.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "needs_as_text"
    )]
    pub needs: Option<Box<KeepNeeds>>,
}

/// Since when an item is dry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Dried {
    /// Since when, as claimed.
    pub at: DateTime<FixedOffset>,
    /// Who recorded it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<PersonId>,
    /// How and where it was dried.
    pub how: String,
    /// What it asks for since.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "needs_as_text"
    )]
    #[schemars(with = "Option<String>")]
    pub needs: Option<Box<KeepNeeds>>,
}

pub(super) fn note(ctx: &Context<'_>, x: &NoteDry) -> Result<Vec<Draft>, Refusal> {
    text("how", &x.how, 300, true)?;
    let piece = Piece::Item(x.item);
    let (custody, case) = ctx.piece(piece)?;
    let keeps = permission::allows(&ctx.actor.roles, Action::Keep);
    if !(keeps && matches!(ctx.state.holder(piece), Some(Holder::Place { .. }))) {
        ctx.held(piece)?;
    }
    // Whether a thing is dry can be felt only where it can be reached.
    if let Some(package) = custody.inside {
        open_all_the_way(ctx, package)?;
    }
    let item = ctx
        .state
        .items
        .get(&x.item)
        .ok_or_else(|| not_found("item"))?;
    let mark = ctx
        .state
        .marks
        .get(&item.mark)
        .ok_or_else(|| not_found("mark"))?;
    if !item.recovered.wet {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("Item {} was not recovered wet.", item.number),
            "Nothing is left to record.",
        )
        .on("item"));
    }
    if let Some(dried) = &item.dried {
        return Err(Refusal::new(
            Rule::BadValue,
            format!(
                "Item {} is on record as dry since {}.",
                item.number,
                dried.at.format("%Y-%m-%d %H:%M %:z")
            ),
            "Nothing is left to record.",
        )
        .on("item"));
    }
    if ctx.at < item.recovered_at {
        return Err(Refusal::new(
            Rule::BadValue,
            "It cannot have been dry before it was recovered wet.",
            "Give the time since which it is dry.",
        )
        .on("claimed_at"));
    }
    let fact = Fact::ItemDried(ItemDried {
        item: x.item,
        how: x.how.clone(),
        needs: ctx.trade.dried(&item.recovered, &mark.noted).map(Box::new),
    });
    Ok(ctx.draft(Some(case), vec![Subject::Item(x.item)], fact))
}

pub(super) fn dried(state: &mut State, x: &ItemDried, meta: &Meta) -> Result<(), Misfit> {
    let item = state
        .items
        .get_mut(&x.item)
        .ok_or_else(|| meta.misfit("no such item"))?;
    item.dried = Some(Dried {
        at: meta.at,
        by: meta.actor,
        how: x.how.clone(),
        needs: x.needs.clone(),
    });
    Ok(())
}
