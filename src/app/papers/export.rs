//! Folders for disclosure: the events of the whole ledger or of one case, with what is needed to check them elsewhere.
//!
//! The whole ledger is written page by page, since it may be larger than memory. A case is put together in memory: its
//! events touch the case, its marks, its items and its packages, each with its proof in the tree of the checkpoint.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs::{self, File};
use std::io::{BufWriter, Write as _};
use std::path::{Path, PathBuf};

use crate::app::export::{self as folder, Folder};
use crate::app::reader::{Part, ReadError, Reader, opened};
use crate::disclosure::bundle::picture_of;
use crate::ids::{CaseId, Digest, Seq, Subject};
use crate::ledger::checkpoint;
use crate::ledger::event::{Event, Header};
use crate::ledger::export::{
    CHECKPOINT, EVENTS, Line, MAX_SUBJECTS, PROOFS, SUBJECTS, VKEY, subjects_to_bytes,
};
use crate::ledger::merkle::inclusion_nodes;
use crate::originals::OriginalsError;
use crate::people::Action;
use crate::store::{KEYS_MAX, LIST_MAX, RAW_MAX};

/// The folder of originals and working copies in an export.
pub const ORIGINALS: &str = "originals";
/// The file in it that lists their digests, as checksum programs read it.
pub const SUMS: &str = "SHA256SUMS";
/// Most events of one case: beyond that, export the whole ledger.
pub const MAX_EVENTS: usize = 500_000;

/// Why an export was not written.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// It cannot be read, or not by this viewer.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// There is something in the folder.
    #[error(
        "there is something in {0} already; name a new folder, or add --force to write over it"
    )]
    NotEmpty(PathBuf),
    /// A file cannot be written.
    #[error("{}: {source}", path.display())]
    Io {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A picture is missing or altered.
    #[error(transparent)]
    Original(#[from] OriginalsError),
    /// More than an export holds.
    #[error("{0}")]
    TooMuch(String),
}

impl From<crate::store::StoreError> for ExportError {
    fn from(e: crate::store::StoreError) -> Self {
        Self::Read(e.into())
    }
}

fn at(path: &Path) -> impl FnOnce(std::io::Error) -> ExportError + '_ {
    move |source| ExportError::Io {
        path: path.to_owned(),
        source,
    }
}

/// What was written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Exported {
    /// Events.
    pub events: u64,
    /// The size of the ledger that the checkpoint speaks of.
    pub ledger_size: u64,
    /// Originals and working copies that were copied.
    pub pictures: u64,
}

/// Where an export goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Target {
    /// The folder.
    pub folder: PathBuf,
    /// With the original bytes of pictures, and their working copies.
    pub originals: bool,
    /// Over what is there.
    pub overwrite: bool,
}

/// What the latest checkpoint says.
pub(super) struct Head {
    pub(super) size: u64,
    pub(super) root: Digest,
    pub(super) note: String,
    vkey: String,
}

async fn head(reader: &Reader<'_>) -> Result<Head, ReadError> {
    reader.must(Action::Prove)?;
    latest(reader).await
}

/// The latest checkpoint, its size from its own text. Whether the viewer may have it, the caller has asked.
pub(super) async fn latest(reader: &Reader<'_>) -> Result<Head, ReadError> {
    let house = reader.house();
    let row = house.store.latest_checkpoint().await?;
    let row = row.ok_or(ReadError::NotFound("checkpoint: the ledger is empty"))?;
    let signed = checkpoint::open(&row.note, &house.verifying)
        .map_err(|e| ReadError::Corrupt(format!("the latest checkpoint: {e}")))?;
    Ok(Head {
        size: signed.size,
        root: signed.root,
        note: row.note,
        vkey: house.verifying.to_string(),
    })
}

/// Writes the whole ledger into a folder.
///
/// # Errors
/// See [`ExportError`].
pub async fn whole(
    reader: &Reader<'_>,
    target: &Target,
    mut progress: impl FnMut(u64),
) -> Result<Exported, ExportError> {
    let head = head(reader).await?;
    prepare(target)?;
    let path = target.folder.join(EVENTS);
    let mut out = BufWriter::new(File::create(&path).map_err(at(&path))?);
    let mut counts: BTreeMap<Subject, u64> = BTreeMap::new();
    let mut pictures = BTreeSet::new();
    let mut done: u64 = 0;
    while done < head.size {
        let next = i64::try_from(done + 1)
            .map_err(|_| ReadError::Corrupt("more events than can be counted".into()))?;
        let page = reader.house().store.events(next, RAW_MAX).await?;
        if page.is_empty() {
            return Err(missing(done + 1));
        }
        for raw in page {
            let event = opened(raw)?;
            let seq = event.header.seq;
            if seq > head.size {
                break;
            }
            if seq != done + 1 {
                return Err(missing(done + 1));
            }
            folder::count(&mut counts, &event.header, |_| true);
            if counts.len() > MAX_SUBJECTS {
                return Err(ExportError::TooMuch(format!(
                    "the ledger has more than {MAX_SUBJECTS} subjects; export it case by case"
                )));
            }
            pictures.extend(picture_of(&event));
            out.write_all(&Line::whole(&event).to_bytes())
                .map_err(at(&path))?;
            done = seq;
        }
        progress(done);
    }
    let file = out.into_inner().map_err(|e| at(&path)(e.into_error()))?;
    file.sync_all().map_err(at(&path))?;
    write(target, CHECKPOINT, head.note.as_bytes())?;
    write(target, VKEY, format!("{}\n", head.vkey).as_bytes())?;
    write(target, SUBJECTS, &subjects_to_bytes(&counts))?;
    Ok(Exported {
        events: done,
        ledger_size: head.size,
        pictures: originals(reader, target, &pictures).await?,
    })
}

fn missing(seq: Seq) -> ExportError {
    ReadError::Corrupt(format!("event {seq} is missing")).into()
}

/// Writes one case into a folder: every event of the case, its marks, items and packages, each with its proof.
///
/// # Errors
/// See [`ExportError`].
pub async fn case(
    reader: &Reader<'_>,
    case: CaseId,
    target: &Target,
    progress: impl FnMut(u64),
) -> Result<Exported, ExportError> {
    let (files, pictures, exported) = case_folder(reader, case, progress).await?;
    prepare(target)?;
    write(target, EVENTS, &files.events)?;
    write(target, CHECKPOINT, &files.checkpoint)?;
    write(target, VKEY, &files.vkey)?;
    write(target, SUBJECTS, &files.subjects)?;
    write(target, PROOFS, files.proofs.as_deref().unwrap_or_default())?;
    Ok(Exported {
        pictures: originals(reader, target, &pictures).await?,
        ..exported
    })
}

/// The files of one case, and the pictures that its events name.
///
/// # Errors
/// See [`ExportError`].
pub async fn case_folder(
    reader: &Reader<'_>,
    case: CaseId,
    progress: impl FnMut(u64),
) -> Result<(Folder, BTreeSet<Digest>, Exported), ExportError> {
    let files = case_files(reader, case, progress).await?;
    let pictures = files.events.iter().filter_map(picture_of).collect();
    let exported = Exported {
        events: files.events.len() as u64,
        ledger_size: files.head.size,
        pictures: 0,
    };
    let whole = |e: &Event| (e.header.clone(), Line::whole(e));
    let lines: Vec<(Header, Line)> = files.events.iter().map(whole).collect();
    Ok((files.folder(&lines)?, pictures, exported))
}

/// Everything of one case that an export or a bundle is made from.
pub(super) struct CaseFiles {
    /// Its events, in order.
    pub(super) events: Vec<Event>,
    /// The checkpoint that they are proven against.
    pub(super) head: Head,
    subjects: Vec<Subject>,
    nodes: HashMap<(u32, u64), Digest>,
}

impl CaseFiles {
    /// The files of the ledger part: a line for each event, in order.
    pub(super) fn folder(&self, lines: &[(Header, Line)]) -> Result<Folder, ReadError> {
        folder::part_of(
            lines,
            &self.subjects,
            self.head.size,
            |level, index| self.nodes.get(&(u32::from(level), index)).copied(),
            &self.head.note,
            &self.head.vkey,
        )
        .map_err(|e| ReadError::Corrupt(format!("the tree: {e}")))
    }
}

/// The events of one case, its marks, items and packages, with their proofs.
///
/// # Errors
/// See [`ExportError`].
pub(super) async fn case_files(
    reader: &Reader<'_>,
    case: CaseId,
    mut progress: impl FnMut(u64),
) -> Result<CaseFiles, ExportError> {
    reader.case(case).await?;
    // The checkpoint first: what is added to the case while it is read is behind it and left out.
    let head = head(reader).await?;
    let subjects = subjects_of(reader, case).await?;
    let store = &reader.house().store;
    let mut events: BTreeMap<Seq, Event> = BTreeMap::new();
    for subject in &subjects {
        let text = subject.to_string();
        let mut after = 0;
        loop {
            let page = store.events_of(&text, after, LIST_MAX).await?;
            let Some(last) = page.last() else { break };
            after = last.n;
            for touched in page {
                let event = opened(touched.event)?;
                if event.header.seq <= head.size {
                    events.insert(event.header.seq, event);
                }
            }
            if events.len() > MAX_EVENTS {
                return Err(ExportError::TooMuch(format!(
                    "the case has more than {MAX_EVENTS} events; export the whole ledger"
                )));
            }
        }
        progress(events.len() as u64);
    }
    let mut wanted: BTreeSet<(u32, u64)> = BTreeSet::new();
    for seq in events.keys() {
        let nodes = inclusion_nodes(seq - 1, head.size);
        wanted.extend(nodes.into_iter().map(|(level, at)| (u32::from(level), at)));
    }
    let wanted: Vec<(u32, u64)> = wanted.into_iter().collect();
    let mut nodes: HashMap<(u32, u64), Digest> = HashMap::new();
    for some in wanted.chunks(KEYS_MAX) {
        for row in store.nodes(some).await? {
            let hash: [u8; 32] = row
                .hash
                .try_into()
                .map_err(|_| ReadError::Corrupt("a tree node is not 32 bytes".into()))?;
            nodes.insert((row.level, row.idx), Digest(hash));
        }
    }
    Ok(CaseFiles {
        events: events.into_values().collect(),
        head,
        subjects,
        nodes,
    })
}

/// The case, its marks, items and packages.
async fn subjects_of(reader: &Reader<'_>, case: CaseId) -> Result<Vec<Subject>, ReadError> {
    let mut out = vec![Subject::Case(case)];
    macro_rules! all {
        ($list:ident, $subject:ident) => {
            let mut part = Part::default();
            loop {
                let page = reader.$list(case, &part).await?;
                out.extend(page.rows.iter().map(|x| Subject::$subject(x.id)));
                part.after = page.next;
                if part.after.is_none() {
                    break;
                }
            }
        };
    }
    all!(marks_of, Mark);
    all!(items_of, Item);
    all!(packages_of, Package);
    Ok(out)
}

fn prepare(target: &Target) -> Result<(), ExportError> {
    let folder = &target.folder;
    fs::create_dir_all(folder).map_err(at(folder))?;
    let mut entries = fs::read_dir(folder).map_err(at(folder))?;
    if !target.overwrite && entries.next().is_some() {
        return Err(ExportError::NotEmpty(folder.clone()));
    }
    // What is left of an earlier export would make this one fail: a whole ledger has no proofs.
    for name in [EVENTS, CHECKPOINT, VKEY, PROOFS, SUBJECTS] {
        let path = folder.join(name);
        match fs::remove_file(&path) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(at(&path)(e)),
            _ => {}
        }
    }
    Ok(())
}

fn write(target: &Target, name: &str, bytes: &[u8]) -> Result<(), ExportError> {
    let path = target.folder.join(name);
    let mut file = File::create(&path).map_err(at(&path))?;
    file.write_all(bytes).map_err(at(&path))?;
    file.sync_all().map_err(at(&path))
}

/// Copies originals and working copies, each held against its digest, and lists them.
async fn originals(
    reader: &Reader<'_>,
    target: &Target,
    pictures: &BTreeSet<Digest>,
) -> Result<u64, ExportError> {
    if !target.originals || pictures.is_empty() {
        return Ok(0);
    }
    let folder = target.folder.join(ORIGINALS);
    fs::create_dir_all(&folder).map_err(at(&folder))?;
    let mut sums = String::new();
    for digest in pictures {
        let bytes = reader.house().originals.read_aside(*digest).await?;
        let path = folder.join(digest.to_string());
        fs::write(&path, bytes).map_err(at(&path))?;
        sums.push_str(&format!("{digest}  {digest}\n"));
    }
    let path = folder.join(SUMS);
    fs::write(&path, sums).map_err(at(&path))?;
    Ok(pictures.len() as u64)
}
