//! `liftledger case`: cases of a ledger.

use std::io::Write;

use clap::{Args, Subcommand};

use super::site::Where;
use super::{name, table};
use crate::app::house::House;
use crate::app::reader::{Part, Viewer};
use crate::app::views::{ready, words};

/// Cases.
#[derive(Debug, Args)]
pub(super) struct Case {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    List(List),
    Ready(Ready),
}

/// Say whether a case is ready for court: whether every finding of everything in it has an answer.
///
/// Each finding without one is named by its key, with which the interface for programs takes an answer (answer-finding). Ends
/// with 0 where it is ready, with 2 where it is not.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger case ready HC-26-0117 --data ledger
  liftledger case ready HC-26-0117 --data ledger --json")]
struct Ready {
    /// The case's number or identifier.
    #[arg(value_name = "CASE")]
    case: String,
    #[command(flatten)]
    at: Where,
    /// Print the answer as JSON.
    #[arg(long)]
    json: bool,
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
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        match &self.act {
            Act::List(list) => {
                super::with_house(&list.at, async |house| list.print(house, out).await)
            }
            Act::Ready(ready) => {
                super::with_house(&ready.at, async |house| ready.print(house, out).await)
            }
        }
    }
}

impl Ready {
    async fn print(&self, house: &House, out: &mut dyn Write) -> anyhow::Result<u8> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let id = name::case(&reader, &self.case).await?;
        let found = ready::load(&reader, id).await?;
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &found)?;
            writeln!(out)?;
        } else {
            writeln!(out, "Case {}: {}", found.case.number, found.sentence)?;
            writeln!(
                out,
                "Looked through: {}, {}.",
                words::counted(found.items, "item"),
                words::counted(found.packages, "package")
            )?;
            for left in &found.left {
                let f = &left.finding;
                writeln!(
                    out,
                    "\n{}, {}: {}. {}",
                    left.about,
                    f.severity.word(),
                    f.title,
                    f.sentence
                )?;
                writeln!(out, "  What would answer it: {}", f.would_answer)?;
                writeln!(out, "  Key: {}", f.key)?;
            }
            let unlisted = (found.findings - found.answered).saturating_sub(found.left.len());
            if unlisted > 0 {
                writeln!(out, "\nAnd {unlisted} more.")?;
            }
        }
        Ok(if found.ready { 0 } else { super::FAILED })
    }
}

impl List {
    async fn print(&self, house: &House, out: &mut dyn Write) -> anyhow::Result<u8> {
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
