//! Around every request: its identifier, a line of the log, and what is counted. Nothing here names a person or a case: a
//! route stands for the address.

use std::time::Instant;

use axum::Router;
use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use subtle::ConstantTimeEq as _;
use tracing::Instrument as _;

use super::app::App;
use crate::metrics::MEDIA_TYPE;

/// The header that a request's identifier comes and goes by.
pub const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// The identifier that a proxy has given, where it is a plain one; else a new one.
fn id_of(headers: &HeaderMap) -> String {
    headers
        .get(REQUEST_ID)
        .and_then(|v| v.to_str().ok())
        .filter(|v| (1..=64).contains(&v.len()))
        .filter(|v| v.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-'))
        .map_or_else(|| uuid::Uuid::now_v7().to_string(), str::to_owned)
}

/// Everything logged while a request is carried out bears its identifier.
pub async fn around(
    State(app): State<App>,
    matched: Option<MatchedPath>,
    request: Request,
    next: Next,
) -> Response {
    let begun = Instant::now();
    let id = id_of(request.headers());
    let method = request.method().clone();
    let route = matched.map_or_else(|| "none".to_owned(), |m| m.as_str().to_owned());
    let span = tracing::info_span!("request", id = %id, method = %method, route = %route);
    let mut response = next.run(request).instrument(span.clone()).await;
    let (status, took) = (response.status(), begun.elapsed());
    let metrics = app.house().recorder.metrics();
    // A method from outside may be any word.
    let known = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"];
    let counted = known.iter().find(|m| **m == method.as_str());
    let labels = [
        ("route", route.as_str()),
        ("method", counted.copied().unwrap_or("other")),
        ("status", status.as_str()),
    ];
    metrics.requests.add(&labels);
    metrics.request_time.took(took);
    span.in_scope(|| {
        let milliseconds = u64::try_from(took.as_millis()).unwrap_or(u64::MAX);
        tracing::info!(status = status.as_u16(), milliseconds, "answered");
    });
    if let Ok(value) = HeaderValue::from_str(&id) {
        response.headers_mut().insert(REQUEST_ID, value);
    }
    response
}

#[derive(Clone)]
struct Measures {
    app: App,
    token: Option<String>,
}

/// The server of metrics: one address, `/metrics`.
pub fn metrics(app: App, token: Option<String>) -> Router {
    Router::new()
        .route("/metrics", get(read))
        .with_state(Measures { app, token })
}

async fn read(State(of): State<Measures>, headers: HeaderMap) -> Response {
    if let Some(token) = &of.token {
        let given = headers
            .get(header::AUTHORIZATION)
            .map(HeaderValue::as_bytes);
        let given = given
            .and_then(|v| v.strip_prefix(b"Bearer "))
            .unwrap_or_default();
        if !bool::from(given.ct_eq(token.as_bytes())) {
            return StatusCode::UNAUTHORIZED.into_response();
        }
    }
    let house = of.app.house();
    match house.measured(of.app.least_free()).await {
        Ok(now) => {
            let text = house.recorder.metrics().text(&now);
            ([(header::CONTENT_TYPE, MEDIA_TYPE)], text).into_response()
        }
        Err(e) => {
            tracing::error!(error = %e, "metrics cannot be read");
            StatusCode::SERVICE_UNAVAILABLE.into_response()
        }
    }
}
