//! Checks one event by itself: its header, and its payload against its header. Rows are checked side by side on all
//! cores, so nothing here looks at another row.

use std::collections::BTreeSet;

use super::finding::{Finding, FindingCode};
use crate::{
    ids::{Digest, EventId, Seq},
    ledger::{
        event::{RawHeader, Touch},
        expunged, merkle,
        payload::{self, Salt},
    },
};

/// A row as it is stored, with nothing taken for granted. Salt and fields are missing where the payload's row is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawEvent {
    /// The row's number.
    pub seq: i64,
    /// The row's identifier.
    pub id: String,
    /// The header's bytes.
    pub header: Vec<u8>,
    /// The payload's salt.
    pub salt: Option<Vec<u8>>,
    /// The payload's fields.
    pub fields: Option<Vec<u8>>,
}

/// What of a header matters when it is held against its neighbours.
#[derive(Clone, Debug)]
pub(super) struct Place {
    pub(super) seq: Seq,
    pub(super) id: EventId,
    pub(super) touches: Vec<Touch>,
    /// Texts of this form sort as bytes the way their times sort.
    pub(super) recorded_at: [u8; 27],
}

impl Place {
    pub(super) fn of(header: RawHeader<'_>) -> Self {
        let mut recorded_at = [0; 27];
        // The reader lets only texts of 27 bytes through.
        for (to, from) in recorded_at.iter_mut().zip(header.recorded_at.bytes()) {
            *to = from;
        }
        Self {
            seq: header.seq,
            id: header.id,
            touches: header.touches,
            recorded_at,
        }
    }
}

/// A row that was checked by itself.
#[derive(Clone, Debug)]
pub(super) struct Checked {
    /// The number the row stands under.
    pub(super) seq: i64,
    pub(super) leaf: Digest,
    /// Missing where the header cannot be read.
    pub(super) place: Option<Place>,
    pub(super) findings: Vec<Finding>,
    pub(super) payload: Payload,
}

/// What there is of a row's payload, as far as expungements ask.
#[derive(Clone, Debug, Default)]
pub(super) struct Payload {
    /// Salt and fields are gone, both.
    pub(super) gone: bool,
    /// By which event it was expunged, as an export says.
    pub(super) by: Option<Seq>,
    /// Which events this one expunges; empty where its own payload is not the one that its header commits to.
    pub(super) names: BTreeSet<Seq>,
}

pub(super) fn check(row: &RawEvent) -> Checked {
    let mut findings = Vec::new();
    let mut found = |code, text: String| {
        let finding = Finding::new(code, text);
        findings.push(if row.seq > 0 {
            finding.at(row.seq.unsigned_abs())
        } else {
            finding
        });
    };
    let n = row.seq;
    let payload = match (&row.salt, &row.fields) {
        (Some(salt), Some(fields)) => Some((salt, fields)),
        // Whether an expungement names it is known when all rows have come.
        (None, None) => None,
        (salt, _) => {
            let lost = if salt.is_none() {
                "salt"
            } else {
                "payload without its salt"
            };
            found(
                FindingCode::PayloadMissing,
                format!("the {lost} of event {n} is missing"),
            );
            None
        }
    };
    let root = payload.and_then(|(salt, fields)| {
        let root =
            Salt::try_from(salt.as_slice()).and_then(|salt| payload::root_of_bytes(&salt, fields));
        root.inspect_err(|e| {
            found(
                FindingCode::PayloadUnreadable,
                format!("the payload of event {n}: {e}"),
            )
        })
        .ok()
    });
    let mut about = Payload {
        gone: row.salt.is_none() && row.fields.is_none(),
        ..Payload::default()
    };
    let place = match RawHeader::parse(&row.header) {
        Err(e) => {
            found(
                FindingCode::HeaderUnreadable,
                format!("the header of event {n}: {e}"),
            );
            None
        }
        Ok(header) => {
            if root.is_some_and(|root| root != header.payload_root) {
                let text = format!("the payload of event {n} is not the one its header commits to");
                found(FindingCode::PayloadAltered, text);
            } else if header.kind == expunged::KIND
                && root.is_some()
                && let Some(fields) = row.fields.as_deref().and_then(|f| payload::parse(f).ok())
            {
                about.names = expunged::names(header.kind, &fields);
            }
            if i64::try_from(header.seq) != Ok(n) {
                let text = format!(
                    "the row of event {n} holds a header that says it is event {}",
                    header.seq
                );
                found(FindingCode::SeqDiffers, text);
            }
            if !is_spelled(header.id, &row.id) {
                let text = format!(
                    "the row of event {n} has the identifier {:?}, its header {}",
                    row.id, header.id
                );
                found(FindingCode::IdDiffers, text);
            }
            Some(Place::of(header))
        }
    };
    Checked {
        seq: n,
        leaf: merkle::leaf_hash(&row.header),
        place,
        findings,
        payload: about,
    }
}

fn is_spelled(id: EventId, text: &str) -> bool {
    let mut buffer = [0; uuid::fmt::Hyphenated::LENGTH];
    id.0.hyphenated().encode_lower(&mut buffer) == text
}
