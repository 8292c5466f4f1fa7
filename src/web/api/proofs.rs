//! Checkpoints and proofs, for whoever holds the ledger against what they were given before.

use axum::Json;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use schemars::JsonSchema;
use serde::Serialize;

use super::body::{Asked, Id};
use crate::app::ReadError;
use crate::app::proofs::CheckpointRow;
use crate::ids::Digest;
use crate::ledger::merkle;
use crate::web::App;
use crate::web::error::Failure;

/// Proof that an event is in the ledger.
#[derive(Serialize, JsonSchema)]
pub struct Inclusion {
    /// The event's place, from 1; the leaf's index in the tree is one less.
    pub seq: u64,
    /// The size of the tree.
    pub size: u64,
    /// The leaf.
    pub leaf: Digest,
    /// The proof of RFC 9162, section 2.1.3.1, from the leaf upward.
    pub proof: Vec<Digest>,
    /// The checkpoint whose root the proof leads to.
    pub checkpoint: String,
}

/// Proof that a later tree goes on from an earlier one.
#[derive(Serialize, JsonSchema)]
pub struct Consistency {
    /// The size of the earlier tree.
    pub from: u64,
    /// The size of the later tree.
    pub to: u64,
    /// The root of the earlier tree.
    pub from_root: Digest,
    /// The root of the later tree.
    pub to_root: Digest,
    /// The proof of RFC 9162, section 2.1.4.1; empty for equal sizes and for an empty earlier tree.
    pub proof: Vec<Digest>,
}

async fn latest(app: &App) -> Result<CheckpointRow, Failure> {
    let row = app.house().latest_checkpoint().await?;
    Ok(row.ok_or(ReadError::NotFound("checkpoint: the ledger is empty"))?)
}

/// The latest checkpoint.
pub async fn checkpoint(State(app): State<App>) -> Result<Response, Failure> {
    let note = latest(&app).await?.note;
    Ok(([(header::CONTENT_TYPE, "text/plain; charset=utf-8")], note).into_response())
}

fn damaged(e: merkle::TreeError) -> Failure {
    ReadError::Corrupt(format!("a proof cannot be made: {e}")).into()
}

/// Proof that an event is in the ledger of the latest checkpoint.
pub async fn inclusion(
    State(app): State<App>,
    Id(seq): Id<u64>,
) -> Result<Json<Inclusion>, Failure> {
    let found = app.house().inclusion(seq).await?;
    let found = found.ok_or(ReadError::NotFound("event in the latest checkpoint"))?;
    Ok(Json(Inclusion {
        seq,
        size: found.size,
        leaf: found.leaf,
        proof: found.path,
        checkpoint: found.checkpoint,
    }))
}

/// Proof that one state of the ledger goes on from another.
pub async fn consistency(
    State(app): State<App>,
    asked: Asked,
) -> Result<Json<Consistency>, Failure> {
    let what = "the size of a ledger";
    let from: u64 = asked.required("from", what)?;
    let to: Option<u64> = asked.optional("to", what)?;
    let size = latest(&app).await?.size;
    let to = to.unwrap_or(size);
    if from > to || to > size {
        return Err(ReadError::NotFound(
            "pair of sizes: from is at most to, and to at most the size of the latest checkpoint",
        )
        .into());
    }
    let mut at = merkle::consistency_nodes(from, to);
    at.extend(merkle::root_nodes(from));
    at.extend(merkle::root_nodes(to));
    let nodes = app.house().tree_nodes(at).await?;
    let get = |level, index| nodes.get(level, index);
    Ok(Json(Consistency {
        from,
        to,
        from_root: merkle::root(from, get).map_err(damaged)?,
        to_root: merkle::root(to, get).map_err(damaged)?,
        proof: merkle::consistency(from, to, get).map_err(damaged)?,
    }))
}
