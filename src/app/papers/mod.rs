//! Papers from the ledger: labels, custody reports, and folders for disclosure.
//!
//! - [`label`] lift cards, labels of packages and places, seal strips, sheets of cards
//! - [`report`] the custody report of an item, a package or a case
//! - [`bundle`] a case for somebody outside, that they can check without this server
//! - [`afis`] an image handed off as a latent print transaction
//! - [`certificate`] the certificate of a disposition
//! - [`check`] whether a paper that turns up is one that was printed
//! - [`export`] the events of the whole ledger or of one case, with proofs
//!
//! A print goes on the record before its bytes are handed out: an act names the SHA-256 of the PDF, so that a paper that
//! turns up can be held against the ledger. A print whose bytes never reached anybody is harmless; one that nobody
//! recorded would not be.

pub mod afis;
pub mod bundle;
pub mod certificate;
pub mod check;
pub mod export;
pub mod label;
mod picture;
pub mod report;

use chrono::{DateTime, FixedOffset};

use super::agency::Agency;
use super::reader::{ReadError, Reader};
use super::record::{RecordError, Recorded, Sent};
use crate::custody::{Act, Command, Signed};
use crate::disclosure::itl::ItlRefusal;
use crate::ids::{CommandId, Digest};
use crate::ledger::event::Source;
use crate::originals::OriginalsError;
use crate::reports::ReportError;
use crate::reports::paper::Paper;
use crate::store::StoreError;

/// Why a paper was not made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PaperError {
    /// It cannot be read, or not by this viewer.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A text or a picture that cannot be printed.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// The print could not be put on the record, so it was not handed out.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// A label that this thing does not have.
    #[error("{thing} has no label of the kind {kind}. Choose one of: {choices}")]
    Kind {
        /// What was to be printed.
        thing: String,
        /// The label asked for.
        kind: &'static str,
        /// What there is.
        choices: String,
    },
    /// More than one print may hold, or nothing at all.
    #[error("{0}")]
    Count(String),
    /// The subject changed again and again while it was read.
    #[error("the record of {0} kept changing while it was read. Print it again in a moment")]
    Busy(String),
    /// A rule of hand-offs.
    #[error(transparent)]
    Itl(#[from] ItlRefusal),
    /// The bytes of a picture are missing or altered.
    #[error("the picture's bytes cannot be given: {0}")]
    Original(String),
    /// A fault of the program.
    #[error("the paper could not be made: {0}")]
    Inner(String),
}

impl From<OriginalsError> for PaperError {
    fn from(e: OriginalsError) -> Self {
        Self::Original(e.to_string())
    }
}

impl From<StoreError> for PaperError {
    fn from(e: StoreError) -> Self {
        Self::Read(e.into())
    }
}

/// Who prints, beside their name: how they signed, and from where.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct By {
    /// How they signed.
    pub signed: Signed,
    /// From where.
    pub source: Source,
}

impl By {
    /// The server's operator, from the command line.
    #[must_use]
    pub fn operator() -> Self {
        Self {
            signed: Signed::System,
            source: Source::CommandLine,
        }
    }

    /// A person who is signed in.
    #[must_use]
    pub fn session() -> Self {
        Self {
            signed: Signed::Session,
            source: Source::Desk,
        }
    }

    /// A person's program, with an access token.
    #[must_use]
    pub fn token() -> Self {
        Self {
            signed: Signed::Token,
            source: Source::Api,
        }
    }
}

/// What stands on the paper beside what the ledger says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Layout {
    /// Letter or A4, for what is printed on whole pages; none takes the agency's.
    pub paper: Option<Paper>,
    /// The agency's name; none takes the one that is set.
    pub agency: Option<String>,
}

/// A print, on the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Printed {
    /// The PDF.
    pub bytes: Vec<u8>,
    /// A name for the file, of letters, digits, hyphens and dots.
    pub file_name: String,
    /// SHA-256 of the PDF, as recorded.
    pub digest: Digest,
    /// The first event that records it.
    pub recorded: Recorded,
}

/// The agency, with what the layout says otherwise.
async fn agency(reader: &Reader<'_>, layout: &Layout) -> Result<Agency, PaperError> {
    let mut agency = reader.house().agency().await?;
    if let Some(name) = layout.agency.as_deref().filter(|n| !n.trim().is_empty()) {
        agency.name = name.trim().to_owned();
    }
    agency.paper = layout.paper.unwrap_or(agency.paper);
    Ok(agency)
}

/// Records a print in the viewer's name.
async fn record(
    reader: &Reader<'_>,
    by: By,
    id: CommandId,
    act: Act,
) -> Result<Recorded, PaperError> {
    let sent = Sent {
        person: reader.viewer().id(),
        signed: by.signed,
        source: by.source,
        command: Command {
            id,
            claimed_at: None,
            late_reason: None,
            act,
        },
    };
    Ok(reader.house().recorder.record(sent).await?)
}

/// Work that takes the processor for a while, away from the tasks that wait for others.
async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, ReportError> + Send + 'static,
) -> Result<T, PaperError> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => Ok(done?),
        Err(e) => Err(PaperError::Inner(e.to_string())),
    }
}

/// A time that somebody claimed, in their zone: `4 Mar 2026 09:20 -05:00`.
pub(crate) fn claimed(at: DateTime<FixedOffset>) -> String {
    at.format("%-d %b %Y %H:%M %:z").to_string()
}

/// A file's name from parts: letters and digits stay, everything else becomes one hyphen.
fn file_name(parts: &[&str]) -> String {
    let mut out = String::new();
    for c in parts.join("-").chars().take(120) {
        if c.is_ascii_alphanumeric() {
            out.push(c);
        } else if !out.is_empty() && !out.ends_with('-') {
            out.push('-');
        }
    }
    format!("{}.pdf", out.trim_end_matches('-'))
}
