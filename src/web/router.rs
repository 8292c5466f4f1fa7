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
use super::{api, assets, pages, session, turn};
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
    ($table:ident, $register:ident: $($method:ident $path:literal => $handler:path, $need:expr;)*) => {
        /// Routes of pages, each with what it needs.
        pub const $table: &[Route] = &[$(Route { method: stringify!($method), path: $path, need: $need },)*];

        fn $register() -> Router<App> {
            Router::new()$(.route($path, axum::routing::$method($handler)))*
        }
    };
}

use Need::{Anybody, May, SignedIn};

routes! {
    LONG_ROUTES, long_routes:
    post "/cases/{id}/bundle" => pages::bundle::make, May(Action::Disclose);
}

routes! {
    LIVE_ROUTES, live_routes:
    get "/live" => pages::live::stream, May(Action::ReadEvidence);
}

routes! {
    UPLOAD_ROUTES, upload_routes:
    post "/marks/{id}/photograph" => pages::photograph::add_to_mark, May(Action::RecordScene);
    post "/items/{id}/photograph" => pages::photograph::add_to_item, May(Action::RecordScene);
    post "/papers/check" => pages::paper_check::answer, May(Action::ReadEvidence);
}

routes! {
    LABEL_ROUTES, label_routes:
    post "/find/photograph" => pages::find::photographed, May(Action::ReadEvidence);
    post "/intake/photograph" => pages::intake::photographed, May(Action::HandOver);
    post "/import" => pages::import::send, May(Action::Keep);
    post "/counts/{id}/photograph" => pages::count::photographed, May(Action::Keep);
}

routes! {
    ROUTES, page_routes:
    get "/sign-in" => pages::sign_in::show, Anybody;
    post "/sign-in" => pages::sign_in::enter, Anybody;
    post "/sign-out" => pages::sign_in::leave, SignedIn;
    post "/theme" => pages::sign_in::theme, SignedIn;
    get "/" => pages::sign_in::home, SignedIn;
    get "/do/{act}" => pages::act::show, SignedIn;
    post "/do/{act}" => pages::act::perform, SignedIn;
    get "/account" => pages::account::show, SignedIn;
    post "/account/password" => pages::account::change_password, SignedIn;
    post "/account/tokens" => pages::account::issue_token, SignedIn;
    post "/account/tokens/end" => pages::account::end_token, SignedIn;
    get "/rules" => pages::rules::list, SignedIn;
    get "/rules/{kind}" => pages::rules::shelf, SignedIn;
    get "/agency" => pages::agency::show, May(Action::ManagePeople);
    post "/agency" => pages::agency::set, May(Action::ManagePeople);
    get "/people" => pages::people::list, May(Action::ManagePeople);
    get "/people/{id}" => pages::people::show, May(Action::ManagePeople);
    post "/people/{id}/password" => pages::people::set_password, May(Action::ManagePeople);
    get "/marks/{id}/photograph" => pages::photograph::of_mark, May(Action::RecordScene);
    get "/items/{id}/photograph" => pages::photograph::of_item, May(Action::RecordScene);
    get "/desk/field" => pages::desk::field, May(Action::ReadEvidence);
    get "/desk/storeroom" => pages::desk::storeroom, May(Action::ReadEvidence);
    get "/desk/examiner" => pages::desk::examiner, May(Action::ReadEvidence);
    get "/desk/court" => pages::desk::court, May(Action::ReadEvidence);
    get "/live/part" => pages::live::part, May(Action::ReadEvidence);
    get "/intake" => pages::intake::show, May(Action::HandOver);
    post "/intake" => pages::intake::perform, May(Action::HandOver);
    get "/import" => pages::import::form, May(Action::Keep);
    get "/import/{id}" => pages::import::page, May(Action::Keep);
    get "/import/{id}/problems.csv" => pages::import::problems, May(Action::Keep);
    post "/import/{id}/record" => pages::import::record, May(Action::Keep);
    post "/import/{id}/leave" => pages::import::leave, May(Action::Keep);
    get "/cases" => pages::case::list, May(Action::ReadEvidence);
    get "/cases/{id}" => pages::case::page, May(Action::ReadEvidence);
    get "/cases/{id}/ready" => pages::case::ready, May(Action::ReadEvidence);
    get "/expungements" => pages::expungement::list, May(Action::CarryOutExpungement);
    get "/cases/{id}/expungements/{number}" => pages::expungement::page, SignedIn;
    get "/marks/{id}" => pages::mark::page, May(Action::ReadEvidence);
    get "/items/{id}" => pages::item::page, May(Action::ReadEvidence);
    get "/packages/{id}" => pages::package::page, May(Action::ReadEvidence);
    get "/kit" => pages::kit::mine, May(Action::RecordScene);
    get "/lots" => pages::kit::lot, May(Action::ReadEvidence);
    get "/checklists/{id}" => pages::checklist::page, May(Action::ReadEvidence);
    get "/room" => pages::room::page, May(Action::ReadEvidence);
    get "/room/list" => pages::room::list, May(Action::ReadEvidence);
    get "/places" => pages::place::list, May(Action::ReadEvidence);
    get "/places/{id}" => pages::place::page, May(Action::ReadEvidence);
    get "/disposition" => pages::disposition::cases, May(Action::ReadEvidence);
    get "/cases/{id}/disposition" => pages::disposition::items, May(Action::ReadEvidence);
    get "/counts" => pages::count::list, May(Action::ReadEvidence);
    get "/counts/{id}" => pages::count::page, May(Action::ReadEvidence);
    get "/events/{seq}" => pages::event::page, May(Action::ReadEvidence);
    get "/find" => pages::find::page, May(Action::ReadEvidence);
    get "/images/{digest}" => pages::image::original, May(Action::ReadEvidence);
    get "/cases/{id}/bundle" => pages::bundle::form, May(Action::Disclose);
    get "/pictures/{digest}" => pages::picture::page, May(Action::ReadEvidence);
    post "/pictures/{digest}/copy" => pages::picture::make_copy, May(Action::WorkImages);
    get "/copies/{digest}" => pages::picture::copy, May(Action::ReadEvidence);
    get "/papers/check" => pages::paper_check::form, May(Action::ReadEvidence);
    get "/proof" => pages::proof::page, May(Action::Prove);
    get "/proof/checkpoint" => pages::proof::latest, May(Action::Prove);
    get "/items/{id}/afis" => pages::afis::of_item, May(Action::HandOff);
    get "/marks/{id}/afis" => pages::afis::of_mark, May(Action::HandOff);
    post "/items/{id}/afis" => pages::afis::hand_off_item, May(Action::HandOff);
    post "/marks/{id}/afis" => pages::afis::hand_off_mark, May(Action::HandOff);
    post "/items/{id}/label" => pages::paper::item_label, May(Action::PrintLabel);
    post "/packages/{id}/label" => pages::paper::package_label, May(Action::PrintLabel);
    post "/places/{id}/label" => pages::paper::place_label, May(Action::PrintLabel);
    post "/cases/{id}/labels" => pages::paper::case_labels, May(Action::PrintLabel);
    post "/items/{id}/report" => pages::paper::item_report, May(Action::PrintReport);
    post "/packages/{id}/report" => pages::paper::package_report, May(Action::PrintReport);
    post "/items/{id}/certificate" => pages::paper::item_certificate, May(Action::PrintReport);
    post "/packages/{id}/certificate" => pages::paper::package_certificate, May(Action::PrintReport);
    get "/cases/{id}/papers" => pages::papers::show, May(Action::ReadEvidence);
    post "/cases/{id}/papers/exhibit-list" => pages::papers::exhibit_list, May(Action::PrintReport);
    post "/cases/{id}/papers/owner-receipt" => pages::papers::owner_receipt, May(Action::PrintForm);
    post "/cases/{id}/papers/laboratory-submission" => pages::papers::laboratory_submission, May(Action::PrintForm);
    post "/cases/{id}/papers/hand-over-sheet" => pages::papers::hand_over_sheet, May(Action::PrintForm);
    post "/cases/{id}/papers/witness-sheet" => pages::papers::witness_sheet, May(Action::PrintForm);
    post "/cases/{id}/papers/certification" => pages::papers::certification, May(Action::PrintReport);
    post "/cases/{id}/report" => pages::paper::case_report, May(Action::PrintReport);
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
        .chain(LONG_ROUTES)
        .chain(LIVE_ROUTES)
        .chain(UPLOAD_ROUTES)
        .chain(LABEL_ROUTES)
        .find(|r| r.path == path && r.method.eq_ignore_ascii_case(method.as_str()))
        .map(|r| r.need)
}

/// Whether pages ask for a route by themselves, so that it says nothing of whether anybody is there.
#[must_use]
pub fn is_by_itself(path: &str) -> bool {
    path == "/live" || path.starts_with("/live/")
}

/// The largest body of a form.
const FORM_BYTES: usize = 256 * 1024;
/// The largest body of an upload: the largest original, and the form around it.
const UPLOAD_BYTES: usize = 201 * 1024 * 1024;
/// The largest body with a photograph of a label in it, and the form around it: a little more, so that one that is too
/// large is answered with what was typed.
const LABEL_BYTES: usize = crate::app::label_photo::MAX_BYTES + 8 * 1024 * 1024;
/// How long such a photograph may take to come in and be read.
const LABEL_TIME: Duration = Duration::from_secs(120);
/// How long an upload may take, 200 MB over a slow line, and the making of a bundle.
const UPLOAD_TIME: Duration = Duration::from_secs(20 * 60);
/// How long any other request may take.
const TIMEOUT: Duration = Duration::from_secs(30);

fn fixed(name: HeaderName, value: &'static str) -> SetResponseHeaderLayer<HeaderValue> {
    SetResponseHeaderLayer::if_not_present(name, HeaderValue::from_static(value))
}

/// The whole server.
pub fn router(app: App) -> Router {
    let within = |routes: Router<App>, bytes: usize, time: Duration| {
        routes
            .layer(DefaultBodyLimit::max(bytes))
            .layer(TimeoutLayer::with_status_code(
                StatusCode::SERVICE_UNAVAILABLE,
                time,
            ))
    };
    // Waiting for a turn counts as time, too.
    let reading = page_routes().layer(from_fn_with_state(app.clone(), turn::around));
    let pages = within(reading, FORM_BYTES, TIMEOUT)
        .merge(within(long_routes(), FORM_BYTES, UPLOAD_TIME))
        // Streams end by themselves: with the session, with the server, with whoever looks.
        .merge(live_routes().layer(DefaultBodyLimit::max(FORM_BYTES)))
        .merge(within(upload_routes(), UPLOAD_BYTES, UPLOAD_TIME))
        .merge(within(label_routes(), LABEL_BYTES, LABEL_TIME))
        .fallback(|| async { Failure::no_page() })
        .method_not_allowed_fallback(|| async { Failure::no_page() })
        .layer(from_fn_with_state(app.clone(), session::around))
        // What a page shows is for this person, now.
        .layer(fixed(header::CACHE_CONTROL, "no-store"));
    let still = assets_routes().merge(super::health::routes());
    still
        .merge(pages)
        .merge(api::router(&app))
        .layer(
            ServiceBuilder::new()
                .layer(from_fn_with_state(app.clone(), super::watch::around))
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
        .route(
            "/find.js",
            asset("text/javascript; charset=utf-8", assets::FIND),
        )
        .route(
            "/upload.js",
            asset("text/javascript; charset=utf-8", assets::UPLOAD),
        )
        .route(
            "/scanner.js",
            asset("text/javascript; charset=utf-8", assets::SCANNER),
        )
        .route(
            "/intake.js",
            asset("text/javascript; charset=utf-8", assets::INTAKE),
        )
        .route(
            "/count.js",
            asset("text/javascript; charset=utf-8", assets::COUNT),
        )
        .route(
            "/live.js",
            asset("text/javascript; charset=utf-8", assets::LIVE),
        )
        .route(
            "/viewer.js",
            asset("text/javascript; charset=utf-8", assets::VIEWER),
        )
        .route("/icon.svg", asset("image/svg+xml", assets::ICON))
}
