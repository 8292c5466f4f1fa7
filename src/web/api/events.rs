//! Events as the ledger holds them.

use axum::Json;
use axum::extract::State;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

use super::body::Id;
use super::caller::Caller;
use crate::app::ReadError;
use crate::app::reader::opened;
use crate::ids::{Digest, Subject};
use crate::ledger::event::{Event, Header};
use crate::ledger::payload::Fields;
use crate::web::App;
use crate::web::error::Failure;

/// An event, its payload held against its header.
#[derive(Serialize, JsonSchema)]
pub struct EventTold {
    /// The header.
    pub header: Header,
    /// The header's canonical text: these bytes, in UTF-8, are what the ledger's tree holds.
    pub canonical: String,
    /// The leaf of the tree: SHA-256 of a zero byte and the canonical text.
    pub leaf: Digest,
    /// The salt of the commitments to the fields, lower-case hex; absent where the payload was expunged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub salt: Option<String>,
    /// The event that expunged this one's payload; `fields` then holds only what is left of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expunged: Option<u64>,
    /// What the event says.
    #[schemars(with = "std::collections::BTreeMap<String, Value>")]
    pub fields: Fields,
}

impl EventTold {
    fn of(event: Event) -> Self {
        Self {
            leaf: event.leaf(),
            canonical: String::from_utf8_lossy(&event.bytes).into_owned(),
            salt: event.expunged.is_none().then(|| hex::encode(event.salt.0)),
            expunged: event.expunged,
            header: event.header,
            fields: event.fields,
        }
    }
}

/// An event of a subject.
#[derive(Serialize, JsonSchema)]
pub struct PastTold {
    /// Which of the subject's events: 1 for the first, then without a gap.
    pub n: u64,
    /// The event.
    pub event: EventTold,
}

/// A part of the events of a subject, oldest first.
#[derive(Serialize, JsonSchema)]
pub struct History {
    /// The subject.
    pub subject: Subject,
    /// The events.
    pub rows: Vec<PastTold>,
    /// Give this back as `after` to go on; absent at the end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<u64>,
}

/// The events of a subject that the caller may see: whoever calls this has asked.
pub async fn of(app: &App, subject: Subject, since: (u64, u32)) -> Result<History, Failure> {
    let (after, limit) = since;
    let part = app.house().events_of(subject, after, limit).await?;
    let next = part
        .last()
        .filter(|_| part.len() >= limit as usize)
        .map(|p| p.n);
    let mut rows = Vec::with_capacity(part.len());
    for touched in part {
        rows.push(PastTold {
            n: touched.n,
            event: EventTold::of(opened(touched.event)?),
        });
    }
    Ok(History {
        subject,
        rows,
        next,
    })
}

/// One event.
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Id(seq): Id<u64>,
) -> Result<Json<EventTold>, Failure> {
    if i64::try_from(seq).is_err() {
        return Err(ReadError::NotFound("event").into());
    }
    let event = caller.reader(&app).event(seq).await?;
    if let Some(case) = event.header.case {
        caller.noted_of(&app, case, &format!("event {seq}")).await?;
    }
    Ok(Json(EventTold::of(event)))
}
