//! `liftledger backup`: a ledger into a folder of plain files, and the proof that such a folder restores.

use std::io::{IsTerminal as _, Read as _, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::{FAILED, site};
use crate::app::backup::{self, Asked, BackupError, Progress, Source};
use crate::ledger::checkpoint::MAX_NOTE;

/// Back a ledger up into a folder while servers go on: events, checkpoints, originals, accounts, the agency's files.
///
/// A second run into the same folder adds what is new. A run that was stopped leaves the backup that was whole before; the
/// next one goes on.
#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    subcommand_negates_reqs = true,
    after_help = "Examples:
  liftledger backup /mnt/backup/ledger --data ledger
  printf '%s\\n' \"$PASSPHRASE\" | liftledger backup /mnt/backup/ledger --data ledger --keys
  liftledger backup check /mnt/backup/ledger --key \"$(cat agency-key.txt)\"

The folder holds everything that the ledger holds, and password hashes: keep it as you keep the ledger. Without --keys the
signing key is not in it; keep a copy of keys/ elsewhere, for without it nobody can go on with the ledger.
Exit code 2: the backup is whole, but originals were missing or altered before it was made."
)]
pub(super) struct Backup {
    #[command(subcommand)]
    act: Option<Act>,
    /// The backup's folder, new or one that a backup is in.
    #[arg(value_name = "DIR", required = true)]
    folder: Option<PathBuf>,
    /// The folder with ledger.db, originals/ and keys/.
    #[arg(long, value_name = "DIR", required = true)]
    data: Option<PathBuf>,
    #[command(flatten)]
    database: site::Database,
    /// Put the keys in, encrypted with a passphrase that is read from standard input, one line. They stay in for later runs.
    #[arg(long)]
    keys: bool,
}

#[derive(Debug, Subcommand)]
enum Act {
    Check(Check),
}

/// Prove that a backup restores, without a server: restores it aside, verifies everything, and removes it again.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  liftledger backup check /mnt/backup/ledger --checkpoint kept-elsewhere.txt")]
struct Check {
    /// The backup's folder; only read.
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    #[command(flatten)]
    known: Known,
    /// Where there is room for the database meanwhile [default: the folder for temporary files].
    #[arg(long, value_name = "DIR")]
    scratch: Option<PathBuf>,
}

/// What the reader has from elsewhere.
#[derive(Debug, Args)]
pub(super) struct Known {
    /// The ledger's key as you have it from elsewhere. Without it the backup's own is believed, which shows only that the
    /// backup agrees with itself.
    #[arg(long, value_name = "VKEY")]
    key: Option<String>,
    /// A checkpoint that somebody else kept: the backup must contain that history.
    #[arg(long, value_name = "FILE")]
    checkpoint: Vec<PathBuf>,
}

impl Known {
    pub(super) fn asked(&self) -> anyhow::Result<Asked> {
        let key = self.key.as_deref().map(super::key).transpose()?;
        let mut external = Vec::new();
        for path in &self.checkpoint {
            let file = std::fs::File::open(path)
                .with_context(|| format!("cannot open {}", path.display()))?;
            let mut note = String::new();
            file.take(MAX_NOTE as u64 + 1)
                .read_to_string(&mut note)
                .with_context(|| format!("cannot read {}", path.display()))?;
            external.push(note);
        }
        Ok(Asked { key, external })
    }
}

/// Tells on standard error how far it is, where somebody looks at it.
pub(super) fn teller() -> impl FnMut(Progress) + Send {
    let looks = std::io::stderr().is_terminal();
    let mut last = std::time::Instant::now();
    move |progress| {
        if !looks || last.elapsed().as_millis() < 200 {
            return;
        }
        last = std::time::Instant::now();
        let text = match progress {
            Progress::Events(done, of) => format!("event {done} of {of}"),
            Progress::Originals(done, there) => format!("{done} originals, {there} there already"),
        };
        let _ = write!(std::io::stderr(), "\r{text:<60}\r");
    }
}

/// Findings are no failure to run.
fn code_of(e: &BackupError) -> u8 {
    match e {
        BackupError::Findings(_)
        | BackupError::Damaged(_)
        | BackupError::OtherHistory(_)
        | BackupError::OtherKey(_)
        | BackupError::Note(_)
        | BackupError::Originals(_)
        | BackupError::Unreadable { .. }
        | BackupError::None(_) => FAILED,
        _ => 1,
    }
}

/// Says what was found, where that is why nothing was done.
pub(super) fn failed(out: &mut dyn Write, what: &str, e: BackupError) -> anyhow::Result<u8> {
    if code_of(&e) != FAILED {
        return Err(e.into());
    }
    writeln!(out, "{what}: {e}")?;
    Ok(FAILED)
}

pub(super) fn told(out: &mut dyn Write, without: &[backup::Without]) -> std::io::Result<u8> {
    for one in without {
        writeln!(out, "not in it: {}", one.why)?;
    }
    Ok(if without.is_empty() { 0 } else { FAILED })
}

impl Backup {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        super::logging();
        if let Some(Act::Check(check)) = &self.act {
            return check.run(out);
        }
        let (Some(folder), Some(data)) = (&self.folder, &self.data) else {
            bail!("name the backup's folder, and the ledger's with --data");
        };
        let secret = if self.keys {
            Some(super::secret("passphrase", 4096)?)
        } else {
            None
        };
        let made = super::runtime()?.block_on(async {
            let source = Source::open(&self.database.with(data)?).await?;
            let made = backup::make(&source, folder, secret.as_deref(), teller()).await;
            source.close().await;
            anyhow::Ok(made)
        })?;
        let made = match made {
            Ok(made) => made,
            Err(e) => return failed(out, "No backup was made", e),
        };
        writeln!(
            out,
            "Backed up to {}: {} events ({} of them new), {} originals copied ({} bytes), {} there already, {}.",
            folder.display(),
            made.events,
            made.new_events,
            made.originals.files,
            made.originals.bytes,
            made.originals.there,
            keys(made.has_keys)
        )?;
        Ok(told(out, &made.without)?)
    }
}

pub(super) fn keys(has: bool) -> &'static str {
    if has { "the keys with it" } else { "no keys" }
}

impl Check {
    fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let asked = self.known.asked()?;
        let scratch = self.scratch.clone().unwrap_or_else(std::env::temp_dir);
        let scratch = scratch.join(format!("liftledger-check-{}", uuid::Uuid::now_v7()));
        let checked =
            super::runtime()?.block_on(backup::check(&self.folder, &asked, &scratch, teller()));
        report(out, &self.folder, asked.key.is_some(), checked)
    }
}

fn report(
    out: &mut dyn Write,
    folder: &Path,
    is_trusted: bool,
    checked: Result<backup::Checked, BackupError>,
) -> anyhow::Result<u8> {
    match checked {
        Ok(found) => {
            writeln!(
                out,
                "{} restores: {} events, root {}, {} originals, {}.",
                folder.display(),
                found.events,
                found.root,
                found.originals,
                keys(found.has_keys)
            )?;
            if !is_trusted {
                writeln!(out, "The key is the backup's own: {}", found.key)?;
            }
            Ok(told(out, &found.without)?)
        }
        Err(e) => failed(out, "This does not restore", e),
    }
}
