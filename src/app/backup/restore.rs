//! A backup put back, or shown to be one that can be.
//!
//! Everything goes into one transaction: the events as they are, and what follows from them computed anew (tree, read
//! models). It is committed only if the computed root is the one that the checkpoint was signed over. Then the database is
//! audited as any other is. The ledger's name goes in last, and a database without it is served by nobody; so a restoring
//! that stopped half-way is none.

use std::collections::{BTreeSet, HashMap};
use std::fs;
use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;
use std::sync::Arc;

use super::files::{self, Copied};
use super::lines::{LineReader, at};
use super::rows::{CheckpointLine, CommandLine, CredentialLine, FileLine, SettingLine, TokenLine};
use super::{Backup, BackupError, PAGE, Progress, Segment, Without};
use crate::app::audit::audit;
use crate::app::house::{self, DATABASE};
use crate::app::record::add;
use crate::app::site::{PLACE, Site};
use crate::app::{refreshed, replay, rows, word_index};
use crate::custody::State;
use crate::disclosure::bundle::picture_of;
use crate::ids::{Digest, Seq, Subject};
use crate::keys::sealed::SealedKeys;
use crate::keys::{self, Keys};
use crate::ledger::checkpoint::VerifyingKey;
use crate::ledger::event::{Event, Header};
use crate::ledger::export::{Line, Shown};
use crate::ledger::expunged;
use crate::ledger::merkle::Frontier;
use crate::ledger::payload::Fields;
use crate::ledger::verify::{self, Options, Verifier};
use crate::originals::Originals;
use crate::store::{Batch, CheckpointRow, NodeRow, SqliteStore, Store, WriteTx};
use crate::whole;

/// What the reader has from elsewhere.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// The ledger's key; without it the backup's own is believed.
    pub key: Option<VerifyingKey>,
    /// Checkpoints that somebody else kept: the backup must contain that history.
    pub external: Vec<String>,
}

/// What was gone through, and found good.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// How many events.
    pub events: u64,
    /// The tree's root over them.
    pub root: Digest,
    /// The key that the checkpoint is verified with.
    pub key: String,
    /// How many originals.
    pub originals: u64,
    /// Originals that were gone when the backup was made.
    pub without: Vec<Without>,
    /// Whether the keys are in it.
    pub has_keys: bool,
}

/// Shows that a backup restores: does it, with a database of its own in `scratch`, which must not be there yet and is
/// removed afterwards; the originals are held against their digests where they lie. Needs a runtime with several threads.
///
/// # Errors
/// Whatever would forbid restoring.
pub async fn check(
    folder: &Path,
    asked: &Asked,
    scratch: &Path,
    mut progress: impl FnMut(Progress) + Send,
) -> Result<Checked, BackupError> {
    let backup = Backup::find(folder)?;
    fs::create_dir(scratch).map_err(at(scratch))?;
    let done = async {
        let store = SqliteStore::open(&scratch.join(DATABASE)).await?;
        let filled = fill(folder, &backup, &store, asked, &mut progress).await;
        SqliteStore::close(&store).await;
        filled
    }
    .await;
    // What is left there is of no use to anybody.
    let removed = fs::remove_dir_all(scratch).map_err(at(scratch));
    let (named, root) = done?;
    removed?;
    let originals = Originals::at(folder.join(super::ORIGINALS));
    let originals = tokio::task::block_in_place(|| {
        files::check(&originals, &named, &backup.without, &mut progress)
    })?;
    if let Some(listed) = &backup.around.keys {
        let mut lines = LineReader::open(folder, listed)?;
        while lines.value::<SealedKeys>()?.is_some() {}
    }
    Ok(Checked {
        events: backup.head()?.size,
        root,
        key: backup.key.clone(),
        originals,
        has_keys: backup.has_keys(),
        without: backup.without,
    })
}

/// Puts a backup back into a new folder, and its rows into a database that is empty. With a passphrase the keys in the
/// backup are put back too; without one the folder may hold keys already, and nothing else.
///
/// # Errors
/// See [`BackupError`]. After an error nothing that is there can be served; remove it before trying again.
pub async fn restore(
    folder: &Path,
    site: &Site,
    asked: &Asked,
    passphrase: Option<&str>,
    mut progress: impl FnMut(Progress) + Send,
) -> Result<(Checked, Copied), BackupError> {
    let backup = Backup::find(folder)?;
    let origin = backup.verifying()?.name().to_owned();
    let put = match passphrase {
        Some(passphrase) => Some(keys_of(folder, &backup, passphrase)?),
        None => None,
    };
    empty(&site.folder, put.is_some())?;
    let there = site.folder.join(house::KEYS);
    if put.is_none() && there.exists() {
        same(&Keys::open(&there)?, &origin, &backup, &there)?;
    }
    let store = empty_store(site).await?;
    let done = async {
        let (named, root) = fill(folder, &backup, store.as_ref(), asked, &mut progress).await?;
        let from = Originals::at(folder.join(super::ORIGINALS));
        let to = site.originals(store.as_ref()).await?;
        let (copied, bad) = tokio::task::block_in_place(|| files::copy(&from, &to, &mut progress))?;
        if let Some(bad) = bad.first() {
            return Err(BackupError::Damaged(bad.why.clone()));
        }
        let originals = tokio::task::block_in_place(|| {
            files::check(&to, &named, &backup.without, &mut progress)
        })?;
        around(folder, &backup, store.as_ref(), &site.folder).await?;
        if let Some(put) = &put {
            Keys::put_back(&there, put)?;
        }
        if there.exists() {
            keys::write_public(&there, &backup.verifying()?)?;
        }
        // Its replay made every record; otherwise the first start would make them once more.
        refreshed::are_new(store.as_ref()).await?;
        store.set_setting(house::KEY, &backup.key).await?;
        // Last: from here on it is a ledger.
        store.set_setting(house::ORIGIN, &origin).await?;
        let checked = Checked {
            events: backup.head()?.size,
            root,
            key: backup.key.clone(),
            originals,
            has_keys: there.exists(),
            without: backup.without.clone(),
        };
        Ok::<_, BackupError>((checked, copied))
    }
    .await;
    store.close().await;
    done
}

fn keys_of(folder: &Path, backup: &Backup, passphrase: &str) -> Result<Keys, BackupError> {
    let listed = backup.around.keys.as_ref().ok_or(BackupError::NoKeys)?;
    let mut lines = LineReader::open(folder, listed)?;
    let sealed: SealedKeys = lines.value()?.ok_or(BackupError::NoKeys)?;
    if lines.next()?.is_some() {
        return Err(lines.wrong("there is more than one"));
    }
    let keys = sealed.open(passphrase)?;
    let origin = backup.verifying()?.name().to_owned();
    same(&keys, &origin, backup, folder)?;
    Ok(keys)
}

fn same(keys: &Keys, origin: &str, backup: &Backup, at: &Path) -> Result<(), BackupError> {
    if keys.checkpoint(origin)?.verifying_key().to_string() == backup.key {
        return Ok(());
    }
    Err(BackupError::OtherKeys {
        folder: at.to_owned(),
        key: backup.key.clone(),
    })
}

/// The folder is new or empty, or holds keys and nothing else.
fn empty(folder: &Path, brings_keys: bool) -> Result<(), BackupError> {
    fs::create_dir_all(folder).map_err(at(folder))?;
    for entry in fs::read_dir(folder).map_err(at(folder))? {
        let name = entry.map_err(at(folder))?.file_name();
        if brings_keys || name != house::KEYS {
            return Err(BackupError::NotEmpty(folder.display().to_string()));
        }
    }
    Ok(())
}

async fn empty_store(site: &Site) -> Result<Arc<dyn Store>, BackupError> {
    let store = site.make().await?;
    let is_empty = store.head().await?.size == 0 && store.settings("", 1).await?.is_empty();
    if is_empty {
        return Ok(store);
    }
    store.close().await;
    Err(BackupError::NotEmpty(format!(
        "the database {}",
        site.name()
    )))
}

/// Rows into an empty database, and everything that follows from them; then the whole database audited. Which originals
/// the events name, and the root.
async fn fill(
    folder: &Path,
    backup: &Backup,
    store: &dyn Store,
    asked: &Asked,
    progress: &mut (dyn FnMut(Progress) + Send),
) -> Result<(BTreeSet<Digest>, Digest), BackupError> {
    let key = backup.verifying()?;
    if asked.key.as_ref().is_some_and(|k| *k != key) {
        return Err(BackupError::OtherKey(backup.key.clone()));
    }
    let head = backup.head()?;
    let mut tx = store.begin().await?;
    let mut into = Filling {
        verifier: Verifier::new(key.clone(), Options { nodes: false }),
        frontier: Frontier::new(),
        state: State::default(),
        named: BTreeSet::new(),
        left: left(folder, backup)?,
    };
    for segment in &backup.segments {
        into.segment(folder, segment, tx.as_mut()).await?;
        progress(Progress::Events(segment.last, head.size));
    }
    into.documents(tx.as_mut()).await?;
    for note in &asked.external {
        into.verifier.external_checkpoint(note);
    }
    let verifier = into.verifier;
    let found = tokio::task::block_in_place(|| verifier.finish());
    if !found.is_clean() {
        return Err(BackupError::Findings(found.findings));
    }
    if into.frontier.size() != head.size || into.frontier.root() != head.root {
        return Err(BackupError::Damaged(
            "the events do not lead to the root of the backup's checkpoint".into(),
        ));
    }
    tx.commit().await?;
    // The audit holds all records once more; both at a time would be twice as much memory.
    into.state = State::default();
    let audit = audit(store, &key, &asked.external, |_| {}).await?;
    if !audit.ledger.is_clean() {
        return Err(BackupError::Findings(audit.ledger.findings));
    }
    if let Some(model) = audit.models.first() {
        return Err(BackupError::Damaged(format!(
            "{}: {}",
            model.code, model.text
        )));
    }
    Ok((into.named, head.root))
}

/// What restoring carries along.
struct Filling {
    verifier: Verifier,
    frontier: Frontier,
    state: State,
    named: BTreeSet<Digest>,
    left: HashMap<Seq, (Seq, Fields)>,
}

impl Filling {
    async fn segment(
        &mut self,
        folder: &Path,
        segment: &Segment,
        tx: &mut dyn WriteTx,
    ) -> Result<(), BackupError> {
        let mut lines = LineReader::open(folder, &segment.events)?;
        let mut is_done = false;
        while !is_done {
            let mut batch = Batch::default();
            let mut raw = Vec::new();
            while raw.len() < PAGE as usize {
                let Some(line) = lines.next()? else {
                    is_done = true;
                    break;
                };
                let line = Line::parse(line);
                let line = line.map_err(|e| lines.wrong(e.to_string()))?;
                let event = event(line, &self.left).map_err(|e| lines.wrong(e))?;
                raw.push(self.take(&event, &mut batch)?);
            }
            tokio::task::block_in_place(|| self.verifier.push(&raw));
            tx.append(batch).await?;
        }
        if self.frontier.size() != segment.last {
            return Err(lines.wrong("the file has other events than the list says"));
        }
        let mut lines = LineReader::open(folder, &segment.commands)?;
        let mut batch = Batch::default();
        while let Some(line) = lines.value::<CommandLine>()? {
            let row = line.row().ok_or_else(|| lines.wrong("no command"))?;
            batch.commands.push(row);
            if batch.commands.len() >= PAGE as usize {
                tx.append(std::mem::take(&mut batch)).await?;
            }
        }
        tx.append(batch).await?;
        let mut lines = LineReader::open(folder, &segment.checkpoints)?;
        while let Some(CheckpointLine { size, note }) = lines.value()? {
            let wrong = |e: std::num::TryFromIntError| lines.wrong(e.to_string());
            self.verifier.push_checkpoint(&verify::RawCheckpoint {
                size: i64::try_from(size).map_err(wrong)?,
                note: note.clone().into_bytes(),
            });
            let checkpoint = Some(CheckpointRow { size, note });
            tx.append(Batch {
                checkpoint,
                ..Batch::default()
            })
            .await?;
        }
        Ok(())
    }

    fn take(&mut self, event: &Event, batch: &mut Batch) -> Result<verify::RawEvent, BackupError> {
        let seq = event.header.seq;
        if seq != self.frontier.size() + 1 {
            return Err(BackupError::Damaged(format!(
                "event {} is missing",
                self.frontier.size() + 1
            )));
        }
        for node in self.frontier.append(event.leaf()) {
            batch.nodes.push(NodeRow {
                level: u32::from(node.level),
                idx: node.index,
                hash: node.hash.0.to_vec(),
            });
        }
        replay::step(&mut self.state, event)
            .map_err(|stuck| BackupError::Damaged(format!("event {}: {}", stuck.seq, stuck.why)))?;
        self.named.extend(picture_of(event));
        add(batch, event);
        Ok(verify::RawEvent {
            seq: i64::try_from(seq).unwrap_or(i64::MAX),
            id: event.header.id.to_string(),
            header: event.bytes.clone(),
            salt: event.expunged.is_none().then(|| event.salt.0.to_vec()),
            fields: event.expunged.is_none().then(|| event.fields_bytes()),
        })
    }

    /// The read models, from the state that the events led to.
    async fn documents(&self, tx: &mut dyn WriteTx) -> Result<(), BackupError> {
        let s = &self.state;
        let all = s.people.keys().map(|x| Subject::Person(*x));
        let all = all.chain(s.places.keys().map(|x| Subject::Place(*x)));
        let all = all.chain(s.cases.keys().map(|x| Subject::Case(*x)));
        let all = all.chain(s.marks.keys().map(|x| Subject::Mark(*x)));
        let all = all.chain(s.items.keys().map(|x| Subject::Item(*x)));
        let all = all.chain(s.packages.keys().map(|x| Subject::Package(*x)));
        let all: Vec<Subject> = all
            .chain(s.counts.keys().map(|x| Subject::Count(*x)))
            .collect();
        for some in all.chunks(PAGE as usize) {
            let mut batch = Batch::default();
            for subject in some {
                let row =
                    rows::row(s, *subject).map_err(|e| BackupError::Damaged(e.to_string()))?;
                batch.docs.extend(row);
                batch.words.push(word_index::row(s, *subject));
            }
            tx.append(batch).await?;
        }
        Ok(())
    }
}

/// What is left of events that were expunged, by the expungements behind them: it is needed where they stand.
fn left(folder: &Path, backup: &Backup) -> Result<HashMap<Seq, (Seq, Fields)>, BackupError> {
    let mark = expunged::KIND.as_bytes();
    let mut out = HashMap::new();
    for segment in &backup.segments {
        let mut lines = LineReader::open(folder, &segment.events)?;
        while let Some(line) = lines.next()? {
            if !line.windows(mark.len()).any(|w| w == mark) {
                continue;
            }
            let line = Line::parse(line).map_err(|e| lines.wrong(e.to_string()))?;
            // It may only speak of one.
            if let Ok(event) = event(line, &HashMap::new()) {
                let by = event.header.seq;
                let named = expunged::left(&event).into_iter();
                out.extend(named.map(|(seq, fields)| (seq, (by, fields))));
            }
        }
    }
    Ok(out)
}

/// An exported line back to the event, which is held against its own header.
fn event(line: Line, left: &HashMap<Seq, (Seq, Fields)>) -> Result<Event, String> {
    let header = line.header.into_bytes();
    let (salt, fields) = match line.payload {
        Shown::Whole { salt, fields } => (salt, fields),
        Shown::Part { .. } => return Err("a part of the event is withheld".into()),
        Shown::Expunged { by } => {
            let seq = Header::parse(&header).map_err(|e| e.to_string())?.seq;
            return match left.get(&seq) {
                Some((named_by, fields)) if *named_by == by => {
                    Event::expunged(header, by, fields.clone()).map_err(|e| e.to_string())
                }
                _ => Err(format!(
                    "event {seq} is marked as expunged by event {by}, which does not name it"
                )),
            };
        }
    };
    let fields = crate::ledger::payload::to_bytes(&fields);
    Event::open(header, salt, &fields).map_err(|e| e.to_string())
}

/// What is no event.
async fn around(
    folder: &Path,
    backup: &Backup,
    store: &dyn Store,
    data: &Path,
) -> Result<(), BackupError> {
    let around = &backup.around;
    let mut lines = LineReader::open(folder, &around.credentials)?;
    while let Some(line) = lines.value::<CredentialLine>()? {
        store.set_credential(line.row()).await?;
    }
    let mut lines = LineReader::open(folder, &around.tokens)?;
    while let Some(line) = lines.value::<TokenLine>()? {
        let row = line.row().ok_or_else(|| lines.wrong("no token"))?;
        store.create_token(row).await?;
    }
    let mut lines = LineReader::open(folder, &around.files)?;
    while let Some(FileLine { name, text }) = lines.value()? {
        if !files::is_small(&name) {
            return Err(lines.wrong("a name that no such file has"));
        }
        let path = data.join(name);
        let mut file = fs::OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o640)
            .open(&path)
            .map_err(at(&path))?;
        file.write_all(text.as_bytes())
            .and_then(|()| file.sync_all())
            .map_err(at(&path))?;
    }
    whole::sync_folder(data).map_err(at(data))?;
    let mut lines = LineReader::open(folder, &around.settings)?;
    while let Some(SettingLine { name, value }) = lines.value()? {
        // The originals lie where they were put back just now.
        if ![house::ORIGIN, house::KEY, PLACE].contains(&name.as_str()) {
            store.set_setting(&name, &value).await?;
        }
    }
    Ok(())
}
