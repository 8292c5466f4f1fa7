//! Excursions: when a place was outside its climate class, as far as its readings tell, and which stays that concerns.
//!
//! A reading says what was so at one moment. Between two readings outside the class the place is taken to have been outside
//! all the time; between a reading within and one outside nobody knows when it crossed. So an excursion has four times: the
//! last reading within before it, the first and the last reading outside, and the first reading within after it.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::climate::Climate;

/// One reading of a logger.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Reading {
    /// When.
    pub at: DateTime<Utc>,
    /// Temperature, tenths of a degree Celsius.
    pub tenths_c: i32,
    /// Relative humidity, per cent; none where the logger does not say.
    pub humidity: Option<u8>,
}

/// A stretch of readings outside the class.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Excursion {
    /// The class that the place was in by the record.
    pub climate: String,
    /// The last reading within before it; none where the readings begin outside.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<DateTime<Utc>>,
    /// The first reading outside.
    pub first: DateTime<Utc>,
    /// The last reading outside.
    pub last: DateTime<Utc>,
    /// The first reading within after it; none where the readings end outside.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<DateTime<Utc>>,
    /// The lowest temperature read during it, tenths of a degree Celsius.
    pub lowest_tenths_c: i32,
    /// The highest temperature read during it, tenths of a degree Celsius.
    pub highest_tenths_c: i32,
    /// The highest relative humidity read during it, per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dampest: Option<u8>,
}

/// What an excursion means for a thing that stood there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Exposure {
    /// It stood there between the first and the last reading outside.
    Certain,
    /// It stood there only between a reading within and a reading outside.
    Possible,
}

impl Excursion {
    fn begun(climate: &Climate, reading: &Reading, after: Option<DateTime<Utc>>) -> Self {
        Self {
            climate: climate.id.clone(),
            after,
            first: reading.at,
            last: reading.at,
            until: None,
            lowest_tenths_c: reading.tenths_c,
            highest_tenths_c: reading.tenths_c,
            dampest: reading.humidity,
        }
    }

    fn goes_on(&mut self, reading: &Reading) {
        self.last = reading.at;
        self.lowest_tenths_c = self.lowest_tenths_c.min(reading.tenths_c);
        self.highest_tenths_c = self.highest_tenths_c.max(reading.tenths_c);
        self.dampest = self.dampest.max(reading.humidity);
    }

    /// What it means for a stay from a moment (included) until another (not included), or until now.
    #[must_use]
    pub fn exposes(&self, from: DateTime<Utc>, to: Option<DateTime<Utc>>) -> Option<Exposure> {
        // A stay that ended when it began is a moment.
        let ends_after =
            |moment: DateTime<Utc>| to.is_none_or(|to| to > moment || to == from && to == moment);
        if from <= self.last && ends_after(self.first) {
            return Some(Exposure::Certain);
        }
        let before = self
            .after
            .is_some_and(|after| from < self.first && to.is_none_or(|to| to > after));
        let afterwards = self
            .until
            .is_some_and(|until| from < until && ends_after(self.last));
        (before || afterwards).then_some(Exposure::Possible)
    }
}

/// What the readings of a place have shown so far: what goes on when further readings come.
#[derive(Clone, Copy, Debug, Default)]
pub struct Before<'a> {
    /// The excursion that was still going on at the last reading.
    pub open: Option<&'a Excursion>,
    /// The last reading within.
    pub within: Option<DateTime<Utc>>,
}

/// The excursions that these readings show, in order of time. Where one was going on before, the first of the answer is
/// that one, continued, and takes its place.
#[must_use]
pub fn excursions(climate: &Climate, readings: &[Reading], before: Before<'_>) -> Vec<Excursion> {
    let mut found: Vec<Excursion> = before.open.cloned().into_iter().collect();
    let mut within = before.within;
    for reading in readings {
        let open = found.last_mut().filter(|e| e.until.is_none());
        if climate.holds(reading.tenths_c, reading.humidity) {
            if let Some(excursion) = open {
                excursion.until = Some(reading.at);
            }
            within = Some(reading.at);
        } else if let Some(excursion) = open {
            excursion.goes_on(reading);
        } else {
            found.push(Excursion::begun(climate, reading, within));
        }
    }
    found
}

/// Degrees Celsius in words: `21.5 °C`, `-0.5 °C`.
#[must_use]
pub fn degrees(tenths_c: i32) -> String {
    let sign = if tenths_c < 0 { "-" } else { "" };
    let size = tenths_c.unsigned_abs();
    format!("{sign}{}.{} °C", size / 10, size % 10)
}
