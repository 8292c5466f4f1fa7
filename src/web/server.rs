//! Listens, serves, and stops well: requests that are under way are answered, the writer commits, the database closes.

use std::sync::Arc;
use std::time::Duration;

use futures_util::FutureExt as _;
use futures_util::future::BoxFuture;
use tokio::net::TcpListener;

use super::app::App;
use super::router::router;
use super::tls::{TlsListener, keep_fresh};
use crate::app::house::House;
use crate::tls::Tls;

/// How often uploads that nobody goes on with are thrown away.
const SWEEP: Duration = Duration::from_secs(15 * 60);

/// How a house is served.
#[derive(Debug)]
pub struct Serving {
    /// Browsers reach this server by https only.
    pub secure: bool,
    /// How long requests that are under way have when the server is told to stop.
    pub grace: Duration,
    /// Under so much free room for originals, in bytes, the server is not ready.
    pub least_free: u64,
    /// Connections come by TLS.
    pub tls: Option<Arc<Tls>>,
    /// Where metrics are read, and the token that has to be sent for it.
    pub metrics: Option<(TcpListener, Option<String>)>,
}

impl Default for Serving {
    fn default() -> Self {
        Self {
            secure: false,
            grace: Duration::from_secs(15),
            least_free: 0,
            tls: None,
            metrics: None,
        }
    }
}

/// Serves until it is told to stop (SIGINT, SIGTERM).
///
/// # Errors
/// What goes wrong with the listener.
pub async fn serve(house: House, listener: TcpListener, how: Serving) -> std::io::Result<()> {
    let house = Arc::new(house);
    let (told, mut hears) = tokio::sync::watch::channel(false);
    let app = App::new(house.clone(), how.secure)
        .with_least_free(how.least_free)
        .with_stop(hears.clone());
    let measured = how.metrics.map(|(listener, token)| {
        let router = super::watch::metrics(app.clone(), token);
        tokio::spawn(async move { axum::serve(listener, router).await })
    });
    let uploads = house.uploads.clone();
    let sweeping = tokio::spawn(async move {
        let mut turn = tokio::time::interval(SWEEP);
        loop {
            turn.tick().await;
            let (uploads, now) = (uploads.clone(), chrono::Utc::now());
            // Removes files; one that cannot be removed is cleared away at the next start.
            let _ = tokio::task::spawn_blocking(move || uploads.sweep(now)).await;
        }
    });
    let following = tokio::spawn(house.follow());
    let service = router(app);
    let stopping = async move {
        stop_asked().await;
        let _ = told.send(true);
    };
    let mut fresh = None;
    let serving: BoxFuture<'_, std::io::Result<()>> = match how.tls {
        None => axum::serve(listener, service)
            .with_graceful_shutdown(stopping)
            .into_future()
            .boxed(),
        Some(tls) => {
            let listener = TlsListener::new(listener, &tls)?;
            fresh = Some(tokio::spawn(keep_fresh(tls)));
            axum::serve(listener, service)
                .with_graceful_shutdown(stopping)
                .into_future()
                .boxed()
        }
    };
    let done = tokio::select! {
        done = serving => done,
        () = async {
            // Ends when the sender is gone, too: then the server has ended by itself.
            let _ = hears.wait_for(|stop| *stop).await;
            tokio::time::sleep(how.grace).await;
        } => Ok(()),
    };
    sweeping.abort();
    if let Some(fresh) = fresh {
        fresh.abort();
    }
    following.abort();
    // It has a connection of the database until it is gone.
    let _ = following.await;
    if let Some(measured) = measured {
        measured.abort();
        // It holds the house until it is gone.
        let _ = measured.await;
    }
    if let Ok(house) = Arc::try_unwrap(house) {
        house.close().await;
    }
    done
}

async fn stop_asked() {
    let interrupt = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminate = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut s) => {
                s.recv().await;
            }
            Err(_) => std::future::pending::<()>().await,
        }
    };
    #[cfg(not(unix))]
    let terminate = std::future::pending::<()>();
    tokio::select! {
        () = interrupt => {}
        () = terminate => {}
    }
}
