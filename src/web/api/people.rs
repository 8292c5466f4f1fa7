//! People with an account.

use axum::Json;
use axum::extract::State;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::body::{Asked, Body, Id};
use super::caller::Caller;
use crate::app::{Page, Thing};
use crate::custody::state::Person;
use crate::ids::PersonId;
use crate::web::App;
use crate::web::error::Failure;

/// People by user name.
pub async fn list(
    State(app): State<App>,
    caller: Caller,
    asked: Asked,
) -> Result<Json<Page<Person>>, Failure> {
    let active = asked.optional("active", "true or false")?;
    let part = asked.part()?;
    Ok(Json(caller.reader(&app).people(active, &part).await?))
}

/// A person.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PersonId>,
) -> Result<Json<Person>, Failure> {
    Ok(Json(caller.reader(&app).person(id).await?))
}

/// What a person has in their hands; of restricted cases only what the caller may see.
pub async fn holds(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PersonId>,
    asked: Asked,
) -> Result<Json<Page<Thing>>, Failure> {
    let part = asked.part()?;
    let reader = caller.reader(&app);
    reader.person(id).await?;
    let page = reader.held_by(id, &part).await?;
    let cases = page.rows.iter().map(Thing::case);
    caller
        .noted_each(&app, cases, "what a person holds")
        .await?;
    Ok(Json(page))
}

/// A new password for somebody.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPassword {
    /// The new password.
    pub new_password: String,
    /// The caller's own password.
    pub password: String,
}

/// A password was set.
#[derive(Serialize, JsonSchema)]
pub struct PasswordSet {
    /// Whose. All their sessions have ended.
    pub person: PersonId,
}

/// Sets somebody's password: the first one, or one in place of a forgotten one.
pub async fn set_password(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PersonId>,
    Body(sent): Body<NewPassword>,
) -> Result<Json<PasswordSet>, Failure> {
    caller.proven(&app, &sent.password).await?;
    let person = caller.reader(&app).person(id).await?;
    app.house()
        .set_password(&person, &sent.new_password, app.now())
        .await?;
    Ok(Json(PasswordSet { person: id }))
}
