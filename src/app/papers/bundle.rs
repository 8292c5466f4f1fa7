//! A disclosure bundle of a case: made, digested, put on the record, and only then handed out.
//!
//! A bundle may be as large as the pictures in it, so it is written to a file, picture by picture, and never held in
//! memory. What goes in first is the custody report, so that the event of its print is in the bundle's own ledger part.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Seek as _};
use std::path::Path;

use askama::Template;
use chrono::Utc;

use super::export::{CaseFiles, ExportError, case_files};
use super::redact::Redaction;
use super::{By, Layout, PaperError, court, record, report};
use crate::app::export::Folder;
use crate::app::reader::{Past, Reader};
use crate::app::record::Recorded;
use crate::app::views::words;
use crate::custody::disclosure::{Disclose, MAX_LEFT_OUT, MAX_WITHHELD};
use crate::custody::state::Case;
use crate::custody::{Act, Fact};
use crate::disclosure::bag::{Bag, BagError};
use crate::disclosure::bundle::{LEDGER, picture_field};
use crate::disclosure::contents::{CONTENTS, Contents, Since, VERSION, extension};
use crate::disclosure::provenance::provenance;
use crate::ids::{CaseId, CommandId, Digest, Seq, Subject};
use crate::ledger::event::{Event, Header};
use crate::ledger::export::{CHECKPOINT, EVENTS, Line, PROOFS, SUBJECTS, Shown, VKEY};
use crate::ledger::expunged;
use crate::originals::OriginalsError;
use crate::people::Action;
use crate::zone::Zone;

pub use super::withhold::Withhold;

/// The page that checks a bundle in a browser without a network.
const VERIFY_PAGE: &str = include_str!("../../../templates/disclosure/verify.html");
/// The page's path under `data/`.
const VERIFY: &str = "verify.html";
/// The plain index's path under `data/`.
const INDEX: &str = "index.html";
/// Where pictures stand under `data/`.
const IMAGES: &str = "images";
/// The custody report's path under `data/`.
const REPORT: &str = "papers/custody-report.pdf";
/// The exhibit list's path under `data/`.
const EXHIBITS: &str = "papers/exhibit-list.pdf";
/// The provenance's path under `data/`.
const PROVENANCE: &str = "provenance.jsonld";

/// Why a bundle was not made.
#[derive(Debug, thiserror::Error)]
pub enum BundleError {
    /// A paper in it, or the record of it.
    #[error(transparent)]
    Paper(#[from] PaperError),
    /// The ledger part or a picture.
    #[error(transparent)]
    Export(#[from] ExportError),
    /// The bag.
    #[error(transparent)]
    Bag(#[from] BagError),
    /// What is asked to be withheld.
    #[error("{0}")]
    Asked(String),
    /// The file.
    #[error("the bundle cannot be written: {0}")]
    Io(#[from] std::io::Error),
    /// A fault of the program.
    #[error("the bundle could not be made: {0}")]
    Inner(String),
}

impl From<crate::app::reader::ReadError> for BundleError {
    fn from(e: crate::app::reader::ReadError) -> Self {
        Self::Paper(e.into())
    }
}

impl From<crate::store::StoreError> for BundleError {
    fn from(e: crate::store::StoreError) -> Self {
        Self::Paper(e.into())
    }
}

/// What a bundle should hold.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wanted {
    /// To whom it goes.
    pub to: String,
    /// The order, request or rule that it follows.
    pub authority: String,
    /// Fields to withhold.
    pub withhold: Vec<Withhold>,
    /// Why pictures are left out; none puts them all in.
    pub without_images: Option<String>,
}

/// A bundle, on the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bundled {
    /// SHA-256 of the file, as recorded.
    pub digest: Digest,
    /// Its size.
    pub bytes: u64,
    /// A name for the file, of letters, digits, hyphens and dots.
    pub file_name: String,
    /// Events in it.
    pub events: u64,
    /// Pictures in it.
    pub images: u64,
    /// Fields withheld.
    pub withheld: usize,
    /// Why there are no papers in it, where a field is withheld that papers tell in other words.
    pub papers_left_out: Option<String>,
    /// The event that records it.
    pub recorded: Recorded,
}

/// Makes a bundle of a case in a file that is written over.
///
/// # Errors
/// See [`BundleError`]. Where it fails, nothing is on the record but the print of a report that nobody has.
pub async fn bundle(
    reader: &Reader<'_>,
    by: By,
    case: CaseId,
    wanted: &Wanted,
    out: &Path,
    mut progress: impl FnMut(usize, usize),
) -> Result<Bundled, BundleError> {
    reader.must(Action::Disclose)?;
    let record_of = reader.case(case).await?;
    for (what, text) in [
        ("To whom the bundle goes", &wanted.to),
        ("Under which order, request or rule", &wanted.authority),
    ] {
        if text.trim().is_empty() {
            return Err(BundleError::Asked(format!("{what} is not said.")));
        }
    }
    let (papers, papers_out) = papers(reader, by, case, wanted).await?;
    let files = case_files(reader, case, |_| ()).await?;
    let why_out = papers_out.as_deref();
    let made = Made::new(reader, &record_of, wanted, &files, (&papers, why_out)).await?;
    let agency = reader.house().agency().await?.name;
    let info = [
        ("Source-Organization", agency),
        ("External-Identifier", record_of.number.clone()),
        (
            "External-Description",
            "Disclosure bundle of a case: events with proofs, pictures, papers".to_owned(),
        ),
        ("Bagging-Date", Utc::now().format("%Y-%m-%d").to_string()),
    ];
    let originals = reader.house().originals.clone();
    let path = out.to_owned();
    let all = made.contents.images.len();
    let file_name = super::file_name(&[&record_of.number, "disclosure"]).replace(".pdf", ".zip");
    let folder = file_name.trim_end_matches(".zip").to_owned();
    let Made {
        contents,
        ledger,
        provenance,
        index,
    } = made;
    let bytes = contents
        .to_bytes()
        .map_err(|e| BundleError::Inner(e.to_string()))?;
    let images = contents.images.clone();
    let (send, mut told) = tokio::sync::mpsc::unbounded_channel();
    let writing = tokio::task::spawn_blocking(move || -> Result<(Digest, u64), BundleError> {
        let file = File::options()
            .create(true)
            .truncate(true)
            .read(true)
            .write(true)
            .open(&path)?;
        let mut bag = Bag::new(BufWriter::new(file), &folder)?;
        let in_ledger = |name: &str| format!("{LEDGER}{name}");
        bag.add(&in_ledger(EVENTS), &ledger.events)?;
        bag.add(&in_ledger(CHECKPOINT), &ledger.checkpoint)?;
        bag.add(&in_ledger(VKEY), &ledger.vkey)?;
        let proofs = ledger.proofs.as_deref().unwrap_or_default();
        bag.add(&in_ledger(PROOFS), proofs)?;
        bag.add(&in_ledger(SUBJECTS), &ledger.subjects)?;
        for (path, bytes) in &papers {
            bag.add(path, bytes)?;
        }
        for (n, (digest, path)) in images.iter().enumerate() {
            let mut original = originals.stored(*digest).map_err(ExportError::from)?;
            let added = bag.add_from(path, &mut original)?;
            if added.digest != *digest {
                let altered = OriginalsError::Altered {
                    expected: *digest,
                    found: added.digest,
                };
                return Err(ExportError::from(altered).into());
            }
            let _ = send.send(n + 1);
        }
        bag.add(PROVENANCE, provenance.as_bytes())?;
        bag.add(CONTENTS, &bytes)?;
        bag.add(INDEX, index.as_bytes())?;
        bag.add(VERIFY, VERIFY_PAGE.as_bytes())?;
        let out = bag.finish(&info)?;
        let mut file = out
            .into_inner()
            .map_err(std::io::IntoInnerError::into_error)?;
        file.sync_all()?;
        file.rewind()?;
        Ok(Digest::of_reader(&mut file)?)
    });
    while let Some(n) = told.recv().await {
        progress(n, all);
    }
    let (digest, bytes) = writing
        .await
        .map_err(|e| BundleError::Inner(e.to_string()))??;
    let act = Act::Disclose(Disclose {
        case,
        to: wanted.to.trim().to_owned(),
        authority: wanted.authority.trim().to_owned(),
        digest,
        bytes,
        ledger_size: files.head.size,
        events: files.events.len() as u64,
        images: contents.images.len() as u64,
        withheld: contents
            .withheld
            .iter()
            .flat_map(|(seq, fields)| {
                fields
                    .iter()
                    .map(move |(f, why)| format!("{seq}.{f}: {why}"))
            })
            .collect(),
        images_left_out: contents.images_left_out.len() as u64,
    });
    let withheld = contents.withheld.values().map(BTreeMap::len).sum();
    let recorded = record(reader, by, CommandId::new(), act).await?;
    Ok(Bundled {
        digest,
        bytes,
        file_name,
        events: files.events.len() as u64,
        images: contents.images.len() as u64,
        withheld,
        papers_left_out: papers_out,
        recorded,
    })
}

/// A paper of a bundle: its path, and its bytes.
type BundledPaper = (String, Vec<u8>);

/// The papers of a bundle, printed without what it withholds; or why they stay out.
async fn papers(
    reader: &Reader<'_>,
    by: By,
    case: CaseId,
    wanted: &Wanted,
) -> Result<(Vec<BundledPaper>, Option<String>), BundleError> {
    let redaction = match redaction(reader, case, wanted).await? {
        Ok(found) => found,
        // A paper would say in other words what the fields say.
        Err(why) => return Ok((Vec::new(), Some(why))),
    };
    let layout = Layout::default();
    let subject = Subject::Case(case);
    let mut out = Vec::new();
    // A case without items has no report, and one with more than a paper holds has none either; one without an exhibit
    // number has no list.
    match report::redacted(reader, by, subject, &layout, &redaction, |_, _| ()).await {
        Ok(printed) => out.push((REPORT.to_owned(), printed.bytes)),
        Err(PaperError::Count(_)) => {}
        Err(e) => return Err(e.into()),
    }
    let list = court::Asked::ExhibitList;
    match court::redacted(reader, by, case, &list, &layout, &redaction).await {
        Ok(printed) => out.push((EXHIBITS.to_owned(), printed.bytes)),
        Err(PaperError::Count(_)) => {}
        Err(e) => return Err(e.into()),
    }
    Ok((out, None))
}

/// What papers of a case leave out where this is withheld; or, in words, why they cannot be made without it.
///
/// # Errors
/// See [`BundleError`].
pub async fn redaction(
    reader: &Reader<'_>,
    case: CaseId,
    wanted: &Wanted,
) -> Result<Result<Redaction, String>, BundleError> {
    let mut redaction = Redaction::default();
    if !wanted.withhold.is_empty() {
        let files = case_files(reader, case, |_| ()).await?;
        match Redaction::of(&files.events, &hidden(wanted, &files.events)?) {
            Ok(found) => redaction = found,
            Err(why) => return Ok(Err(why)),
        }
    }
    redaction.without_images = wanted.without_images.clone();
    Ok(Ok(redaction))
}

/// Which fields are withheld, with the reason: by event, then by field. What a withheld field was corrected to, and from,
/// is withheld with it.
fn hidden(
    wanted: &Wanted,
    events: &[Event],
) -> Result<BTreeMap<String, BTreeMap<String, String>>, BundleError> {
    let mut withheld: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
    let mut used = vec![false; wanted.withhold.len()];
    for event in events {
        let seq = event.header.seq;
        let mut hidden = BTreeMap::new();
        for (n, one) in wanted.withhold.iter().enumerate() {
            // Which events an expungement names shows that their payloads are gone by order; it is never withheld.
            let is_proof = event.header.kind == expunged::KIND && one.field == expunged::EVENTS;
            if one.event.is_none_or(|e| e == seq)
                && event.fields.contains_key(&one.field)
                && event.expunged.is_none()
                && !is_proof
            {
                hidden.insert(one.field.clone(), one.reason.clone());
                if let Some(used) = used.get_mut(n) {
                    *used = true;
                }
            }
            if event.header.kind == "record.amended"
                && event.expunged.is_none()
                && event.field_str("field") == Some(&one.field)
                && one
                    .event
                    .is_none_or(|e| event.field_i64("event") == i64::try_from(e).ok())
            {
                for name in ["value", "was"] {
                    hidden
                        .entry(name.to_owned())
                        .or_insert_with(|| one.reason.clone());
                }
            }
        }
        if !hidden.is_empty() {
            withheld.insert(seq.to_string(), hidden);
        }
    }
    if let Some(n) = used.iter().position(|u| !u) {
        let one = &wanted.withhold[n];
        return Err(BundleError::Asked(format!(
            "No event{} of the case has a field {}. Look at the events for the names of fields.",
            one.event.map(|e| format!(" {e}")).unwrap_or_default(),
            one.field
        )));
    }
    if withheld.values().map(BTreeMap::len).sum::<usize>() > MAX_WITHHELD {
        return Err(BundleError::Asked(format!(
            "One bundle withholds at most {MAX_WITHHELD} fields."
        )));
    }
    Ok(withheld)
}

/// Makes a bundle that is handed out at once: the file has no name any more, and is gone when it is closed.
///
/// # Errors
/// See [`bundle`].
pub async fn handed(
    reader: &Reader<'_>,
    by: By,
    case: CaseId,
    wanted: &Wanted,
) -> Result<(Bundled, File), BundleError> {
    let path = reader
        .house()
        .originals
        .scratch(&format!("bundle-{}", CommandId::new()));
    let made = bundle(reader, by, case, wanted, &path, |_, _| ()).await;
    let file = File::open(&path);
    let gone = std::fs::remove_file(&path);
    let made = made?;
    gone?;
    Ok((made, file?))
}

/// A bundle's parts but for the pictures.
struct Made {
    contents: Contents,
    ledger: Folder,
    provenance: String,
    index: String,
}

impl Made {
    async fn new(
        reader: &Reader<'_>,
        case: &Case,
        wanted: &Wanted,
        files: &CaseFiles,
        (papers, papers_out): (&[BundledPaper], Option<&str>),
    ) -> Result<Self, BundleError> {
        let withheld = hidden(wanted, &files.events)?;
        let lines: Vec<(Header, Line)> = files
            .events
            .iter()
            .map(|event| {
                let line = match withheld.get(&event.header.seq.to_string()) {
                    None => Line::whole(event),
                    Some(hidden) => Line::part(event, |field| !hidden.contains_key(field)),
                };
                (event.header.clone(), line)
            })
            .collect();
        let mut images = BTreeMap::new();
        let mut left_out = BTreeMap::new();
        for (digest, media_type) in pictures(&lines) {
            match &wanted.without_images {
                Some(reason) => left_out.insert(digest, reason.clone()),
                None => images.insert(
                    digest,
                    format!("{IMAGES}/{digest}.{}", extension(&media_type)),
                ),
            };
        }
        if left_out.len() > MAX_LEFT_OUT {
            return Err(BundleError::Asked(format!(
                "One bundle leaves out at most {MAX_LEFT_OUT} pictures."
            )));
        }
        let history = reader.history(Subject::Case(case.id)).await?;
        let contents = Contents {
            bundle: VERSION,
            case: case.id,
            number: case.number.clone(),
            to: wanted.to.trim().to_owned(),
            images,
            images_left_out: left_out,
            withheld,
            papers: papers
                .iter()
                .map(|(path, _)| (path.clone(), words_of(path).to_owned()))
                .collect(),
            since: since(&history, &lines),
        };
        let zone = reader.house().zone().await?;
        let graph = provenance(&case.number, &lines, |kind| words::act(kind).to_owned());
        let index = Index {
            number: &case.number,
            to: &contents.to,
            rows: lines
                .iter()
                .map(|(header, line)| Row::of(header, line, &contents, zone))
                .collect(),
            contents: &contents,
            papers_out,
        };
        Ok(Self {
            index: index
                .render()
                .map_err(|e| BundleError::Inner(e.to_string()))?,
            provenance: format!("{graph:#}\n"),
            ledger: files.folder(&lines)?,
            contents,
        })
    }
}

/// Every picture that the shown fields name, with its media type.
fn pictures<'a>(lines: impl IntoIterator<Item = &'a (Header, Line)>) -> BTreeMap<Digest, String> {
    let mut out = BTreeMap::new();
    for (header, line) in lines {
        let Some(field) = picture_field(&header.kind) else {
            continue;
        };
        let fields = line.payload.fields();
        let digest = fields
            .get(field)
            .and_then(|v| v.as_str())
            .and_then(|t| t.parse::<Digest>().ok());
        if let Some(digest) = digest {
            let kind = fields.get("media_type").and_then(|v| v.as_str());
            out.entry(digest)
                .or_insert_with(|| kind.unwrap_or("image/png").to_owned());
        }
    }
    out
}

/// What is new since the last disclosure on the record.
fn since(history: &[Past], lines: &[(Header, Line)]) -> Option<Since> {
    let (event, last) = history.iter().rev().find_map(|past| match &past.fact {
        Some(Fact::CaseDisclosed(x)) => Some((past.event.header.seq, x)),
        _ => None,
    })?;
    let is_new = |(header, _): &&(Header, Line)| header.seq > last.ledger_size;
    let before = pictures(lines.iter().filter(|l| !is_new(l)));
    Some(Since {
        event,
        to: last.to.clone(),
        ledger_size: last.ledger_size,
        new_events: lines.iter().filter(is_new).map(|(h, _)| h.seq).collect(),
        new_images: pictures(lines)
            .into_keys()
            .filter(|d| !before.contains_key(d))
            .collect(),
    })
}

/// An event in the index.
struct Row {
    seq: Seq,
    when: String,
    act: String,
    by: String,
    withheld: Vec<String>,
    image: Option<String>,
    new: bool,
}

impl Row {
    fn of(header: &Header, line: &Line, contents: &Contents, zone: Zone) -> Self {
        let fields = line.payload.fields();
        let text = |name: &str| fields.get(name).and_then(|v| v.as_str());
        let image = picture_field(&header.kind)
            .and_then(|field| text(field)?.parse::<Digest>().ok())
            .and_then(|d| contents.images.get(&d).cloned());
        Self {
            seq: header.seq,
            when: chrono::DateTime::parse_from_rfc3339(&header.claimed_at).map_or_else(
                |_| header.claimed_at.clone(),
                |t| words::when(&t.with_timezone(&Utc), zone),
            ),
            act: words::act(&header.kind).to_owned(),
            by: text("by").unwrap_or_default().to_owned(),
            withheld: matches!(line.payload, Shown::Expunged { .. })
                .then(|| "expunged by order of a court".to_owned())
                .into_iter()
                .chain(
                    contents
                        .withheld
                        .get(&header.seq.to_string())
                        .into_iter()
                        .flatten()
                        .map(|(field, why)| {
                            format!("{}: withheld: {why}", field.replace('_', " "))
                        }),
                )
                .collect(),
            image,
            new: contents
                .since
                .as_ref()
                .is_some_and(|s| s.new_events.contains(&header.seq)),
        }
    }
}

#[derive(Template)]
#[template(path = "disclosure/index.html")]
struct Index<'a> {
    number: &'a str,
    to: &'a str,
    rows: Vec<Row>,
    contents: &'a Contents,
    papers_out: Option<&'a str>,
}

/// What a paper of a bundle is.
fn words_of(path: &str) -> &'static str {
    match path {
        EXHIBITS => "exhibit list of the case",
        _ => "custody report of the case",
    }
}
