//! The two forms of a time in a header.
//!
//! Both carry exactly six digits of a second, cut off and not rounded, and a year of four digits:
//! - observed by the server: `2026-03-04T05:06:07.000000Z`, always UTC, always `Z`;
//! - claimed by a person or a device: `2026-03-04T07:06:07.000000+02:00`, always a numeric offset, never `-00:00`.
//!
//! Two texts of the first form sort as bytes the way their times sort.

use chrono::{DateTime, FixedOffset, NaiveDate, SecondsFormat, TimeDelta, Timelike, Utc};

/// How far ahead of UTC the earliest zone is: UTC+14, Kiribati's Line Islands (from the zone tables of IANA).
const EARLIEST_ZONE: TimeDelta = TimeDelta::hours(14);

/// Why a text is not a time of the form asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    /// Not `YYYY-MM-DDTHH:MM:SS.ffffffZ`.
    #[error("this is not a time in UTC with microseconds and a Z")]
    NotRecorded,
    /// Not `YYYY-MM-DDTHH:MM:SS.ffffff+HH:MM`.
    #[error("this is not a time with microseconds and an offset")]
    NotClaimed,
}

/// The form for a time the server observed. A leap second counts as the last microsecond before it.
#[must_use]
pub fn recorded(time: DateTime<Utc>) -> String {
    plain_second(time).to_rfc3339_opts(SecondsFormat::Micros, true)
}

/// The form for a time somebody claimed, with the offset they claimed it in.
#[must_use]
pub fn claimed(time: DateTime<FixedOffset>) -> String {
    plain_second(time).to_rfc3339_opts(SecondsFormat::Micros, false)
}

/// Whether a day has not begun anywhere: a date carries no zone, and today in one is tomorrow in another.
#[must_use]
pub fn is_to_come(day: NaiveDate, now: DateTime<Utc>) -> bool {
    day > (now + EARLIEST_ZONE).date_naive()
}

/// Chrono carries a leap second as a 60th second; the format has none.
fn plain_second<Z: chrono::TimeZone>(time: DateTime<Z>) -> DateTime<Z> {
    if time.nanosecond() < 1_000_000_000 {
        return time;
    }
    time.with_nanosecond(999_999_999).unwrap_or(time)
}

/// Reads a time the server observed.
///
/// # Errors
/// [`TimeError::NotRecorded`] for any other spelling.
pub fn parse_recorded(text: &str) -> Result<DateTime<Utc>, TimeError> {
    if !is_recorded(text) {
        return Err(TimeError::NotRecorded);
    }
    let time = DateTime::parse_from_rfc3339(text).map_err(|_| TimeError::NotRecorded)?;
    Ok(time.with_timezone(&Utc))
}

/// Reads a time somebody claimed.
///
/// # Errors
/// [`TimeError::NotClaimed`] for any other spelling.
pub fn parse_claimed(text: &str) -> Result<DateTime<FixedOffset>, TimeError> {
    if !is_claimed(text) {
        return Err(TimeError::NotClaimed);
    }
    DateTime::parse_from_rfc3339(text).map_err(|_| TimeError::NotClaimed)
}

/// Whether `text` has the form of [`recorded`].
#[must_use]
pub fn is_recorded(text: &str) -> bool {
    let b = text.as_bytes();
    b.len() == 27 && b[26] == b'Z' && is_local(b)
}

/// Whether `text` has the form of [`claimed`].
#[must_use]
pub fn is_claimed(text: &str) -> bool {
    let b = text.as_bytes();
    if b.len() != 32 || !is_local(b) || !matches!(b[26], b'+' | b'-') || b[29] != b':' {
        return false;
    }
    match (number(&b[27..29]), number(&b[30..32])) {
        (Some(hours), Some(minutes)) => hours < 24 && minutes < 60 && &b[26..] != b"-00:00",
        _ => false,
    }
}

/// Whether the first 26 bytes are a date and a time of day that exist. `b` has at least 26 bytes.
fn is_local(b: &[u8]) -> bool {
    let marks = [
        (4, b'-'),
        (7, b'-'),
        (10, b'T'),
        (13, b':'),
        (16, b':'),
        (19, b'.'),
    ];
    if marks.iter().any(|&(at, mark)| b[at] != mark) {
        return false;
    }
    let parts = (
        number(&b[0..4]),
        number(&b[5..7]),
        number(&b[8..10]),
        number(&b[11..13]),
        number(&b[14..16]),
        number(&b[17..19]),
        number(&b[20..26]),
    );
    let (Some(year), Some(month), Some(day), Some(hour), Some(minute), Some(second), Some(_)) =
        parts
    else {
        return false;
    };
    let Ok(year) = i32::try_from(year) else {
        return false;
    };
    hour < 24 && minute < 60 && second < 60 && NaiveDate::from_ymd_opt(year, month, day).is_some()
}

fn number(digits: &[u8]) -> Option<u32> {
    digits.iter().try_fold(0_u32, |n, &b| {
        b.is_ascii_digit().then(|| n * 10 + u32::from(b - b'0'))
    })
}
