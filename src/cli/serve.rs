//! `liftledger serve`: the server over a data folder.

use std::io::Write;
use std::net::SocketAddr;

use anyhow::Context;
use clap::Args;
use tokio::net::TcpListener;

use super::site::Where;
use crate::app::house::House;

/// Serve the ledger in a folder until told to stop.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  liftledger serve --data ledger --listen 127.0.0.1:8080

The server itself speaks http. Let browsers reach it through a proxy that speaks https, and say so with --https-only,
so that the session's cookie is never sent without it. Set RUST_LOG=info for more in the log.")]
pub(super) struct Serve {
    #[command(flatten)]
    at: Where,
    /// Address and port to listen on.
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:8080")]
    listen: SocketAddr,
    /// Browsers reach this server by https only.
    #[arg(long)]
    https_only: bool,
}

impl Serve {
    pub(super) fn run(&self, out: &mut impl Write) -> anyhow::Result<u8> {
        super::logging();
        super::runtime()?.block_on(async {
            let house = House::open(self.at.site()?).await?;
            let listener = TcpListener::bind(self.listen)
                .await
                .with_context(|| format!("cannot listen on {}", self.listen))?;
            writeln!(
                out,
                "Serving {} at http://{}",
                self.at.name()?,
                listener.local_addr()?
            )?;
            out.flush()?;
            crate::web::serve(house, listener, self.https_only).await?;
            Ok(0)
        })
    }
}
