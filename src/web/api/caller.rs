//! Who calls: the holder of an access token, or of a session. Around every route, by the table of routes.
//!
//! A program sends `Authorization: Bearer llt_…`. A script of a page of ours has the session's cookie; what changes
//! anything then also needs `x-csrf-token`, the token that the forms of that session carry, so that a page of another
//! site can do nothing with somebody else's cookie.

use std::collections::BTreeSet;

use axum::extract::{FromRequestParts, MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header, request::Parts};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::need_of;
use crate::app::papers::By;
use crate::app::sign_in::TOKEN_PREFIX;
use crate::app::{ReadError, Reader, Viewer};
use crate::custody::Signed;
use crate::custody::state::{Case, Person};
use crate::ids::CaseId;
use crate::ledger::event::Source;
use crate::web::App;
use crate::web::error::{Failure, problem};
use crate::web::router::Need;
use crate::web::session::{check_csrf, is_from_elsewhere, visitor};

/// The header that carries the token of a session's forms.
pub const CSRF_HEADER: &str = "x-csrf-token";
/// What a 401 asks for.
const CHALLENGE: HeaderValue = HeaderValue::from_static("Bearer realm=\"liftledger\"");

/// Whoever calls.
#[derive(Clone, Debug)]
pub struct Caller {
    /// For reading.
    pub viewer: Viewer,
    /// The person.
    pub person: Person,
    /// How they signed: [`Signed::Token`] or [`Signed::Session`].
    pub signed: Signed,
}

impl Caller {
    /// Reads for this person.
    #[must_use]
    pub fn reader<'a>(&'a self, app: &'a App) -> Reader<'a> {
        app.house().reader(&self.viewer)
    }

    /// For prints.
    #[must_use]
    pub fn by(&self) -> By {
        By {
            signed: self.signed,
            source: Source::Api,
        }
    }

    /// Puts the reading of a restricted case on the record; call it before anything of the case is answered.
    ///
    /// # Errors
    /// When it could not be recorded.
    pub async fn noted(&self, app: &App, case: &Case, what: &str) -> Result<(), Failure> {
        let reader = self.reader(app);
        reader
            .note_reading(case, &format!("API: {what}"), self.signed, Source::Api)
            .await?;
        Ok(())
    }

    /// The same by the case's identifier; asks whether the case may be seen.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn noted_of(&self, app: &App, case: CaseId, what: &str) -> Result<(), Failure> {
        let case = self.reader(app).case(case).await?;
        self.noted(app, &case, what).await
    }

    /// The same for everything in a list, each case once.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn noted_each(
        &self,
        app: &App,
        cases: impl Iterator<Item = CaseId>,
        what: &str,
    ) -> Result<(), Failure> {
        let cases: BTreeSet<CaseId> = cases.collect();
        for case in cases {
            self.noted_of(app, case, what).await?;
        }
        Ok(())
    }

    /// Proves that the caller knows their own password.
    ///
    /// # Errors
    /// A wrong password; too many attempts.
    pub async fn proven(&self, app: &App, password: &str) -> Result<(), Failure> {
        proven(app, &self.person, password).await
    }

    /// Only somebody who signed in may do this, not a token.
    ///
    /// # Errors
    /// The caller is a token.
    pub fn must_be_session(&self) -> Result<(), Failure> {
        if self.signed == Signed::Session {
            return Ok(());
        }
        Err(Failure::new(
            StatusCode::FORBIDDEN,
            "token-may-not",
            "An access token may neither list, make nor end access tokens.",
            "Sign in and do it under My account.",
        ))
    }
}

/// Proves that a password is this person's.
///
/// # Errors
/// A wrong password; too many attempts.
pub async fn proven(app: &App, person: &Person, password: &str) -> Result<(), Failure> {
    app.house()
        .prove(person, password, app.now())
        .await
        .map_err(wrong_password)
}

fn wrong_password(e: crate::app::sign_in::SignInError) -> Failure {
    match e {
        crate::app::sign_in::SignInError::Wrong => Failure::new(
            StatusCode::UNAUTHORIZED,
            "wrong-password",
            "This is not your password.",
            "Send the same command again with the right one.",
        ),
        other => other.into(),
    }
}

fn nobody(why: &str) -> Failure {
    Failure::new(
        StatusCode::UNAUTHORIZED,
        "not-signed-in",
        why,
        "Send the header Authorization: Bearer with an access token; My account makes them.",
    )
}

/// The path is there, the method is not.
pub fn no_method() -> Failure {
    Failure::new(
        StatusCode::METHOD_NOT_ALLOWED,
        "no-such-method",
        "This address does not take this method.",
        "Look at /api/openapi.json for what it takes.",
    )
}

/// The token of the header; none where there is no such header.
fn bearer(headers: &HeaderMap) -> Result<Option<&str>, Failure> {
    let mut values = headers.get_all(header::AUTHORIZATION).iter();
    let Some(value) = values.next() else {
        return Ok(None);
    };
    let bad = || nobody("The header Authorization does not hold an access token of this server.");
    if values.next().is_some() {
        return Err(bad());
    }
    let (scheme, token) = value
        .to_str()
        .ok()
        .and_then(|v| v.split_once(' '))
        .ok_or_else(bad)?;
    let token = token.trim();
    if !scheme.eq_ignore_ascii_case("bearer")
        || !token.starts_with(TOKEN_PREFIX)
        || token.len() > 200
    {
        return Err(bad());
    }
    Ok(Some(token))
}

async fn who(app: &App, method: &Method, headers: &HeaderMap) -> Result<Option<Caller>, Failure> {
    if let Some(token) = bearer(headers)? {
        let person = app.house().token_holder(token, app.now()).await?;
        let person = person.ok_or_else(|| {
            nobody("This access token has ended, or its account is switched off.")
        })?;
        return Ok(Some(Caller {
            viewer: Viewer::person(person.clone()),
            person,
            signed: Signed::Token,
        }));
    }
    let Some(visitor) = visitor(app, headers, String::new(), true).await? else {
        return Ok(None);
    };
    if !matches!(*method, Method::GET | Method::HEAD) {
        if is_from_elsewhere(headers) {
            return Err(Failure::foreign_form());
        }
        let given = headers.get(CSRF_HEADER).and_then(|v| v.to_str().ok());
        check_csrf(&visitor, given.unwrap_or_default())?;
    }
    Ok(Some(Caller {
        viewer: visitor.viewer,
        person: visitor.person,
        signed: Signed::Session,
    }))
}

/// Around every route of the interface: nobody can forget to ask.
pub async fn around(
    State(app): State<App>,
    matched: Option<MatchedPath>,
    mut request: Request,
    next: Next,
) -> Response {
    let need = matched.and_then(|m| need_of(request.method(), m.as_str()));
    let (method, headers) = (request.method().clone(), request.headers().clone());
    match admitted(&app, need, &method, &headers).await {
        Err(failure) => dress(failure.into_response()),
        Ok(caller) => {
            if let Some(caller) = caller {
                request.extensions_mut().insert(caller);
            }
            dress(next.run(request).await)
        }
    }
}

async fn admitted(
    app: &App,
    need: Option<Need>,
    method: &Method,
    headers: &HeaderMap,
) -> Result<Option<Caller>, Failure> {
    // No such route, or no such method: the fallbacks say so.
    let (Some(Need::SignedIn | Need::May(_)), Some(need)) = (need, need) else {
        return Ok(None);
    };
    let caller = who(app, method, headers).await?;
    let caller = caller.ok_or_else(|| nobody("Nobody is signed in here."))?;
    match need {
        Need::May(action) if !caller.viewer.may(action) => Err(ReadError::Forbidden(action).into()),
        _ => Ok(Some(caller)),
    }
}

/// Every failure becomes a problem detail, also those of layers that know nothing of it.
fn dress(mut response: Response) -> Response {
    let status = response.status();
    let failure = response.extensions_mut().remove::<Failure>();
    let failure = match failure {
        Some(failure) => failure,
        None if status.is_client_error() || status.is_server_error() => {
            let said = status.canonical_reason().unwrap_or("refused");
            let mut failure = Failure::new(
                status,
                &said.to_lowercase().replace(' ', "-"),
                &format!("The request was not carried out: {}.", said.to_lowercase()),
                "Look at /api/openapi.json, or try again later.",
            );
            failure.retry_after = (status == StatusCode::SERVICE_UNAVAILABLE).then_some(30);
            failure
        }
        None => return response,
    };
    let mut out = problem(&failure);
    if out.status() == StatusCode::UNAUTHORIZED {
        out.headers_mut()
            .insert(header::WWW_AUTHENTICATE, CHALLENGE);
    }
    if let Some(allow) = response.headers().get(header::ALLOW) {
        out.headers_mut().insert(header::ALLOW, allow.clone());
    }
    out
}

impl<S: Send + Sync> FromRequestParts<S> for Caller {
    type Rejection = Failure;
    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Failure> {
        parts
            .extensions
            .get::<Self>()
            .cloned()
            .ok_or_else(|| nobody("Nobody is signed in here."))
    }
}
