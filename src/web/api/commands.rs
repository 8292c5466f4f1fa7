//! Commands: every act goes in here, but those that the server records by itself when it does something.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use schemars::{JsonSchema, SchemaGenerator};
use serde::Deserialize;
use serde_json::json;

use super::body::Body;
use super::caller::{self, Caller};
use super::openapi::Op;
use crate::app::{ReadError, Recorded, Sent};
use crate::custody::{Command, Signed};
use crate::ids::PersonId;
use crate::ledger::event::Source;
use crate::web::App;
use crate::web::error::Failure;

/// A command, with the password where the act must be signed.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CommandSent {
    /// The command. Give it an identifier: the same command sent again is answered as it was the first time.
    pub command: Command,
    /// The caller's own password, for an act that must be signed. Never stored.
    #[serde(default)]
    pub password: Option<String>,
    /// Who else is there, for an act in a place for two people.
    #[serde(default)]
    pub second: Option<SecondSent>,
}

/// The second person of an act, who signs beside the caller.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SecondSent {
    /// Who.
    pub person: PersonId,
    /// Their own password. Never stored.
    pub password: String,
}

/// Where an act is sent.
pub fn address_of(act: &str) -> &'static str {
    match act {
        "add-image" => "/api/images",
        "add-copy" => "/api/copies",
        "label-printed" => "/api/items/{id}/label",
        "report-printed" => "/api/items/{id}/report",
        "form-printed" => "/api/cases/{id}/papers/hand-over-sheet",
        "disclose" => "/api/cases/{id}/bundle",
        "afis-exported" => "/api/items/{id}/afis",
        "case-read" => "/api/cases/{id}",
        _ => "/api/commands",
    }
}

/// Carries a command out.
pub async fn send(
    State(app): State<App>,
    caller: Caller,
    Body(sent): Body<CommandSent>,
) -> Result<Json<Recorded>, Failure> {
    let CommandSent {
        command,
        password,
        second,
    } = sent;
    let address = address_of(command.act.word());
    if address != "/api/commands" {
        // A print that nobody printed or a picture without bytes would be a false record.
        return Err(Failure::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "recorded-by-the-server",
            &format!(
                "The server puts \"{}\" on the record itself, when it does it.",
                command.act.word()
            ),
            &format!("Use {address}."),
        ));
    }
    let mut signed = caller.signed;
    if let Some(password) = password.filter(|p| !p.is_empty()) {
        caller.proven(&app, &password).await?;
        signed = Signed::Password;
    }
    let mut beside = None;
    if let Some(second) = second {
        let person = app.house().person(second.person).await?;
        let person = person.ok_or(ReadError::NotFound("person"))?;
        caller::proven(&app, &person, &second.password).await?;
        beside = Some(person.id);
    }
    let sent = Sent {
        person: Some(caller.person.id),
        signed,
        beside,
        source: Source::Api,
        command,
    };
    Ok(Json(app.house().recorder.record(sent).await?))
}

/// For the description.
pub fn described(g: &mut SchemaGenerator) -> Op {
    Op::new("Carry out an act")
        .more(
            "An act that must be signed needs the caller's password beside the command; see /api/acts. The same \
             command sent again is carried out once and answered as it was the first time; the same identifier with \
             other content is refused with the code sent-before. In a place for two people, storing, moving, fetching and \
             releasing need a second person with their own password beside the command. A refusal by a rule of custody leaves everything as \
             it was, and names the rule in code.",
        )
        .body::<CommandSent>(g)
        .example(json!({
            "command": {
                "id": "0197f3a0-5b1c-7c3e-8a51-3f0e6f2d9b10",
                "claimed_at": "2026-03-04T09:20:00-05:00",
                "act": {
                    "do": "open-case",
                    "number": "HC-26-0117",
                    "title": "Break-in at the boatyard, Harrow Cove",
                    "offence": "Burglary",
                },
            },
        }))
        .json::<Recorded>(g)
}
