//! `liftledger item`: items of a case.

use std::io::Write;

use clap::{Args, Subcommand};

use super::{name, site::Where, table};
use crate::app::house::House;
use crate::app::reader::{Part, Viewer};
use crate::app::views::words;
use crate::custody::State;
use crate::custody::state::Item as Record;
use crate::ids::{Piece, Subject};

/// Items.
#[derive(Debug, Args)]
pub(super) struct Item {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    List(List),
}

/// List the items of a case, by number: their codes, how they read, who has them.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger item list HC-26-0117 --data ledger
  liftledger item list HC-26-0117 --data ledger --json")]
struct List {
    /// The case's number or identifier.
    #[arg(value_name = "CASE")]
    case: String,
    #[command(flatten)]
    at: Where,
    /// Print the records as JSON.
    #[arg(long)]
    json: bool,
    /// At most so many.
    #[arg(long, default_value_t = table::LIMIT, value_parser = clap::value_parser!(u32).range(1..=i64::from(table::MOST)))]
    limit: u32,
}

impl Item {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let Act::List(list) = &self.act;
        super::with_house(&list.at, async |house| list.print(house, out).await)
    }
}

impl List {
    async fn print(&self, house: &House, out: &mut dyn Write) -> anyhow::Result<u8> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let case = name::case(&reader, &self.case).await?;
        let (mut rows, mut lines) = (Vec::new(), Vec::new());
        let mut part = Part::default();
        loop {
            part.limit = table::left(self.limit, rows.len());
            let page = reader.items_of(case, &part).await?;
            if !self.json {
                let of: Vec<Subject> = page.rows.iter().map(|i| Subject::Item(i.id)).collect();
                let state = reader.around(&of).await?;
                lines.extend(page.rows.iter().map(|i| line(&state, i)));
            }
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
            let heads = ["ITEM", "CODE", "FORM", "READS", "WITH", "DESCRIPTION"];
            table::print(out, heads, lines)?;
        }
        if part.after.is_some() {
            table::more(self.limit);
        }
        Ok(0)
    }
}

fn line(state: &State, item: &Record) -> [String; 6] {
    let who =
        words::held_by(state, Piece::Item(item.id)).unwrap_or_else(|| "nobody on record".into());
    let inside = item.custody.inside.and_then(|id| state.packages.get(&id));
    [
        item.number.to_string(),
        item.code.grouped(),
        item.recovered.form.clone(),
        item.recovered.reads.clone(),
        match inside {
            Some(package) => format!("{who} (in P{})", package.number),
            None => who,
        },
        item.recovered.description.clone(),
    ]
}
