//! Around every page: who is signed in, whether they may, and the page for a failure.
//!
//! Forged requests from other sites are stopped three times: the cookie is SameSite=Lax, a form carries a token that only
//! this session's pages know, and a browser that says the request comes from another site is believed.

use axum::body::Body;
use axum::extract::{FromRequest, FromRequestParts, MatchedPath, Request, State};
use axum::http::{HeaderMap, Method, header, request::Parts};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use cookie::{Cookie, SameSite};
use subtle::ConstantTimeEq as _;

use super::app::App;
use super::error::Failure;
use super::form::Typed;
use super::frame::{Frame, Link, Me, Theme};
use super::pages::error_page;
use super::router::{Need, is_by_itself, need_of};
use crate::app::sign_in::Session;
use crate::app::{ReadError, Reader, Viewer};
use crate::custody::state::Person;
use crate::people::{Action, Role};

/// The cookie of a session.
pub const COOKIE: &str = "liftledger-session";

/// Whoever is signed in on this request.
#[derive(Clone)]
pub struct Visitor {
    /// For reading.
    pub viewer: Viewer,
    /// The person.
    pub person: Person,
    /// The session.
    pub session: Session,
    /// The token that forms of this session carry.
    pub csrf: String,
    /// Day or dark room.
    pub theme: Theme,
    /// Path and query of this request.
    pub path: String,
}

impl Visitor {
    /// The frame of a page.
    #[must_use]
    pub fn frame(&self, crumbs: Vec<Link>) -> Frame {
        Frame {
            me: Some(Me {
                name: self.person.name.clone(),
                roles: roles_words(&self.person),
                desks: desks(&self.viewer),
                finds: self.viewer.may(Action::ReadEvidence),
            }),
            crumbs,
            csrf: self.csrf.clone(),
            theme: self.theme,
            notice: None,
            path: self.path.clone(),
        }
    }

    /// Reads for this person.
    #[must_use]
    pub fn reader<'a>(&'a self, app: &'a App) -> Reader<'a> {
        app.house().reader(&self.viewer)
    }
}

/// Roles in words.
#[must_use]
pub fn roles_words(person: &Person) -> String {
    let titles: Vec<&str> = person.roles.iter().map(|r| r.title()).collect();
    match titles.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// The desks of a person's roles, then what everybody has.
#[must_use]
pub fn desks(viewer: &Viewer) -> Vec<Link> {
    let roles = viewer.roles();
    let mut out = Vec::new();
    let mut desk = |of: &[Role], href: &str, label: &str| {
        if of.iter().any(|r| roles.contains(r)) {
            out.push(Link::new(href, label));
        }
    };
    desk(&[Role::Technician], "/desk/field", "Field desk");
    desk(
        &[Role::Custodian],
        "/desk/storeroom",
        "Intake and storeroom",
    );
    desk(&[Role::Examiner], "/desk/examiner", "Examiner's desk");
    desk(
        &[Role::CourtLiaison, Role::Supervisor, Role::Auditor],
        "/desk/court",
        "Court desk",
    );
    desk(
        &[Role::Custodian, Role::Supervisor],
        "/room",
        "The room in pictures",
    );
    desk(&[Role::Administrator], "/people", "People");
    desk(&[Role::Administrator], "/agency", "Agency");
    if viewer.may(Action::CarryOutExpungement) {
        out.push(Link::new("/expungements", "Orders to expunge"));
    }
    if viewer.may(Action::RecordScene) {
        out.push(Link::new("/kit", "My kit"));
    }
    if viewer.may(Action::ReadEvidence) {
        out.push(Link::new("/cases", "Cases"));
    }
    out.push(Link::new("/account", "My account"));
    out
}

fn cookie_of(headers: &HeaderMap) -> Option<String> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| Cookie::split_parse(v.to_owned()))
        .filter_map(Result::ok)
        .find(|c| c.name() == COOKIE)
        .map(|c| c.value().chars().take(200).collect())
}

/// The cookie that opens a session in the browser; empty ends it.
#[must_use]
pub fn cookie_for(app: &App, token: &str) -> String {
    let mut cookie = Cookie::new(COOKIE, token.to_owned());
    cookie.set_http_only(true);
    cookie.set_same_site(SameSite::Lax);
    cookie.set_path("/");
    cookie.set_secure(app.secure());
    if token.is_empty() {
        return format!("{cookie}; Max-Age=0");
    }
    cookie.to_string()
}

/// The token that forms of a session carry.
#[must_use]
pub fn csrf_of(app: &App, token: &str) -> String {
    hex::encode(app.house().keys.secret().mac("form", token.as_bytes()))
}

/// Whoever has the session of the cookie; none where there is no such session. What a page asks for by itself is no use of it.
pub(super) async fn visitor(
    app: &App,
    headers: &HeaderMap,
    path: String,
    is_use: bool,
) -> Result<Option<Visitor>, Failure> {
    let Some(token) = cookie_of(headers) else {
        return Ok(None);
    };
    let (house, now) = (app.house(), app.now());
    let session = if is_use {
        house.session(&token, now).await?
    } else {
        house.session_at_rest(&token, now).await?
    };
    let Some(session) = session else {
        return Ok(None);
    };
    Ok(Some(Visitor {
        viewer: Viewer::person(session.person.clone()),
        person: session.person.clone(),
        csrf: csrf_of(app, &token),
        theme: session
            .theme
            .as_deref()
            .map(Theme::parse)
            .unwrap_or_default(),
        session,
        path,
    }))
}

/// Whether a browser says that this request comes from another site.
#[must_use]
pub fn is_from_elsewhere(headers: &HeaderMap) -> bool {
    if let Some(site) = headers.get("sec-fetch-site") {
        return !matches!(site.as_bytes(), b"same-origin" | b"none");
    }
    // Older browsers send where a form comes from.
    let (Some(origin), Some(host)) = (
        headers.get(header::ORIGIN).and_then(|v| v.to_str().ok()),
        headers.get(header::HOST).and_then(|v| v.to_str().ok()),
    ) else {
        return false;
    };
    origin.split_once("://").map(|(_, h)| h) != Some(host)
}

/// Around every page, by the table of routes: nobody can forget to ask.
pub async fn around(
    State(app): State<App>,
    matched: Option<MatchedPath>,
    mut request: Request,
    next: Next,
) -> Response {
    let path = request.uri().path_and_query().map_or_else(
        || "/".to_owned(),
        |p| p.as_str().chars().take(2000).collect(),
    );
    let method = request.method().clone();
    let is_reading = matches!(method, Method::GET | Method::HEAD);
    let by_itself = matched.as_ref().is_some_and(|m| is_by_itself(m.as_str()));
    let visitor = match visitor(&app, request.headers(), path.clone(), !by_itself).await {
        Ok(visitor) => visitor,
        Err(failure) => return dress(None, failure.into_response()),
    };
    let refused = if !is_reading && is_from_elsewhere(request.headers()) {
        Some(Failure::foreign_form())
    } else {
        let need = matched.and_then(|m| need_of(&method, m.as_str()));
        match (need, &visitor) {
            (None, _) => Some(Failure::no_page()),
            (Some(Need::Anybody), _) => None,
            // A form that was not sent yet is found again after signing in; one that was sent is not repeated unseen.
            (Some(_), None) => Some(Failure::sign_in(if is_reading { &path } else { "/" })),
            (Some(Need::SignedIn), Some(_)) => None,
            (Some(Need::May(action)), Some(v)) => {
                (!v.viewer.may(action)).then(|| Failure::from(ReadError::Forbidden(action)))
            }
        }
    };
    let response = match refused {
        Some(failure) => failure.into_response(),
        None => {
            if let Some(v) = visitor.clone() {
                request.extensions_mut().insert(v);
            }
            next.run(request).await
        }
    };
    dress(visitor.as_ref(), response)
}

/// Draws the page for a failure; leaves everything else as it is.
fn dress(visitor: Option<&Visitor>, mut response: Response) -> Response {
    let Some(failure) = response.extensions_mut().remove::<Failure>() else {
        return response;
    };
    if failure.sign_in.is_some() {
        return response;
    }
    let page = error_page(visitor, &failure);
    let (mut parts, _) = response.into_parts();
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.insert(
        header::CONTENT_TYPE,
        header::HeaderValue::from_static("text/html; charset=utf-8"),
    );
    Response::from_parts(parts, Body::from(page))
}

impl<S: Send + Sync> FromRequestParts<S> for Visitor {
    type Rejection = Failure;
    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Failure> {
        parts
            .extensions
            .get::<Self>()
            .cloned()
            .ok_or_else(|| Failure::sign_in("/"))
    }
}

/// A form that a signed-in person sent, its token checked.
pub struct Posted {
    /// Who.
    pub visitor: Visitor,
    /// What was typed.
    pub typed: Typed,
}

impl FromRequest<App> for Posted {
    type Rejection = Failure;
    async fn from_request(request: Request, app: &App) -> Result<Self, Failure> {
        let visitor = request
            .extensions()
            .get::<Visitor>()
            .cloned()
            .ok_or_else(|| Failure::sign_in("/"))?;
        let typed = Typed::from_request(request, app).await?;
        check_csrf(&visitor, typed.get("csrf"))?;
        Ok(Self { visitor, typed })
    }
}

/// Whether the form carries this session's token.
///
/// # Errors
/// [`Failure::foreign_form`].
pub fn check_csrf(visitor: &Visitor, given: &str) -> Result<(), Failure> {
    if bool::from(given.as_bytes().ct_eq(visitor.csrf.as_bytes())) {
        Ok(())
    } else {
        Err(Failure::foreign_form())
    }
}
