//! How the times of an item stand: drying, and what is to be done with it at once. Claimed times are used throughout.

use chrono::{DateTime, FixedOffset, TimeDelta};
use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::app::knowledge;
use crate::custody::state::{Item, Thing};
use crate::keeping::{LimitKind, Met, Moments, Stand, TimeLimit};
use crate::trade::TradeRules;
use crate::zone::Zone;

const DRY_NOW: &str = "dry it now";

/// A time and how it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct TimeWords {
    /// The rule that sets it.
    pub rule: String,
    /// What is to be done by or after that time.
    pub what: String,
    /// How it stands.
    pub stand: Stand,
    /// Late from, or over at, where there is a figure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<DateTime<FixedOffset>>,
    /// What the record says, in a sentence.
    pub sentence: String,
    /// One or two words for a list: `photograph now`; empty where nobody has to act.
    pub badge: &'static str,
}

/// The times of an item.
#[must_use]
pub fn times(
    rules: &TradeRules,
    item: &Item,
    zone: Zone,
    now: DateTime<FixedOffset>,
) -> Vec<TimeWords> {
    let needs = knowledge::needs(rules, &Thing::Item(item)).unwrap_or_default();
    let moments = item.moments();
    let mut out: Vec<TimeWords> = needs
        .packing
        .limits
        .iter()
        .chain(&needs.packing.drying)
        .map(|limit| told(limit, &moments, zone, now))
        .collect();
    if let Some(dried) = &item.dried {
        out.push(TimeWords {
            rule: String::new(),
            what: "dry".into(),
            stand: Stand::Met,
            at: Some(dried.at),
            sentence: format!(
                "On record as dry since {}: {}",
                words::minute(&dried.at, zone),
                dried.how
            ),
            badge: "",
        });
    }
    out
}

fn told(limit: &TimeLimit, moments: &Moments, zone: Zone, now: DateTime<FixedOffset>) -> TimeWords {
    let stand = limit.stand(moments, now);
    let minute = |t: &DateTime<FixedOffset>| words::minute(t, zone);
    let what = words::capital(&limit.what);
    let recovered = minute(&moments.recovered);
    let at = limit.late_from(moments).or(limit.over_at(moments));
    let by = at.map(|t| minute(&t)).unwrap_or_default();
    let done = match limit.met_by() {
        Some(Met::Photograph) => moments.photographed,
        Some(Met::Dry) => moments.dry,
        None => None,
    };
    let done = done.map(|t| minute(&t)).unwrap_or_default();
    let missing = match limit.met_by() {
        Some(Met::Photograph) => "no photograph of it is on the record",
        Some(Met::Dry) => "nothing on the record says that it is dry",
        None => "nothing on the record tells",
    };
    let when = if limit.kind == LimitKind::AtOnce {
        "without delay"
    } else {
        "in time"
    };
    let sentence = match stand {
        Stand::Met => format!("{what} {when}: done at {done}, recovered at {recovered}."),
        Stand::MetLate => {
            format!("{what} {when}: it was done at {done}, late; it was recovered at {recovered}.")
        }
        Stand::ToDo => format!("{what} {when}: {missing}; it was recovered at {recovered}."),
        Stand::Late => format!(
            "{what} {when}: {missing}; it was recovered at {recovered}, and since {by} it is late."
        ),
        Stand::Running => format!(
            "{what}: {}; by the record it counts from {} and is over at {by}.",
            minutes_words(limit),
            minute(&moments.since)
        ),
        Stand::Passed => format!(
            "{what}: {}; by the record it counted from {} and was over at {by}.",
            minutes_words(limit),
            minute(&moments.since)
        ),
        Stand::Unknown => format!("{what} {when}; {missing}."),
    };
    let badge = match (stand.calls(), limit.met_by()) {
        (true, Some(Met::Photograph)) => "photograph now",
        (true, Some(Met::Dry)) => DRY_NOW,
        _ => "",
    };
    TimeWords {
        rule: limit.rule().to_owned(),
        what: limit.what.clone(),
        stand,
        at,
        sentence,
        badge,
    }
}

fn minutes_words(limit: &TimeLimit) -> String {
    limit.minutes.map_or_else(
        || "no figure".into(),
        |m| {
            format!(
                "at least {}",
                words::duration_words(TimeDelta::minutes(i64::from(m)))
            )
        },
    )
}

/// The first time of an item that somebody has to act on now. What lies in a package dries there, as far as the rules
/// let it be packed.
#[must_use]
pub fn calling(
    rules: &TradeRules,
    item: &Item,
    zone: Zone,
    now: DateTime<FixedOffset>,
) -> Option<TimeWords> {
    let mut all = times(rules, item, zone, now);
    if item.custody.inside.is_some() {
        all.retain(|t| t.badge != DRY_NOW);
    }
    all.sort_by_key(|t| t.stand != Stand::Late);
    all.into_iter().find(|t| !t.badge.is_empty())
}
