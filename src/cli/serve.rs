//! `liftledger serve`: the server over a data folder.

use std::io::Write;

use anyhow::Context;
use clap::Args;
use tokio::net::TcpListener;

use super::config::Settings;
use crate::app::house::House;
use crate::app::site::Site;
use crate::web::Serving;

/// Serve a ledger until told to stop.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger serve --data ledger --listen 127.0.0.1:8080
  liftledger serve --config /etc/liftledger.toml

The server itself speaks http. Let browsers reach it through a proxy that speaks https, and say so with --https-only,
so that the session's cookie is never sent without it. What is set on the command line goes before LIFTLEDGER_… in the
environment, and that before the file; liftledger config check tells what would be used.")]
pub(super) struct Serve {
    #[command(flatten)]
    settings: Settings,
}

impl Serve {
    pub(super) fn run(&self, out: &mut impl Write) -> anyhow::Result<u8> {
        let config = self.settings.gather()?;
        super::logging_as(&config.log, config.log_format);
        super::runtime()?.block_on(async {
            let site = Site {
                folder: config.data.clone(),
                database: config.database.clone(),
            };
            let name = match &site.database {
                Some(address) => format!("{address} with {}", site.folder.display()),
                None => site.folder.display().to_string(),
            };
            let house = House::open(&site).await?;
            let bind = async |at| {
                TcpListener::bind(at)
                    .await
                    .with_context(|| format!("cannot listen on {at}"))
            };
            let listener = bind(config.listen).await?;
            let metrics = match config.metrics_listen {
                Some(at) => Some((bind(at).await?, config.metrics_token.clone())),
                None => None,
            };
            if let Some((at, _)) = &metrics {
                writeln!(out, "Metrics are read at {}/metrics", at.local_addr()?)?;
            }
            writeln!(out, "Serving {name} at http://{}", listener.local_addr()?)?;
            out.flush()?;
            let how = Serving {
                secure: config.https_only,
                grace: config.grace,
                least_free: config.least_free,
                metrics,
            };
            crate::web::serve(house, listener, how).await?;
            Ok(0)
        })
    }
}
