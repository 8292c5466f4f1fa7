//! `liftledger verify`: checks an exported folder without a server, or a ledger's whole database.

use std::{fs::File, io::Read, io::Write, path::Path, path::PathBuf};

use anyhow::{Context, bail};
use clap::Args;

use super::{FAILED, check_paper, site};
use crate::app::audit::audit;
use crate::app::house::House;
use crate::disclosure::bundle;
use crate::ledger::checkpoint::VerifyingKey;
use crate::ledger::export;
use crate::ledger::verify::folder::{Files, part, whole};

/// The largest file that is read, in bytes: 4 GB.
const MAX_FILE: u64 = 4_000_000_000;

/// Check a ledger or an exported folder: nothing altered, inserted, left out or moved since its checkpoint.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger verify --folder export-HC-26-0117
  liftledger verify --folder export --key \"$(cat agency-key.txt)\"
  liftledger verify --folder export --json
  liftledger verify --bundle HC-26-0117.zip
  liftledger verify --data ledger --checkpoint kept-elsewhere.txt
  liftledger verify --pdf report.pdf --data ledger

What it shows: that the events are those the checkpoint was signed over. What it does not: whether a history was
rewritten whole before the checkpoint; only a checkpoint that somebody else kept shows that.")]
pub(super) struct Verify {
    /// An exported folder with events.jsonl, checkpoint.txt and vkey.txt.
    #[arg(
        long,
        value_name = "DIR",
        required_unless_present_any = ["data", "bundle"],
        conflicts_with_all = ["data", "bundle"]
    )]
    folder: Option<PathBuf>,
    /// A disclosure bundle, the zip that `liftledger bundle` makes: its files, its events, what is withheld, its pictures.
    #[arg(long, value_name = "FILE", conflicts_with = "data")]
    bundle: Option<PathBuf>,
    /// The data folder of a ledger: everything in its database is checked, the read models against its events, the
    /// original bytes of every image against the digest on the record, and every working copy, made again by its recipe.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// A PDF that turned up, with --data: is it a paper that this ledger printed, unchanged? Ends with 0 where it is, 2
    /// where it was altered or is not known. Nothing else is checked then.
    #[arg(long, value_name = "FILE", requires = "data", conflicts_with_all = ["checkpoint", "key"])]
    pdf: Option<PathBuf>,
    #[command(flatten)]
    database: site::Database,
    /// A checkpoint that somebody else kept: the database must still contain that history.
    #[arg(long, value_name = "FILE", requires = "data")]
    checkpoint: Vec<PathBuf>,
    /// The ledger's key as you have it from elsewhere. Without it the folder's own key is used, which shows only that
    /// the folder agrees with itself.
    #[arg(long, value_name = "VKEY")]
    key: Option<String>,
    /// Print the findings as JSON.
    #[arg(long)]
    json: bool,
}

fn read(folder: &Path, name: &str) -> anyhow::Result<Vec<u8>> {
    let path = folder.join(name);
    let file = File::open(&path).with_context(|| format!("cannot open {}", path.display()))?;
    let mut bytes = Vec::new();
    file.take(MAX_FILE + 1)
        .read_to_end(&mut bytes)
        .with_context(|| format!("cannot read {}", path.display()))?;
    if bytes.len() as u64 > MAX_FILE {
        bail!("{} is larger than 4 GB", path.display());
    }
    Ok(bytes)
}

/// A file that need not be there.
fn read_if_there(folder: &Path, name: &str) -> anyhow::Result<Option<Vec<u8>>> {
    if folder
        .join(name)
        .try_exists()
        .with_context(|| format!("cannot look for {name}"))?
    {
        read(folder, name).map(Some)
    } else {
        Ok(None)
    }
}

/// Payloads that are gone by an event that is there are no finding, and are told.
fn expunged(events: u64, out: &mut dyn Write) -> anyhow::Result<()> {
    if events > 0 {
        writeln!(
            out,
            "The payloads of {events} of them were expunged by order; their headers were checked."
        )?;
    }
    Ok(())
}

impl Verify {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let trusted = self.key.as_deref().map(super::key).transpose()?;
        if let Some(path) = &self.bundle {
            return self.bundle(path, trusted.as_ref(), out);
        }
        if let (Some(pdf), Some(data)) = (&self.pdf, &self.data) {
            return check_paper::run(pdf, self.database.with(data)?, self.json, out);
        }
        match (&self.folder, &self.data) {
            (Some(folder), _) => self.folder(folder, trusted.as_ref(), out),
            (None, Some(data)) => self.data(data, trusted, out),
            (None, None) => {
                bail!("name an exported folder with --folder or a data folder with --data")
            }
        }
    }

    fn bundle(
        &self,
        path: &Path,
        trusted: Option<&VerifyingKey>,
        out: &mut dyn Write,
    ) -> anyhow::Result<u8> {
        let file = File::open(path).with_context(|| format!("cannot open {}", path.display()))?;
        let report = bundle::check(std::io::BufReader::new(file), trusted);
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &report)?;
            writeln!(out)?;
        } else {
            for finding in &report.findings {
                writeln!(out, "{}: {}", finding.code, finding.text)?;
            }
            writeln!(
                out,
                "{} events and {} pictures checked, {} fields withheld, {} findings",
                report.events,
                report.images,
                report.withheld,
                report.findings.len()
            )?;
            if trusted.is_none() {
                writeln!(
                    out,
                    "The key is the bundle's own ({}). Compare it with the agency's by another way, or give it with --key.",
                    report.vkey
                )?;
            }
        }
        Ok(if report.is_clean() { 0 } else { FAILED })
    }

    fn data(
        &self,
        data: &Path,
        trusted: Option<VerifyingKey>,
        out: &mut dyn Write,
    ) -> anyhow::Result<u8> {
        let mut external = Vec::new();
        for path in &self.checkpoint {
            let bytes = read(
                path.parent().unwrap_or(Path::new("")),
                &path.file_name().unwrap_or_default().to_string_lossy(),
            )?;
            external.push(
                String::from_utf8(bytes)
                    .with_context(|| format!("{} is not text", path.display()))?,
            );
        }
        let site = self.database.with(data)?;
        let audit = super::runtime()?.block_on(async {
            let house = House::open(site).await?;
            let key = trusted.unwrap_or_else(|| house.verifying.clone());
            // A line now and then on the error stream: a large ledger takes a while.
            let mut told = 0;
            let audit = audit(house.store.as_ref(), &key, &external, |done| {
                if done >= told + 100_000 {
                    told = done;
                    let _ = writeln!(std::io::stderr(), "{done} events read");
                }
            })
            .await;
            let audit = audit.map(|mut audit| {
                tokio::task::block_in_place(|| {
                    audit.check_images(&house.originals);
                    audit.check_copies(&house.originals);
                });
                audit
            });
            house.close().await;
            anyhow::Ok(audit?)
        })?;
        if self.json {
            let models: Vec<_> = audit
                .models
                .iter()
                .map(|d| serde_json::json!({"code": d.code, "seq": d.seq, "text": d.text}))
                .collect();
            let all = serde_json::json!({
                "ledger": audit.ledger,
                "models": models,
                "originals": audit.images.len(),
                "copies": audit.copies.len(),
            });
            serde_json::to_writer_pretty(&mut *out, &all)?;
            writeln!(out)?;
        } else {
            for finding in &audit.ledger.findings {
                writeln!(out, "{finding}")?;
            }
            for one in &audit.models {
                match one.seq {
                    Some(seq) => writeln!(out, "{}: event {seq}: {}", one.code, one.text)?,
                    None => writeln!(out, "{}: {}", one.code, one.text)?,
                }
            }
            writeln!(
                out,
                "{} events checked, {} originals checked, {} working copies made again, {} findings, tree head {}",
                audit.ledger.events,
                audit.images.len(),
                audit.copies.len(),
                audit.ledger.findings.len() + audit.models.len(),
                audit.ledger.root
            )?;
            expunged(audit.ledger.expunged, out)?;
        }
        Ok(if audit.is_clean() { 0 } else { FAILED })
    }

    fn folder(
        &self,
        folder: &Path,
        trusted: Option<&VerifyingKey>,
        out: &mut dyn Write,
    ) -> anyhow::Result<u8> {
        let events = read(folder, export::EVENTS)?;
        let checkpoint = read(folder, export::CHECKPOINT)?;
        let vkey = read(folder, export::VKEY)?;
        let proofs = read_if_there(folder, export::PROOFS)?;
        let subjects = read_if_there(folder, export::SUBJECTS)?;
        let files = Files {
            events: &events,
            checkpoint: &checkpoint,
            vkey: &vkey,
            proofs: proofs.as_deref(),
            subjects: subjects.as_deref(),
        };
        // A part carries a proof for each of its events; a whole ledger needs none.
        let is_part = proofs.is_some();
        let report = if is_part {
            part(&files, trusted)
        } else {
            whole(&files, trusted)
        };
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &report)?;
            writeln!(out)?;
        } else {
            for finding in &report.findings {
                writeln!(out, "{finding}")?;
            }
            let what = if is_part {
                "part of a ledger"
            } else {
                "whole ledger"
            };
            writeln!(
                out,
                "{} events checked ({what}), {} findings, tree head {}",
                report.events,
                report.findings.len(),
                report.root
            )?;
            expunged(report.expunged, out)?;
            if trusted.is_none() {
                writeln!(
                    out,
                    "The key is the folder's own. Compare it with the agency's by another way, or give it with --key."
                )?;
            }
        }
        Ok(if report.is_clean() { 0 } else { FAILED })
    }
}
