//! `liftledger certificate`: what papers are signed with.

use std::fs::File;
use std::io::{Read as _, Write};
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use chrono::{DateTime, Utc};
use clap::{Args, Subcommand};

use super::file;
use crate::app::house::KEYS;
use crate::disclosure::signature::certificate::{About, Chain, MAX_TEXT, about};
use crate::disclosure::signature::issue::Whose;
use crate::keys::{Keys, papers};

/// What papers are signed with: a key of this ledger, and the certificate that says whose it is.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger certificate request --name 'Harrow Cove evidence unit' --organisation 'Harrow Cove Police' --out papers.csr --data ledger
  liftledger certificate install chain.pem --data ledger
  liftledger certificate show --data ledger

Papers printed after that, and after servers were started again, are signed. Every server of one database needs the same keys
folder. Which certificates a court or a reader of PDF trusts is not for this program to say.")]
pub(super) struct Certificate {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    /// Make a certificate that signs itself and take it into use. Nobody else vouches for it: readers of PDF will say so.
    SelfSigned {
        #[command(flatten)]
        whose: WhoseArgs,
        /// For how many years.
        #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u32).range(1..=20))]
        years: u32,
        /// Take the place of the one in use.
        #[arg(long)]
        replace: bool,
        #[command(flatten)]
        at: Folder,
    },
    /// Make a key and the request for its certificate (PKCS #10) for the agency's authority. What is in use stays in use.
    Request {
        #[command(flatten)]
        whose: WhoseArgs,
        /// The request to write.
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
        /// Write over a file that is there.
        #[arg(long)]
        force: bool,
        #[command(flatten)]
        at: Folder,
    },
    /// Take the certificates into use that came back for a request: PEM, the agency's own first, then those above it.
    Install {
        /// What came back.
        #[arg(value_name = "FILE")]
        chain: PathBuf,
        #[command(flatten)]
        at: Folder,
    },
    /// Show what is in use.
    Show {
        #[command(flatten)]
        at: Folder,
    },
}

#[derive(Debug, Args)]
struct Folder {
    /// The folder with keys/.
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
}

impl Folder {
    /// The keys' folder, where there are keys of a ledger in it.
    fn keys(&self) -> anyhow::Result<PathBuf> {
        let folder = self.data.join(KEYS);
        Keys::open(&folder).context("begin a ledger first")?;
        Ok(folder)
    }
}

#[derive(Debug, Args)]
struct WhoseArgs {
    /// What readers of PDF show as the signer: the unit that prints.
    #[arg(long, value_name = "TEXT")]
    name: String,
    /// The agency.
    #[arg(long, value_name = "TEXT", default_value = "")]
    organisation: String,
    /// A part of it.
    #[arg(long, value_name = "TEXT", default_value = "")]
    unit: String,
    /// Two capital letters, as ISO 3166-1 has them.
    #[arg(long, value_name = "CODE", default_value = "")]
    country: String,
}

impl WhoseArgs {
    fn whose(&self) -> anyhow::Result<Whose> {
        let whose = Whose {
            name: self.name.clone(),
            organisation: self.organisation.clone(),
            unit: self.unit.clone(),
            country: self.country.clone(),
        };
        whose.check()?;
        Ok(whose)
    }
}

fn day(at: DateTime<Utc>) -> String {
    at.format("%-d %b %Y").to_string()
}

fn tell(chain: &Chain, out: &mut dyn Write) -> std::io::Result<()> {
    let one: About = chain.about();
    writeln!(out, "Papers are signed by {}: {}.", one.subject, one.kind())?;
    writeln!(out, "Valid from {} to {}.", day(one.from), day(one.until))?;
    writeln!(out, "SHA-256 {}", one.digest)?;
    for upper in chain.all().skip(1).map(about) {
        writeln!(
            out,
            "Above it: {}, valid to {}, SHA-256 {}",
            upper.subject,
            day(upper.until),
            upper.digest
        )?;
    }
    if let Err(why) = chain.is_valid(Utc::now()) {
        writeln!(out, "Papers are printed unsigned: {why}.")?;
    }
    Ok(())
}

fn read(path: &Path) -> anyhow::Result<Vec<u8>> {
    let file = File::open(path).with_context(|| format!("cannot open {}", path.display()))?;
    let mut text = Vec::new();
    file.take(MAX_TEXT as u64 + 1)
        .read_to_end(&mut text)
        .with_context(|| format!("cannot read {}", path.display()))?;
    Ok(text)
}

impl Certificate {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        match &self.act {
            Act::SelfSigned {
                whose,
                years,
                replace,
                at,
            } => {
                let (whose, folder) = (whose.whose()?, at.keys()?);
                if folder.join(papers::CHAIN).exists() && !replace {
                    anyhow::bail!(
                        "papers are signed already; see liftledger certificate show, or add --replace for another certificate"
                    );
                }
                let chain = papers::self_signed(&folder, &whose, Utc::now(), *years)?;
                tell(&chain, out)?;
                writeln!(out, "Start servers of this ledger again to use it.")?;
            }
            Act::Request {
                whose,
                out: path,
                force,
                at,
            } => {
                let (whose, folder) = (whose.whose()?, at.keys()?);
                file::free(path, *force)?;
                let text = papers::request(&folder, &whose)?;
                file::write(path, text.as_bytes(), *force)?;
                writeln!(
                    out,
                    "{}: give it to your authority; its key waits in {}. When the certificate came back: liftledger certificate install",
                    path.display(),
                    folder.display()
                )?;
            }
            Act::Install { chain, at } => {
                let folder = at.keys()?;
                let chain = papers::install(&folder, chain, &read(chain)?, Utc::now())?;
                tell(&chain, out)?;
                writeln!(out, "Start servers of this ledger again to use it.")?;
            }
            Act::Show { at } => match Keys::open(&at.data.join(KEYS))?.papers() {
                Some(signer) => tell(signer.chain(), out)?,
                None => writeln!(
                    out,
                    "Papers are printed unsigned. Make a request for your authority: liftledger certificate request"
                )?,
            },
        }
        Ok(0)
    }
}
