//! Listens, serves, and stops well: requests that are under way are answered, the writer commits, the database closes.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;

use super::app::App;
use super::router::router;
use crate::app::house::House;

/// How long requests that are under way have when the server is told to stop.
const GRACE: Duration = Duration::from_secs(15);
/// How often uploads that nobody goes on with are thrown away.
const SWEEP: Duration = Duration::from_secs(15 * 60);

/// Serves until it is told to stop (SIGINT, SIGTERM).
///
/// # Errors
/// What goes wrong with the listener.
pub async fn serve(house: House, listener: TcpListener, secure: bool) -> std::io::Result<()> {
    let house = Arc::new(house);
    let app = App::new(house.clone(), secure);
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
    let service = router(app).into_make_service_with_connect_info::<SocketAddr>();
    let (told, mut hears) = tokio::sync::watch::channel(false);
    let serving = axum::serve(listener, service).with_graceful_shutdown(async move {
        stop_asked().await;
        let _ = told.send(true);
    });
    let done = tokio::select! {
        done = serving.into_future() => done,
        () = async {
            // Ends when the sender is gone, too: then the server has ended by itself.
            let _ = hears.wait_for(|stop| *stop).await;
            tokio::time::sleep(GRACE).await;
        } => Ok(()),
    };
    sweeping.abort();
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
