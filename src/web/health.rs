//! Whether the server runs (`/healthz`) and whether it can work (`/readyz`), for whoever watches it.

use axum::Router;
use axum::extract::State;
use axum::http::StatusCode;
use axum::routing::get;

use super::app::App;

/// Both routes; anybody may ask, and neither says more than a word.
pub fn routes() -> Router<App> {
    Router::new()
        .route("/healthz", get(|| async { "ok\n" }))
        .route("/readyz", get(ready))
}

/// Ready: the database answers and can be written, the writer takes commands, originals can be written and have room.
async fn ready(State(app): State<App>) -> (StatusCode, &'static str) {
    match app.house().ready(app.least_free()).await {
        Ok(()) => (StatusCode::OK, "ready\n"),
        Err(e) => {
            tracing::error!(error = %e, "not ready");
            (StatusCode::SERVICE_UNAVAILABLE, e.word())
        }
    }
}
