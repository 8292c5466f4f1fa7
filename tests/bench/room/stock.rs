//! A storeroom of any size in either database: things taken over from another record, each in a sealed package, then handed
//! about. Made by the real stage; only the commits are larger than life, and what is over is let go from memory.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use liftledger::app::word_index::{may_change, words};
use liftledger::app::{Recorded, Stage, StageError, rows};
use liftledger::custody::import::{Import, ImportRow, derived};
use liftledger::custody::{Act, Actor, Command, Signed, State, hand_over, person, place};
use liftledger::ids::{CaseId, Code, Digest, ItemId, PackageId, PersonId, Piece, PlaceId, Subject};
use liftledger::ledger::checkpoint::{self, Checkpoint, Key};
use liftledger::ledger::event::Source;
use liftledger::ledger::merkle::Frontier;
use liftledger::people::Role;
use liftledger::store::{Batch, CheckpointRow, CommandRow, NodeRow, Store, WordsRow};
use liftledger::trade::TradeRules;

use super::base::Base;
use crate::build::{RECORDS, add, key};
use crate::figure::note;

/// Events in one commit, about.
const COMMIT: usize = 4_000;
/// Items of a case.
const IN_A_CASE: u64 = 50;
/// Rows of an import command.
const ROWS: u64 = 200;
/// Custodians, so that as many may ask at once.
const CUSTODIANS: usize = 40;
/// Things that wait at the intake counter.
pub const WAITING: u64 = 200;
/// Things that stand in the first place at the least.
const IN_FIRST: u64 = 200;
/// The setting that says by which rules words were made; a server fills the index anew where it does not find it.
const WORDS: (&str, &str) = ("word-index", "1");

/// What things are called here, by turns and by chance: the first are in most descriptions, the last in few.
pub const NAMES: [&str; 40] = [
    "lift", "cast", "rail", "hatch", "boat", "print", "blue", "red", "door", "locker", "sill",
    "heel", "palm", "thumb", "tape", "card", "box", "varnish", "steel", "oak", "rudder", "cleat",
    "winch", "anchor", "bilge", "cabin", "deck", "engine", "fender", "galley", "hull", "jib",
    "keel", "lantern", "mast", "oar", "paddle", "rope", "sail", "tiller",
];

/// Memory for pages while a database is filled, in MiB: new rows of a commit go to as many pages as there are rows of indexes.
pub const FILLING: u32 = 2_048;

/// Numbers that look random and are the same in each run (xorshift; the three shifts are Marsaglia's, from memory).
pub struct Dice(pub u64);

impl Dice {
    pub fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % n
    }

    /// The smaller of two, so that the first words are more frequent than the last.
    pub fn word(&mut self) -> &'static str {
        let n = NAMES.len() as u64;
        let at = self.below(n).min(self.below(n));
        NAMES[usize::try_from(at).unwrap()]
    }
}

/// The number of a case.
pub fn case_number(case: u64) -> String {
    format!("HC-{:02}-{:05}", case % 40, case)
}

pub fn item_id(n: u64) -> ItemId {
    ItemId(derived(&format!("bench item {n}")))
}

pub fn package_of(item: ItemId) -> PackageId {
    PackageId(derived(&format!("package of {item}")))
}

pub fn seal_of(n: u64) -> String {
    format!("{n:08}")
}

/// How large.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    pub items: u64,
    /// At least as many as it takes to have them and what waits, is out, and is overdue.
    pub events: u64,
}

/// Who is there.
#[derive(Clone, Debug)]
pub struct People {
    pub custodians: Vec<PersonId>,
    pub tech: PersonId,
    pub examiner: PersonId,
}

/// A thing at the intake counter.
#[derive(Clone, Debug)]
pub struct Brought {
    pub piece: Piece,
    pub code: Code,
    pub seal: String,
}

/// What was made.
pub struct Stock {
    pub people: People,
    pub places: Vec<PlaceId>,
    pub cases: Vec<CaseId>,
    /// Released to the first custodian.
    pub brought: Vec<Brought>,
    pub items: u64,
    pub events: u64,
    pub overdue: u64,
    pub took: Duration,
}

/// Fills an empty database.
pub async fn fill(store: &Arc<dyn Store>, size: Size, base: &Base) -> Stock {
    let began = Instant::now();
    let indexes = base.put_aside().await;
    let (send, mut receive) = tokio::sync::mpsc::channel::<Batch>(2);
    let making = tokio::task::spawn_blocking(move || Making::new(size, send).run());
    let (mut done, mut said) = (0, Instant::now());
    while let Some(batch) = receive.recv().await {
        done += batch.events.len();
        let mut tx = store.begin().await.unwrap();
        tx.append(batch).await.unwrap();
        tx.commit().await.unwrap();
        if said.elapsed() > Duration::from_secs(20) {
            said = Instant::now();
            note(&format!(
                "{done} events after {:.0} s",
                began.elapsed().as_secs_f64()
            ));
        }
    }
    let mut stock = making.await.unwrap();
    store.set_setting("origin", key().name()).await.unwrap();
    for (name, value) in [WORDS, RECORDS] {
        store.set_setting(name, value).await.unwrap();
    }
    note(&format!(
        "filled after {:.0} s",
        began.elapsed().as_secs_f64()
    ));
    base.put_back(indexes).await;
    stock.took = began.elapsed();
    stock
}

type Who = Option<(PersonId, Role)>;

struct Making {
    size: Size,
    send: tokio::sync::mpsc::Sender<Batch>,
    stage: Stage,
    trade: Arc<TradeRules>,
    key: Key,
    now: DateTime<Utc>,
    batch: Batch,
    changed: BTreeSet<Subject>,
    worded: BTreeSet<Subject>,
    /// People and places, which stay in memory.
    base: State,
    dice: Dice,
    overdue: u64,
}

impl Making {
    fn new(size: Size, send: tokio::sync::mpsc::Sender<Batch>) -> Self {
        let trade = Arc::new(TradeRules::load_embedded().unwrap());
        let rules = trade.version().to_owned();
        Self {
            size,
            send,
            stage: Stage::new(State::default(), Frontier::new(), None, rules),
            trade,
            key: key(),
            now: Utc::now() - TimeDelta::days(90),
            batch: Batch::default(),
            changed: BTreeSet::new(),
            worded: BTreeSet::new(),
            base: State::default(),
            dice: Dice(0x9e37_79b9_7f4a_7c15),
            overdue: 0,
        }
    }

    fn run(mut self) -> Stock {
        let people = self.people();
        let keeper: Who = Some((people.custodians[0], Role::Custodian));
        let places = self.places(keeper);
        self.flush();
        self.base = self.stage.state.clone();
        // As many are out and overdue as fill the first part of the list, or one in a hundred.
        let stored = self.size.items.saturating_sub(WAITING);
        let out = (self.size.items / 100)
            .max(600)
            .min(stored.saturating_sub(IN_FIRST));
        let every = (stored / out.max(1)).max(1);
        let mut cases = Vec::new();
        let mut first = 0;
        while first < self.size.items {
            let brought = first >= stored;
            let end = (first + ROWS).min(if brought { self.size.items } else { stored });
            self.import(keeper, first..end, (!brought).then_some(&places));
            if !brought {
                for n in first..end {
                    if n >= IN_FIRST && n % every == 0 && self.overdue < out {
                        self.lend(&people, n);
                    }
                }
                self.handle(&people, &places, first..end, every);
            } else {
                for n in first..end {
                    self.bring(&people, n);
                }
            }
            first = end;
            if self.batch.events.len() >= COMMIT {
                cases.extend(self.stage.state.cases.keys().copied());
                self.flush();
            }
        }
        cases.extend(self.stage.state.cases.keys().copied());
        self.flush();
        cases.sort_unstable();
        cases.dedup();
        let brought = (stored..self.size.items).map(|n| {
            let package = package_of(item_id(n));
            Brought {
                piece: Piece::Package(package),
                code: Code::of(Subject::Package(package)).unwrap(),
                seal: seal_of(n),
            }
        });
        Stock {
            brought: brought.collect(),
            people,
            places,
            cases,
            items: self.size.items,
            events: self.stage.size(),
            overdue: self.overdue,
            took: Duration::ZERO,
        }
    }

    fn people(&mut self) -> People {
        let mut person = |by: Who, user_name: String, name: String, role| {
            let number = format!("N-{user_name}");
            let roles = [role].into();
            let add = person::AddPerson {
                user_name,
                name,
                number,
                roles,
            };
            PersonId(self.take(by, Act::AddPerson(add)))
        };
        let admin = person(None, "iva".into(), "Iva Tarn".into(), Role::Administrator);
        let by = Some((admin, Role::Administrator));
        let tech = person(by, "tessa".into(), "Tessa Odell".into(), Role::Technician);
        let examiner = person(by, "edda".into(), "Edda Voss".into(), Role::Examiner);
        let custodians = (0..CUSTODIANS)
            .map(|n| {
                person(
                    by,
                    format!("cleo{n}"),
                    format!("Cleo Marsh {n}"),
                    Role::Custodian,
                )
            })
            .collect();
        People {
            custodians,
            tech,
            examiner,
        }
    }

    /// A room, and shelves in it.
    fn places(&mut self, by: Who) -> Vec<PlaceId> {
        let shelves = (self.size.items / 500).max(200);
        let mut place = |name: String, kind, parent| {
            let add = place::AddPlace {
                name,
                kind,
                parent,
                climate: "temperature-controlled".into(),
                damp: false,
                lit: false,
                hot: false,
                dusty: false,
                on_edge: false,
                stacked: false,
                biohazard_marked: false,
            };
            PlaceId(self.take(by, Act::AddPlace(add)))
        };
        let room = place("Store".into(), place::PlaceKind::Room, None);
        (0..shelves)
            .map(|n| place(format!("A-{n:05}"), place::PlaceKind::Shelf, Some(room)))
            .collect()
    }

    fn import(&mut self, by: Who, which: std::ops::Range<u64>, places: Option<&Vec<PlaceId>>) {
        let rows = which.map(|n| {
            let at = if n < IN_FIRST {
                0
            } else {
                n % places.map_or(1, |p| p.len() as u64)
            };
            ImportRow {
                row: n + 1,
                item: item_id(n),
                case: case_number(n / IN_A_CASE),
                case_title: format!("{} and {}", self.dice.word(), self.dice.word()),
                former: format!("OS-{n:07}"),
                description: format!(
                    "{} {} of {}",
                    self.dice.word(),
                    self.dice.word(),
                    self.dice.word()
                ),
                form: "card-lift".into(),
                medium: "tape".into(),
                method: String::new(),
                object: self.dice.word().into(),
                place: places.map_or_else(String::new, |_| format!("A-{at:05}")),
                holder: String::new(),
                container: "paper envelope".into(),
                seal: seal_of(n),
                received_on: None,
                note: String::new(),
            }
        });
        let import = Import {
            file: "bench.csv".into(),
            digest: Digest([7; 32]),
            rows: rows.collect(),
        };
        self.take(by, Act::Import(import));
    }

    fn give(&mut self, n: u64, from: Who, to: Who, due_at: Option<DateTime<Utc>>) {
        let piece = Piece::Package(package_of(item_id(n)));
        let release = hand_over::Release {
            piece,
            to: to.unwrap().0,
            purpose: "Comparison".into(),
            authority: String::new(),
            due_at: due_at.map(|t| t.fixed_offset()),
            unsealed_reason: None,
        };
        self.take(from, Act::Release(release));
    }

    fn get(&mut self, n: u64, who: Who) {
        let receive = hand_over::Receive {
            piece: Piece::Package(package_of(item_id(n))),
            seal_seen: seal_of(n),
            condition: hand_over::Condition::Intact,
            note: String::new(),
        };
        self.take(who, Act::Receive(receive));
    }

    fn store(&mut self, n: u64, who: Who, place: PlaceId) {
        let store = place::Store {
            piece: Piece::Package(package_of(item_id(n))),
            place,
            overridden: None,
            unsealed_reason: None,
        };
        self.take(who, Act::Store(store));
    }

    /// Out with the examiner since long ago, due back long ago.
    fn lend(&mut self, people: &People, n: u64) {
        let keeper = Some((people.custodians[0], Role::Custodian));
        let examiner = Some((people.examiner, Role::Examiner));
        let due = self.now + TimeDelta::days(14);
        self.give(n, keeper, examiner, Some(due));
        self.get(n, examiner);
        self.overdue += 1;
    }

    /// At the counter of the first custodian, brought by the technician.
    fn bring(&mut self, people: &People, n: u64) {
        let keeper = Some((people.custodians[0], Role::Custodian));
        let tech = Some((people.tech, Role::Technician));
        self.give(n, keeper, tech, None);
        self.get(n, tech);
        self.give(n, tech, keeper, None);
    }

    /// Out and back, or off the shelf and onto it again, until there are as many events as there are to be by now.
    fn handle(
        &mut self,
        people: &People,
        places: &[PlaceId],
        which: std::ops::Range<u64>,
        every: u64,
    ) {
        let keeper = Some((people.custodians[0], Role::Custodian));
        let examiner = Some((people.examiner, Role::Examiner));
        let wanted = self.size.events / self.size.items * which.end;
        let mut long = true;
        let mut before = u64::MAX;
        while self.stage.size() < wanted && self.stage.size() != before {
            before = self.stage.size();
            for n in which.clone() {
                if n >= IN_FIRST && n % every == 0 {
                    continue; // it is out
                }
                if self.stage.size() >= wanted {
                    break;
                }
                let at = if n < IN_FIRST {
                    0
                } else {
                    n % places.len() as u64
                };
                let shelf = places[usize::try_from(at).unwrap()];
                if long && n % 2 == 0 {
                    let due = self.now + TimeDelta::days(30);
                    self.give(n, keeper, examiner, Some(due));
                    self.get(n, examiner);
                    self.give(n, examiner, keeper, None);
                    self.get(n, keeper);
                } else {
                    let fetch = place::Fetch {
                        piece: Piece::Package(package_of(item_id(n))),
                        purpose: "Looked at".into(),
                    };
                    self.take(keeper, Act::Fetch(fetch));
                }
                self.store(n, keeper, shelf);
            }
            long = false;
        }
    }

    /// What it creates bears the command's identifier.
    fn take(&mut self, by: Who, act: Act) -> uuid::Uuid {
        let command = Command::now(act);
        let actor = by.map_or_else(Actor::system, |(id, role)| Actor {
            id: Some(id),
            roles: [role].into(),
            signed: Signed::Password,
            beside: None,
        });
        self.now += TimeDelta::milliseconds(200);
        let taken = loop {
            let taken = self.stage.take(
                self.trade.as_ref(),
                &actor,
                &command,
                Source::Desk,
                self.now,
            );
            match taken {
                Err(StageError::CountMissing(_)) => {
                    // Nothing of it is there yet.
                    for subject in self.stage.missing().to_vec() {
                        self.stage.count(subject, 0);
                    }
                }
                taken => break taken.unwrap(),
            }
        };
        for event in &taken.events {
            let touched = event.header.touches.iter().map(|t| t.subject);
            self.changed.extend(touched.clone());
            if may_change(&event.header.kind) {
                self.worded.extend(touched);
            }
            add(&mut self.batch, event);
        }
        // What events change beside what they touch: how much stands in the places around one.
        self.changed.append(&mut self.stage.state.also);
        self.batch.nodes.extend(taken.nodes.iter().map(|n| NodeRow {
            level: u32::from(n.level),
            idx: n.index,
            hash: n.hash.0.to_vec(),
        }));
        let seq = taken.events[0].header.seq;
        let count = taken.events.len() as u64;
        let answer = Recorded {
            seq,
            count,
            created: command.creates(),
        };
        self.batch.commands.push(CommandRow {
            id: command.id.to_string(),
            fingerprint: vec![0; 32],
            actor: by.map_or_else(String::new, |(id, _)| id.to_string()),
            answer: serde_json::to_string(&answer).unwrap(),
            first_seq: seq,
            count,
        });
        command.id.0
    }

    fn flush(&mut self) {
        if self.batch.events.is_empty() {
            return;
        }
        let mut batch = std::mem::take(&mut self.batch);
        for subject in std::mem::take(&mut self.changed) {
            batch
                .docs
                .extend(rows::row(&self.stage.state, subject).unwrap());
        }
        for subject in std::mem::take(&mut self.worded) {
            batch.words.push(WordsRow {
                subject: subject.to_string(),
                kind: subject.kind().into(),
                words: words(&self.stage.state, subject),
            });
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
        if !self.base.people.is_empty() {
            // How much stands in each place goes on.
            self.base.places = std::mem::take(&mut self.stage.state.places);
            self.stage.state = self.base.clone();
        }
    }
}
