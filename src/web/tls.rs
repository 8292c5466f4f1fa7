//! Connections by TLS: each is greeted by itself, so that one that is slow or silent holds up no other.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::serve::Listener;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc};
use tokio::task::JoinHandle;
use tokio_rustls::server::TlsStream;

use crate::tls::{Reloaded, Tls};

/// How many connections may be greeted at once; more wait to be taken.
const GREETED: usize = 256;
/// How long a greeting may take. Our assumptions, no source.
const PATIENCE: Duration = Duration::from_secs(10);
/// How often the files are looked at.
const LOOK: Duration = Duration::from_secs(5);

/// Hands on connections that have been greeted.
pub struct TlsListener {
    greeted: mpsc::Receiver<(TlsStream<TcpStream>, SocketAddr)>,
    address: SocketAddr,
    taking: JoinHandle<()>,
}

impl TlsListener {
    /// Takes over a listener.
    ///
    /// # Errors
    /// Where it has no address.
    pub fn new(mut listener: TcpListener, tls: &Tls) -> io::Result<Self> {
        let address = listener.local_addr()?;
        let acceptor = tls.acceptor();
        let (done, greeted) = mpsc::channel(GREETED);
        let taking = tokio::spawn(async move {
            let places = Arc::new(Semaphore::new(GREETED));
            while let Ok(place) = places.clone().acquire_owned().await {
                let (stream, from) = Listener::accept(&mut listener).await;
                let (acceptor, done) = (acceptor.clone(), done.clone());
                tokio::spawn(async move {
                    match tokio::time::timeout(PATIENCE, acceptor.accept(stream)).await {
                        // Nobody takes it: the server is stopping.
                        Ok(Ok(stream)) => drop(done.send((stream, from)).await),
                        Ok(Err(error)) => tracing::debug!(%error, "no TLS came about"),
                        Err(_) => tracing::debug!("no TLS came about in time"),
                    }
                    drop(place);
                });
            }
        });
        Ok(Self {
            greeted,
            address,
            taking,
        })
    }
}

impl Listener for TlsListener {
    type Io = TlsStream<TcpStream>;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, SocketAddr) {
        match self.greeted.recv().await {
            Some(greeted) => greeted,
            // Only where the task that takes connections has ended, which it does with this listener.
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        Ok(self.address)
    }
}

impl Drop for TlsListener {
    fn drop(&mut self) {
        self.taking.abort();
    }
}

/// Looks at the files every few seconds and at SIGHUP, for as long as it runs.
pub(super) async fn keep_fresh(tls: Arc<Tls>) {
    #[cfg(unix)]
    let mut told = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::hangup()).ok();
    // Its dates are looked at when it is new, and again each hour: it may run out while nobody looks.
    let mut dated = chrono::Utc::now();
    loop {
        #[cfg(unix)]
        tokio::select! {
            () = tokio::time::sleep(LOOK) => {}
            () = async {
                match &mut told {
                    Some(told) => { told.recv().await; }
                    None => std::future::pending().await,
                }
            } => {}
        }
        #[cfg(not(unix))]
        tokio::time::sleep(LOOK).await;
        let looked = tls.clone();
        let now = chrono::Utc::now();
        let hourly = now - dated >= chrono::Duration::hours(1);
        let look = move || {
            let new = looked.reload();
            let date = hourly || matches!(new, Ok(Reloaded::New));
            (new, date, date.then(|| looked.out_of_date(now)).flatten())
        };
        let Ok((new, date, why)) = tokio::task::spawn_blocking(look).await else {
            continue;
        };
        if date {
            dated = now;
        }
        if let Some(why) = why {
            tracing::warn!("the server's certificate: {why}");
        }
        match new {
            Ok(Reloaded::Same) => {}
            Ok(Reloaded::New) => tracing::warn!("a new certificate is in force"),
            Err(error) => {
                tracing::error!(%error, "the new certificate cannot be used; the old one stays in force");
            }
        }
    }
}
