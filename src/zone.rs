//! The zone that an agency's clocks show: a place whose clocks are set forward and back, or one offset for good.
//!
//! Times are kept with the offset in which they were claimed, whatever the zone is called; a zone only says how a time is
//! shown, and what is meant by one that was typed without an offset.

use std::fmt;
use std::str::FromStr;

use chrono::{
    FixedOffset, MappedLocalTime, NaiveDate, NaiveDateTime, Offset as _, TimeDelta, TimeZone, Utc,
};
use chrono_tz::{TZ_VARIANTS, Tz};

/// A zone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Zone {
    /// One offset from UTC, all year.
    Fixed(FixedOffset),
    /// A place of IANA's time zone database (RFC 6557), as this program was built with it.
    Named(Tz),
}

/// Why a text is no zone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "a zone is a name of IANA's list such as Europe/Oslo, or an offset from UTC such as +01:00, between -14:00 and +14:00"
)]
pub struct ZoneError;

impl Zone {
    /// The names that a zone may have, in the order of the alphabet.
    pub fn names() -> impl Iterator<Item = &'static str> {
        TZ_VARIANTS.iter().map(|tz| tz.name())
    }

    /// What is meant by the time that a clock showed here: one time, two where the clocks were set back over it, none where
    /// they were set forward over it.
    #[must_use]
    pub fn of_clock(&self, clock: NaiveDateTime) -> MappedLocalTime<chrono::DateTime<FixedOffset>> {
        self.from_local_datetime(&clock).map(|t| t.fixed_offset())
    }

    /// When a day begins here: at midnight, or when the clocks were set forward over that.
    #[must_use]
    pub fn begin_of(&self, day: NaiveDate) -> Option<chrono::DateTime<FixedOffset>> {
        let midnight = day.and_time(chrono::NaiveTime::MIN);
        // No clock was ever set forward by more than a day; a quarter of an hour is what all such steps are made of.
        (0..96).find_map(|n| {
            self.of_clock(midnight + TimeDelta::minutes(15 * n))
                .earliest()
        })
    }
}

impl Default for Zone {
    /// UTC.
    fn default() -> Self {
        Self::Fixed(Utc.fix())
    }
}

impl fmt::Display for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Fixed(offset) => offset.fmt(f),
            Self::Named(tz) => f.write_str(tz.name()),
        }
    }
}

impl FromStr for Zone {
    type Err = ZoneError;

    fn from_str(text: &str) -> Result<Self, ZoneError> {
        let text = text.trim();
        if text.eq_ignore_ascii_case("z") {
            return Ok(Self::default());
        }
        if let Ok(named) = text.parse() {
            return Ok(Self::Named(named));
        }
        let named = TZ_VARIANTS
            .iter()
            .find(|tz| tz.name().eq_ignore_ascii_case(text));
        named.map_or_else(|| offset(text).map(Self::Fixed), |tz| Ok(Self::Named(*tz)))
    }
}

/// Reads what a clock showed, as browsers send it and people write it: `2026-03-14T16:20`, `2026-03-14 16:20:05`.
#[must_use]
pub fn read_clock(text: &str) -> Option<NaiveDateTime> {
    const FORMS: [&str; 4] = [
        "%Y-%m-%dT%H:%M:%S",
        "%Y-%m-%dT%H:%M",
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%d %H:%M",
    ];
    FORMS
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok())
}

/// Reads an offset such as `+01:00`.
fn offset(text: &str) -> Result<FixedOffset, ZoneError> {
    let bytes = text.as_bytes();
    if bytes.len() != 6 || bytes[3] != b':' {
        return Err(ZoneError);
    }
    let sign = match bytes[0] {
        b'+' => 1,
        b'-' => -1,
        _ => return Err(ZoneError),
    };
    let two = |tens: u8, ones: u8| {
        (tens.is_ascii_digit() && ones.is_ascii_digit())
            .then(|| i32::from(tens - b'0') * 10 + i32::from(ones - b'0'))
            .ok_or(ZoneError)
    };
    let (hours, minutes) = (two(bytes[1], bytes[2])?, two(bytes[4], bytes[5])?);
    // UTC-12:00 to UTC+14:00 are in use; the bound is the same on both sides so that it can be said in one breath.
    if minutes > 59 || hours * 60 + minutes > 14 * 60 {
        return Err(ZoneError);
    }
    FixedOffset::east_opt(sign * (hours * 60 + minutes) * 60).ok_or(ZoneError)
}

/// So that whatever takes a zone of chrono's takes this one. A time in it carries the offset of that moment, and keeps that
/// offset when something is added to it.
impl TimeZone for Zone {
    type Offset = FixedOffset;

    fn from_offset(offset: &FixedOffset) -> Self {
        Self::Fixed(*offset)
    }

    fn offset_from_local_date(&self, local: &NaiveDate) -> MappedLocalTime<FixedOffset> {
        self.offset_from_local_datetime(&local.and_time(chrono::NaiveTime::MIN))
    }

    fn offset_from_local_datetime(&self, local: &NaiveDateTime) -> MappedLocalTime<FixedOffset> {
        match self {
            Self::Fixed(offset) => MappedLocalTime::Single(*offset),
            Self::Named(tz) => tz.offset_from_local_datetime(local).map(|o| o.fix()),
        }
    }

    fn offset_from_utc_date(&self, utc: &NaiveDate) -> FixedOffset {
        self.offset_from_utc_datetime(&utc.and_time(chrono::NaiveTime::MIN))
    }

    fn offset_from_utc_datetime(&self, utc: &NaiveDateTime) -> FixedOffset {
        match self {
            Self::Fixed(offset) => *offset,
            Self::Named(tz) => tz.offset_from_utc_datetime(utc).fix(),
        }
    }
}
