//! Times that rules set: how long a thing dries before it is closed up, and what is to be done with it at once.

use chrono::{DateTime, FixedOffset, TimeDelta};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Reason;

/// What kind of time a limit sets.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum LimitKind {
    /// Without delay. Minutes beside it say from when on it counts as late.
    AtOnce,
    /// No sooner than.
    AtLeast,
    /// No later than.
    AtMost,
}

/// What on the record meets a limit.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Met {
    /// The first photograph of the thing itself.
    Photograph,
    /// The entry that it is dry.
    Dry,
}

/// A time a rule sets, counted from the recovery, or from when it had set.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TimeLimit {
    /// What is to be done by or after that time.
    pub what: String,
    /// What kind of time.
    pub kind: LimitKind,
    /// Minutes, where there is a figure.
    #[serde(default)]
    pub minutes: Option<u32>,
    /// What on the record meets it; none where nothing on the record can.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub met_by: Option<Met>,
    /// Containers in which it may lie while the time runs.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub meanwhile_in: Vec<String>,
    /// The rule that sets it; empty on records made before rules were named here.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub rule: String,
}

/// The rule of a drying time on a record that does not name it.
pub const DRYING: &str = "drying-time";

/// What the record says of a thing, as far as times ask.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moments {
    /// When it was recovered, or had set where that is on the record, as claimed.
    pub since: DateTime<FixedOffset>,
    /// When it was recovered, as claimed.
    pub recovered: DateTime<FixedOffset>,
    /// When the first photograph of the thing itself was taken, as claimed.
    pub photographed: Option<DateTime<FixedOffset>>,
    /// Since when it is dry, as claimed.
    pub dry: Option<DateTime<FixedOffset>>,
}

/// How a limit stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Stand {
    /// What it asks for is on the record, in time.
    Met,
    /// It is on the record, and came late.
    MetLate,
    /// It is still to do, and in time.
    ToDo,
    /// It is still to do, and late.
    Late,
    /// The time is still running.
    Running,
    /// The time has passed.
    Passed,
    /// Nothing on the record can tell.
    Unknown,
}

impl Stand {
    /// Whether somebody has to act.
    #[must_use]
    pub fn calls(self) -> bool {
        matches!(self, Self::ToDo | Self::Late)
    }
}

impl TimeLimit {
    /// The rule's name; [`DRYING`] where the record names none.
    #[must_use]
    pub fn rule(&self) -> &str {
        if self.rule.is_empty() {
            DRYING
        } else {
            &self.rule
        }
    }

    /// What meets it. On records made before this was named, the words say so.
    #[must_use]
    pub fn met_by(&self) -> Option<Met> {
        self.met_by.or(match self.what.as_str() {
            "photograph the lift" => Some(Met::Photograph),
            "start drying" => Some(Met::Dry),
            _ => None,
        })
    }

    fn after(&self, from: DateTime<FixedOffset>) -> Option<DateTime<FixedOffset>> {
        from.checked_add_signed(TimeDelta::minutes(i64::from(self.minutes?)))
    }

    /// From when on it is late: none where the rule gives no figure.
    #[must_use]
    pub fn late_from(&self, moments: &Moments) -> Option<DateTime<FixedOffset>> {
        match self.kind {
            LimitKind::AtLeast => None,
            LimitKind::AtOnce | LimitKind::AtMost => self.after(moments.recovered),
        }
    }

    /// When a time that must pass has passed.
    #[must_use]
    pub fn over_at(&self, moments: &Moments) -> Option<DateTime<FixedOffset>> {
        match self.kind {
            LimitKind::AtLeast => self.after(moments.since),
            LimitKind::AtOnce | LimitKind::AtMost => None,
        }
    }

    /// How it stands at this moment.
    #[must_use]
    pub fn stand(&self, moments: &Moments, at: DateTime<FixedOffset>) -> Stand {
        if self.kind == LimitKind::AtLeast {
            return match self.over_at(moments) {
                Some(over) if at < over => Stand::Running,
                Some(_) => Stand::Passed,
                None => Stand::Unknown,
            };
        }
        let done = match self.met_by() {
            Some(Met::Photograph) => moments.photographed,
            Some(Met::Dry) => moments.dry,
            None => return Stand::Unknown,
        };
        let late = |t| self.late_from(moments).is_some_and(|from| t > from);
        match done {
            Some(done) if late(done) => Stand::MetLate,
            Some(_) => Stand::Met,
            None if late(at) => Stand::Late,
            None => Stand::ToDo,
        }
    }
}

/// Whether a thing may be closed up in this container at this moment, as far as drying goes.
///
/// # Errors
/// The first drying time that is still running and that does not name the container among those in which it may run.
pub fn dry_enough(
    drying: &[TimeLimit],
    reasons: &[Reason],
    moments: &Moments,
    container: &str,
    at: DateTime<FixedOffset>,
) -> Result<(), Reason> {
    for limit in drying {
        let Some(over) = limit.over_at(moments).filter(|over| at < *over) else {
            continue;
        };
        if limit.meanwhile_in.iter().any(|c| c == container) {
            continue;
        }
        let of = reasons.iter().find(|r| r.rule == limit.rule());
        let said = of.map_or("It is left to dry first.", |r| r.sentence.as_str());
        return Err(Reason {
            rule: limit.rule().to_owned(),
            sentence: format!(
                "{said} By the record it counts from {}, so the time is over at {}.",
                moments.since.format("%Y-%m-%d %H:%M %:z"),
                over.format("%Y-%m-%d %H:%M %:z")
            ),
            next: "Pack it in this container after that time.".into(),
            source: of
                .map_or("the record of its recovery", |r| r.source.as_str())
                .to_owned(),
        });
    }
    Ok(())
}
