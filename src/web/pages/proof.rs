//! What the ledger proves and what not, its key, and its latest checkpoint.

use askama::Template;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};

use super::draw;
use crate::app::ReadError;
use crate::app::views::words::when;
use crate::ledger::checkpoint;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::frame::{Frame, Link};
use crate::web::session::Visitor;

#[derive(Template)]
#[template(path = "proof/proof.html")]
struct ProofPage {
    frame: Frame,
    key: String,
    origin: String,
    latest: Option<(u64, String, String)>,
    witnesses: Vec<WitnessLine>,
}

/// A witness, in words.
struct WitnessLine {
    name: String,
    key: String,
    said: String,
}

/// What is proven, by which key, over how many events.
pub async fn page(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let house = app.house();
    let latest = match house.latest_checkpoint().await? {
        None => None,
        Some(row) => {
            let signed = checkpoint::open(&row.note, &house.verifying)
                .map_err(|e| ReadError::Corrupt(format!("the latest checkpoint: {e}")))?;
            Some((signed.size, signed.root.to_string(), row.note))
        }
    };
    let zone = house.zone().await.map_err(ReadError::from)?;
    let witnesses = house
        .cosignatures()
        .await?
        .into_iter()
        .map(|w| WitnessLine {
            said: match (w.size, w.at) {
                (Some(size), Some(at)) => {
                    format!(
                        "saw {size} events, each state going on from the one before, last on {}",
                        when(&at, zone)
                    )
                }
                _ => "has said nothing yet".into(),
            },
            name: w.name,
            key: w.key,
        });
    draw(&ProofPage {
        witnesses: witnesses.collect(),
        frame: visitor.frame(vec![Link::new("", "Proof")]),
        key: house.verifying.to_string(),
        origin: house.verifying.name().to_owned(),
        latest,
    })
}

/// The latest checkpoint, a signed note, as a file.
pub async fn latest(State(app): State<App>, _: Visitor) -> Result<Response, Failure> {
    let row = app.house().latest_checkpoint().await?;
    let row = row.ok_or(ReadError::NotFound("checkpoint: the ledger is empty"))?;
    Ok((
        [
            (header::CONTENT_TYPE, "text/plain; charset=utf-8".to_owned()),
            (
                header::CONTENT_DISPOSITION,
                format!("attachment; filename=\"checkpoint-{}.txt\"", row.size),
            ),
        ],
        row.note,
    )
        .into_response())
}
