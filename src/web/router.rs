//! All routes on one page, each with what it needs. The table is what [`super::session::around`] asks, and what the tests
//! go through role by role.

use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::from_fn_with_state;
use axum::response::IntoResponse as _;
use tower::ServiceBuilder;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::timeout::TimeoutLayer;

use super::app::App;
use super::error::Failure;
use super::{assets, pages, session};
use crate::people::Action;

/// What a route needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Nothing.
    Anybody,
    /// A session.
    SignedIn,
    /// A session of somebody whom the permission table lets do this.
    May(Action),
}

/// A route of the table.
#[derive(Clone, Copy, Debug)]
pub struct Route {
    /// `get` or `post`.
    pub method: &'static str,
    /// The path, with its parameters in braces.
    pub path: &'static str,
    /// What it needs.
    pub need: Need,
}

macro_rules! routes {
    ($($method:ident $path:literal => $handler:path, $need:expr;)*) => {
        /// Every route of pages.
        pub const ROUTES: &[Route] = &[$(Route { method: stringify!($method), path: $path, need: $need },)*];

        fn page_routes() -> Router<App> {
            Router::new()$(.route($path, axum::routing::$method($handler)))*
        }
    };
}

use Need::{Anybody, SignedIn};

routes! {
    get "/sign-in" => pages::sign_in::show, Anybody;
    post "/sign-in" => pages::sign_in::enter, Anybody;
    post "/sign-out" => pages::sign_in::leave, SignedIn;
    post "/theme" => pages::sign_in::theme, SignedIn;
    get "/" => pages::sign_in::home, SignedIn;
    get "/do/{act}" => pages::act::show, SignedIn;
    post "/do/{act}" => pages::act::perform, SignedIn;
}

/// What a route needs; none where there is no such route.
#[must_use]
pub fn need_of(method: &Method, path: &str) -> Option<Need> {
    let method = if method == Method::HEAD {
        &Method::GET
    } else {
        method
    };
    ROUTES
        .iter()
        .find(|r| r.path == path && r.method.eq_ignore_ascii_case(method.as_str()))
        .map(|r| r.need)
}

/// The largest body of a form.
const FORM_BYTES: usize = 256 * 1024;
/// How long a request may take. Uploads come by routes of their own.
const TIMEOUT: Duration = Duration::from_secs(30);

fn fixed(name: HeaderName, value: &'static str) -> SetResponseHeaderLayer<HeaderValue> {
    SetResponseHeaderLayer::if_not_present(name, HeaderValue::from_static(value))
}

/// The whole server.
pub fn router(app: App) -> Router {
    let pages = page_routes()
        .fallback(|| async { Failure::no_page() })
        .method_not_allowed_fallback(|| async { Failure::no_page() })
        .layer(DefaultBodyLimit::max(FORM_BYTES))
        .layer(from_fn_with_state(app.clone(), session::around))
        .layer(TimeoutLayer::with_status_code(
            StatusCode::SERVICE_UNAVAILABLE,
            TIMEOUT,
        ))
        // What a page shows is for this person, now.
        .layer(fixed(header::CACHE_CONTROL, "no-store"));
    let still = assets_routes().merge(super::health::routes());
    still
        .merge(pages)
        .layer(
            ServiceBuilder::new()
                .layer(CatchPanicLayer::custom(panicked))
                .layer(fixed(header::CONTENT_SECURITY_POLICY, assets::POLICY))
                .layer(fixed(header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
                .layer(fixed(header::REFERRER_POLICY, "same-origin"))
                .layer(fixed(
                    HeaderName::from_static("cross-origin-opener-policy"),
                    "same-origin",
                ))
                .layer(fixed(
                    HeaderName::from_static("permissions-policy"),
                    "camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
                )),
        )
        .with_state(app)
}

fn panicked(_: Box<dyn std::any::Any + Send + 'static>) -> axum::response::Response {
    // The panic itself has been logged where it happened.
    Failure::internal().into_response()
}

fn assets_routes() -> Router<App> {
    let asset = |kind: &'static str, body: &'static str| {
        axum::routing::get(move || async move {
            (
                [
                    (header::CONTENT_TYPE, kind),
                    (header::CACHE_CONTROL, "max-age=300"),
                ],
                body,
            )
        })
    };
    Router::new()
        .route(
            "/style.css",
            asset("text/css; charset=utf-8", assets::STYLE),
        )
        .route(
            "/script.js",
            asset("text/javascript; charset=utf-8", assets::SCRIPT),
        )
        .route("/icon.svg", asset("image/svg+xml", assets::ICON))
}
