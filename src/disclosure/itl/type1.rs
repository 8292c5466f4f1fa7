//! Type-1: which records the transaction has, from whom to whom, when. ASCII throughout.

use chrono::{DateTime, NaiveDate, Utc};

use super::Transaction;
use super::record::Record;
use super::refusal::{ItlRefusal, ItlRule};
use super::text::Room;

/// The domain whose rules the Type-2 fields keep to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Domain {
    /// Name.
    pub name: String,
    /// Version.
    pub version: String,
}

/// From whom to whom, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Header {
    /// Identifier of the agency that gets it, as that agency gave it.
    pub destination: String,
    /// Identifier of the agency that sends it.
    pub originating: String,
    /// The type of transaction, 1 to 16 characters, as the receiver calls it.
    pub transaction: String,
    /// The sender's own number for this transaction, never used twice.
    pub control: String,
    /// The date at the sender.
    pub date: NaiveDate,
    /// The moment, for Greenwich.
    pub moment: DateTime<Utc>,
    /// 1 (most urgent) to 9.
    pub priority: Option<u8>,
    /// The domain.
    pub domain: Option<Domain>,
}

// The standard bounds neither identifiers nor control number; 100 and 40 are ours, so that no file grows without bound.
const TOT: Room = Room::new("1.004 type of transaction", 16);
const DAI: Room = Room::new("1.007 destination agency", 100);
const ORI: Room = Room::new("1.008 originating agency", 100);
const TCN: Room = Room::new("1.009 transaction control number", 40);
const DOM: Room = Room::new("1.013 domain", 100);

/// A moment for Greenwich: `YYYYMMDDHHMMSSZ`, 15 characters.
#[must_use]
pub fn greenwich(at: DateTime<Utc>) -> String {
    at.format("%Y%m%d%H%M%SZ").to_string()
}

fn identifier(room: Room, value: &str) -> Result<String, ItlRefusal> {
    if value.trim().is_empty() {
        return Err(ItlRefusal::new(
            ItlRule::AgencyMissing,
            format!(
                "The receiver's profile has nothing for field {}.",
                room.field
            ),
            "Fill it in in receivers.toml, as the receiving agency gave it.",
        ));
    }
    room.ascii(value)
}

/// Both agencies and the type of transaction are there, before anything else is asked.
pub(super) fn agencies(h: &Header) -> Result<(), ItlRefusal> {
    identifier(TOT, &h.transaction)?;
    identifier(DAI, &h.destination)?;
    identifier(ORI, &h.originating).map(drop)
}

pub(super) fn record(
    t: &Transaction,
    others: &[Record],
    beyond_ascii: bool,
) -> Result<Record, ItlRefusal> {
    let h = &t.header;
    let mut r = Record::new(1, None);
    r.put(2, t.edition.version());
    let mut content = vec![vec!["1".to_owned(), others.len().to_string()]];
    content.extend(others.iter().map(|o| {
        vec![
            o.kind().to_string(),
            o.idc().unwrap_or_default().to_string(),
        ]
    }));
    r.put_subfields(3, &content);
    r.put(4, &identifier(TOT, &h.transaction)?);
    r.put(5, &h.date.format("%Y%m%d").to_string());
    if let Some(priority) = h.priority {
        if !(1..=9).contains(&priority) {
            return Err(ItlRefusal::new(
                ItlRule::UnknownCode,
                format!("Priority {priority} is not between 1 and 9."),
                "Correct the receiver's profile.",
            ));
        }
        r.put(6, &priority.to_string());
    }
    r.put(7, &identifier(DAI, &h.destination)?);
    r.put(8, &identifier(ORI, &h.originating)?);
    r.put(9, &TCN.ascii(&h.control)?);
    // No Type-4 record, so neither its scanning nor its transmitting density.
    r.put(11, "00.00");
    r.put(12, "00.00");
    if let Some(domain) = &h.domain {
        r.put_subfields(
            13,
            &[vec![DOM.ascii(&domain.name)?, DOM.ascii(&domain.version)?]],
        );
    }
    r.put(14, &greenwich(h.moment));
    if beyond_ascii {
        r.put_subfields(15, &[vec!["3".to_owned(), "UTF-8".to_owned()]]);
    }
    Ok(r)
}
