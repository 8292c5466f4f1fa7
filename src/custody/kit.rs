//! Kits: which lots of which media somebody carries. What is put in and taken out goes on the record, so that a recovery can
//! name its lot without typing, an expired one warns, and a recalled one is found.

use chrono::{DateTime, FixedOffset, NaiveDate};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, TextRule, text_by};
use super::rules::{Context, Meta, Misfit};
use super::state::{Person, State};
use crate::ids::{PersonId, Subject};
use crate::ledger::times;
use crate::lifting::advise::KitLot;
use crate::lifting::advise::question::MAX_KIT;

/// The texts of a kit: field, most characters, whether it must be filled in.
pub const TEXTS: &[TextRule] = &[("lot", 60, true), ("reason", 500, true)];

/// Put a lot into one's own kit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KitAdd {
    /// Medium, by the trade rules' identifier.
    pub medium: String,
    /// Lot, as it stands on the package.
    pub lot: String,
    /// The day on which it was opened, if it is open.
    #[serde(default)]
    pub opened_on: Option<NaiveDate>,
    /// The last day on which it is good, where the package says one.
    #[serde(default)]
    pub expires_on: Option<NaiveDate>,
}

/// Take a lot out of one's own kit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KitRemove {
    /// Medium.
    pub medium: String,
    /// Lot.
    pub lot: String,
    /// Why: used up, expired, recalled, handed back.
    pub reason: String,
}

/// A lot was put into a kit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KitAdded {
    /// Whose kit.
    pub person: PersonId,
    /// Medium.
    pub medium: String,
    /// Its name.
    pub medium_name: String,
    /// Lot.
    pub lot: String,
    /// The day on which it was opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opened_on: Option<NaiveDate>,
    /// The last day on which it is good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// Warnings: it had expired already.
    pub warnings: Vec<String>,
}

/// A lot was taken out of a kit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KitRemoved {
    /// Whose kit.
    pub person: PersonId,
    /// Medium.
    pub medium: String,
    /// Its name.
    pub medium_name: String,
    /// Lot.
    pub lot: String,
    /// Why.
    pub reason: String,
}

/// A lot in a kit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct KitEntry {
    /// Medium, by the trade rules' identifier.
    pub medium: String,
    /// Its name when it was put in.
    pub medium_name: String,
    /// Lot.
    pub lot: String,
    /// The day on which it was opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opened_on: Option<NaiveDate>,
    /// The last day on which it is good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// Since when it is in the kit.
    pub since: DateTime<FixedOffset>,
}

impl KitEntry {
    /// As advice asks for it.
    #[must_use]
    pub fn as_lot(&self) -> KitLot {
        KitLot {
            medium: self.medium.clone(),
            lot: self.lot.clone(),
            opened_on: self.opened_on,
            expires_on: self.expires_on,
        }
    }
}

/// A lot as it is compared: without outer spaces, capitals only. Letters beyond ASCII stay as they are, so that every
/// database folds them alike.
#[must_use]
pub fn lot_number(text: &str) -> String {
    text.trim_matches(' ').to_ascii_uppercase()
}

/// A lot of a medium as one text, by which everything made with it is found; none without a lot.
#[must_use]
pub fn lot_key(medium: &str, lot: &str) -> Option<String> {
    let number = lot_number(lot);
    (!number.is_empty()).then(|| format!("{medium}/{number}"))
}

/// A lot in somebody's kit.
#[must_use]
pub fn carried<'a>(person: &'a Person, medium: &str, lot: &str) -> Option<&'a KitEntry> {
    let wanted = lot_key(medium, lot)?;
    person
        .kit
        .iter()
        .find(|e| lot_key(&e.medium, &e.lot).as_ref() == Some(&wanted))
}

/// The warning where a lot had expired on a day; none where it had not.
#[must_use]
pub fn expired(name: &str, lot: &KitLot, on: NaiveDate) -> Option<String> {
    let last = lot.expires_on.filter(|_| lot.expired(on))?;
    Some(format!(
        "Lot {} of {name} expired on {last}, before {on}.",
        lot.lot
    ))
}

/// Whether a warning on the record is the one of [`expired`].
#[must_use]
pub fn is_expired(warning: &str) -> bool {
    warning.starts_with("Lot ") && warning.contains(" expired on ")
}

pub(super) fn add(ctx: &Context<'_>, x: &KitAdd) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    let Some(medium) = ctx.trade.medium_words(&x.medium) else {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("There is no medium {}.", x.medium),
            "Choose one of the list.",
        )
        .on("medium"));
    };
    if !medium.carried {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("Nothing has to be carried for a {}.", medium.name),
            "Choose a medium that comes in lots.",
        )
        .on("medium"));
    }
    text_by(TEXTS, "lot", &x.lot)?;
    let today = ctx.at.date_naive();
    if x.opened_on.is_some_and(|d| times::is_to_come(d, ctx.now)) {
        return Err(Refusal::new(
            Rule::BadValue,
            "It cannot have been opened after today.",
            "Give the day on which it was opened, or leave it out.",
        )
        .on("opened_on"));
    }
    let kit = ctx.state.people.get(&me).map(|p| (p, &p.kit));
    if kit.is_some_and(|(p, _)| carried(p, &x.medium, &x.lot).is_some()) {
        return Err(Refusal::new(
            Rule::Taken,
            format!("Lot {} of {} is in your kit already.", x.lot, medium.name),
            "Take it out first if its dates are to be stated anew.",
        )
        .on("lot"));
    }
    if kit.is_some_and(|(_, k)| k.len() >= MAX_KIT) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("A kit has at most {MAX_KIT} lots."),
            "Take out what is used up.",
        ));
    }
    let lot = KitLot {
        medium: x.medium.clone(),
        lot: x.lot.clone(),
        opened_on: x.opened_on,
        expires_on: x.expires_on,
    };
    let fact = Fact::KitAdded(KitAdded {
        person: me,
        warnings: expired(&medium.name, &lot, today).into_iter().collect(),
        medium: lot.medium,
        medium_name: medium.name,
        lot: lot.lot,
        opened_on: lot.opened_on,
        expires_on: lot.expires_on,
    });
    Ok(ctx.draft(None, vec![Subject::Person(me)], fact))
}

pub(super) fn remove(ctx: &Context<'_>, x: &KitRemove) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    let person = ctx.state.people.get(&me);
    let Some(entry) = person.and_then(|p| carried(p, &x.medium, &x.lot)) else {
        return Err(Refusal::new(
            Rule::NotFound,
            "There is no such lot in your kit.",
            "Look at what is in it.",
        )
        .on("lot"));
    };
    text_by(TEXTS, "reason", &x.reason)?;
    let fact = Fact::KitRemoved(KitRemoved {
        person: me,
        medium: entry.medium.clone(),
        medium_name: entry.medium_name.clone(),
        lot: entry.lot.clone(),
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(None, vec![Subject::Person(me)], fact))
}

pub(super) fn added(state: &mut State, x: &KitAdded, meta: &Meta) -> Result<(), Misfit> {
    let person = state
        .people
        .get_mut(&x.person)
        .ok_or_else(|| meta.misfit("no such person"))?;
    person.kit.push(KitEntry {
        medium: x.medium.clone(),
        medium_name: x.medium_name.clone(),
        lot: x.lot.clone(),
        opened_on: x.opened_on,
        expires_on: x.expires_on,
        since: meta.at,
    });
    Ok(())
}

pub(super) fn removed(state: &mut State, x: &KitRemoved, meta: &Meta) -> Result<(), Misfit> {
    let person = state
        .people
        .get_mut(&x.person)
        .ok_or_else(|| meta.misfit("no such person"))?;
    let gone = lot_key(&x.medium, &x.lot);
    let at = person
        .kit
        .iter()
        .position(|e| lot_key(&e.medium, &e.lot) == gone)
        .ok_or_else(|| meta.misfit("no such lot in the kit"))?;
    person.kit.remove(at);
    Ok(())
}
