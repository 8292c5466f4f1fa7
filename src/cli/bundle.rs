//! `liftledger bundle`: a case for somebody outside, in one file that they can check without this server.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::{file, name, site::Where};
use crate::app::house::House;
use crate::app::papers::By;
use crate::app::papers::bundle::{Bundled, Wanted, Withhold, bundle};
use crate::app::reader::Viewer;

/// Write a case into one zip that anybody can check: events with proofs, pictures, papers, provenance.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger bundle HC-26-0117 --to \"Defence counsel\" --authority \"order of 4 March\" --out HC-26-0117.zip --data ledger
  liftledger bundle HC-26-0117 --to \"Defence counsel\" --authority \"order of 4 March\" \\
      --withhold \"address=a witness lives there\" --withhold \"17.note=names a minor\" --out HC-26-0117.zip --data ledger
  liftledger verify --bundle HC-26-0117.zip

Whoever gets the file opens verify.html in it with a browser, or uses this program, or writes a verifier of their own from
the format page. That the bundle was made, for whom and what was withheld, goes on the record. What may be disclosed, and
to whom, is for local law and counsel to say.")]
pub(super) struct Bundle {
    /// The case: its number or identifier.
    case: String,
    /// To whom it goes.
    #[arg(long, value_name = "WHOM")]
    to: String,
    /// The order, request or rule that it follows.
    #[arg(long, value_name = "TEXT")]
    authority: String,
    /// Withhold a field, with the reason: FIELD=REASON for the whole case, EVENT.FIELD=REASON in one event. Papers are
    /// printed without its text, or left out where the field is no free text.
    #[arg(long, value_name = "WHAT=REASON")]
    withhold: Vec<Withhold>,
    /// Leave the pictures out, for this reason.
    #[arg(long, value_name = "REASON")]
    without_images: Option<String>,
    /// The file to write.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write over a file that is there.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    at: Where,
}

impl Bundle {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        file::free(&self.out, self.force)?;
        let done = super::with_house(&self.at, async |house| self.make(house).await)?;
        writeln!(
            out,
            "{}: {} events, {} pictures, {} fields withheld, {} bytes, SHA-256 {}, recorded as event {}",
            self.out.display(),
            done.events,
            done.images,
            done.withheld,
            done.bytes,
            done.digest,
            done.recorded.seq
        )?;
        if let Some(why) = &done.papers_left_out {
            writeln!(out, "no papers in it: {why}")?;
        }
        Ok(0)
    }

    async fn make(&self, house: &House) -> anyhow::Result<Bundled> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let case = name::case(&reader, &self.case).await?;
        let wanted = Wanted {
            to: self.to.clone(),
            authority: self.authority.clone(),
            withhold: self.withhold.clone(),
            without_images: self.without_images.clone(),
        };
        // A line now and then on the error stream: many pictures take a while.
        let progress = |done: usize, all: usize| {
            if done.is_multiple_of(100) {
                let _ = writeln!(std::io::stderr(), "{done} of {all} pictures");
            }
        };
        // Beside the file, and renamed when it is whole: a half-written bundle never bears the name.
        let part = self.out.with_extension("part");
        let made = bundle(&reader, By::operator(), case, &wanted, &part, progress).await;
        match made {
            Ok(made) => {
                std::fs::rename(&part, &self.out)?;
                Ok(made)
            }
            Err(e) => {
                let _ = std::fs::remove_file(&part);
                Err(e.into())
            }
        }
    }
}
