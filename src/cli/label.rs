//! `liftledger label`: prints a label as a PDF, on the record.

use std::io::Write;
use std::path::PathBuf;

use anyhow::bail;
use clap::{Args, ValueEnum};

use super::{file, name, site::Where};
use crate::app::house::House;
use crate::app::papers::label::{self, LabelKind};
use crate::app::papers::{By, Layout, Printed};
use crate::app::reader::Viewer;
use crate::ids::Subject;
use crate::reports::paper::{Card, Paper};

/// Print a label as a PDF. The print goes on the record, as made by the server's operator.
///
/// Items have card, card-front, card-back, box, envelope and seal-strip; packages have box, envelope and seal-strip;
/// places have place; a case has sheet: the cards of all its items on sheets, fronts and backs.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger label I4K7-9Q2M-XW3A --kind card --size 3x5 --out card.pdf --data ledger
  liftledger label HC-26-0117/3 --kind card-back --size 4x6 --out back.pdf --data ledger
  liftledger label HC-26-0117/P2 --kind box --out box.pdf --data ledger
  liftledger label HC-26-0117 --kind sheet --size 3x5 --paper a4 --out sheet.pdf --data ledger")]
pub(super) struct Label {
    /// The code on the label, CASE-NUMBER/3 for item 3, CASE-NUMBER/P2 for package 2, a case number, or an identifier.
    #[arg(value_name = "ITEM")]
    of: String,
    /// Which label.
    #[arg(long, value_enum)]
    kind: Kind,
    /// Size of the card, in inches.
    #[arg(long, value_enum, default_value = "3x5")]
    size: CardSize,
    /// Paper of the sheet. Without it: the agency's.
    #[arg(long, value_enum)]
    paper: Option<PaperSize>,
    /// Only these items of the case, by number, on the sheet.
    #[arg(long, value_name = "NUMBERS", value_delimiter = ',')]
    items: Vec<u32>,
    /// The agency's name at the top. Without it: the one that is set.
    #[arg(long, value_name = "NAME")]
    agency: Option<String>,
    /// The PDF to write.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write over a file that is there.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    at: Where,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Kind {
    Card,
    CardFront,
    CardBack,
    Box,
    Envelope,
    SealStrip,
    Place,
    Sheet,
}

/// Size of a card.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum CardSize {
    #[value(name = "3x5")]
    ThreeByFive,
    #[value(name = "4x6")]
    FourBySix,
}

/// Size of a page.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum PaperSize {
    Letter,
    A4,
}

impl PaperSize {
    pub(super) fn paper(self) -> Paper {
        match self {
            Self::Letter => Paper::Letter,
            Self::A4 => Paper::A4,
        }
    }
}

impl Label {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        file::free(&self.out, self.force)?;
        let printed = super::with_house(&self.at, async |house| self.print(house).await)?;
        file::write_paper(&self.out, &printed, self.force, out)
    }

    async fn print(&self, house: &House) -> anyhow::Result<Printed> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let of = name::thing(&reader, &self.of).await?;
        let by = By::operator();
        let card = match self.size {
            CardSize::ThreeByFive => Card::ThreeByFive,
            CardSize::FourBySix => Card::FourBySix,
        };
        let layout = Layout {
            paper: self.paper.map(PaperSize::paper),
            agency: self.agency.clone(),
        };
        let kind = match self.kind {
            Kind::Card => LabelKind::Card,
            Kind::CardFront => LabelKind::CardFront,
            Kind::CardBack => LabelKind::CardBack,
            Kind::Box => LabelKind::Box,
            Kind::Envelope => LabelKind::Envelope,
            Kind::SealStrip => LabelKind::SealStrip,
            Kind::Place => LabelKind::Place,
            Kind::Sheet => {
                let Subject::Case(case) = of else {
                    bail!(
                        "a sheet is printed of a case; name its number, and --items for some of its items"
                    );
                };
                let mut items = Vec::with_capacity(self.items.len());
                for number in &self.items {
                    match name::thing(&reader, &format!("{case}/{number}")).await? {
                        Subject::Item(id) => items.push(id),
                        _ => bail!("{number} is not the number of an item"),
                    }
                }
                return Ok(label::sheet(&reader, by, case, &items, card, &layout).await?);
            }
        };
        Ok(match of {
            Subject::Item(id) => label::item_label(&reader, by, id, kind, card, &layout).await?,
            Subject::Package(id) => label::package_label(&reader, by, id, kind, &layout).await?,
            Subject::Place(id) if matches!(kind, LabelKind::Place | LabelKind::Box) => {
                label::place(&reader, by, id, &layout).await?
            }
            Subject::Place(_) => bail!("a place has one label: --kind place"),
            Subject::Case(_) => {
                bail!("a case has no label of its own: --kind sheet prints the cards of its items")
            }
            Subject::Mark(_) | Subject::Person(_) | Subject::Count(_) => {
                bail!("only items, packages and places have labels")
            }
        })
    }
}
