//! `liftledger witness`: on another machine, sees that a ledger's history only grows.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::Duration;

use anyhow::{Context, bail};
use clap::Args;

use super::FAILED;
use crate::witness::{Alarm, Folder, Remote, Seen, look};

/// Where the access token stands.
const TOKEN: &str = "LIFTLEDGER_WITNESS_TOKEN";

/// Keep a ledger's checkpoints on another machine, sign those that go on from the one before, and raise the alarm where one
/// does not.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  LIFTLEDGER_WITNESS_TOKEN=llt_… liftledger witness --of https://ledger.example --data witness \\
      --key \"$(cat agency-key.txt)\" --name witness.example/slip-road --alarm 'mail -s \"$0\" desk@example'

The token is that of a person who may read proofs (an auditor, say). The ledger's key is taken from elsewhere than the
server. Put the witness's own key, which is printed, into witnesses.toml of the ledger's folder, so that it keeps the
newest cosignature. At an alarm the witness ends with code 2, so that nobody can overlook it; it says so again whenever it
is started, until somebody has looked into it.")]
pub(super) struct Witness {
    /// The server's address. By http the token can be read on the way, so then only through a tunnel of your own. By https
    /// those are trusted whom this machine trusts, or whom the file trusts that SSL_CERT_FILE names.
    #[arg(long, value_name = "URL")]
    of: String,
    /// The witness's own folder.
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// The ledger's key.
    #[arg(long, value_name = "VKEY")]
    key: String,
    /// The witness's name, a host of its own and a path; makes its folder and key where there is none.
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// Seconds between looks.
    #[arg(long, value_name = "SECONDS", default_value_t = 60, value_parser = clap::value_parser!(u64).range(1..=86_400))]
    every: u64,
    /// Look once and end.
    #[arg(long)]
    once: bool,
    /// A command that is run at an alarm, by the shell, with the alarm's word as $0 and its sentence on standard input.
    #[arg(long, value_name = "COMMAND")]
    alarm: Option<String>,
}

impl Witness {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        super::logging();
        let key = super::key(&self.key)?;
        let token =
            std::env::var(TOKEN).with_context(|| format!("put the access token into {TOKEN}"))?;
        if !["http://", "https://"]
            .iter()
            .any(|scheme| self.of.starts_with(scheme))
        {
            bail!("--of begins with https:// or http://");
        }
        let folder = Folder::open(&self.data, self.name.as_deref())?;
        let remote = Remote::new(&self.of, token.trim());
        writeln!(out, "The witness's key: {}", folder.key().verifying_key())?;
        out.flush()?;
        loop {
            let seen = look(&folder, &remote, &key, chrono::Utc::now())?;
            let is_answer = !matches!(seen, Seen::Unreachable(_));
            match seen {
                Seen::Grown { from, to, told } => {
                    writeln!(out, "seen {to} events, which go on from {from}")?;
                    if let Err(why) = told {
                        tracing::warn!(%why, "the server did not take the cosignature");
                    }
                }
                Seen::Same { size, told } => {
                    tracing::info!(size, "as it was");
                    if let Err(why) = told {
                        tracing::warn!(%why, "the server did not take the cosignature");
                    }
                }
                Seen::Unreachable(why) => {
                    tracing::warn!(%why, "the ledger cannot be looked at");
                    if self.once {
                        bail!("the ledger cannot be looked at: {why}");
                    }
                }
                Seen::Alarm { alarm, text } => {
                    tracing::error!(alarm = alarm.word(), %text, "ALARM");
                    writeln!(out, "ALARM {}: {text}", alarm.word())?;
                    out.flush()?;
                    self.call(alarm, &text);
                    return Ok(FAILED);
                }
            }
            out.flush()?;
            if self.once && is_answer {
                return Ok(0);
            }
            std::thread::sleep(Duration::from_secs(self.every));
        }
    }

    /// Runs the command; that it fails is said, and changes nothing.
    fn call(&self, alarm: Alarm, text: &str) {
        let Some(command) = &self.alarm else { return };
        let run = || -> std::io::Result<bool> {
            let mut child = Command::new("sh")
                .args(["-c", command, alarm.word()])
                .stdin(Stdio::piped())
                .spawn()?;
            if let Some(mut input) = child.stdin.take() {
                // A command that does not read it is no failure.
                let _ = writeln!(input, "{text}");
            }
            Ok(child.wait()?.success())
        };
        match run() {
            Ok(true) => {}
            Ok(false) => tracing::error!("the command for alarms failed"),
            Err(error) => tracing::error!(%error, "the command for alarms could not be run"),
        }
    }
}
