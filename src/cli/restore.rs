//! `liftledger restore`: a backup back into a new folder and an empty database.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::backup::{Known, failed, keys, teller, told};
use super::site;
use crate::app::backup;

/// Put a backup back, into a new folder and its own database or an empty PostgreSQL one, verified before it can be served.
///
/// The tree and the read models are made anew from the events; the root must be the one that the checkpoint was signed over.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger restore /mnt/backup/ledger --data ledger
  printf '%s\\n' \"$PASSPHRASE\" | liftledger restore /mnt/backup/ledger --data ledger --keys
  LIFTLEDGER_DATABASE=postgres://ledger_owner@db.example/ledger liftledger restore /mnt/backup/ledger --data ledger

Nothing is written over: the folder must be new or empty, or hold nothing but keys/ put back from elsewhere, and the
database must be empty. Whoever was signed in signs in again. A restoring that was stopped cannot be served; remove what it
left and begin again. A history that is older than what others have seen is found by their checkpoints: --checkpoint.")]
pub(super) struct Restore {
    /// The backup's folder.
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// The ledger's folder: new, empty, or with keys/ only.
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    #[command(flatten)]
    database: site::Database,
    #[command(flatten)]
    known: Known,
    /// Put back the keys in the backup, by the passphrase that is read from standard input.
    #[arg(long)]
    keys: bool,
}

impl Restore {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        super::logging();
        let asked = self.known.asked()?;
        let secret = if self.keys {
            Some(super::secret("passphrase", 4096)?)
        } else {
            None
        };
        let site = self.database.with(&self.data)?;
        let done = super::runtime()?.block_on(backup::restore(
            &self.folder,
            &site,
            &asked,
            secret.as_deref(),
            teller(),
        ));
        let (found, copied) = match done {
            Ok(done) => done,
            Err(e) => return failed(out, "Not restored", e),
        };
        writeln!(
            out,
            "Restored to {}: {} events, root {}, {} originals, {}.",
            self.data.display(),
            found.events,
            found.root,
            copied.files,
            keys(found.has_keys)
        )?;
        if !found.has_keys {
            writeln!(
                out,
                "Put the keys back into {} before you serve it: it belongs to {}",
                self.data.join("keys").display(),
                found.key
            )?;
        }
        Ok(told(out, &found.without)?)
    }
}
