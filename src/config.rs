//! A server's settings: from the command line, from the environment, from one TOML file, in this precedence. Everything is
//! read strictly and every error is told at once, before a ledger is opened.

use std::collections::BTreeMap;
use std::fmt;
use std::fs::File;
use std::io::Read as _;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

use crate::originals::Place;
use crate::store::Address;
use crate::timestamps::{PATIENCE, ServerUrl, TimestampServer};
use crate::tls::{Pair, TlsError};

/// The variable that names the file where `--config` does not.
pub const VARIABLE: &str = "LIFTLEDGER_CONFIG";
/// How long the file may be, in bytes.
const MAX_BYTES: u64 = 256 * 1024;

/// Every setting: its name in the file, and in the environment with `LIFTLEDGER_` before it in capitals; and what it is.
pub const NAMES: [(&str, &str); 15] = [
    ("data", "the folder with ledger.db, originals/ and keys/"),
    (
        "database",
        "the address of a PostgreSQL database; better in the environment than in a file that others read",
    ),
    (
        "originals",
        "where the originals are: s3://bucket/prefix, its keys in AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, or a folder",
    ),
    (
        "listen",
        "address and port to listen on; 127.0.0.1:8080 without it",
    ),
    (
        "https_only",
        "true or false: browsers reach this server by https only",
    ),
    (
        "log",
        "what is logged: error, warn, info, debug, or a filter as RUST_LOG has it (which goes before); warn without it",
    ),
    (
        "tls_certificate",
        "a PEM file with the server's certificate and those that vouch for it; browsers then reach it by https, without a proxy",
    ),
    (
        "tls_key",
        "the PEM file with the certificate's private key; both files are read again when they change",
    ),
    ("log_format", "text or json; text without it"),
    (
        "metrics_listen",
        "address and port on which metrics are read; nobody reads them without it",
    ),
    (
        "metrics_token",
        "what has to be sent as a bearer token to read metrics",
    ),
    (
        "least_free_mb",
        "under so much free room on the originals' disk the server is not ready; 256 without it",
    ),
    (
        "timestamp_url",
        "http:// address of a server that timestamps signed papers (RFC 3161); papers bear no timestamp without it",
    ),
    (
        "timestamp_seconds",
        "how long a paper waits for its timestamp, 1 to 60; 10 without it",
    ),
    (
        "grace_seconds",
        "how long requests under way have at a stop, 1 to 300; 15 without it",
    ),
];

/// How logs are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LogFormat {
    /// For people.
    #[default]
    Text,
    /// One JSON object a line.
    Json,
}

/// A server's settings, checked.
#[derive(Clone)]
pub struct Config {
    /// The data folder.
    pub data: PathBuf,
    /// The PostgreSQL database.
    pub database: Option<Address>,
    /// Where the originals are.
    pub originals: Option<Place>,
    /// Where to listen.
    pub listen: SocketAddr,
    /// Whether browsers come by https only.
    pub https_only: bool,
    /// The certificate, where the server itself speaks https.
    pub tls: Option<Pair>,
    /// What is logged.
    pub log: String,
    /// How.
    pub log_format: LogFormat,
    /// Where metrics are read.
    pub metrics_listen: Option<SocketAddr>,
    /// By whom.
    pub metrics_token: Option<String>,
    /// Least free room for originals, in bytes.
    pub least_free: u64,
    /// Who timestamps signed papers.
    pub timestamp_url: Option<ServerUrl>,
    /// How long a paper waits for that.
    pub timestamp_patience: Duration,
    /// How long a stop may take.
    pub grace: Duration,
}

// The database's address and the token are secrets.
impl fmt::Debug for Config {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Config")
            .field("data", &self.data)
            .field("listen", &self.listen)
            .finish_non_exhaustive()
    }
}

/// Something that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    /// Where it stands: `--listen`, `LIFTLEDGER_LISTEN`, or the file and the setting.
    pub at: String,
    /// Why.
    pub why: String,
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.at, self.why)
    }
}

/// Everything that is wrong.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the settings cannot be used:{}", list(.0))]
pub struct ConfigErrors(pub Vec<Wrong>);

fn list(wrong: &[Wrong]) -> String {
    wrong.iter().map(|w| format!("\n  {w}")).collect()
}

/// Settings by name, each with where it stands.
#[derive(Default)]
struct Gathered {
    values: BTreeMap<&'static str, (String, String)>,
    wrong: Vec<Wrong>,
}

impl Gathered {
    /// Something is wrong with a setting, wherever it stands.
    fn say(&mut self, name: &'static str, why: String) {
        let at = match self.values.get(name) {
            Some((_, at)) => at.clone(),
            None => name.to_owned(),
        };
        self.wrong.push(Wrong { at, why });
    }

    fn file(&mut self, path: &Path) {
        let name = path.display().to_string();
        let mut wrong = |at: String, why: String| self.wrong.push(Wrong { at, why });
        let mut text = String::new();
        let read = File::open(path).and_then(|f| f.take(MAX_BYTES).read_to_string(&mut text));
        if let Err(e) = read {
            return wrong(name, e.to_string());
        }
        let table: toml::Table = match toml::from_str(&text) {
            Ok(table) => table,
            Err(e) => return wrong(name, e.to_string()),
        };
        for (key, value) in table {
            let at = format!("{name}: {key}");
            let Some((known, _)) = NAMES.iter().find(|(n, _)| *n == key) else {
                wrong(at, "there is no such setting".into());
                continue;
            };
            let value = match value {
                toml::Value::String(text) => text,
                toml::Value::Integer(n) => n.to_string(),
                toml::Value::Boolean(b) => b.to_string(),
                _ => {
                    wrong(
                        at,
                        "it is neither a text nor a number nor true or false".into(),
                    );
                    continue;
                }
            };
            self.values.insert(known, (value, at));
        }
    }

    fn get<T>(
        &mut self,
        name: &'static str,
        read: impl FnOnce(&str) -> Result<T, String>,
    ) -> Option<T> {
        let (value, at) = self.values.get(name)?;
        match read(value.trim()) {
            Ok(value) => Some(value),
            Err(why) => {
                self.wrong.push(Wrong {
                    at: at.clone(),
                    why,
                });
                None
            }
        }
    }
}

fn parsed<T: FromStr>(what: &'static str) -> impl FnOnce(&str) -> Result<T, String> {
    move |text| text.parse().map_err(|_| format!("it is not {what}"))
}

fn whole(from: u64, to: u64) -> impl FnOnce(&str) -> Result<u64, String> {
    move |text| match text.parse() {
        Ok(n) if (from..=to).contains(&n) => Ok(n),
        _ => Err(format!("it is not a whole number from {from} to {to}")),
    }
}

impl Config {
    /// The server that timestamps signed papers.
    #[must_use]
    pub fn timestamps(&self) -> Option<TimestampServer> {
        let url = self.timestamp_url.clone()?;
        Some(TimestampServer::new(url, self.timestamp_patience))
    }

    /// Gathers the settings. `line` are those of the command line by name, `environment` gives a variable's value.
    ///
    /// # Errors
    /// Everything that is wrong with any of them, also with those that another one goes before.
    pub fn gather(
        file: Option<&Path>,
        environment: impl Fn(&str) -> Option<String>,
        line: &[(&'static str, String)],
    ) -> Result<Self, ConfigErrors> {
        let mut all = Gathered::default();
        if let Some(path) = file {
            all.file(path);
        }
        // An empty variable is none.
        for (name, _) in NAMES {
            let variable = format!("LIFTLEDGER_{}", name.to_ascii_uppercase());
            if let Some(value) = environment(&variable).filter(|v| !v.is_empty()) {
                all.values.insert(name, (value, variable));
            }
        }
        for (name, value) in line {
            let option = format!("--{}", name.replace('_', "-"));
            all.values.insert(name, (value.clone(), option));
        }
        let data = all.get("data", |text| match text {
            "" => Err("it names no folder".to_owned()),
            text => Ok(PathBuf::from(text)),
        });
        if data.is_none() && !all.values.contains_key("data") {
            all.wrong.push(Wrong {
                at: "data".into(),
                why: "name the ledger's folder: --data, LIFTLEDGER_DATA, or data in the file"
                    .into(),
            });
        }
        let database = all.get("database", |text| {
            text.parse::<Address>().map_err(|e| e.to_string())
        });
        let originals = all.get("originals", |text| {
            text.parse::<Place>().map_err(|e| e.to_string())
        });
        let listen = all.get(
            "listen",
            parsed("an address and a port, such as 127.0.0.1:8080"),
        );
        let https_only = all.get("https_only", parsed("true or false"));
        let log = all.get("log", |text| {
            match text.parse::<tracing_subscriber::filter::Targets>() {
                Ok(_) => Ok(text.to_owned()),
                Err(e) => Err(e.to_string()),
            }
        });
        let log_format = all.get("log_format", |text| match text {
            "text" => Ok(LogFormat::Text),
            "json" => Ok(LogFormat::Json),
            _ => Err("it is neither text nor json".into()),
        });
        let metrics_listen = all.get(
            "metrics_listen",
            parsed("an address and a port, such as 127.0.0.1:9090"),
        );
        let metrics_token = all.get("metrics_token", |text| {
            if text.len() >= 16 && text.bytes().all(|b| b.is_ascii_graphic()) {
                Ok(text.to_owned())
            } else {
                Err(
                    "it has fewer than 16 characters, or others than letters, digits and signs"
                        .into(),
                )
            }
        });
        let least_free = all.get("least_free_mb", whole(0, 1_000_000));
        let timestamp_url = all.get("timestamp_url", |text| {
            text.parse::<ServerUrl>().map_err(str::to_owned)
        });
        let patience = all.get("timestamp_seconds", whole(1, 60));
        if patience.is_some() && !all.values.contains_key("timestamp_url") {
            all.wrong.push(Wrong {
                at: "timestamp_seconds".into(),
                why: "nobody is asked for timestamps; name a server with timestamp_url".into(),
            });
        }
        let grace = all.get("grace_seconds", whole(1, 300));
        if metrics_token.is_some() && metrics_listen.is_none() {
            all.wrong.push(Wrong {
                at: "metrics_token".into(),
                why: "metrics are read nowhere; name an address with metrics_listen".into(),
            });
        }
        let file = |text: &str| match text {
            "" => Err("it names no file".to_owned()),
            text => Ok(PathBuf::from(text)),
        };
        let tls = match (all.get("tls_certificate", file), all.get("tls_key", file)) {
            (Some(certificate), Some(key)) => {
                let pair = Pair { certificate, key };
                for error in pair.wrong() {
                    let at = match error {
                        TlsError::Key { .. } => "tls_key",
                        _ => "tls_certificate",
                    };
                    all.say(at, error.to_string());
                }
                Some(pair)
            }
            (Some(_), None) if !all.values.contains_key("tls_key") => {
                all.say("tls_certificate", "it needs tls_key beside it".into());
                None
            }
            (None, Some(_)) if !all.values.contains_key("tls_certificate") => {
                all.say("tls_key", "it needs tls_certificate beside it".into());
                None
            }
            _ => None,
        };
        if !all.wrong.is_empty() {
            return Err(ConfigErrors(all.wrong));
        }
        Ok(Self {
            data: data.unwrap_or_default(),
            database,
            originals,
            listen: listen.unwrap_or_else(|| SocketAddr::from(([127, 0, 0, 1], 8080))),
            // The session's cookie never leaves by http then.
            https_only: https_only.unwrap_or(false) || tls.is_some(),
            tls,
            log: log.unwrap_or_else(|| "warn".into()),
            log_format: log_format.unwrap_or_default(),
            metrics_listen,
            metrics_token,
            least_free: least_free.unwrap_or(256) * 1024 * 1024,
            timestamp_url,
            timestamp_patience: patience.map_or(PATIENCE, Duration::from_secs),
            grace: Duration::from_secs(grace.unwrap_or(15)),
        })
    }
}
