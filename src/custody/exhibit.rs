//! Exhibit numbers: what a court calls an item. A number belongs to one item of the case for good; an item may get another
//! one later, and both stay on its record.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, capital, not_found};
use super::state::State;
use crate::ids::{CaseId, ItemId, PersonId, Piece, Subject};

/// The longest exhibit number, in characters.
pub const MAX_NUMBER: usize = 20;
/// How many exhibit numbers an item may have had.
pub const MAX_NUMBERS: usize = 20;

/// Give an item its exhibit number, or another one.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetExhibit {
    /// Item.
    pub item: ItemId,
    /// The number, as the court has it: `12`, `S-4`, `People's 7`.
    pub number: String,
    /// Which court, and its file number, where that is known.
    #[serde(default)]
    pub court: String,
    /// Why it gets another one; needed where it has a number already.
    #[serde(default)]
    pub reason: String,
}

/// An item has an exhibit number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExhibitSet {
    /// Item.
    pub item: ItemId,
    /// Case.
    pub case: CaseId,
    /// The number.
    pub number: String,
    /// Which court; empty where nobody said.
    pub court: String,
    /// Why it got another one; empty for the first.
    pub reason: String,
    /// The number that it had until now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<String>,
}

/// An exhibit number on an item's record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Exhibit {
    /// The number.
    pub number: String,
    /// Which court; empty where nobody said.
    pub court: String,
    /// Why it got this one after another; empty for the first.
    pub reason: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
}

/// The number without outer and doubled spaces.
#[must_use]
pub fn number(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The number as it is compared: `s-4` and `S-4` are the same.
#[must_use]
pub fn key(text: &str) -> String {
    number(text).to_uppercase()
}

pub(super) fn set(ctx: &Context<'_>, x: &SetExhibit) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    let item = ctx.state.items.get(&x.item);
    let item = item.ok_or_else(|| not_found("item"))?;
    let case = ctx.case(item.case)?;
    let was = item.exhibits.last().map(|e| e.number.clone());
    let number = number(&x.number);
    text("number", &number, MAX_NUMBER, true)?;
    text("court", &x.court, 200, false)?;
    text("reason", &x.reason, 500, was.is_some())?;
    let name = ctx.state.name(Piece::Item(x.item));
    let key = key(&number);
    if was.as_deref().is_some_and(|was| self::key(was) == key) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("{} is exhibit {number} already.", capital(&name)),
            "Nothing is left to do.",
        )
        .on("number"));
    }
    if item.exhibits.len() >= MAX_NUMBERS {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("{} has had {MAX_NUMBERS} exhibit numbers.", capital(&name)),
            "Ask the court which one holds.",
        )
        .on("number"));
    }
    if let Some(other) = case.exhibits.get(&key)
        && *other != x.item
    {
        let theirs = ctx.state.items.get(other);
        let theirs = theirs.map_or_else(
            || "another item".to_owned(),
            |i| format!("item {}", i.number),
        );
        return Err(Refusal::new(
            Rule::Taken,
            format!("Exhibit {number} of this case is or was {theirs}."),
            "Choose another number: papers that name this one stay true.",
        )
        .on("number"));
    }
    let fact = Fact::ExhibitSet(ExhibitSet {
        item: x.item,
        case: item.case,
        number,
        court: x.court.trim().to_owned(),
        reason: x.reason.trim().to_owned(),
        was,
    });
    Ok(ctx.draft(
        Some(item.case),
        vec![Subject::Case(item.case), Subject::Item(x.item)],
        fact,
    ))
}

pub(super) fn was_set(state: &mut State, x: &ExhibitSet, meta: &Meta) -> Result<(), Misfit> {
    let case = state.cases.get_mut(&x.case);
    let case = case.ok_or_else(|| meta.misfit("no such case"))?;
    let holder = case.exhibits.entry(key(&x.number)).or_insert(x.item);
    if *holder != x.item {
        return Err(meta.misfit("the exhibit number is another item's"));
    }
    let item = state.items.get_mut(&x.item);
    let item = item.ok_or_else(|| meta.misfit("no such item"))?;
    item.exhibits.push(Exhibit {
        number: x.number.clone(),
        court: x.court.clone(),
        reason: x.reason.clone(),
        at: meta.at,
        by: meta.actor,
    });
    Ok(())
}
