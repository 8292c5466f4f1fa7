//! A server's settings on the command line, and `liftledger config`.

use std::fmt;
use std::io::Write;
use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::site::Database;
use crate::config::{self, NAMES, VARIABLE};
use crate::timestamps::TimestampServer;

/// A server's settings.
#[derive(Args)]
pub(super) struct Settings {
    /// The file with settings; or LIFTLEDGER_CONFIG names it.
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// The folder with ledger.db, originals/ and keys/.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    #[command(flatten)]
    database: Database,
    /// Address and port to listen on [default: 127.0.0.1:8080].
    #[arg(long, value_name = "ADDRESS")]
    listen: Option<String>,
    /// Browsers reach this server by https only.
    #[arg(long)]
    https_only: bool,
    /// A PEM file with the server's certificate: it then speaks https itself.
    #[arg(long, value_name = "FILE")]
    tls_certificate: Option<PathBuf>,
    /// The PEM file with the certificate's private key.
    #[arg(long, value_name = "FILE")]
    tls_key: Option<PathBuf>,
    /// How logs are written: text or json.
    #[arg(long, value_name = "FORMAT")]
    log_format: Option<String>,
    /// Address and port on which metrics are read.
    #[arg(long, value_name = "ADDRESS")]
    metrics_listen: Option<String>,
}

// The database's address may have a password in it.
impl fmt::Debug for Settings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Settings")
            .field("config", &self.config)
            .finish_non_exhaustive()
    }
}

impl Settings {
    pub(super) fn gather(&self) -> anyhow::Result<config::Config> {
        let file = self.config.clone().or_else(|| {
            let named = std::env::var_os(VARIABLE).filter(|v| !v.is_empty());
            named.map(PathBuf::from)
        });
        let mut line: Vec<(&'static str, String)> = Vec::new();
        let mut say = |name, value: Option<String>| line.extend(value.map(|v| (name, v)));
        let path = |p: &Option<PathBuf>| p.as_ref().map(|p| p.to_string_lossy().into_owned());
        say("data", path(&self.data));
        say("tls_certificate", path(&self.tls_certificate));
        say("tls_key", path(&self.tls_key));
        say("database", self.database.named().map(str::to_owned));
        say(
            "originals",
            self.database.originals_named().map(str::to_owned),
        );
        say("listen", self.listen.clone());
        say("https_only", self.https_only.then(|| "true".to_owned()));
        say("log_format", self.log_format.clone());
        say("metrics_listen", self.metrics_listen.clone());
        let environment = |name: &str| std::env::var(name).ok();
        Ok(config::Config::gather(file.as_deref(), environment, &line)?)
    }
}

/// The server that timestamps papers, for commands that print: from the environment alone, as `serve` takes it from there.
pub(super) fn timestamps() -> anyhow::Result<Option<TimestampServer>> {
    let said = |name| std::env::var(name).ok().filter(|v| !v.is_empty());
    let Some(url) = said("LIFTLEDGER_TIMESTAMP_URL") else {
        return Ok(None);
    };
    let line = [("data", ".".to_owned()), ("timestamp_url", url)];
    let seconds = said("LIFTLEDGER_TIMESTAMP_SECONDS").map(|s| ("timestamp_seconds", s));
    let line: Vec<(&'static str, String)> = line.into_iter().chain(seconds).collect();
    Ok(config::Config::gather(None, |_| None, &line)?.timestamps())
}

/// A server's settings.
#[derive(Debug, Args)]
pub(super) struct Config {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    Check(Box<Check>),
    /// List every setting: its name in the file; in the environment it is LIFTLEDGER_ and the name in capitals.
    List,
}

/// Check the settings as serve would take them, with every error at once; nothing is opened.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  liftledger config check --config /etc/liftledger.toml")]
struct Check {
    #[command(flatten)]
    settings: Settings,
}

impl Config {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        match &self.act {
            Act::List => {
                for (name, what) in NAMES {
                    writeln!(out, "{name}: {what}")?;
                }
            }
            Act::Check(check) => {
                let config = check.settings.gather()?;
                let database = match &config.database {
                    Some(address) => address.to_string(),
                    None => "ledger.db in it".into(),
                };
                writeln!(
                    out,
                    "These settings can be used: {} with {database}, served at {}.",
                    config.data.display(),
                    config.listen
                )?;
                if let Some(why) = config
                    .tls
                    .as_ref()
                    .and_then(|pair| pair.out_of_date(chrono::Utc::now()))
                {
                    writeln!(out, "Warning: the server's certificate: {why}.")?;
                }
            }
        }
        Ok(0)
    }
}
