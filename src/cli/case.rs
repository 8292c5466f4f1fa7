//! `liftledger case`: cases of a ledger.

use std::io::Write;

use clap::{Args, Subcommand};

use super::site::Where;
use super::table;
use crate::app::house::House;
use crate::app::reader::{Part, Viewer};

/// Cases.
#[derive(Debug, Args)]
pub(super) struct Case {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    List(List),
}

/// List cases, newest first.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger case list --data ledger
  liftledger case list --data ledger --json --limit 20")]
struct List {
    #[command(flatten)]
    at: Where,
    /// Print the records as JSON.
    #[arg(long)]
    json: bool,
    /// At most so many.
    #[arg(long, default_value_t = table::LIMIT, value_parser = clap::value_parser!(u32).range(1..=i64::from(table::MOST)))]
    limit: u32,
}

impl Case {
    pub(super) fn run(&self, out: &mut impl Write) -> anyhow::Result<u8> {
        let Act::List(list) = &self.act;
        super::with_house(&list.at, async |house| list.print(house, out).await)
    }
}

impl List {
    async fn print(&self, house: &House, out: &mut impl Write) -> anyhow::Result<u8> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let mut rows = Vec::new();
        let mut part = Part::default();
        loop {
            part.limit = table::left(self.limit, rows.len());
            let page = reader.cases(&part).await?;
            rows.extend(page.rows);
            part.after = page.next;
            if part.after.is_none() || rows.len() >= self.limit as usize {
                break;
            }
        }
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &rows)?;
            writeln!(out)?;
        } else {
            let heads = ["NUMBER", "OPENED", "ITEMS", "PACKAGES", "SEEN BY", "TITLE"];
            let cells = rows.iter().map(|c| {
                [
                    c.number.clone(),
                    c.opened_at.format("%Y-%m-%d").to_string(),
                    c.items.to_string(),
                    c.packages.to_string(),
                    if c.restricted { "assigned" } else { "all" }.to_owned(),
                    c.title.clone(),
                ]
            });
            table::print(out, heads, cells.collect())?;
        }
        if part.after.is_some() {
            table::more(self.limit);
        }
        Ok(0)
    }
}
