//! `liftledger paper`: prints a paper of a case as a PDF, on the record, or lists what was printed.

use std::io::Write;
use std::path::PathBuf;

use anyhow::bail;
use clap::{Args, Subcommand};

use super::label::PaperSize;
use super::report::without;
use super::{file, name, site::Where};
use crate::app::house::House;
use crate::app::papers::bundle::Withhold;
use crate::app::papers::court::{Asked, receipt, redacted, sheet, submission};
use crate::app::papers::printed::{Prints, of_case};
use crate::app::papers::redact::Redaction;
use crate::app::papers::{By, Layout, Printed};
use crate::app::reader::{Reader, Viewer};
use crate::ids::{ItemId, Piece, Subject};

/// Print a paper of a case as a PDF, or list what was printed of it. Each print goes on the record, as made by the server's
/// operator.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger paper list HC-26-0117 --data ledger
  liftledger paper exhibits HC-26-0117 --out exhibits.pdf --data ledger
  liftledger paper receipt HC-26-0117 --from 'R. Amsel' --out receipt.pdf --data ledger
  liftledger paper submission HC-26-0117 --to 'State laboratory' --ask 'Compare with the exemplars of item 9' \\
      --of P2 --out submission.pdf --data ledger
  liftledger paper sheet HC-26-0117 --of P1,P2,3 --paper a4 --out sheet.pdf --data ledger
  liftledger paper witness HC-26-0117 --person tess --out witness.pdf --data ledger
  liftledger paper certification HC-26-0117 --out certification.pdf --data ledger

What a paper is worth in court is for local law and counsel to decide.")]
pub(super) struct Paper {
    #[command(subcommand)]
    which: Which,
}

#[derive(Debug, Subcommand)]
enum Which {
    /// What was printed of a case, the newest first.
    List {
        /// The case's number, or its identifier.
        case: String,
        /// As JSON.
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        at: Where,
    },
    /// The exhibit list: items with an exhibit number, in their order.
    Exhibits {
        /// Leave out what this field says, for a disclosure: FIELD=REASON, or EVENT.FIELD=REASON for one event.
        #[arg(long, value_name = "FIELD=REASON")]
        withhold: Vec<Withhold>,
        #[command(flatten)]
        plain: Plain,
    },
    /// A receipt for whoever something was taken from.
    Receipt {
        /// From whom it was taken. Without it: a line to write on.
        #[arg(long, value_name = "NAME", default_value = "")]
        from: String,
        /// Whom to ask, with a telephone number. Without it: whoever prints.
        #[arg(long, value_name = "WHO", default_value = "")]
        ask: String,
        /// Under which authority it was taken.
        #[arg(long, value_name = "WORDS", default_value = "")]
        authority: String,
        /// Only these items, by number.
        #[arg(long, value_name = "NUMBERS", value_delimiter = ',')]
        items: Vec<u32>,
        /// The address of the scene stands on it.
        #[arg(long)]
        with_address: bool,
        #[command(flatten)]
        plain: Plain,
    },
    /// A submission to a laboratory or an examiner.
    Submission {
        /// To whom it goes.
        #[arg(long, value_name = "LABORATORY")]
        to: String,
        /// Which examinations are asked for.
        #[arg(long, value_name = "WORDS")]
        ask: String,
        /// Reference.
        #[arg(long, value_name = "WORDS", default_value = "")]
        reference: String,
        /// By when, and why then.
        #[arg(long, value_name = "WORDS", default_value = "")]
        due: String,
        /// What goes: P2 for package 2, 3 for item 3. Without it: everything that is in no package.
        #[arg(long, value_name = "THINGS", value_delimiter = ',')]
        of: Vec<String>,
        #[command(flatten)]
        plain: Plain,
    },
    /// A hand-over sheet to be signed in ink while there is no network.
    Sheet {
        /// Who releases.
        #[arg(long, value_name = "NAME", default_value = "")]
        from: String,
        /// Who receives.
        #[arg(long, value_name = "NAME", default_value = "")]
        to: String,
        /// Why.
        #[arg(long, value_name = "WORDS", default_value = "")]
        reason: String,
        /// What is handed over: P2 for package 2, 3 for item 3. Without it: everything that is in no package.
        #[arg(long, value_name = "THINGS", value_delimiter = ',')]
        of: Vec<String>,
        /// Empty lines for what is not listed, at most 60.
        #[arg(long, default_value_t = 4)]
        empty: usize,
        #[command(flatten)]
        plain: Plain,
    },
    /// What one person did in a case.
    Witness {
        /// The person's user name.
        #[arg(long, value_name = "USER-NAME")]
        person: String,
        #[command(flatten)]
        plain: Plain,
    },
    /// The blanks of a records custodian's certification.
    Certification(Plain),
}

#[derive(Debug, Args)]
struct Plain {
    /// The case's number, or its identifier.
    case: String,
    /// Paper. Without it: the agency's.
    #[arg(long, value_enum)]
    paper: Option<PaperSize>,
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

/// Things of a case by what people call them in it: `P2`, `3`.
async fn pieces(reader: &Reader<'_>, case: &str, of: &[String]) -> anyhow::Result<Vec<Piece>> {
    let mut out = Vec::with_capacity(of.len());
    for one in of {
        match name::thing(reader, &format!("{case}/{one}")).await? {
            Subject::Item(id) => out.push(Piece::Item(id)),
            Subject::Package(id) => out.push(Piece::Package(id)),
            _ => bail!("{one} is neither an item nor a package"),
        }
    }
    Ok(out)
}

impl Paper {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let plain = match &self.which {
            Which::List { case, json, at } => return list(case, *json, at, out),
            Which::Certification(plain) => plain,
            Which::Exhibits { plain, .. }
            | Which::Receipt { plain, .. }
            | Which::Submission { plain, .. }
            | Which::Sheet { plain, .. }
            | Which::Witness { plain, .. } => plain,
        };
        file::free(&plain.out, plain.force)?;
        let printed = super::with_house(&plain.at, async |house| self.print(plain, house).await)?;
        file::write_paper(&plain.out, &printed, plain.force, out)
    }

    async fn print(&self, plain: &Plain, house: &House) -> anyhow::Result<Printed> {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let case = name::case(&reader, &plain.case).await?;
        let asked = match &self.which {
            Which::List { .. } => bail!("a list is no paper"),
            Which::Exhibits { .. } => Asked::ExhibitList,
            Which::Certification(_) => Asked::Certification,
            Which::Receipt {
                from,
                ask,
                authority,
                items,
                with_address,
                ..
            } => {
                let numbers: Vec<String> = items.iter().map(ToString::to_string).collect();
                let chosen = pieces(&reader, &plain.case, &numbers).await?;
                Asked::OwnerReceipt(receipt::Receipt {
                    items: chosen.into_iter().filter_map(item).collect(),
                    from: from.clone(),
                    ask: ask.clone(),
                    authority: authority.clone(),
                    with_address: *with_address,
                })
            }
            Which::Submission {
                to,
                ask,
                reference,
                due,
                of,
                ..
            } => Asked::LaboratorySubmission(submission::Submission {
                pieces: pieces(&reader, &plain.case, of).await?,
                to: to.clone(),
                examinations: ask.clone(),
                reference: reference.clone(),
                due: due.clone(),
            }),
            Which::Sheet {
                from,
                to,
                reason,
                of,
                empty,
                ..
            } => Asked::HandOverSheet(sheet::Sheet {
                pieces: pieces(&reader, &plain.case, of).await?,
                from: from.clone(),
                to: to.clone(),
                reason: reason.clone(),
                empty: *empty,
            }),
            Which::Witness { person, .. } => {
                let Some(found) = house.person_by_user_name(person).await? else {
                    bail!("nobody has the user name {person}");
                };
                Asked::WitnessSheet(found.id)
            }
        };
        let layout = Layout {
            paper: plain.paper.map(PaperSize::paper),
            agency: plain.agency.clone(),
        };
        let redaction = match &self.which {
            Which::Exhibits { withhold, .. } => without(&reader, case, withhold).await?,
            _ => Redaction::default(),
        };
        let by = By::operator();
        Ok(redacted(&reader, by, case, &asked, &layout, &redaction).await?)
    }
}

fn item(piece: Piece) -> Option<ItemId> {
    match piece {
        Piece::Item(id) => Some(id),
        Piece::Package(_) => None,
    }
}

fn list(case: &str, json: bool, at: &Where, out: &mut dyn Write) -> anyhow::Result<u8> {
    let prints: Prints = super::with_house(at, async |house| {
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let id = name::case(&reader, case).await?;
        let case = reader.case(id).await?;
        Ok(of_case(&reader, &case).await?)
    })?;
    if json {
        serde_json::to_writer_pretty(&mut *out, &prints)?;
        writeln!(out)?;
        return Ok(0);
    }
    for p in &prints.rows {
        writeln!(
            out,
            "{}  {}, {}  by {}  {}  event {}",
            p.when, p.paper, p.of, p.by, p.digest, p.seq
        )?;
    }
    if prints.rows.is_empty() {
        writeln!(out, "nothing was printed of this case")?;
    }
    if prints.more {
        writeln!(
            out,
            "there are more items or prints than were looked through"
        )?;
    }
    Ok(0)
}
