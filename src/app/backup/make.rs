//! A backup made, or brought up to the ledger as it is now.

use std::collections::{BTreeSet, HashMap};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::Utc;

use super::files::{self, Copied};
use super::lines::{LineReader, LineWriter, at};
use super::rows::{CheckpointLine, CommandLine, CredentialLine, SettingLine, TokenLine};
use super::{
    Around, Backup, BackupError, EVENTS_IN_FILE, FORMAT, LIST, LIST_PART, LOCK, MAX_WITHOUT, PAGE,
};
use super::{Progress, Segment, Without, tidy};
use crate::app::house;
use crate::app::reader::opened;
use crate::app::site::Site;
use crate::custody::expungement::left;
use crate::disclosure::bundle::picture_of;
use crate::ids::Digest;
use crate::keys::Keys;
use crate::keys::sealed::SealedKeys;
use crate::ledger::checkpoint::{self, VerifyingKey};
use crate::ledger::event::{Event, Header};
use crate::ledger::export::Line;
use crate::ledger::expunged;
use crate::ledger::merkle::{Frontier, root_nodes};
use crate::originals::Originals;
use crate::store::{LIST_MAX, RAW_MAX, Store};
use crate::whole;

/// A ledger to be backed up, opened for that and nothing else: servers go on beside it.
pub struct Source {
    store: Arc<dyn Store>,
    folder: PathBuf,
    originals: Originals,
    key: VerifyingKey,
}

/// What a run did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// How many events the backup has now.
    pub events: u64,
    /// How many of them came with this run.
    pub new_events: u64,
    /// What became of the originals.
    pub originals: Copied,
    /// Originals that were missing or altered before; the backup is whole but for them.
    pub without: Vec<Without>,
    /// Whether the keys are in it.
    pub has_keys: bool,
}

impl Source {
    /// Opens a ledger.
    ///
    /// # Errors
    /// Where there is none.
    pub async fn open(site: &Site) -> Result<Self, BackupError> {
        let store = site.find().await?.ok_or_else(|| site.empty())?;
        let origin = store.setting(house::ORIGIN).await?;
        let key = match (&origin, store.setting(house::KEY).await?) {
            (None, _) => return Err(site.empty().into()),
            (Some(_), Some(key)) => key.parse()?,
            // Ledgers begun before the key was noted have it in their folder only.
            (Some(origin), None) => {
                let keys = Keys::open(&site.folder.join(house::KEYS))?;
                keys.checkpoint(origin)?.verifying_key().clone()
            }
        };
        let originals = site.originals(store.as_ref()).await?;
        Ok(Self {
            store,
            folder: site.folder.clone(),
            originals,
            key,
        })
    }

    /// Closes the database.
    pub async fn close(self) {
        self.store.close().await;
    }
}

/// Held by one run at a time; given up by the end of the process, however it ends.
struct Held(#[allow(dead_code)] File);

fn hold(folder: &Path) -> Result<Held, BackupError> {
    fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)
        .map_err(at(folder))?;
    let ours = [LIST, LOCK, super::ORIGINALS, "ledger", "around", LIST_PART];
    let mut listed = fs::read_dir(folder).map_err(at(folder))?.flatten();
    if listed.any(|e| !e.file_name().to_str().is_some_and(|n| ours.contains(&n))) {
        return Err(BackupError::OtherThings(folder.to_owned()));
    }
    let path = folder.join(LOCK);
    let file = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(false)
        .mode(0o600)
        .open(&path)
        .map_err(at(&path))?;
    match file.try_lock() {
        Ok(()) => Ok(Held(file)),
        Err(TryLockError::WouldBlock) => Err(BackupError::Busy(folder.to_owned())),
        Err(TryLockError::Error(e)) => Err(at(&path)(e)),
    }
}

/// Makes a backup in a folder, or brings the one in it up to the ledger as it is now. With a passphrase the keys go along.
/// The file work is done in place: call it on a runtime with several threads.
///
/// # Errors
/// See [`BackupError`]. After an error the backup that was whole before still is.
pub async fn make(
    source: &Source,
    folder: &Path,
    passphrase: Option<&str>,
    mut progress: impl FnMut(Progress) + Send,
) -> Result<Made, BackupError> {
    let _held = hold(folder)?;
    let before = match Backup::find(folder) {
        Ok(found) => Some(found),
        Err(BackupError::None(_)) => None,
        Err(e) => return Err(e),
    };
    if let Some(found) = &before
        && found.key != source.key.to_string()
    {
        return Err(BackupError::OtherLedger(found.key.clone()));
    }
    let store = source.store.as_ref();
    let latest = store.latest_checkpoint().await?.ok_or(BackupError::Empty)?;
    let head = checkpoint::open(&latest.note, &source.key)?;
    let mut frontier = Frontier::new();
    if let Some(found) = &before {
        frontier = goes_on(store, found, head.size).await?;
    }
    let had = frontier.size();
    // First the originals: every one that an event up to the checkpoint names is on disk by now.
    let from = source.originals.clone();
    let to = Originals::open(folder.join(super::ORIGINALS))?;
    let (originals, mut without) = files::copy(&from, &to, &mut progress)?;
    let mut segments = before
        .as_ref()
        .map(|b| b.segments.clone())
        .unwrap_or_default();
    let mut gone: BTreeSet<Digest> = without.iter().map(|w| w.digest).collect();
    if let Some(found) = &before {
        for old in &found.without {
            // It may have been put back meanwhile.
            if !to.exists(old.digest) && gone.insert(old.digest) {
                without.push(old.clone());
            }
        }
    }
    let mut expunged: BTreeSet<u64> = BTreeSet::new();
    while frontier.size() < head.size {
        let last = head.size.min(frontier.size() + EVENTS_IN_FILE);
        let mut visit = |event: &Event| {
            expunged.extend(expunged::names(&event.header.kind, &event.fields));
            let Some(digest) = picture_of(event) else {
                return Ok(());
            };
            if to.exists(digest) || !gone.insert(digest) {
                return Ok(());
            }
            let e = crate::originals::OriginalsError::Missing(digest);
            if without.len() >= MAX_WITHOUT {
                return Err(e.into());
            }
            without.push(Without {
                digest,
                why: e.to_string(),
            });
            Ok(())
        };
        let mut told = |done| progress(Progress::Events(done, head.size));
        segments.push(
            segment(
                store,
                folder,
                &mut frontier,
                last,
                None,
                &mut visit,
                &mut told,
            )
            .await?,
        );
    }
    if frontier.root() != head.root {
        return Err(BackupError::Damaged(
            "the events do not lead to the root of the latest checkpoint; run: liftledger verify"
                .into(),
        ));
    }
    let runs = before.as_ref().map_or(0, |b| b.runs) + 1;
    // What was expunged since goes from the files that were written before, and with it the pictures that only it named.
    let mut removed: BTreeSet<Digest> = before
        .as_ref()
        .map(|b| b.removed.iter().copied().collect())
        .unwrap_or_default();
    for old in segments.iter_mut().filter(|s| s.last <= had) {
        if expunged.range(old.first..=old.last).next().is_some() {
            removed.extend(pictures_in(folder, old, &expunged)?);
            let mut at = frontier_at(store, old.first - 1).await?;
            *old = segment(
                store,
                folder,
                &mut at,
                old.last,
                Some(runs),
                &mut |_| Ok(()),
                &mut |_| {},
            )
            .await?;
        }
    }
    // A file that the ledger itself still has to remove is left to the next run; one that another event names stays.
    let mut later = BTreeSet::new();
    for row in store.removals(LIST_MAX).await? {
        later.extend(
            row.what
                .parse::<Digest>()
                .ok()
                .filter(|d| removed.contains(d)),
        );
    }
    let mut there = BTreeSet::new();
    for digest in &removed {
        if from.has(*digest)? {
            there.insert(*digest);
        }
    }
    removed.retain(|digest| !there.contains(digest));
    let later: Vec<Digest> = later.difference(&removed).copied().collect();
    let around = around(source, folder, runs, before.as_ref(), passphrase).await?;
    let mut made = Backup {
        format: FORMAT.into(),
        runs,
        made_at: Utc::now().to_rfc3339(),
        key: source.key.to_string(),
        checkpoint: latest.note,
        segments,
        around,
        without,
        removed: removed.iter().chain(&later).copied().collect(),
        sha256: Digest([0; 32]),
    };
    put(folder, &mut made)?;
    // Only now: the list before named them.
    if !removed.is_empty() {
        for digest in removed {
            to.remove(digest)?;
        }
        made.removed = later;
        put(folder, &mut made)?;
    }
    tidy(folder, &made);
    Ok(Made {
        events: head.size,
        new_events: head.size - had,
        originals,
        has_keys: made.has_keys(),
        without: made.without,
    })
}

/// The ledger's tree at the backup's size, where it has the backup's root.
async fn goes_on(store: &dyn Store, found: &Backup, size: u64) -> Result<Frontier, BackupError> {
    let old = found.head()?;
    if size < old.size {
        return Err(BackupError::OtherHistory(old.size));
    }
    let frontier = frontier_at(store, old.size).await?;
    if frontier.root() != old.root {
        return Err(BackupError::OtherHistory(old.size));
    }
    Ok(frontier)
}

/// The pictures that events of a file of the backup brought which were expunged since.
fn pictures_in(
    folder: &Path,
    old: &Segment,
    expunged: &BTreeSet<u64>,
) -> Result<Vec<Digest>, BackupError> {
    let mut lines = LineReader::open(folder, &old.events)?;
    let mut out = Vec::new();
    let mut seq = old.first;
    while let Some(line) = lines.next()? {
        if expunged.contains(&seq) {
            let line = Line::parse(line).map_err(|e| lines.wrong(e.to_string()))?;
            let header = Header::parse(line.header.as_bytes())
                .map_err(|e| BackupError::Damaged(e.to_string()))?;
            let found = left::pictures(&header.kind, line.payload.fields());
            out.extend(found.into_iter().filter_map(|d| d.parse::<Digest>().ok()));
        }
        seq += 1;
    }
    Ok(out)
}

/// The right edge of the ledger's tree at a size.
async fn frontier_at(store: &dyn Store, size: u64) -> Result<Frontier, BackupError> {
    let at: Vec<(u32, u64)> = root_nodes(size)
        .into_iter()
        .map(|(level, index)| (u32::from(level), index))
        .collect();
    let mut nodes = HashMap::new();
    for node in store.nodes(&at).await? {
        if let Ok(hash) = <[u8; 32]>::try_from(node.hash) {
            nodes.insert((node.level, node.idx), Digest(hash));
        }
    }
    let lookup = |level, index| nodes.get(&(u32::from(level), index)).copied();
    Frontier::from_nodes(size, lookup).map_err(|e| BackupError::Damaged(e.to_string()))
}

/// Writes the events behind the frontier up to `last`, with their commands and checkpoints.
async fn segment(
    store: &dyn Store,
    folder: &Path,
    frontier: &mut Frontier,
    last: u64,
    again: Option<u64>,
    visit: &mut (dyn FnMut(&Event) -> Result<(), BackupError> + Send),
    told: &mut (dyn FnMut(u64) + Send),
) -> Result<Segment, BackupError> {
    let first = frontier.size() + 1;
    // Written again by a later run, it has that run in its name: the list before still needs the one that is there.
    let run = again.map(|run| format!(".{run:06}")).unwrap_or_default();
    let name = |what: &str| format!("ledger/{first:012}-{last:012}{run}.{what}.jsonl");
    let mut events = LineWriter::begin(folder, &name("events"))?;
    let mut commands = LineWriter::begin(folder, &name("commands"))?;
    let damaged = BackupError::Damaged;
    while frontier.size() < last {
        let from = frontier.size() + 1;
        let limit = u32::try_from(last - frontier.size())
            .unwrap_or(PAGE)
            .min(PAGE);
        let seq = i64::try_from(from).map_err(|e| damaged(e.to_string()))?;
        let page = store.events(seq, limit).await?;
        let mut ids = BTreeSet::new();
        for raw in page {
            let event = opened(raw)?;
            if event.header.seq != frontier.size() + 1 {
                return Err(damaged(format!("event {} is missing", frontier.size() + 1)));
            }
            frontier.append(event.leaf());
            visit(&event)?;
            ids.extend(event.field_str("command").map(str::to_owned));
            events.line(&Line::whole(&event).to_bytes())?;
        }
        let to = frontier.size();
        if to < from {
            return Err(damaged(format!("event {from} is missing")));
        }
        let ids: Vec<String> = ids.into_iter().collect();
        let mut answered = store.commands(&ids).await?;
        // A command with events on both sides of a page is written with its first.
        answered.retain(|c| (from..=to).contains(&c.first_seq));
        answered.sort_by(|a, b| (a.first_seq, &a.id).cmp(&(b.first_seq, &b.id)));
        for row in answered {
            commands.value(&CommandLine::from(row))?;
        }
        told(to);
    }
    let mut checkpoints = LineWriter::begin(folder, &name("checkpoints"))?;
    let mut after = i64::try_from(first).map_err(|e| damaged(e.to_string()))? - 1;
    'all: loop {
        let page = store.checkpoints(after, RAW_MAX).await?;
        for row in &page {
            let size = u64::try_from(row.size).unwrap_or(0);
            if size > last {
                break 'all;
            }
            let note = row.note.clone().and_then(|n| String::from_utf8(n).ok());
            let note = note.ok_or_else(|| {
                damaged(format!("the checkpoint over {size} events cannot be read"))
            })?;
            checkpoints.value(&CheckpointLine { size, note })?;
        }
        match page.last() {
            Some(row) => after = row.size,
            None => break,
        }
    }
    Ok(Segment {
        first,
        last,
        events: events.finish()?,
        commands: commands.finish()?,
        checkpoints: checkpoints.finish()?,
    })
}

/// What is no event: password hashes, tokens, settings, the agency's files, and the keys where they are asked for.
async fn around(
    source: &Source,
    folder: &Path,
    run: u64,
    before: Option<&Backup>,
    passphrase: Option<&str>,
) -> Result<Around, BackupError> {
    let store = source.store.as_ref();
    let name = |what: &str| format!("around/{run:06}.{what}.jsonl");
    let mut credentials = LineWriter::begin(folder, &name("credentials"))?;
    let mut after = String::new();
    loop {
        let page = store.credentials(&after, LIST_MAX).await?;
        let Some(last) = page.last() else { break };
        after = last.person.clone();
        for row in page {
            credentials.value(&CredentialLine::from(row))?;
        }
    }
    let mut tokens = LineWriter::begin(folder, &name("tokens"))?;
    let mut after = Vec::new();
    loop {
        let page = store.tokens(&after, LIST_MAX).await?;
        let Some(last) = page.last() else { break };
        after = last.token_hash.clone();
        for row in page {
            tokens.value(&TokenLine::from(row))?;
        }
    }
    let mut settings = LineWriter::begin(folder, &name("settings"))?;
    let mut after = String::new();
    loop {
        let page = store.settings(&after, LIST_MAX).await?;
        let Some((last, _)) = page.last() else { break };
        after = last.clone();
        for (name, value) in page {
            settings.value(&SettingLine { name, value })?;
        }
    }
    let mut small = LineWriter::begin(folder, &name("files"))?;
    for file in files::small(&source.folder)? {
        small.value(&file)?;
    }
    let keys = match passphrase {
        Some(passphrase) => {
            let keys = Keys::open(&source.folder.join(house::KEYS))?;
            let sealed = SealedKeys::seal(&keys, &source.key.to_string(), passphrase)?;
            let mut out = LineWriter::begin(folder, &name("keys"))?;
            out.value(&sealed)?;
            Some(out.finish()?)
        }
        // Those that were put in before stay.
        None => before.and_then(|b| b.around.keys.clone()),
    };
    Ok(Around {
        credentials: credentials.finish()?,
        tokens: tokens.finish()?,
        settings: settings.finish()?,
        files: small.finish()?,
        keys,
    })
}

/// Puts the list in its place, whole or not at all.
fn put(folder: &Path, list: &mut Backup) -> Result<(), BackupError> {
    let path = folder.join(LIST);
    let text = list.text().map_err(|e| BackupError::Unreadable {
        path: path.clone(),
        why: e.to_string(),
    })?;
    whole::write(&path, folder.join(LIST_PART), &text, 0o600).map_err(at(&path))
}
