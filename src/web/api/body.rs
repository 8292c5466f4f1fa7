//! What is sent: JSON bodies, identifiers in the path, parts of lists. Whatever cannot be read is a problem detail.

use std::str::FromStr;

use axum::extract::rejection::JsonRejection;
use axum::extract::{FromRequest, FromRequestParts, RawPathParams, Request};
use axum::http::{StatusCode, request::Parts};
use serde::de::DeserializeOwned;

use crate::app::Part;
use crate::app::proofs::LIST_MAX;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;

/// A JSON body.
pub struct Body<T>(pub T);

fn unreadable(status: StatusCode, code: &str, why: &str) -> Failure {
    let why: String = why.chars().take(500).collect();
    Failure::new(
        status,
        code,
        &format!("What was sent cannot be read: {why}."),
        "Look at /api/openapi.json for what is read here.",
    )
}

impl<T: DeserializeOwned> FromRequest<App> for Body<T> {
    type Rejection = Failure;
    async fn from_request(request: Request, app: &App) -> Result<Self, Failure> {
        match axum::Json::<T>::from_request(request, app).await {
            Ok(axum::Json(body)) => Ok(Self(body)),
            Err(JsonRejection::MissingJsonContentType(_)) => Err(unreadable(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "not-json",
                "the header Content-Type does not say application/json",
            )),
            Err(JsonRejection::JsonDataError(e)) => Err(unreadable(
                StatusCode::UNPROCESSABLE_ENTITY,
                "bad-body",
                &why(&e),
            )),
            Err(JsonRejection::JsonSyntaxError(e)) => Err(unreadable(
                StatusCode::BAD_REQUEST,
                "cannot-be-read",
                &why(&e),
            )),
            Err(e) if e.status() == StatusCode::PAYLOAD_TOO_LARGE => Err(too_large(
                "The body is longer than this address takes.",
                "Send less at a time.",
            )),
            Err(e) => Err(unreadable(
                StatusCode::BAD_REQUEST,
                "cannot-be-read",
                &e.body_text(),
            )),
        }
    }
}

/// The innermost reason, which names the field and the place.
fn why(e: &dyn std::error::Error) -> String {
    let mut at = e;
    for _ in 0..8 {
        let Some(inner) = at.source() else { break };
        at = inner;
    }
    at.to_string()
}

/// More bytes than are taken.
pub fn too_large(sentence: &str, next: &str) -> Failure {
    Failure::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large", sentence, next)
}

/// The one parameter of the path. What is no such thing is not found.
pub struct Id<T>(pub T);

impl<T: FromStr + Send> FromRequestParts<App> for Id<T> {
    type Rejection = Failure;
    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Failure> {
        let nothing = || {
            Failure::new(
                StatusCode::NOT_FOUND,
                "not-found",
                "There is nothing under this address.",
                "Check the identifier in it.",
            )
        };
        let params = RawPathParams::from_request_parts(parts, app)
            .await
            .map_err(|_| nothing())?;
        let (_, text) = params.iter().next().ok_or_else(nothing)?;
        text.parse().map(Self).map_err(|_| nothing())
    }
}

/// The query of the address.
pub struct Asked(pub Typed);

impl FromRequestParts<App> for Asked {
    type Rejection = Failure;
    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Failure> {
        Typed::of_query(parts.uri.query()).map(Self)
    }
}

/// A value of the query that cannot be read.
pub fn bad_query(name: &str, what: &str) -> Failure {
    unreadable(
        StatusCode::BAD_REQUEST,
        "cannot-be-read",
        &format!("{name} in the address is not {what}"),
    )
}

impl Asked {
    /// A value; none where it is missing or empty.
    pub fn optional<T: FromStr>(&self, name: &str, what: &str) -> Result<Option<T>, Failure> {
        match self.0.get(name) {
            "" => Ok(None),
            text => text.parse().map(Some).map_err(|_| bad_query(name, what)),
        }
    }

    /// A value that must be there.
    pub fn required<T: FromStr>(&self, name: &str, what: &str) -> Result<T, Failure> {
        self.optional(name, what)?
            .ok_or_else(|| bad_query(name, what))
    }

    fn limit(&self) -> Result<u32, Failure> {
        let what = "a whole number from 1 to 500";
        match self.optional::<u32>("limit", what)? {
            None => Ok(LIST_MAX),
            Some(n) if (1..=LIST_MAX).contains(&n) => Ok(n),
            Some(_) => Err(bad_query("limit", what)),
        }
    }

    /// `after` and `limit`.
    pub fn part(&self) -> Result<Part, Failure> {
        self.part_of("after")
    }

    /// `limit`, and another name for `after`.
    pub fn part_of(&self, after: &str) -> Result<Part, Failure> {
        Ok(Part {
            after: self.optional(after, "what next was")?,
            limit: self.limit()?,
        })
    }

    /// `after`, an event's number within its subject, and `limit`.
    pub fn since(&self) -> Result<(u64, u32), Failure> {
        let what = "the number of an event";
        let after: u64 = self.optional("after", what)?.unwrap_or(0);
        if i64::try_from(after).is_err() {
            return Err(bad_query("after", what));
        }
        Ok((after, self.limit()?))
    }
}
