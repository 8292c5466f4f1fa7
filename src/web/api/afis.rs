//! Images handed off to an AFIS. Each file is on the record before its bytes are sent.

use axum::Json;
use axum::extract::State;
use axum::response::Response;
use schemars::{JsonSchema, SchemaGenerator};
use serde::{Deserialize, Serialize};

use super::body::{Body, Id};
use super::caller::Caller;
use super::openapi::Op;
use crate::app::papers::afis::{Asked, hand_off};
use crate::disclosure::itl::{Capture, Edition};
use crate::ids::{Digest, ItemId, MarkId, Subject};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::pages::afis::file;

/// What is to be handed off.
#[derive(Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HandOff {
    /// SHA-256 of an original or of a working copy; without it, the newest working copy that reads direct, or else the
    /// newest picture.
    #[serde(default)]
    pub picture: Option<Digest>,
    /// The edition; without it, the receiver's.
    #[serde(default)]
    pub edition: Option<Edition>,
    /// The receiver; without it, the only one.
    #[serde(default)]
    pub receiver: Option<String>,
    /// What was imaged; without it, what the record says.
    #[serde(default)]
    pub capture: Option<Capture>,
    /// One to six position codes of field 13.013; without any, 18 (not known).
    #[serde(default)]
    #[schemars(length(max = 6))]
    pub positions: Vec<u8>,
    /// The methods that contributed, at most nine; without it, every one on record.
    #[serde(default)]
    pub methods: Option<Vec<String>>,
    /// The code of the matrix, field 9.356.
    #[serde(default)]
    pub matrix: Option<u8>,
    /// SHA-256 of a photograph that shows where it was.
    #[serde(default)]
    pub context: Option<Digest>,
}

impl HandOff {
    fn of(self, of: Subject) -> Asked {
        Asked {
            of,
            picture: self.picture,
            edition: self.edition,
            receiver: self.receiver,
            capture: self.capture,
            positions: self.positions,
            methods: self.methods,
            matrix: self.matrix,
            context: self.context,
        }
    }
}

/// A receiver.
#[derive(Serialize, JsonSchema)]
pub struct ReceiverTold {
    /// How it is named in a request.
    pub id: String,
    /// How people call it.
    pub name: String,
    /// The edition that it prefers.
    pub edition: Edition,
    /// Whether it needs a known density.
    pub density_required: bool,
}

/// For the description.
pub fn described(g: &mut SchemaGenerator, summary: &'static str) -> Op {
    Op::new(summary)
        .more(
            "A transaction after ANSI/NIST-ITL, with Types 1, 2, 13 and 9, and 21 when a context picture is asked for. It \
             is on the record, with its SHA-256 and what it states about reversal, before its bytes are sent. The header \
             Liftledger-Event names the event, Content-Digest the SHA-256. What cannot be written is refused with a code \
             that begins with afis-.",
        )
        .body::<HandOff>(g)
        .media("application/octet-stream")
}

/// The receivers.
pub async fn receivers(State(app): State<App>) -> Json<Vec<ReceiverTold>> {
    let all = app.house().receivers.all();
    Json(
        all.iter()
            .map(|r| ReceiverTold {
                id: r.id.clone(),
                name: r.name.clone(),
                edition: r.edition,
                density_required: r.density_required,
            })
            .collect(),
    )
}

/// Of an item.
pub async fn item(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<ItemId>,
    Body(sent): Body<HandOff>,
) -> Result<Response, Failure> {
    let asked = sent.of(Subject::Item(id));
    Ok(file(
        hand_off(&caller.reader(&app), caller.by(), &asked).await?,
    ))
}

/// Of a mark.
pub async fn mark(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<MarkId>,
    Body(sent): Body<HandOff>,
) -> Result<Response, Failure> {
    let asked = sent.of(Subject::Mark(id));
    Ok(file(
        hand_off(&caller.reader(&app), caller.by(), &asked).await?,
    ))
}
