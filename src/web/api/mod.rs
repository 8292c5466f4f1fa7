//! The interface for programs: everything that a page does, as JSON, described at `/api/openapi.json`.
//!
//! Reading order: the table of routes below, [`caller`] (who calls, asked by the table), `body` (what is sent), then one
//! noun a file. [`openapi`] turns the same table into the description, so that neither can be ahead of the other.
//!
//! Every refusal is a problem detail of RFC 9457, made in [`super::error`]. Every success is 200: a command that was
//! carried out before is answered as it was then, status and all.

mod acts;
mod advise;
mod afis;
mod agency;
mod body;
mod bundles;
pub mod caller;
mod cases;
mod codes;
mod commands;
mod copies;
mod cosignatures;
mod counts;
mod court;
mod desks;
mod events;
mod find;
mod images;
mod intake;
mod items;
mod kit;
mod marks;
mod me;
mod measure;
pub mod openapi;
mod packages;
mod papers;
mod people;
mod places;
mod proofs;
mod room;
mod rules;
mod tokens;
mod uploads;

use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::from_fn_with_state;
use schemars::SchemaGenerator;
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::timeout::TimeoutLayer;

use super::app::App;
use super::error::Failure;
use super::router::{Need, Route};
use super::turn;
use crate::app::Page;
use crate::custody::state::{Item, Mark, Package, Person, Place};
use crate::people::Action;
pub(crate) use images::content_digest;
use openapi::Op;

/// The largest body of a request that is not a picture.
const BODY_BYTES: usize = 256 * 1024;
/// How long such a request may take.
const TIMEOUT: Duration = Duration::from_secs(60);
/// How long a picture may take to come in: 200 MB over a slow line.
const UPLOAD_TIME: Duration = Duration::from_secs(20 * 60);

macro_rules! routes {
    ($table:ident, $register:ident, $describe:ident: $($method:ident $path:literal => $handler:path, $need:expr, $op:expr;)*) => {
        /// Routes of the interface for programs, each with what it needs.
        pub const $table: &[Route] = &[$(Route { method: stringify!($method), path: $path, need: $need },)*];

        fn $register() -> Router<App> {
            Router::new()$(.route($path, axum::routing::$method($handler)))*
        }

        /// What each of them takes and gives, in the order of the table.
        fn $describe(g: &mut SchemaGenerator) -> Vec<Op> {
            let mut out = Vec::new();
            $(
                let op: fn(&mut SchemaGenerator) -> Op = $op;
                out.push(op(g));
            )*
            out
        }
    };
}

use Action::{
    HandOff, HandOver, ManagePeople, PrintForm, PrintLabel, PrintReport, Prove, ReadEvidence,
    RecordScene, WorkImages,
};
use Need::{Anybody, May, SignedIn};

routes! {
    API_ROUTES, api_routes, api_ops:
    get "/api/openapi.json" => openapi::show, Anybody, |_| Op::new("This description").any_json();
    get "/api/me" => me::show, SignedIn, |g| Op::new("Who calls, and what they may").json::<me::Me>(g);
    get "/api/acts" => acts::list, SignedIn, |g| Op::new("Every act: who may do it, whether it must be signed, and where it is sent").json::<Vec<acts::ActRow>>(g);
    get "/api/rules" => rules::show, SignedIn, |g| Op::new("The trade rules in force, each with its source, and what the agency changed").json::<rules::Rules>(g);
    get "/api/rules/{kind}" => rules::shelf, SignedIn, rules::shelf_described;
    get "/api/handedness" => measure::handedness, SignedIn, measure::handedness_described;
    get "/api/measure/film" => measure::film, SignedIn, measure::film_described;
    get "/api/measure/cast" => measure::cast, SignedIn, measure::cast_described;
    get "/api/measure/set" => measure::set, SignedIn, measure::set_described;
    post "/api/advise" => advise::advise, SignedIn, advise::described;
    get "/api/agency" => agency::show, SignedIn, |g| Op::new("The agency: its name, the zone of its times, its paper").json::<agency::AgencyTold>(g);
    post "/api/agency" => agency::set, May(ManagePeople), |g| Op::new("Set the agency").body::<agency::AgencyTold>(g).json::<agency::AgencyTold>(g);
    post "/api/commands" => commands::send, SignedIn, commands::described;
    get "/api/find" => find::find, May(ReadEvidence), |g| Op::new("What there is under a code, a case number, a seal number or a few words, the surest first").query("q", true, "What was typed or scanned").json::<Vec<crate::app::views::find::Hit>>(g);
    get "/api/find/typed" => find::typed, May(ReadEvidence), |g| Op::new("The same while somebody types, from the first letter on: few, and whether there may be more; ten times a second at the most").query("q", true, "What is typed so far").json::<find::Typed>(g);
    get "/api/codes/{code}" => codes::show, May(ReadEvidence), |g| Op::new("What bears the code of a label").json::<codes::Bearer>(g);
    get "/api/intake" => intake::on_its_way, May(HandOver), |g| Op::new("What is on its way to the caller: released to them and not received yet, at most 200").json::<crate::app::views::intake::Queue>(g);
    get "/api/desk/{which}" => desks::show, May(ReadEvidence), |g| Op::new("A desk: what waits for the caller").json::<crate::app::views::desk::Desk>(g);
    get "/api/cases" => cases::list, May(ReadEvidence), |g| Op::new("Cases that the caller may see, newest first; of a restricted one only the number").paged().json::<Page<crate::app::views::case_row::CaseRow>>(g);
    get "/api/cases/{id}" => cases::show, May(ReadEvidence), cases::described;
    get "/api/cases/{id}/ready" => cases::ready, May(ReadEvidence), |g| Op::new("Whether a case is ready for court: whether every finding of every item and package in it has an answer, and what is left").json::<crate::app::views::ready::Ready>(g);
    get "/api/cases/{id}/marks" => cases::marks, May(ReadEvidence), |g| Op::new("Marks of a case, by number").paged().json::<Page<Mark>>(g);
    get "/api/cases/{id}/items" => cases::items, May(ReadEvidence), |g| Op::new("Items of a case, by number").paged().json::<Page<Item>>(g);
    get "/api/cases/{id}/packages" => cases::packages, May(ReadEvidence), |g| Op::new("Packages of a case, by number").paged().json::<Page<Package>>(g);
    get "/api/cases/{id}/history" => cases::history, May(ReadEvidence), |g| Op::new("Events of a case itself, oldest first").history().json::<events::History>(g);
    post "/api/cases/{id}/report" => papers::case_report, May(PrintReport), |g| papers::described(g, "Print the custody report of a case").body::<papers::Sheet>(g);
    get "/api/cases/{id}/papers" => court::prints, May(ReadEvidence), |g| Op::new("Papers of a case, its items and packages that were printed, the newest first").json::<crate::app::papers::printed::Prints>(g);
    post "/api/cases/{id}/papers/exhibit-list" => court::exhibit_list, May(PrintReport), |g| papers::described(g, "Print the exhibit list of a case").body::<papers::Sheet>(g);
    post "/api/cases/{id}/papers/owner-receipt" => court::owner_receipt, May(PrintForm), |g| papers::described(g, "Print a receipt for whoever something was taken from").body::<court::Receipt>(g);
    post "/api/cases/{id}/papers/laboratory-submission" => court::laboratory_submission, May(PrintForm), |g| papers::described(g, "Print what goes to a laboratory or an examiner, and what is asked of them").body::<court::Submission>(g);
    post "/api/cases/{id}/papers/hand-over-sheet" => court::hand_over_sheet, May(PrintForm), |g| papers::described(g, "Print a hand-over sheet to be signed in ink; hand-overs entered afterwards name its print identifier in paper_sheet").body::<court::HandOverSheet>(g);
    post "/api/cases/{id}/papers/witness-sheet" => court::witness_sheet, May(PrintForm), |g| papers::described(g, "Print what one person did in a case: one's own, or anybody's for whoever prints reports").body::<court::WitnessSheet>(g);
    post "/api/cases/{id}/papers/certification" => court::certification, May(PrintReport), |g| papers::described(g, "Print the blanks of a records custodian's certification").body::<papers::Sheet>(g);
    post "/api/cases/{id}/labels" => papers::cards, May(PrintLabel), |g| papers::described(g, "Print lift cards of several items of a case on sheets").body::<papers::Cards>(g);
    get "/api/cases/{id}/disposition" => cases::disposition, May(ReadEvidence), |g| Op::new("Items of a case, each with every reason why it may not be disposed of").paged().json::<Page<crate::app::views::eligible::EligibleLine>>(g);
    get "/api/cases/{id}/expungements/{number}" => cases::expungement, May(ReadEvidence), |g| Op::new("An order to expunge: what it covers, and what left the system and is to be called back").json::<crate::app::views::expungements::Instruction>(g);
    get "/api/marks/{id}" => marks::show, May(ReadEvidence), |g| Op::new("A mark: what was noted, how it was developed, its photographs, its items").json::<crate::app::views::mark_file::MarkFile>(g);
    post "/api/marks/{id}/afis" => afis::mark, May(HandOff), |g| afis::described(g, "Hand a picture of a mark off to an AFIS");
    get "/api/marks/{id}/history" => marks::history, May(ReadEvidence), |g| Op::new("Events of a mark, oldest first").history().json::<events::History>(g);
    get "/api/items/{id}" => items::show, May(ReadEvidence), |g| Op::new("An item: recovery, orientation, custody, keeping, findings, photographs").json::<crate::app::views::item_file::ItemFile>(g);
    post "/api/items/{id}/afis" => afis::item, May(HandOff), |g| afis::described(g, "Hand a picture of an item or of its mark off to an AFIS");
    get "/api/receivers" => afis::receivers, May(HandOff), |g| Op::new("Who takes hand-offs").json::<Vec<afis::ReceiverTold>>(g);
    get "/api/items/{id}/history" => items::history, May(ReadEvidence), |g| Op::new("Events of an item, oldest first").history().json::<events::History>(g);
    post "/api/items/{id}/label" => papers::item_label, May(PrintLabel), |g| papers::described(g, "Print a label of an item").body::<papers::Label>(g);
    post "/api/items/{id}/report" => papers::item_report, May(PrintReport), |g| papers::described(g, "Print the custody report of an item").body::<papers::Sheet>(g);
    post "/api/items/{id}/certificate" => papers::item_certificate, May(PrintReport), |g| papers::described(g, "Print the certificate of an item's disposition").body::<papers::Sheet>(g);
    post "/api/packages/{id}/certificate" => papers::package_certificate, May(PrintReport), |g| papers::described(g, "Print the certificate of a package's disposition").body::<papers::Sheet>(g);
    get "/api/packages/{id}" => packages::show, May(ReadEvidence), |g| Op::new("A package: contents, seals, custody, keeping, findings").json::<crate::app::views::package_file::PackageFile>(g);
    get "/api/packages/{id}/history" => packages::history, May(ReadEvidence), |g| Op::new("Events of a package, oldest first").history().json::<events::History>(g);
    post "/api/packages/{id}/label" => papers::package_label, May(PrintLabel), |g| papers::described(g, "Print a label of a package").body::<papers::Label>(g);
    post "/api/packages/{id}/report" => papers::package_report, May(PrintReport), |g| papers::described(g, "Print the custody report of everything in a package").body::<papers::Sheet>(g);
    get "/api/kit" => kit::mine, SignedIn, |g| Op::new("What the caller carries, by medium and lot").json::<Vec<crate::custody::kit::KitEntry>>(g);
    get "/api/lots" => kit::lot, May(ReadEvidence), |g| Op::new("Everything that was made with a lot, as on a recall; of a restricted case numbers only").query("medium", true, "The medium, by the trade rules' identifier").query("lot", true, "The lot, as it stands on the package").paged().json::<crate::app::views::lot_file::LotFile>(g);
    get "/api/room" => room::show, May(ReadEvidence), |g| Op::new("The room in figures: how full places are, time from recovery to the shelf, what is overdue, open findings by age; each within the bound that it says").query("of", false, "The place whose places are shown instead of the outermost").json::<crate::app::views::room::Room>(g);
    get "/api/places" => places::list, May(ReadEvidence), |g| Op::new("Places in the storeroom, by name").paged().json::<Page<Place>>(g);
    get "/api/places/{id}" => places::show, May(ReadEvidence), |g| Op::new("A place and what stands in it").paged().json::<crate::app::views::place_file::PlaceFile>(g);
    post "/api/places/{id}/label" => papers::place_label, May(PrintLabel), |g| papers::described(g, "Print the label of a place").body::<papers::Sheet>(g);
    get "/api/counts" => counts::list, May(ReadEvidence), |g| Op::new("Counts, newest first").query("active", false, "`true` or `false`: only those that are not done with, or only those that are").paged().json::<Page<crate::app::views::count_file::CountLine>>(g);
    get "/api/counts/{id}" => counts::show, May(ReadEvidence), |g| Op::new("A count: what was seen, and what differs once it is ended").json::<crate::app::views::count_file::CountFile>(g);
    get "/api/people" => people::list, SignedIn, |g| Op::new("People with an account, by user name").query("active", false, "`true` or `false`: only accounts that are switched on or off").paged().json::<Page<Person>>(g);
    get "/api/people/{id}" => people::show, SignedIn, |g| Op::new("A person with an account").json::<Person>(g);
    get "/api/people/{id}/holds" => people::holds, May(ReadEvidence), |g| Op::new("What a person has in their own hands, not counting what is inside packages").paged().json::<Page<crate::app::Thing>>(g);
    post "/api/people/{id}/password" => people::set_password, May(ManagePeople), |g| Op::new("Set somebody's password; signed with the caller's own").body::<people::NewPassword>(g).json::<people::PasswordSet>(g);
    get "/api/events/{seq}" => events::show, May(ReadEvidence), |g| Op::new("One event by its place in the ledger").json::<events::EventTold>(g);
    get "/api/images/{digest}" => images::show, May(ReadEvidence), |_| Op::new("The original bytes of a photograph").query("of", true, "The mark or item that it shows, `mark:UUID` or `item:UUID`").media("image/png").media("image/jpeg");
    get "/api/uploads" => uploads::list, May(RecordScene), |g| Op::new("The caller's uploads that are under way").json::<uploads::Own>(g);
    post "/api/uploads" => uploads::begin, May(RecordScene), uploads::described_begin;
    get "/api/uploads/{id}" => uploads::show, May(RecordScene), |g| Op::new("How far an upload is").json::<crate::uploads::Told>(g);
    delete "/api/uploads/{id}" => uploads::abandon, May(RecordScene), |g| Op::new("End an upload; its bytes are thrown away").json::<uploads::Abandoned>(g);
    post "/api/uploads/{id}/photograph" => uploads::photograph, May(RecordScene), uploads::described_photograph;
    get "/api/images/{digest}/copies" => copies::list, May(ReadEvidence), |g| Op::new("The working copies of a photograph, oldest first").query("of", true, "The mark or item that it shows, `mark:UUID` or `item:UUID`").json::<Vec<crate::app::views::images::WorkingCopy>>(g);
    post "/api/copies" => copies::make, May(WorkImages), copies::described;
    get "/api/copies/{digest}" => copies::show, May(ReadEvidence), |_| Op::new("The bytes of a working copy").query("of", true, "The mark or item that the picture shows, `mark:UUID` or `item:UUID`").query("original", true, "SHA-256 of the original bytes").media("image/png");
    get "/api/checkpoint" => proofs::checkpoint, May(Prove), |_| Op::new("The latest checkpoint: a signed note over the whole ledger").media("text/plain");
    get "/api/cosignatures" => cosignatures::list, May(Prove), |g| Op::new("The newest cosignature of each witness that the ledger names").json::<Vec<crate::app::cosignatures::Cosigned>>(g);
    post "/api/cosignatures" => cosignatures::keep, May(Prove), |g| Op::new("Give the ledger a checkpoint that a witness has cosigned").body::<cosignatures::CosignedNote>(g).json::<cosignatures::Taken>(g);
    get "/api/proofs/inclusion/{seq}" => proofs::inclusion, May(Prove), |g| Op::new("Proof that an event is in the ledger of the latest checkpoint (RFC 9162)").json::<proofs::Inclusion>(g);
    get "/api/proofs/consistency" => proofs::consistency, May(Prove), |g| Op::new("Proof that a later state of the ledger goes on from an earlier one (RFC 9162)").query("from", true, "The size of the earlier one").query("to", false, "The size of the later one; without it, that of the latest checkpoint").json::<proofs::Consistency>(g);
    get "/api/tokens" => tokens::list, SignedIn, |g| Op::new("The caller's access tokens, without their secrets; a session only").json::<Vec<tokens::TokenTold>>(g);
    post "/api/tokens" => tokens::issue, SignedIn, tokens::described;
    delete "/api/tokens/{name}" => tokens::end, SignedIn, |g| Op::new("End an access token; a session only").json::<tokens::Ended>(g);
}

routes! {
    UPLOAD_ROUTES, upload_routes, upload_ops:
    post "/api/cases/{id}/bundle" => bundles::make, May(Action::Disclose), bundles::described;
    post "/api/images" => images::add, May(RecordScene), images::described;
    post "/api/codes/read" => codes::read, May(ReadEvidence), codes::described_read;
    put "/api/uploads/{id}/bytes" => uploads::put, May(RecordScene), uploads::described_put;
}

/// Every route of the interface for programs.
pub fn all() -> impl Iterator<Item = &'static Route> {
    API_ROUTES.iter().chain(UPLOAD_ROUTES)
}

/// The same with what each takes and gives.
fn described(g: &mut SchemaGenerator) -> Vec<(&'static Route, Op)> {
    let mut ops = api_ops(g);
    ops.extend(upload_ops(g));
    all().zip(ops).collect()
}

/// What a route needs; none where there is no such route.
#[must_use]
pub fn need_of(method: &Method, path: &str) -> Option<Need> {
    let method = if method == Method::HEAD {
        "get"
    } else {
        method.as_str()
    };
    all()
        .find(|r| r.path == path && r.method.eq_ignore_ascii_case(method))
        .map(|r| r.need)
}

/// The routes, with [`caller::around`] around them.
pub fn router(app: &App) -> Router<App> {
    let within = |routes: Router<App>, time: Duration| {
        routes
            .method_not_allowed_fallback(|| async { caller::no_method() })
            .layer(DefaultBodyLimit::max(BODY_BYTES))
            .layer(TimeoutLayer::with_status_code(
                StatusCode::SERVICE_UNAVAILABLE,
                time,
            ))
    };
    let nothing = || {
        axum::routing::any(|| async {
            Failure::new(
                StatusCode::NOT_FOUND,
                "not-found",
                "There is no such address.",
                "Look at /api/openapi.json for those that there are.",
            )
        })
    };
    let reading = api_routes().layer(from_fn_with_state(app.clone(), turn::around));
    within(reading, TIMEOUT)
        .merge(within(upload_routes(), UPLOAD_TIME))
        .route("/api", nothing())
        .route("/api/", nothing())
        .route("/api/{*rest}", nothing())
        .layer(from_fn_with_state(app.clone(), caller::around))
        // What is answered is for this caller, now.
        .layer(SetResponseHeaderLayer::if_not_present(
            header::CACHE_CONTROL,
            HeaderValue::from_static("no-store"),
        ))
}
