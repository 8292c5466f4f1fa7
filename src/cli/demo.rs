//! `liftledger demo`: an invented case to look around in.

use std::io::Write;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use anyhow::Context;
use clap::Args;
use tokio::net::TcpListener;

use super::site;
use crate::app::demo::{self, SIGN_INS, SignIn};
use crate::app::house::{House, HouseError};

/// Where the demo is served when nobody says otherwise.
const ADDRESS: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 8080);
/// How many ports from there on are tried.
const PORTS: u16 = 10;

/// Load an invented case into a new folder, serve it, and tell how to sign in.
///
/// Seven people, a boatyard break-in in a county that does not exist, three weeks of work up to today. The times are
/// invented like everything else in it.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  liftledger demo
  liftledger demo --once && liftledger verify --data liftledger-demo")]
pub(super) struct Demo {
    /// The folder; one that has a demo already keeps it.
    #[arg(long, value_name = "DIR", default_value = "liftledger-demo")]
    data: PathBuf,
    #[command(flatten)]
    database: site::Database,
    /// Address and port to listen on [default: 127.0.0.1:8080, or the next port that is free].
    #[arg(long, value_name = "ADDRESS")]
    listen: Option<SocketAddr>,
    /// Load it and leave.
    #[arg(long, conflicts_with = "listen")]
    once: bool,
}

impl Demo {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        super::logging();
        super::runtime()?.block_on(async {
            if self.once {
                let sign_ins = self.ready(out).await?;
                tell(out, &sign_ins)?;
                return Ok(0);
            }
            // First the port: when it is taken, nothing is loaded in vain.
            let listener = self.listener().await?;
            let sign_ins = self.ready(out).await?;
            let house = House::open(self.database.with(&self.data)?).await?;
            writeln!(out, "Serving it at http://{}", listener.local_addr()?)?;
            tell(out, &sign_ins)?;
            out.flush()?;
            crate::web::serve(house, listener, crate::web::Serving::default()).await?;
            Ok(0)
        })
    }

    /// The port that was asked for, or the first free one.
    async fn listener(&self) -> anyhow::Result<TcpListener> {
        if let Some(address) = self.listen {
            return TcpListener::bind(address)
                .await
                .with_context(|| format!("cannot listen on {address}"));
        }
        for port in ADDRESS.port()..ADDRESS.port() + PORTS {
            if let Ok(listener) = TcpListener::bind((ADDRESS.ip(), port)).await {
                return Ok(listener);
            }
        }
        anyhow::bail!(
            "ports {} to {} are taken; name a free one with --listen",
            ADDRESS.port(),
            ADDRESS.port() + PORTS - 1
        )
    }

    /// Loads the demo where there is none yet.
    async fn ready(&self, out: &mut dyn Write) -> anyhow::Result<Vec<SignIn>> {
        let folder = &self.data;
        let site = self.database.with(folder)?;
        let begun = match House::open(&site).await {
            Ok(house) => {
                house.close().await;
                true
            }
            Err(HouseError::NoLedger(_) | HouseError::EmptyDatabase(_)) => false,
            Err(other) => return Err(other.into()),
        };
        if begun {
            let kept = demo::kept_sign_ins(folder).with_context(|| {
                format!(
                    "{} has a ledger and no {SIGN_INS}: it is no demo, or one that was not loaded to its end; name another folder",
                    folder.display()
                )
            })?;
            writeln!(out, "The demo in {} is there already.", folder.display())?;
            return Ok(kept);
        }
        let begun = std::time::Instant::now();
        let (house, demo) = demo::begin(&site).await?;
        house.close().await;
        writeln!(
            out,
            "Loaded an invented case into {} in {:.1} s. People, cases and times are invented.",
            folder.display(),
            begun.elapsed().as_secs_f64()
        )?;
        Ok(demo.sign_ins())
    }
}

fn tell(out: &mut dyn Write, sign_ins: &[SignIn]) -> std::io::Result<()> {
    let width = |of: fn(&SignIn) -> &str| {
        let longest = sign_ins.iter().map(|s| of(s).chars().count()).max();
        longest.unwrap_or(0).max(9)
    };
    let (users, names, roles) = (
        width(|s| &s.user_name),
        width(|s| &s.name),
        width(|s| &s.roles),
    );
    writeln!(out)?;
    writeln!(
        out,
        "{:users$}  {:names$}  {:roles$}  password",
        "user name", "name", "roles"
    )?;
    for s in sign_ins {
        writeln!(
            out,
            "{:users$}  {:names$}  {:roles$}  {}",
            s.user_name, s.name, s.roles, s.password
        )?;
    }
    writeln!(
        out,
        "\nPlanted in case {}, for its page, its papers and: liftledger case ready {0}",
        demo::FLAWED_CASE
    )?;
    for (_, code, what) in demo::PLANTED {
        writeln!(out, "  {code}: {what}")?;
    }
    Ok(())
}
