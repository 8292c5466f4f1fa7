//! Finding.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use schemars::JsonSchema;
use serde::Serialize;

use super::body::Asked;
use super::caller::Caller;
use crate::app::views::find::{self, Hit, MOST_HITS, MOST_TYPED};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::pages::find::address;

/// What there is under what was typed.
pub async fn find(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<Vec<Hit>>, Failure> {
    let q: String = asked.0.get("q").to_owned();
    let found = find::find(&caller.reader(&app), &q, MOST_HITS).await?;
    Ok(Json(found.hits))
}

/// Something found, with its page.
#[derive(Serialize, JsonSchema)]
pub struct TypedHit {
    /// What.
    #[serde(flatten)]
    pub hit: Hit,
    /// Its page.
    pub address: String,
}

/// What was found while somebody types.
#[derive(Serialize, JsonSchema)]
pub struct Typed {
    /// The surest first.
    pub hits: Vec<TypedHit>,
    /// Whether there is or may be more.
    pub more: bool,
}

/// What there is under what is typed so far.
pub async fn typed(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<Typed>, Failure> {
    if !app.typing().may(caller.person.id, app.now()) {
        let mut failure = Failure::new(
            StatusCode::TOO_MANY_REQUESTS,
            "asked-too-often",
            "So many questions are not answered at once.",
            "Ask again in a second.",
        );
        failure.retry_after = Some(1);
        return Err(failure);
    }
    let found = find::find(&caller.reader(&app), asked.0.get("q"), MOST_TYPED).await?;
    let hits = found.hits.into_iter().map(|hit| TypedHit {
        address: address(hit.subject),
        hit,
    });
    Ok(Json(Typed {
        hits: hits.collect(),
        more: found.more,
    }))
}
