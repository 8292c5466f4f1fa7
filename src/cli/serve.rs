//! `liftledger serve`: the server over a data folder.

use std::io::Write;
use std::sync::Arc;

use anyhow::Context;
use clap::Args;
use tokio::net::TcpListener;

use super::config::Settings;
use crate::app::house::House;
use crate::app::site::Site;
use crate::tls::Tls;
use crate::web::Serving;

/// Serve a ledger until told to stop.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger serve --data ledger --listen 127.0.0.1:8080
  liftledger serve --config /etc/liftledger.toml

The server speaks http, or https with --tls-certificate and --tls-key; both files are read again when they change and at
SIGHUP, and a pair that cannot be used leaves the old one in force. Where a proxy speaks https in front of it, say so with
--https-only, so that the session's cookie is never sent without it. What is set on the command line goes before LIFTLEDGER_… in the
environment, and that before the file; liftledger config check tells what would be used.")]
pub(super) struct Serve {
    #[command(flatten)]
    settings: Settings,
}

impl Serve {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let config = self.settings.gather()?;
        super::logging_as(&config.log, config.log_format);
        super::runtime()?.block_on(async {
            let site = Site {
                folder: config.data.clone(),
                database: config.database.clone(),
                originals: config.originals.clone(),
            };
            let name = match &site.database {
                Some(address) => format!("{address} with {}", site.folder.display()),
                None => site.folder.display().to_string(),
            };
            let house = House::open(&site).await?;
            let house = house.timestamped(config.timestamps());
            if let Some(signer) = house.keys.papers()
                && let Err(why) = signer.chain().is_valid(chrono::Utc::now())
            {
                tracing::warn!("papers are printed unsigned: {why}");
            }
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
            let tls = match &config.tls {
                Some(pair) => {
                    if let Some(why) = pair.out_of_date(chrono::Utc::now()) {
                        tracing::warn!("the server's certificate: {why}");
                    }
                    Some(Arc::new(Tls::open(pair.clone())?))
                }
                None => None,
            };
            if let Some((at, _)) = &metrics {
                writeln!(out, "Metrics are read at {}/metrics", at.local_addr()?)?;
            }
            let scheme = if tls.is_some() { "https" } else { "http" };
            writeln!(
                out,
                "Serving {name} at {scheme}://{}",
                listener.local_addr()?
            )?;
            out.flush()?;
            let how = Serving {
                secure: config.https_only,
                grace: config.grace,
                least_free: config.least_free,
                tls,
                metrics,
            };
            crate::web::serve(house, listener, how).await?;
            Ok(0)
        })
    }
}
