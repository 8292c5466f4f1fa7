//! `liftledger report`: prints a custody report as a PDF, on the record.

use std::io::Write;
use std::path::PathBuf;

use anyhow::{anyhow, bail};
use clap::Args;

use super::label::PaperSize;
use super::{file, name, site::Where};
use crate::app::house::House;
use crate::app::papers::bundle::{Wanted, Withhold, redaction};
use crate::app::papers::redact::Redaction;
use crate::app::papers::{By, Layout, Printed, report};
use crate::app::reader::{Reader, Viewer};
use crate::ids::{CaseId, Subject};

/// Print the custody report of an item, of everything in a package, or of a case as a PDF. The print goes on the record,
/// as made by the server's operator.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger report HC-26-0117 --out report.pdf --data ledger
  liftledger report HC-26-0117/3 --out item-3.pdf --data ledger
  liftledger report HC-26-0117/P2 --paper a4 --out package-2.pdf --data ledger

The report says what the ledger holds and what its checkpoint shows. What it is worth in court is for local law and
counsel to decide.")]
pub(super) struct Report {
    /// A case number, CASE-NUMBER/3 for item 3, CASE-NUMBER/P2 for package 2, the code on a label, or an identifier.
    #[arg(value_name = "CASE|ITEM|PACKAGE")]
    of: String,
    /// Paper. Without it: the agency's.
    #[arg(long, value_enum)]
    paper: Option<PaperSize>,
    /// The agency's name at the top. Without it: the one that is set.
    #[arg(long, value_name = "NAME")]
    agency: Option<String>,
    /// Leave out of the report what this field says, for a disclosure: FIELD=REASON, or EVENT.FIELD=REASON for one event.
    #[arg(long, value_name = "FIELD=REASON")]
    withhold: Vec<Withhold>,
    /// The PDF to write.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write over a file that is there.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    at: Where,
}

impl Report {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        file::free(&self.out, self.force)?;
        let printed = super::with_house(&self.at, async |house| self.print(house).await)?;
        file::write_paper(&self.out, &printed, self.force, out)
    }

    async fn print(&self, house: &House) -> anyhow::Result<Printed> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let of = name::thing(&reader, &self.of).await?;
        let layout = Layout {
            paper: self.paper.map(PaperSize::paper),
            agency: self.agency.clone(),
        };
        // A line now and then on the error stream: a large case takes a while.
        let progress = |done: usize, all: usize| {
            if done.is_multiple_of(50) {
                let _ = writeln!(std::io::stderr(), "{done} of {all} items read");
            }
        };
        let case = match of {
            Subject::Item(id) => reader.item(id).await?.case,
            Subject::Package(id) => reader.package(id).await?.case,
            Subject::Case(id) => id,
            _ => bail!("a custody report is printed of an item, a package or a case"),
        };
        let redaction = without(&reader, case, &self.withhold).await?;
        let by = By::operator();
        Ok(report::redacted(&reader, by, of, &layout, &redaction, progress).await?)
    }
}

/// What papers of a case leave out where these fields are withheld.
pub(super) async fn without(
    reader: &Reader<'_>,
    case: CaseId,
    withhold: &[Withhold],
) -> anyhow::Result<Redaction> {
    let wanted = Wanted {
        withhold: withhold.to_vec(),
        ..Wanted::default()
    };
    redaction(reader, case, &wanted)
        .await?
        .map_err(|why| anyhow!("the paper cannot be printed without it: {why}"))
}
