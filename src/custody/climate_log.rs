//! Climate logs: what a logger at a place measured, read from CSV, and the excursions that it shows.
//!
//! The readings go on the record whole, so that the excursions can be worked out again from them. A place keeps its excursions
//! and its last reading with it; the readings themselves stay in their events.

use chrono::{DateTime, FixedOffset, SubsecRound, TimeZone, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{LineRefusal, Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, SKEW};
use super::state::State;
use crate::ids::{Digest, PlaceId, Seq, Subject};
use crate::keeping::excursion::{Before, Excursion, Reading, excursions};
use crate::zone::read_clock;

/// How many readings one act may bring: four weeks at one every ten minutes.
pub const MAX_READINGS: usize = 4_050;
/// The longest CSV, in bytes.
pub const MAX_CSV: usize = 200_000;
/// How many excursions a place may have on record. One that has more is not of the class that its record says.
pub const MAX_EXCURSIONS: usize = 500;
/// How many wrong lines a refusal names.
pub const MAX_NAMED: usize = 50;
/// The coldest and the hottest that is taken for a measurement, tenths of a degree Celsius (our assumption, no source).
pub const MEASURABLE: std::ops::RangeInclusive<i32> = -2_000..=1_500;

/// Put the readings of a place's logger on the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LogClimate {
    /// Where the logger stands. Its readings hold for this place and for every place in it that has no logger of its own.
    pub place: PlaceId,
    /// Which logger: its number, and when it was last calibrated if that is known.
    pub logger: String,
    /// CSV with a first line of column names: `time`, `temperature_c` or `temperature_f`, and `humidity` (per cent) if it was
    /// measured. At most [`MAX_READINGS`] readings.
    pub csv: String,
    /// The offset from UTC of times that bear none: `+01:00`. Without it each time must bear its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<String>,
}

/// Readings were put on the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClimateLogged {
    /// Where.
    pub place: PlaceId,
    /// Which logger.
    pub logger: String,
    /// The climate class of the place at that moment.
    pub climate: String,
    /// The digest of the CSV as it came.
    pub csv_sha256: Digest,
    /// Each reading: seconds since 1970-01-01 UTC, tenths of a degree Celsius, and per cent of humidity where it was measured.
    pub readings: Vec<Vec<i64>>,
    /// How many rows were left out, being no later than the last reading on record.
    pub left_out: u32,
    /// The excursions that they show.
    pub excursions: Vec<Excursion>,
    /// Whether the first of them continues the last one on record.
    pub continues: bool,
}

/// What the loggers of a place have shown.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ClimateLog {
    /// Which logger, the last time.
    pub logger: String,
    /// Since when there are readings.
    pub since: DateTime<Utc>,
    /// The last reading.
    pub last: Reading,
    /// The last reading within the class.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<DateTime<Utc>>,
    /// How many readings there are.
    pub readings: u64,
    /// The excursions, in order of time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub excursions: Vec<Logged>,
}

/// An excursion with the events that it stands on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Logged {
    /// The event that brought its first readings.
    pub first_seq: Seq,
    /// The event that brought its last ones.
    pub last_seq: Seq,
    /// When, and how far.
    pub excursion: Excursion,
}

impl ClimateLog {
    /// What goes on when further readings come.
    fn before(&self) -> Before<'_> {
        Before {
            open: self
                .excursions
                .last()
                .map(|l| &l.excursion)
                .filter(|e| e.until.is_none()),
            within: self.within,
        }
    }
}

/// What a column of the CSV holds.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Column {
    Time,
    Celsius,
    Fahrenheit,
    Humidity,
}

/// Where in a row each thing stands.
struct Columns {
    time: usize,
    temperature: usize,
    fahrenheit: bool,
    humidity: Option<usize>,
}

fn wrong(sentence: impl Into<String>, next: &str) -> Refusal {
    Refusal::new(Rule::BadValue, sentence, next).on("csv")
}

impl Columns {
    fn of(names: &csv::StringRecord) -> Result<Self, Refusal> {
        let found: Vec<Option<Column>> = names
            .iter()
            .map(|name| match name.trim().to_ascii_lowercase().as_str() {
                "time" => Some(Column::Time),
                "temperature_c" => Some(Column::Celsius),
                "temperature_f" => Some(Column::Fahrenheit),
                "humidity" => Some(Column::Humidity),
                _ => None,
            })
            .collect();
        let next =
            "Name the columns in the first line: time, temperature_c (or temperature_f), humidity.";
        let at = |wanted: Column, name: &str| {
            let mut places = found
                .iter()
                .enumerate()
                .filter(|(_, c)| **c == Some(wanted));
            let first = places.next().map(|(i, _)| i);
            match places.next() {
                Some(_) => Err(wrong(format!("Two columns are called {name}."), next)),
                None => Ok(first),
            }
        };
        let time =
            at(Column::Time, "time")?.ok_or_else(|| wrong("No column is called time.", next))?;
        let (celsius, fahrenheit) = (
            at(Column::Celsius, "temperature_c")?,
            at(Column::Fahrenheit, "temperature_f")?,
        );
        let (temperature, fahrenheit) = match (celsius, fahrenheit) {
            (Some(i), None) => (i, false),
            (None, Some(i)) => (i, true),
            _ => {
                return Err(wrong(
                    "One column must be called temperature_c or temperature_f, and only one.",
                    next,
                ));
            }
        };
        Ok(Self {
            time,
            temperature,
            fahrenheit,
            humidity: at(Column::Humidity, "humidity")?,
        })
    }

    fn reading(
        &self,
        row: &csv::StringRecord,
        zone: Option<FixedOffset>,
    ) -> Result<Reading, Refusal> {
        let cell = |i: usize| row.get(i).unwrap_or_default().trim();
        let typed = cell(self.time);
        let at = moment(typed, zone).ok_or_else(|| {
            wrong(
                format!("{} is no time.", quoted(typed)),
                "Write it as 2026-11-03T14:10:00+01:00, or as 2026-11-03 14:10 with the offset stated for all.",
            )
        })?;
        let typed = cell(self.temperature);
        let tenths_c = tenths(typed, self.fahrenheit)
            .filter(|t| MEASURABLE.contains(t))
            .ok_or_else(|| {
                wrong(
                    format!(
                        "{} is no temperature between -200 and 150 °C.",
                        quoted(typed)
                    ),
                    "Look at the logger's own file; leave the row out if the logger failed.",
                )
            })?;
        let typed = self.humidity.map(cell).filter(|t| !t.is_empty());
        let humidity = match typed {
            None => None,
            Some(typed) => Some(per_cent(typed).ok_or_else(|| {
                wrong(
                    format!(
                        "{} is no humidity between 0 and 100 per cent.",
                        quoted(typed)
                    ),
                    "Look at the logger's own file; leave the cell empty if it was not measured.",
                )
            })?),
        };
        Ok(Reading {
            at,
            tenths_c,
            humidity,
        })
    }
}

/// What was typed, short enough for a sentence.
fn quoted(typed: &str) -> String {
    let short: String = typed.chars().filter(|c| !c.is_control()).take(40).collect();
    if short.is_empty() {
        "An empty cell".into()
    } else {
        format!("\"{short}\"")
    }
}

/// A time with an offset, or one of this zone if there is one. Readings are kept to the second.
fn moment(typed: &str, zone: Option<FixedOffset>) -> Option<DateTime<Utc>> {
    if let Ok(at) = DateTime::parse_from_rfc3339(typed) {
        return Some(at.to_utc().trunc_subsecs(0));
    }
    let local = read_clock(typed)?;
    zone?
        .from_local_datetime(&local)
        .single()
        .map(|at| at.to_utc())
}

/// A decimal number as thousandths; with point or comma, at most six digits before and three that count after it.
fn thousandths(typed: &str) -> Option<i64> {
    let (negative, digits) = match typed.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, typed.strip_prefix('+').unwrap_or(typed)),
    };
    let (whole, part) = digits.split_once(['.', ',']).unwrap_or((digits, ""));
    let all_digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty()
        || whole.len() > 6
        || part.len() > 12
        || !all_digits(whole)
        || !all_digits(part)
    {
        return None;
    }
    let part: String = part.chars().chain("000".chars()).take(3).collect();
    let size = whole.parse::<i64>().ok()? * 1_000 + part.parse::<i64>().ok()?;
    Some(if negative { -size } else { size })
}

/// Divides and rounds to the nearest, halves away from zero.
fn rounded(value: i64, by: i64) -> i64 {
    (value.abs() + by / 2) / by * value.signum()
}

/// Tenths of a degree Celsius, rounded to the nearest.
fn tenths(typed: &str, fahrenheit: bool) -> Option<i32> {
    let read = thousandths(typed)?;
    let tenths = if fahrenheit {
        // Thousandths of a degree Fahrenheit to tenths of a degree Celsius: less 32, by 5/9, by 1/100.
        rounded((read - 32_000) * 5, 900)
    } else {
        rounded(read, 100)
    };
    i32::try_from(tenths).ok()
}

/// Whole per cent, rounded to the nearest.
fn per_cent(typed: &str) -> Option<u8> {
    let read = thousandths(typed.trim_end_matches('%').trim_end())?;
    if read > 100_000 {
        return None;
    }
    u8::try_from(rounded(read, 1_000)).ok()
}

/// The readings of a CSV, each with its line, or every wrong line.
fn rows(typed: &str, zone: Option<FixedOffset>) -> Result<Vec<(usize, Reading)>, Refusal> {
    if typed.len() > MAX_CSV {
        return Err(wrong(
            format!("The readings are longer than {MAX_CSV} bytes."),
            "Send them in parts, in order of time.",
        ));
    }
    let typed = typed.trim_start_matches('\u{feff}');
    // The reader counts a line that ends in two characters when it meets the second, one record late.
    let typed = typed.replace("\r\n", "\n");
    let first = typed.lines().next().unwrap_or_default();
    let delimiter = [b';', b'\t', b',']
        .into_iter()
        .find(|d| first.as_bytes().contains(d))
        .unwrap_or(b',');
    let mut from = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .from_reader(typed.as_bytes());
    let unreadable = |e: &csv::Error| {
        wrong(
            format!("The readings are no CSV: {e}."),
            "Look at the file's quotes.",
        )
    };
    let columns = Columns::of(from.headers().map_err(|e| unreadable(&e))?)?;
    let (mut readings, mut refused) = (Vec::new(), Vec::new());
    for row in from.records() {
        let row = row.map_err(|e| unreadable(&e))?;
        let line = row
            .position()
            .map_or(0, |p| usize::try_from(p.line()).unwrap_or(usize::MAX));
        if readings.len() + refused.len() >= MAX_READINGS {
            return Err(wrong(
                format!("One act holds at most {MAX_READINGS} readings."),
                "Send them in parts, in order of time.",
            ));
        }
        match columns.reading(&row, zone) {
            Ok(reading) => readings.push((line, reading)),
            Err(refusal) => refused.push(LineRefusal::new(line, &refusal)),
        }
    }
    if refused.is_empty() {
        return Ok(readings);
    }
    Err(lines(refused))
}

fn lines(mut refused: Vec<LineRefusal>) -> Refusal {
    let number = refused.len();
    refused.truncate(MAX_NAMED);
    let named = if number > refused.len() {
        format!("; the first {} are named", refused.len())
    } else {
        String::new()
    };
    let mut whole = Refusal::new(
        Rule::LinesRefused,
        format!("{number} of the lines cannot be read as readings, so none was recorded{named}."),
        "Mend the lines that are named, or leave them out, and send it again.",
    )
    .on("csv");
    whole.lines = refused.into_boxed_slice();
    whole
}

/// Readings that do not go forward in time, or lie ahead.
fn misplaced(readings: &[(usize, Reading)], now: DateTime<Utc>) -> Vec<LineRefusal> {
    let mut refused = Vec::new();
    let mut last: Option<DateTime<Utc>> = None;
    for (line, reading) in readings {
        let why = if reading.at > now + SKEW {
            Some(Refusal::new(
                Rule::InFuture,
                format!(
                    "{} lies in the future.",
                    reading.at.format("%Y-%m-%d %H:%M UTC")
                ),
                "Look at the logger's clock.",
            ))
        } else if last.is_some_and(|before| reading.at <= before) {
            Some(wrong(
                format!(
                    "{} is not later than the line before it.",
                    reading.at.format("%Y-%m-%d %H:%M UTC")
                ),
                "Sort the readings by time, each time once.",
            ))
        } else {
            None
        };
        last = last.max(Some(reading.at));
        refused.extend(why.map(|w| LineRefusal::new(*line, &w.on("csv"))));
    }
    refused
}

pub(super) fn log(ctx: &Context<'_>, x: &LogClimate) -> Result<Vec<Draft>, Refusal> {
    text("logger", &x.logger, 100, true)?;
    let place = ctx.place(x.place)?;
    let zone = x.offset.as_deref().map(|typed| {
        typed.trim().parse::<FixedOffset>().map_err(|_| {
            Refusal::new(
                Rule::BadValue,
                format!("{} is no offset from UTC.", quoted(typed)),
                "Write it as +01:00 or -05:00.",
            )
            .on("offset")
        })
    });
    let read = rows(&x.csv, zone.transpose()?)?;
    let refused = misplaced(&read, ctx.now);
    if !refused.is_empty() {
        return Err(lines(refused));
    }
    let known = place.climate_log.as_deref();
    let rows = read.len();
    let readings: Vec<Reading> = read
        .into_iter()
        .map(|(_, r)| r)
        .filter(|r| known.is_none_or(|k| r.at > k.last.at))
        .collect();
    if readings.is_empty() {
        return Err(match known {
            Some(known) if rows > 0 => wrong(
                format!(
                    "All {rows} readings are no later than the last one on record at {}, {}.",
                    place.added.name,
                    known.last.at.format("%Y-%m-%d %H:%M UTC")
                ),
                "Nothing is left to do, or it is the log of another place.",
            ),
            _ => wrong(
                "There are no readings.",
                "Send at least one line below the column names.",
            ),
        });
    }
    let before = known.map(ClimateLog::before).unwrap_or_default();
    let continues = before.open.is_some();
    let found = match ctx.trade.climate(&place.added.climate) {
        Some(climate) => excursions(&climate, &readings, before),
        None => Vec::new(),
    };
    let kept = known.map_or(0, |k| k.excursions.len()) - usize::from(continues);
    if kept + found.len() > MAX_EXCURSIONS {
        return Err(wrong(
            format!(
                "With these {} would have {} excursions on record, more than {MAX_EXCURSIONS}: it is not kept as its class, {}, says.",
                place.added.name,
                kept + found.len(),
                place.added.climate
            ),
            "Add a place of the class that it really has, and move what needs another to where that is kept.",
        ));
    }
    let fact = Fact::ClimateLogged(ClimateLogged {
        place: x.place,
        logger: x.logger.clone(),
        climate: place.added.climate.clone(),
        csv_sha256: Digest::of(x.csv.as_bytes()),
        left_out: u32::try_from(rows - readings.len()).unwrap_or(u32::MAX),
        readings: readings.iter().map(packed).collect(),
        continues: continues && !found.is_empty(),
        excursions: found,
    });
    Ok(ctx.draft(None, vec![Subject::Place(x.place)], fact))
}

/// A reading as the payload has it.
fn packed(reading: &Reading) -> Vec<i64> {
    let mut row = vec![reading.at.timestamp(), i64::from(reading.tenths_c)];
    row.extend(reading.humidity.map(i64::from));
    row
}

/// A reading from the payload; none where it is not one.
#[must_use]
pub fn unpacked(row: &[i64]) -> Option<Reading> {
    let (at, tenths_c, humidity) = match *row {
        [at, tenths] => (at, tenths, None),
        [at, tenths, humidity] => (at, tenths, Some(u8::try_from(humidity).ok()?)),
        _ => return None,
    };
    Some(Reading {
        at: DateTime::from_timestamp(at, 0)?,
        tenths_c: i32::try_from(tenths_c).ok()?,
        humidity,
    })
}

pub(super) fn logged(state: &mut State, x: &ClimateLogged, meta: &Meta) -> Result<(), Misfit> {
    let place = state
        .places
        .get_mut(&x.place)
        .ok_or_else(|| meta.misfit("no such place"))?;
    let readings: Vec<Reading> = x.readings.iter().filter_map(|r| unpacked(r)).collect();
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else {
        return Err(meta.misfit("a climate log without readings"));
    };
    let log = place.climate_log.get_or_insert_with(|| {
        Box::new(ClimateLog {
            logger: String::new(),
            since: first.at,
            last: *last,
            within: None,
            readings: 0,
            excursions: Vec::new(),
        })
    });
    log.logger.clone_from(&x.logger);
    log.last = *last;
    log.readings += readings.len() as u64;
    let begun = match log.excursions.pop() {
        Some(open) if x.continues => Some(open.first_seq),
        Some(other) => {
            log.excursions.push(other);
            None
        }
        None => None,
    };
    for (i, excursion) in x.excursions.iter().enumerate() {
        log.excursions.push(Logged {
            first_seq: begun.filter(|_| i == 0).unwrap_or(meta.seq),
            last_seq: meta.seq,
            excursion: excursion.clone(),
        });
    }
    // The last reading is within unless an excursion is going on; then it is the last one before that.
    log.within = match log.excursions.last().map(|l| &l.excursion) {
        Some(open) if open.until.is_none() => open.after,
        _ => Some(last.at),
    };
    Ok(())
}
