//! Witnesses' cosignatures: given by a witness, read by whoever reads proofs.

use axum::Json;
use axum::extract::State;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::body::Body;
use crate::app::cosignatures::Cosigned;
use crate::web::App;
use crate::web::error::Failure;

/// A cosigned checkpoint.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CosignedNote {
    /// The signed note, with the ledger's signature and the witness's.
    note: String,
}

/// What was taken.
#[derive(Serialize, JsonSchema)]
pub struct Taken {
    /// How many of its cosignatures are newer than what was kept.
    new: usize,
}

/// Keeps a cosignature.
pub async fn keep(
    State(app): State<App>,
    Body(sent): Body<CosignedNote>,
) -> Result<Json<Taken>, Failure> {
    let new = app.house().keep_cosignature(&sent.note).await?;
    Ok(Json(Taken { new }))
}

/// The newest of each witness.
pub async fn list(State(app): State<App>) -> Result<Json<Vec<Cosigned>>, Failure> {
    Ok(Json(app.house().cosignatures().await?))
}
