//! `liftledger export`: a folder for disclosure, which `liftledger verify --folder` checks without this ledger.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::name;
use super::site::Where;
use crate::app::house::House;
use crate::app::papers::export::{self, Exported, Target};
use crate::app::reader::Viewer;

/// Write the whole ledger, or one case with its proofs, into a folder.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger export --case HC-26-0117 --out export-HC-26-0117 --data ledger
  liftledger export --case HC-26-0117 --with-originals --out export-HC-26-0117 --data ledger
  liftledger export --out whole --data ledger
  liftledger verify --folder export-HC-26-0117

The folder holds every field of its events. What may be disclosed, and to whom, is for local law and counsel to say.")]
pub(super) struct Export {
    /// Only this case: its number or identifier. Its events carry proofs that they are in the ledger.
    #[arg(long, value_name = "CASE")]
    case: Option<String>,
    /// With the original bytes of pictures and their working copies, under their SHA-256.
    #[arg(long)]
    with_originals: bool,
    /// The folder to write; it must be new or empty.
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// Write over an export that is there.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    at: Where,
}

impl Export {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let done = super::with_house(&self.at, async |house| self.write(house).await)?;
        write!(
            out,
            "{}: {} events of a ledger of {}",
            self.out.display(),
            done.events,
            done.ledger_size
        )?;
        if self.with_originals {
            write!(out, ", {} originals and working copies", done.pictures)?;
        }
        writeln!(out)?;
        Ok(0)
    }

    async fn write(&self, house: &House) -> anyhow::Result<Exported> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let target = Target {
            folder: self.out.clone(),
            originals: self.with_originals,
            overwrite: self.force,
        };
        let mut told = 0;
        let progress = |done: u64| {
            if done >= told + 50_000 {
                told = done;
                let _ = writeln!(std::io::stderr(), "{done} events");
            }
        };
        Ok(match &self.case {
            Some(text) => {
                let case = name::case(&reader, text).await?;
                export::case(&reader, case, &target, progress).await?
            }
            None => export::whole(&reader, &target, progress).await?,
        })
    }
}
