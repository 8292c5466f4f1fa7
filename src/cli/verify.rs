//! `liftledger verify`: checks an exported folder without a server.

use std::{fs::File, io::Read, io::Write, path::Path, path::PathBuf};

use anyhow::{Context, bail};
use clap::Args;

use super::FAILED;
use crate::ledger::checkpoint::VerifyingKey;
use crate::ledger::export;
use crate::ledger::verify::folder::{Files, part, whole};

/// The largest file that is read, in bytes: 4 GB.
const MAX_FILE: u64 = 4_000_000_000;

/// Check an exported folder: nothing altered, inserted, left out or moved since its checkpoint.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger verify --folder export-HC-26-0117
  liftledger verify --folder export --key \"$(cat agency-key.txt)\"
  liftledger verify --folder export --json

What it shows: that the events are those the checkpoint was signed over. What it does not: whether a history was
rewritten whole before the checkpoint; only a checkpoint that somebody else kept shows that.")]
pub(super) struct Verify {
    /// The folder with events.jsonl, checkpoint.txt and vkey.txt.
    #[arg(long, value_name = "DIR")]
    folder: PathBuf,
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

impl Verify {
    pub(super) fn run(&self, out: &mut impl Write) -> anyhow::Result<u8> {
        let trusted = match &self.key {
            Some(text) => Some(
                text.trim()
                    .parse::<VerifyingKey>()
                    .context("--key is not a verifier key")?,
            ),
            None => None,
        };
        let events = read(&self.folder, export::EVENTS)?;
        let checkpoint = read(&self.folder, export::CHECKPOINT)?;
        let vkey = read(&self.folder, export::VKEY)?;
        let proofs = read_if_there(&self.folder, export::PROOFS)?;
        let subjects = read_if_there(&self.folder, export::SUBJECTS)?;
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
            part(&files, trusted.as_ref())
        } else {
            whole(&files, trusted.as_ref())
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
