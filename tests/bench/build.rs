//! A large ledger in a file, made by the real stage: every event is decided, committed to and applied; only the commits
//! are larger than life.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::{Duration, Instant};

use chrono::{TimeDelta, Utc};
use liftledger::app::house::{House, KEYS};
use liftledger::app::{Recorded, Stage, rows};
use liftledger::custody::State;
use liftledger::ids::Subject;
use liftledger::keys::Keys;
use liftledger::ledger::checkpoint::{self, Checkpoint, Key};
use liftledger::ledger::event::{Event, Source};
use liftledger::ledger::merkle::Frontier;
use liftledger::store::{
    Accounts as _, Batch, CheckpointRow, CommandRow, EventRow, NodeRow, PayloadRow, SealRow,
    SqliteStore, Store as _, TouchRow,
};
use liftledger::trade::TradeRules;
use tempfile::TempDir;

use super::yard::{ITEMS_A_CASE, Lift, Step, Yard};

/// Events in one commit.
const COMMIT: usize = 4_000;

/// A folder on the disk that the program is built on: a folder for temporary files may be memory.
pub fn folder() -> TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap()
}

/// What the key of every ledger here is made of.
pub const SEED: [u8; 32] = [7; 32];

/// The setting that says which version made the records; a server replays the whole ledger where it does not find it.
pub const RECORDS: (&str, &str) = ("records", "2");

pub fn key() -> Key {
    Key::new(&SEED, "ledger.example/bench").unwrap()
}

/// A ledger in a file.
pub struct Built {
    pub store: SqliteStore,
    pub yard: Yard,
    /// Items whose story is whole.
    pub lifts: Vec<Lift>,
    pub size: u64,
    pub bytes: u64,
    pub took: Duration,
    folder: TempDir,
}

/// Builds a ledger of so many events, or of as many as there is time for.
pub async fn build(events: u64, most: Duration) -> Built {
    let began = Instant::now();
    let folder = folder();
    let path = folder.path().join("ledger.db");
    let store = SqliteStore::open(&path).await.unwrap();
    let (send, mut receive) = tokio::sync::mpsc::channel::<Batch>(2);
    let staging =
        tokio::task::spawn_blocking(move || Staging::new(events, began + most, send).run());
    while let Some(batch) = receive.recv().await {
        let mut tx = store.begin().await.unwrap();
        tx.append(batch).await.unwrap();
        tx.commit().await.unwrap();
    }
    let (yard, lifts, size) = staging.await.unwrap();
    let bytes = std::fs::metadata(&path).unwrap().len();
    Built {
        store,
        yard,
        lifts,
        size,
        bytes,
        took: began.elapsed(),
        folder,
    }
}

impl Built {
    /// The same as a server has it: keys, originals, a writer, and an account for the technician. The store stays open
    /// beside it, as a second reader of the same file.
    pub async fn house(&self) -> House {
        let folder = self.folder.path();
        Keys::create(&folder.join(KEYS)).unwrap();
        self.store
            .set_setting("origin", key().name())
            .await
            .unwrap();
        let (name, version) = RECORDS;
        self.store.set_setting(name, version).await.unwrap();
        House::open(folder).await.unwrap()
    }
}

struct Staging {
    most: u64,
    until: Instant,
    send: tokio::sync::mpsc::Sender<Batch>,
    stage: Stage,
    trade: Arc<TradeRules>,
    key: Key,
    now: chrono::DateTime<Utc>,
    batch: Batch,
    changed: BTreeSet<Subject>,
    /// Stories that are over, so that what they were about need not stay in memory.
    over: Vec<Lift>,
}

impl Staging {
    fn new(most: u64, until: Instant, send: tokio::sync::mpsc::Sender<Batch>) -> Self {
        let trade = Arc::new(TradeRules::load_embedded().unwrap());
        let stage = Stage::new(
            State::default(),
            Frontier::new(),
            None,
            trade.version().to_owned(),
        );
        Self {
            most,
            until,
            send,
            stage,
            trade,
            key: key(),
            now: Utc::now() - TimeDelta::days(60),
            batch: Batch::default(),
            changed: BTreeSet::new(),
            over: vec![],
        }
    }

    fn run(mut self) -> (Yard, Vec<Lift>, u64) {
        let mut lifts = Vec::new();
        let (yard, steps) = Yard::begin();
        self.take(&steps);
        'cases: for case in 1.. {
            let (scene, steps) = yard.case(case);
            if !self.take(&steps) {
                break;
            }
            for _ in 0..ITEMS_A_CASE {
                let put_on = (self.now + TimeDelta::seconds(2)).fixed_offset();
                let (lift, steps) = yard.lift(scene, lifts.len() + 1, put_on);
                if !self.take(&steps) {
                    break 'cases;
                }
                self.over.push(lift.clone());
                lifts.push(lift);
            }
        }
        self.flush();
        (yard, lifts, self.stage.size())
    }

    /// Whether all of it was taken.
    fn take(&mut self, steps: &[Step]) -> bool {
        for step in steps {
            if self.stage.size() >= self.most {
                return false;
            }
            self.now += TimeDelta::seconds(1);
            let taken = self
                .stage
                .take(
                    self.trade.as_ref(),
                    &step.actor(),
                    &step.command,
                    Source::Desk,
                    self.now,
                )
                .unwrap();
            for event in &taken.events {
                self.changed
                    .extend(event.header.touches.iter().map(|t| t.subject));
                add(&mut self.batch, event);
            }
            self.changed.append(&mut self.stage.state.also);
            self.batch.nodes.extend(taken.nodes.iter().map(|n| NodeRow {
                level: u32::from(n.level),
                idx: n.index,
                hash: n.hash.0.to_vec(),
            }));
            let seq = taken.events[0].header.seq;
            let answer = Recorded {
                seq,
                count: 1,
                created: step.command.creates(),
            };
            self.batch.commands.push(CommandRow {
                id: step.command.id.to_string(),
                fingerprint: vec![0; 32],
                actor: step.by.map_or_else(String::new, |(id, _)| id.to_string()),
                answer: serde_json::to_string(&answer).unwrap(),
                first_seq: seq,
                count: 1,
            });
        }
        if self.batch.events.len() >= COMMIT {
            self.flush();
            return Instant::now() < self.until;
        }
        true
    }

    fn flush(&mut self) {
        if self.batch.events.is_empty() {
            return; // time ran out just after a commit
        }
        let mut batch = std::mem::take(&mut self.batch);
        for subject in std::mem::take(&mut self.changed) {
            batch
                .docs
                .extend(rows::row(&self.stage.state, subject).unwrap());
        }
        for lift in self.over.drain(..) {
            self.stage.state.marks.remove(&lift.mark);
            self.stage.state.items.remove(&lift.item);
            self.stage.state.packages.remove(&lift.package);
            self.stage.state.seals.remove(&lift.seal);
        }
        let head = Checkpoint {
            origin: self.key.name().to_owned(),
            size: self.stage.size(),
            root: self.stage.frontier().root(),
        };
        let note = checkpoint::sign(&head, &self.key).unwrap();
        batch.checkpoint = Some(CheckpointRow {
            size: head.size,
            note,
        });
        self.send.blocking_send(batch).unwrap();
    }
}

/// The rows of an event but its documents.
pub fn add(batch: &mut Batch, event: &Event) {
    let seq = event.header.seq;
    batch.events.push(EventRow {
        seq,
        id: event.header.id.to_string(),
        header: event.bytes.clone(),
    });
    batch.payloads.push(PayloadRow {
        seq,
        salt: event.salt.0.to_vec(),
        fields: event.fields_bytes(),
    });
    for touch in &event.header.touches {
        batch.touches.push(TouchRow {
            subject: touch.subject.to_string(),
            n: touch.n,
            seq,
        });
    }
    // A package that was taken over from another record brings its seal along.
    let sealed = matches!(
        event.header.kind.as_str(),
        "package.sealed" | "item.imported"
    );
    if let Some(number) = event.field_str("seal").filter(|_| sealed) {
        let package = event
            .header
            .touches
            .iter()
            .find(|t| matches!(t.subject, Subject::Package(_)))
            .unwrap();
        batch.seals.push(SealRow {
            number: number.to_owned(),
            package: package.subject.to_string(),
            seq,
        });
    }
}
