//! `liftledger lot`: everything that was made with a lot.

use std::io::Write;

use clap::Args;

use super::{site::Where, table};
use crate::app::house::House;
use crate::app::reader::{Part, Viewer};
use crate::app::views::lot_file;

/// List every item that was made with a lot of a medium, as on a recall.
///
/// The lot is compared without outer spaces and in capitals, as the record has it now: where it was corrected, by what it was
/// corrected to.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger lot silicone-putty SP-0931 --data ledger
  liftledger lot lifting-tape 'LT-209' --data ledger --json

The media are listed by: liftledger rules show medium")]
pub(super) struct Lot {
    /// The medium, by the trade rules' identifier.
    #[arg(value_name = "MEDIUM")]
    medium: String,
    /// The lot, as it stands on the package.
    #[arg(value_name = "LOT")]
    lot: String,
    #[command(flatten)]
    at: Where,
    /// Print the records as JSON.
    #[arg(long)]
    json: bool,
    /// At most so many.
    #[arg(long, default_value_t = table::LIMIT, value_parser = clap::value_parser!(u32).range(1..=i64::from(table::MOST)))]
    limit: u32,
}

impl Lot {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        super::with_house(&self.at, async |house| self.print(house, out).await)
    }

    async fn print(&self, house: &House, out: &mut dyn Write) -> anyhow::Result<u8> {
        if house.rules.medium_ever(&self.medium).is_none() {
            anyhow::bail!(
                "there is no medium {}; list them with: liftledger rules show medium --data DIR",
                self.medium
            );
        }
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let mut rows = Vec::new();
        let mut part = Part::default();
        loop {
            part.limit = table::left(self.limit, rows.len());
            let file = lot_file::load(&reader, &self.medium, &self.lot, &part).await?;
            rows.extend(file.items.rows);
            part.after = file.items.next;
            if part.after.is_none() || rows.len() >= self.limit as usize {
                break;
            }
        }
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &rows)?;
            writeln!(out)?;
        } else if rows.is_empty() {
            writeln!(out, "No item on record was made with it.")?;
        } else {
            let heads = [
                "CASE",
                "ITEM",
                "CODE",
                "PUT ON",
                "BY",
                "WITH",
                "DESCRIPTION",
            ];
            let lines = rows.iter().map(|r| {
                // Whoever has the folder has every file of it, but a list of many cases is no place for a closed one.
                let open = |text: &String| {
                    if r.restricted {
                        "restricted".to_owned()
                    } else {
                        text.clone()
                    }
                };
                [
                    r.case_number.clone(),
                    r.number.to_string(),
                    r.code.grouped(),
                    open(&r.started),
                    open(&r.by),
                    open(&r.with),
                    open(&r.what),
                ]
            });
            table::print(out, heads, lines.collect())?;
        }
        if part.after.is_some() {
            table::more(self.limit);
        }
        Ok(0)
    }
}
