//! What was handed off so far.

use chrono::DateTime;
use schemars::JsonSchema;
use serde::Serialize;

use crate::app::reader::{ReadError, Reader};
use crate::app::views::words;
use crate::custody::Fact;
use crate::ids::{Digest, Subject};
use crate::zone::Zone;

fn when(claimed: &str, zone: Zone) -> String {
    DateTime::parse_from_rfc3339(claimed)
        .map_or_else(|_| claimed.to_owned(), |at| words::minute(&at, zone))
}

/// Who, as each payload carries it.
fn by(event: &crate::ledger::event::Event) -> String {
    let by = event.fields.get("by").and_then(serde_json::Value::as_str);
    match by {
        Some(by) if !by.is_empty() => by.to_owned(),
        _ => "the server's operator".into(),
    }
}

/// A hand-off as the record has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct PastHandOff {
    /// Its place in the ledger.
    pub seq: u64,
    /// When, in words.
    pub when: String,
    /// By whom.
    pub by: String,
    /// The receiver, as it was called then.
    pub receiver: String,
    /// The edition.
    pub edition: String,
    /// What the file states about reversal.
    pub statement: String,
    /// SHA-256 of the file.
    pub digest: Digest,
    /// SHA-256 of the picture's original.
    pub image: Digest,
    /// SHA-256 of the working copy that went.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub copy: Option<Digest>,
    /// The transaction control number.
    pub control: String,
}

/// What was handed off of this item or mark so far, newest first.
///
/// # Errors
/// [`ReadError`].
pub async fn past(reader: &Reader<'_>, of: Subject) -> Result<Vec<PastHandOff>, ReadError> {
    let zone = reader.house().zone().await?;
    let mut out = Vec::new();
    for past in reader.history(of).await? {
        let Some(Fact::AfisExported(x)) = past.fact else {
            continue;
        };
        out.push(PastHandOff {
            seq: past.event.header.seq,
            when: when(&past.event.header.claimed_at, zone),
            by: by(&past.event),
            receiver: x.receiver_name,
            edition: x.edition,
            statement: x.statement,
            digest: x.digest,
            image: x.image,
            copy: x.copy,
            control: x.control,
        });
    }
    out.reverse();
    Ok(out)
}
