//! `liftledger climate`: when a place was outside its climate, and what that means for a thing that stood there.

use std::io::Write;

use clap::Args;
use serde::Serialize;

use super::{name, site::Where, table};
use crate::app::house::House;
use crate::app::reader::{Part, ReadError, Viewer};
use crate::app::views::findings::Finding;
use crate::app::views::place_file::{self, PlaceFile};
use crate::app::views::{item_file, package_file};
use crate::ids::Subject;

/// List when a place was outside its climate by its logger, or what of that an item or a package stood there for.
///
/// Readings are put on the record by a person in the browser or by a program in a person's name; this only reads.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger climate 'Freezer F' --data ledger
  liftledger climate HC-26-0117/3 --data ledger --json

Exit codes: 0 no excursion, 1 could not run, 2 there are some.")]
pub(super) struct Climate {
    /// A place by its name or the code on its label; an item or a package by its code or as CASE-NUMBER/3, CASE-NUMBER/P2.
    #[arg(value_name = "THING")]
    thing: String,
    #[command(flatten)]
    at: Where,
    /// Print the records as JSON.
    #[arg(long)]
    json: bool,
}

impl Climate {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        super::with_house(&self.at, async |house| self.print(house, out).await)
    }

    async fn print(&self, house: &House, out: &mut dyn Write) -> anyhow::Result<u8> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let subject = match reader.place_by_name(&self.thing).await {
            Ok(place) => Subject::Place(place.id),
            Err(ReadError::NotFound(_)) => name::thing(&reader, &self.thing).await?,
            Err(e) => return Err(e.into()),
        };
        match subject {
            Subject::Place(id) => {
                let file = place_file::load(&reader, id, &Part::first(1)).await?;
                self.of_place(&file, out)
            }
            Subject::Item(id) => {
                let file = item_file::load(&reader, id).await?;
                self.of_thing(&file.findings, out)
            }
            Subject::Package(id) => {
                let file = package_file::load(&reader, id).await?;
                self.of_thing(&file.findings, out)
            }
            _ => anyhow::bail!(
                "{} is neither a place nor an item nor a package",
                self.thing
            ),
        }
    }

    fn json<T: Serialize>(&self, rows: &T, out: &mut dyn Write) -> anyhow::Result<()> {
        serde_json::to_writer_pretty(&mut *out, rows)?;
        writeln!(out)?;
        Ok(())
    }

    fn of_place(&self, file: &PlaceFile, out: &mut dyn Write) -> anyhow::Result<u8> {
        let Some(log) = &file.climate_log else {
            if self.json {
                self.json(&serde_json::Value::Null, out)?;
            } else {
                writeln!(
                    out,
                    "No reading of a logger is on record for {} itself.",
                    file.name
                )?;
            }
            return Ok(0);
        };
        let some = u8::from(log.count > 0) * 2;
        if self.json {
            self.json(log, out)?;
            return Ok(some);
        }
        writeln!(
            out,
            "{} readings of logger {} since {}; the last: {}.",
            log.readings, log.logger, log.since_words, log.last_words
        )?;
        if log.excursions.is_empty() {
            writeln!(out, "No reading was outside the class.")?;
            return Ok(some);
        }
        let lines = log.excursions.iter().map(|x| {
            let events: Vec<String> = x.events.iter().map(ToString::to_string).collect();
            [
                x.when.clone(),
                x.how_far.clone(),
                x.between.clone(),
                events.join(", "),
            ]
        });
        table::print(
            out,
            ["OUTSIDE ITS CLASS", "READ", "AROUND IT", "EVENTS"],
            lines.collect(),
        )?;
        if log.count > log.excursions.len() {
            writeln!(
                out,
                "The last {} of {}.",
                log.excursions.len(),
                log.count_words
            )?;
        }
        Ok(some)
    }

    fn of_thing(&self, findings: &[Finding], out: &mut dyn Write) -> anyhow::Result<u8> {
        let found: Vec<&Finding> = findings
            .iter()
            .filter(|f| f.code.starts_with("climate-excursion"))
            .collect();
        let some = u8::from(!found.is_empty()) * 2;
        if self.json {
            self.json(&found, out)?;
            return Ok(some);
        }
        if found.is_empty() {
            writeln!(
                out,
                "It stood nowhere while a logger there read outside the class."
            )?;
        }
        for finding in found {
            let answered = if finding.answer.is_some() {
                " Answered."
            } else {
                ""
            };
            writeln!(
                out,
                "{} ({}): {}{answered}",
                finding.title,
                finding.severity.word(),
                finding.sentence
            )?;
        }
        Ok(some)
    }
}
