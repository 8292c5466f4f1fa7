//! Papers from the ledger: labels, custody reports, and folders for disclosure.
//!
//! - [`label`] lift cards, labels of packages and places, seal strips, sheets of cards
//! - [`court`] exhibit lists, receipts, submissions, hand-over sheets, witness sheets, certifications
//! - [`printed`] which papers of a case were printed
//! - [`withhold`] a field that a disclosure withholds
//! - [`redact`] papers that leave out what a disclosure withholds
//! - [`report`] the custody report of an item, a package or a case
//! - [`bundle`] a case for somebody outside, that they can check without this server
//! - [`afis`] an image handed off as a latent print transaction
//! - [`certificate`] the certificate of a disposition
//! - [`signing`] the agency's signature on each of them, and a timestamp
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
pub mod check_signature;
pub mod court;
pub mod export;
pub mod label;
mod picture;
pub mod printed;
pub mod redact;
pub mod report;
pub mod signing;
pub mod withhold;

use chrono::{DateTime, FixedOffset};
use futures_util::future::try_join_all;

use signing::Final;

use super::agency::Agency;
use super::reader::{ReadError, Reader};
use super::record::{RecordError, Recorded, Sent};
use crate::custody::paper::{PaperKind, ReportPrinted};
use crate::custody::{Act, Command, Signed};
use crate::disclosure::itl::ItlRefusal;
use crate::ids::{CommandId, Digest, PersonId, Subject};
use crate::ledger::event::Source;
use crate::originals::OriginalsError;
use crate::reports::ReportError;
use crate::reports::paper::Paper;
use crate::store::StoreError;
use crate::zone::Zone;

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
    /// What it lacks that was asked for, and why: no signature, no timestamp.
    pub warning: Option<String>,
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

/// A paper's bytes, not on the record yet, and so for nobody's hands.
pub struct Composed {
    /// The PDF.
    pub bytes: Vec<u8>,
    /// The size of the ledger that it speaks of.
    pub ledger_size: u64,
    /// How many events each of its subjects has.
    pub counts: Vec<String>,
    /// A name for the file.
    file_name: String,
}

/// What the record says of a print beside its bytes.
struct About {
    of: Subject,
    paper: PaperKind,
    person: Option<PersonId>,
    made_for: Option<String>,
    withheld: Vec<String>,
}

impl About {
    fn new(of: Subject, paper: PaperKind) -> Self {
        Self {
            of,
            paper,
            person: None,
            made_for: None,
            withheld: Vec::new(),
        }
    }
}

/// From a composed paper to one that may be handed out: it goes through [`hand_out`] as one print of one subject, in the viewer's
/// name.
async fn put_on_record(
    reader: &Reader<'_>,
    by: By,
    id: CommandId,
    about: About,
    composed: Composed,
) -> Result<Printed, PaperError> {
    let mine = about.person.is_some() && about.person == reader.viewer().id();
    let is_form = about.paper.is_form() || mine;
    hand_out(reader, by, composed.bytes, composed.file_name, |done| {
        let print = ReportPrinted {
            of: about.of,
            digest: done.digest,
            ledger_size: composed.ledger_size,
            counts: composed.counts,
            print: Some(id),
            paper: Some(about.paper),
            person: about.person,
            made_for: about.made_for,
            withheld: about.withheld,
            certificate: done.certificate,
            timestamp: done.timestamp.clone(),
            warning: done.warning.clone(),
        };
        let act = if is_form {
            Act::FormPrinted(print)
        } else {
            Act::ReportPrinted(print)
        };
        vec![(id, act)]
    })
    .await
}

/// Who prints, as papers name them.
fn printed_by(reader: &Reader<'_>) -> String {
    match reader.viewer().id() {
        Some(_) => reader.viewer().name().to_owned(),
        None => format!("{}, from its command line", reader.viewer().name()),
    }
}

/// The one step that every PDF goes through: it is signed, each of its prints goes on the record, and only then is it handed
/// out. `acts` makes the acts that record it, each with its command's identifier.
async fn hand_out(
    reader: &Reader<'_>,
    by: By,
    pdf: Vec<u8>,
    file_name: String,
    acts: impl FnOnce(&Final) -> Vec<(CommandId, Act)>,
) -> Result<Printed, PaperError> {
    let done = signing::sign(reader.house(), pdf).await?;
    let all = acts(&done)
        .into_iter()
        .map(|(id, act)| record(reader, by, id, act));
    let recorded = try_join_all(all)
        .await?
        .into_iter()
        .min_by_key(|r| r.seq)
        .ok_or_else(|| PaperError::Inner("nothing to record".into()))?;
    Ok(Printed {
        bytes: done.bytes,
        file_name,
        digest: done.digest,
        recorded,
        warning: done.warning,
    })
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
        beside: None,
        source: by.source,
        command: Command {
            id,
            claimed_at: None,
            late_reason: None,
            paper_sheet: None,
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

/// A time as labels have it, in the agency's zone: `4 Mar 2026 09:20 -05:00`.
pub(crate) fn day_and_time(at: DateTime<FixedOffset>, zone: Zone) -> String {
    at.with_timezone(&zone)
        .format("%-d %b %Y %H:%M %:z")
        .to_string()
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
