//! Access tokens: how a program calls in somebody's name. Only a session has to do with them, never a token.

use axum::Json;
use axum::extract::State;
use schemars::{JsonSchema, SchemaGenerator};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::body::{Body, Id};
use super::caller::Caller;
use super::openapi::Op;
use crate::app::ReadError;
use crate::app::sign_in::MAX_TOKEN_DAYS;
use crate::web::App;
use crate::web::error::Failure;

/// A token without its secret.
#[derive(Serialize, JsonSchema)]
pub struct TokenTold {
    /// What the person calls it.
    pub name: String,
    /// When it was made.
    pub created_at: String,
    /// When it was last used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_used_at: Option<String>,
    /// When it ends.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_at: Option<String>,
}

/// A token that is to be made.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TokenAsked {
    /// What to call it, 1 to 60 characters.
    pub name: String,
    /// How long it lives, in days.
    #[schemars(range(min = 1, max = MAX_TOKEN_DAYS))]
    pub days: u16,
    /// The caller's own password.
    pub password: String,
}

/// A token that was just made.
#[derive(Serialize, JsonSchema)]
pub struct TokenMade {
    /// What it is called.
    pub name: String,
    /// The token. It is shown this once; only its hash is stored.
    pub token: String,
}

/// A token has ended.
#[derive(Serialize, JsonSchema)]
pub struct Ended {
    /// What it was called.
    pub name: String,
}

/// The caller's tokens.
pub async fn list(State(app): State<App>, caller: Caller) -> Result<Json<Vec<TokenTold>>, Failure> {
    caller.must_be_session()?;
    let rows = app.house().tokens(caller.person.id).await?;
    let told = rows.into_iter().map(|t| TokenTold {
        name: t.name,
        created_at: t.created_at,
        last_used_at: t.last_used_at,
        expires_at: t.expires_at,
    });
    Ok(Json(told.collect()))
}

/// For the description.
pub fn described(g: &mut SchemaGenerator) -> Op {
    Op::new("Make an access token; a session only, and signed with the password")
        .body::<TokenAsked>(g)
        .example(json!({"name": "label printer at the intake", "days": 90, "password": "invented-for-this-example"}))
        .json::<TokenMade>(g)
}

/// Makes a token.
pub async fn issue(
    State(app): State<App>,
    caller: Caller,
    Body(asked): Body<TokenAsked>,
) -> Result<Json<TokenMade>, Failure> {
    caller.must_be_session()?;
    caller.proven(&app, &asked.password).await?;
    let token = app
        .house()
        .issue_token(caller.person.id, &asked.name, asked.days, app.now())
        .await?;
    Ok(Json(TokenMade {
        name: asked.name.trim().to_owned(),
        token,
    }))
}

/// Ends a token.
pub async fn end(
    State(app): State<App>,
    caller: Caller,
    Id(name): Id<String>,
) -> Result<Json<Ended>, Failure> {
    caller.must_be_session()?;
    if app.house().end_token(caller.person.id, &name).await? {
        Ok(Json(Ended { name }))
    } else {
        Err(ReadError::NotFound("access token").into())
    }
}
