//! Whose turn it is: of pages and answers that only read, so many are made at once and the others wait in order. Each holds
//! what it has read, and beyond what the processors and the database's readers can do at once, more of them take memory and
//! make nothing faster. What changes something does not wait here: commands are grouped by waiting for one another.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::Method;
use axum::middleware::Next;
use axum::response::Response;
use tokio::sync::Semaphore;

use super::app::App;

/// How many are made at once.
pub const AT_ONCE: usize = 16;

/// The turns of a server.
pub(super) fn turns() -> Arc<Semaphore> {
    Arc::new(Semaphore::new(AT_ONCE))
}

/// Waits for a turn where a request only reads.
pub(super) async fn around(State(app): State<App>, request: Request, next: Next) -> Response {
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        return next.run(request).await;
    }
    // Nobody closes it; and if somebody did, a page that is made is better than none.
    let _turn = app.turns().acquire().await.ok();
    next.run(request).await
}
