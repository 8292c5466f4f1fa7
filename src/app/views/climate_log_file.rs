//! What loggers of a place have shown, in words.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::custody::climate_log::{ClimateLog, Logged};
use crate::ids::Seq;
use crate::keeping::excursion::{Excursion, degrees};
use crate::zone::Zone;

/// The most excursions that are shown, the youngest.
const MOST_SHOWN: usize = 50;

/// What loggers of a place have shown.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ClimateLogFile {
    /// Which logger, the last time.
    pub logger: String,
    /// How many readings there are.
    pub readings: u64,
    /// Since when.
    pub since: DateTime<Utc>,
    /// The same in words.
    pub since_words: String,
    /// When the last one was.
    pub last: DateTime<Utc>,
    /// The same in words, with what it was.
    pub last_words: String,
    /// How many excursions there are.
    pub count: usize,
    /// The same in words.
    pub count_words: String,
    /// The youngest of them, the youngest first.
    pub excursions: Vec<ExcursionLine>,
}

/// An excursion in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ExcursionLine {
    /// When, and how far.
    pub excursion: Excursion,
    /// From the first to the last reading outside.
    pub when: String,
    /// Within before, within after.
    pub between: String,
    /// How warm and how damp it was.
    pub how_far: String,
    /// The events that brought the readings.
    pub events: Vec<Seq>,
}

impl ClimateLogFile {
    pub(super) fn of(log: &ClimateLog, zone: Zone) -> Self {
        let last = &log.last;
        let damp = last
            .humidity
            .map_or_else(String::new, |h| format!(", {h} %"));
        Self {
            logger: log.logger.clone(),
            readings: log.readings,
            since: log.since,
            since_words: words::when(&log.since, zone),
            last: last.at,
            last_words: format!(
                "{}: {}{damp}",
                words::when(&last.at, zone),
                degrees(last.tenths_c)
            ),
            count: log.excursions.len(),
            count_words: words::counted(log.excursions.len(), "excursion"),
            excursions: log
                .excursions
                .iter()
                .rev()
                .take(MOST_SHOWN)
                .map(|l| ExcursionLine::of(l, zone))
                .collect(),
        }
    }
}

impl ExcursionLine {
    fn of(logged: &Logged, zone: Zone) -> Self {
        let x = &logged.excursion;
        let mut events = vec![logged.first_seq];
        events.extend(Some(logged.last_seq).filter(|s| *s != logged.first_seq));
        Self {
            when: when(x, zone),
            between: between(x, zone),
            how_far: how_far(x),
            events,
            excursion: x.clone(),
        }
    }
}

/// From the first to the last reading outside, in words.
pub(super) fn when(x: &Excursion, zone: Zone) -> String {
    let minute = |at: &DateTime<Utc>| words::minute(&at.with_timezone(&zone), zone);
    if x.first == x.last {
        format!("at {}, one reading", minute(&x.first))
    } else {
        format!(
            "from {} to {}, {}",
            minute(&x.first),
            minute(&x.last),
            words::duration_words(x.last - x.first)
        )
    }
}

/// What the readings around it say, in words.
pub(super) fn between(x: &Excursion, zone: Zone) -> String {
    let minute = |at: &DateTime<Utc>| words::minute(&at.with_timezone(&zone), zone);
    let before = x.after.as_ref().map_or_else(
        || "no reading before it".to_owned(),
        |at| format!("within at {} before it", minute(at)),
    );
    let after = x.until.as_ref().map_or_else(
        || "still outside at the last reading".to_owned(),
        |at| format!("within again at {}", minute(at)),
    );
    format!("{before}, {after}")
}

/// How warm and how damp it was.
pub(super) fn how_far(x: &Excursion) -> String {
    let warm = if x.lowest_tenths_c == x.highest_tenths_c {
        degrees(x.lowest_tenths_c)
    } else {
        format!(
            "{} to {}",
            degrees(x.lowest_tenths_c),
            degrees(x.highest_tenths_c)
        )
    };
    match x.dampest {
        Some(damp) => format!("{warm}, up to {damp} %"),
        None => warm,
    }
}
