//! Retention: how long an agency keeps evidence of a class of offence, as its own schedule says.
//!
//! A schedule is the agency's data; the program has none of its own, since how long evidence must be kept is a matter of
//! local law. What was decided for a case is on the record with the version of the schedule it was decided by, so that a
//! later schedule does not change it unseen.

use chrono::{DateTime, FixedOffset, Months, NaiveDate};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Case, State};
use crate::ids::{CaseId, PersonId, Subject};
use crate::ledger::times;

/// The longest that a schedule may ask for, in months: 200 years (our assumption, to catch a wrong unit).
pub const MAX_MONTHS: u32 = 2_400;

/// A class of offence in an agency's schedule.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RetentionClass {
    /// Identifier.
    pub id: String,
    /// Name.
    pub name: String,
    /// How many months evidence is kept; none for good.
    pub months: Option<u32>,
    /// What the time is counted from, in words: `the day on which the case was closed by the prosecutor`.
    pub counted_from: String,
    /// Where it comes from.
    pub source: String,
    /// Version of the schedule.
    pub schedule: String,
}

/// Say how long the evidence of a case is kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetRetention {
    /// Case.
    pub case: CaseId,
    /// Class of offence, by the schedule's identifier.
    pub class: String,
    /// The day from which the time is counted.
    pub from: NaiveDate,
    /// What happened on that day, and how that is known.
    pub reason: String,
}

/// How long the evidence of a case is kept was said.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RetentionSet {
    /// Case.
    pub case: CaseId,
    /// Class of offence.
    pub class: String,
    /// Its name.
    pub class_name: String,
    /// The day from which the time is counted.
    pub from: NaiveDate,
    /// The first day on which it is no longer kept by the schedule; none for good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<NaiveDate>,
    /// Version of the schedule.
    pub schedule: String,
    /// What happened on that day.
    pub reason: String,
}

/// How long the evidence of a case is kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Retention {
    /// Class of offence.
    pub class: String,
    /// Its name.
    pub class_name: String,
    /// The day from which the time is counted.
    pub from: NaiveDate,
    /// The first day on which it is no longer kept by the schedule; none for good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<NaiveDate>,
    /// Version of the schedule.
    pub schedule: String,
    /// Who said so.
    pub by: Option<PersonId>,
    /// When.
    pub at: DateTime<FixedOffset>,
}

/// Why the evidence of a case is still kept on this day; none where the schedule no longer asks for it.
#[must_use]
pub fn kept(case: &Case, today: NaiveDate) -> Option<String> {
    match &case.retention {
        None => Some(format!(
            "nobody has said yet how long evidence of case {} is kept",
            case.number
        )),
        Some(r) => match r.until {
            None => Some(format!(
                "evidence of the class {} is kept for good by schedule {}",
                r.class_name, r.schedule
            )),
            Some(until) if today < until => Some(format!(
                "evidence of the class {} is kept until {until} by schedule {}",
                r.class_name, r.schedule
            )),
            Some(_) => None,
        },
    }
}

pub(super) fn set(ctx: &Context<'_>, x: &SetRetention) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    ctx.case(x.case)?;
    text("class", &x.class, 60, true)?;
    text("reason", &x.reason, 500, true)?;
    let class = ctx.trade.retention(&x.class).ok_or_else(|| {
        Refusal::new(
            Rule::BadValue,
            format!("The agency's schedule has no class {}.", x.class),
            "Choose one of the list; where it is empty, the agency has given no schedule yet.",
        )
        .on("class")
    })?;
    if times::is_to_come(x.from, ctx.now) {
        return Err(Refusal::new(
            Rule::BadValue,
            "The day from which the time is counted lies in the future.",
            "Give the day on which it happened.",
        )
        .on("from"));
    }
    let until = class
        .months
        .map(|n| x.from.checked_add_months(Months::new(n)))
        .map(|day| day.ok_or_else(|| not_found("day")))
        .transpose()?;
    let fact = Fact::RetentionSet(RetentionSet {
        case: x.case,
        class: class.id,
        class_name: class.name,
        from: x.from,
        until,
        schedule: class.schedule,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(Some(x.case), vec![Subject::Case(x.case)], fact))
}

pub(super) fn was_set(state: &mut State, x: &RetentionSet, meta: &Meta) -> Result<(), Misfit> {
    let case = state
        .cases
        .get_mut(&x.case)
        .ok_or_else(|| meta.misfit("no such case"))?;
    case.retention = Some(Retention {
        class: x.class.clone(),
        class_name: x.class_name.clone(),
        from: x.from,
        until: x.until,
        schedule: x.schedule.clone(),
        by: meta.actor,
        at: meta.at,
    });
    Ok(())
}
