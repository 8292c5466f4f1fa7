//! `liftledger expungement`: an order to expunge, and what has to be called back because of it.

use std::io::Write;

use clap::Args;

use super::{name, site::Where, table};
use crate::app::house::House;
use crate::app::reader::Viewer;
use crate::app::views::expungements::{self, Instruction};

/// Show an order to expunge of a case: what it covers, and which bundles, hand-offs and papers have to be called back.
///
/// Orders are entered and carried out by people who sign, on pages or by the interface for programs.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger expungement HC-26-0117 --data ledger
  liftledger expungement HC-26-0117 2 --data ledger --json

The ledger does not know where backups were made: one that was not brought up to date since still holds what was expunged.")]
pub(super) struct Expungement {
    /// The case.
    #[arg(value_name = "CASE")]
    case: String,
    /// Which of the case's orders.
    #[arg(value_name = "NUMBER", default_value_t = 1)]
    number: u32,
    #[command(flatten)]
    at: Where,
    /// Print it as JSON.
    #[arg(long)]
    json: bool,
}

impl Expungement {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        super::with_house(&self.at, async |house| self.print(house, out).await)
    }

    async fn print(&self, house: &House, out: &mut dyn Write) -> anyhow::Result<u8> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let case = expungements::case(&reader, name::case(&reader, &self.case).await?).await?;
        let told = expungements::instruction(&reader, &case, self.number).await?;
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &told)?;
            writeln!(out)?;
        } else {
            said(&told, out)?;
        }
        Ok(0)
    }
}

fn said(told: &Instruction, out: &mut dyn Write) -> anyhow::Result<()> {
    let order = &told.order;
    writeln!(
        out,
        "Order {} of {}, {}: {} of case {}",
        order.order, order.dated, order.court, told.what, told.case_number
    )?;
    writeln!(
        out,
        "On the record {}, by {}",
        told.ordered, told.ordered_by
    )?;
    match (&order.withdrawn_at, told.carried_out.is_empty()) {
        (Some(_), _) => writeln!(out, "Taken back.")?,
        (None, true) => writeln!(
            out,
            "Not carried out; it covers {} events now.",
            told.events.len()
        )?,
        (None, false) => writeln!(
            out,
            "Carried out {}: {} events.",
            told.carried_out,
            told.events.len()
        )?,
    }
    if told.waiting > 0 {
        writeln!(
            out,
            "{} files or raw bytes are still to be removed; start the server, which goes on with it.",
            told.waiting
        )?;
    }
    if !told.raw.is_empty() {
        writeln!(out, "{}", told.raw)?;
    }
    if told.outside.is_empty() {
        writeln!(
            out,
            "The record knows of nothing that has to be called back."
        )?;
        return Ok(());
    }
    writeln!(out, "To be called back:")?;
    let heads = ["EVENT", "WHEN", "TO WHOM", "SHA-256", "WHAT"];
    let rows = told.outside.iter().map(|o| {
        [
            o.seq.to_string(),
            o.when.clone(),
            o.to.clone(),
            o.digest.clone(),
            o.what.clone(),
        ]
    });
    table::print(out, heads, rows.collect())?;
    Ok(())
}
