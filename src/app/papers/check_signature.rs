//! What the signatures in a file say, in words: who signed, what it covers, the timestamp.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use crate::disclosure::signature::found::Found;
use crate::ids::Digest;

/// A signature in a file that was checked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct SignatureSaid {
    /// Whether it holds for what it covers.
    pub holds: bool,
    /// Whether that is the whole file.
    pub covers_whole_file: bool,
    /// How many bytes of the file, from its beginning on.
    pub covers_bytes: u64,
    /// Who signed, by their certificate; empty where it does not hold.
    pub signer: String,
    /// What kind of certificate: `self-signed demonstration certificate`, `certificate issued by …`.
    pub certificate_kind: String,
    /// SHA-256 of the certificate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certificate: Option<Digest>,
    /// Whether it is the certificate that the record of the print names; none where there is no such record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certificate_on_record: Option<bool>,
    /// The time in its timestamp, RFC 3339.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub timestamp: Option<String>,
    /// Everything in sentences.
    pub sentences: Vec<String>,
}

fn day(at: DateTime<Utc>) -> String {
    at.format("%-d %b %Y %H:%M:%S UTC").to_string()
}

impl SignatureSaid {
    /// What is said of a signature in a file of this length, held against the certificate on record, if there is one.
    pub(super) fn of(found: &Found, length: usize, on_record: Option<Digest>) -> Self {
        let mut said = Self {
            holds: found.who.is_ok(),
            covers_whole_file: found.whole,
            covers_bytes: found.covers as u64,
            signer: String::new(),
            certificate_kind: String::new(),
            certificate: None,
            certificate_on_record: None,
            timestamp: None,
            sentences: Vec::new(),
        };
        let who = match &found.who {
            Ok(who) => who,
            Err(why) => {
                said.sentences
                    .push(format!("It bears a signature that proves nothing: {why}."));
                return said;
            }
        };
        let one = &who.certificate;
        said.signer.clone_from(&one.subject);
        said.certificate_kind = one.kind();
        said.certificate = Some(one.digest);
        said.sentences.push(format!(
            "Signed by {} ({}, valid from {} to {}).",
            one.subject,
            one.kind(),
            day(one.from),
            day(one.until)
        ));
        said.sentences.push(if found.whole {
            "The signature holds and covers the whole file.".into()
        } else {
            format!(
                "The signature holds for the first {} bytes. The {} bytes behind them were added afterwards and are not signed by it.",
                found.covers,
                length.saturating_sub(found.covers)
            )
        });
        if let Some(on_record) = on_record {
            let same = on_record == one.digest;
            said.certificate_on_record = Some(same);
            said.sentences.push(if same {
                "The certificate is the one that the record of the print names.".into()
            } else {
                "The certificate is not the one that the record of the print names.".into()
            });
        }
        match &who.timestamp {
            Some(Ok(token)) => {
                let when = token.at.to_rfc3339_opts(chrono::SecondsFormat::Secs, true);
                said.timestamp = Some(when);
                said.sentences.push(format!(
                    "Timestamp of {} over this signature by {}; {}.",
                    day(token.at),
                    token.by,
                    if token.is_checked {
                        "the timestamp's own signature holds"
                    } else {
                        "the timestamp's own signature is of a kind that is not checked here, a reader of PDF checks it"
                    }
                ));
            }
            Some(Err(why)) => said
                .sentences
                .push(format!("It bears a timestamp that proves nothing: {why}.")),
            None => said.sentences.push("It bears no timestamp.".into()),
        }
        said
    }
}
