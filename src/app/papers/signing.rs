//! Signing a paper before it goes on the record: with the agency's certificate where there is one, with a timestamp where a
//! server is named. What is asked for and cannot be had is said on the record; nobody waits for a paper because of it.

use chrono::{DateTime, SecondsFormat, Utc};

use super::PaperError;
use crate::app::house::House;
use crate::disclosure::signature::cms::Signed;
use crate::disclosure::signature::pdf::{Room, Said};
use crate::disclosure::signature::timestamp::MAX_ANSWER;
use crate::disclosure::signature::{SignatureError, Signer};
use crate::ids::Digest;
use crate::reports::font::{self, Face};

/// What a signature needs beside its certificates, in bytes: attributes, names, the signature itself.
const FRAME: usize = 1024;

/// A paper as it goes on the record and is handed out.
pub struct Final {
    /// The PDF.
    pub bytes: Vec<u8>,
    /// Its SHA-256.
    pub digest: Digest,
    /// SHA-256 of the certificate that it is signed with.
    pub certificate: Option<Digest>,
    /// The time in its timestamp.
    pub timestamp: Option<String>,
    /// What it lacks, and why.
    pub warning: Option<String>,
}

impl Final {
    fn unsigned(bytes: Vec<u8>, warning: Option<String>) -> Self {
        Self {
            digest: Digest::of(&bytes),
            bytes,
            certificate: None,
            timestamp: None,
            warning,
        }
    }
}

/// With what papers printed at this time are signed, in words for a paper; empty where they are not.
#[must_use]
pub fn words(house: &House, at: DateTime<Utc>) -> String {
    match house.keys.papers() {
        Some(signer) if signer.chain().is_valid(at).is_ok() => {
            let about = signer.chain().about();
            let text = format!(
                "This PDF is signed electronically by {} ({}). A reader of PDF shows whether the signature holds.",
                about.subject,
                about.kind()
            );
            // A name in other letters than the font has must not keep a paper from being printed.
            text.chars()
                .map(
                    |c| match font::check(Face::Sans, c.encode_utf8(&mut [0; 4]), "") {
                        Ok(()) => c,
                        Err(_) => '?',
                    },
                )
                .collect()
        }
        _ => String::new(),
    }
}

/// How papers are signed now, in words for whoever looks after the server.
#[must_use]
pub fn standing(house: &House) -> String {
    let Some(signer) = house.keys.papers() else {
        return "Papers are printed unsigned: there is no certificate.".into();
    };
    if let Err(why) = signer.chain().is_valid(Utc::now()) {
        return format!("Papers are printed unsigned: {why}.");
    }
    let about = signer.chain().about();
    format!(
        "Papers are signed by {} ({}, valid until {}), {}.",
        about.subject,
        about.kind(),
        about.until.format("%-d %b %Y"),
        match house.timestamps {
            Some(_) => "and a timestamp is asked for each",
            None => "without a timestamp",
        }
    )
}

fn said(signer: &Signer) -> Said {
    let about = signer.chain().about();
    Said {
        reason: format!("Printed by the ledger; {}", about.kind()),
        name: about.subject,
    }
}

/// Signs a PDF. Without a certificate it stays as it is; an expired certificate signs nothing.
///
/// # Errors
/// [`PaperError::Inner`]: a fault of the program.
pub async fn sign(house: &House, pdf: Vec<u8>) -> Result<Final, PaperError> {
    let Some(signer) = house.keys.papers().cloned() else {
        return Ok(Final::unsigned(pdf, None));
    };
    if let Err(why) = signer.chain().is_valid(Utc::now()) {
        tracing::warn!("a paper is printed unsigned: {why}");
        return Ok(Final::unsigned(
            pdf,
            Some(format!("Printed unsigned: {why}")),
        ));
    }
    let server = house.timestamps.clone();
    let work = move || -> Result<Final, SignatureError> {
        let chain = signer.chain().to_pem().map_or(0, |pem| pem.len());
        let stamp = if server.is_some() { MAX_ANSWER } else { 0 };
        let room = Room::make(pdf, chain + FRAME + stamp, &said(&signer))?;
        let mut signed = Signed::new(&room.digest(), &signer)?;
        let (mut timestamp, mut warning) = (None, None);
        if let Some(server) = server {
            match server.stamp(&signed.imprint()) {
                Ok(token) => {
                    signed.stamp(&token)?;
                    timestamp = Some(token.at.to_rfc3339_opts(SecondsFormat::Secs, true));
                }
                Err(why) => {
                    tracing::warn!("a paper is printed without a timestamp: {why}");
                    let why: String = why.to_string().chars().take(300).collect();
                    warning = Some(format!("Printed without a timestamp: {why}"));
                }
            }
        }
        let bytes = room.fill(&signed.to_der()?)?;
        Ok(Final {
            digest: Digest::of(&bytes),
            bytes,
            certificate: Some(signer.chain().digest()),
            timestamp,
            warning,
        })
    };
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done.map_err(|e| PaperError::Inner(e.to_string())),
        Err(e) => Err(PaperError::Inner(e.to_string())),
    }
}
