//! Many people's commands by chance through the real recorder, held after each against a small model of the room
//! ([`shadow`]); at the end the whole database is checked, and every finding names events that there are.
//!
//! `LIFTLEDGER_MODEL_COMMANDS` says how many, `LIFTLEDGER_MODEL_SEED` by which seed; a failure prints both.
#![allow(dead_code)]

mod acts;
mod dice;
mod shadow;

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use chrono::{DateTime, Duration, TimeZone as _, Utc};
use futures_util::future::join_all;
use liftledger::app::audit::audit;
use liftledger::app::house::House;
use liftledger::app::site::Site;
use liftledger::app::views::told;
use liftledger::app::{RecordError, Recorded, Sent};
use liftledger::clock::TestClock;
use liftledger::custody::{Act, Command, Signed};
use liftledger::ids::{CommandId, PersonId, Piece, PlaceId, Subject};
use liftledger::ledger::event::Source;
use liftledger::people::Role;
use liftledger::store::{Cursor, DocFilter, LIST_MAX};

use acts::{Asked, Maker, NOT_MADE, SELDOM};
use shadow::{Figures, Person, Shadow};

/// The seed of the run that the tests always make.
pub const SEED: u64 = 20_261_126;
/// The people of the beginning: none of them is switched off or given other roles.
const STAFF: [Role; acts::STAFF] = [
    Role::Administrator,
    Role::Technician,
    Role::Technician,
    Role::Custodian,
    Role::Custodian,
    Role::Examiner,
    Role::Examiner,
    Role::CourtLiaison,
    Role::Supervisor,
    Role::Supervisor,
    Role::Auditor,
];
/// After so many commands every record is held against the model, not only those that changed.
const WHOLE: usize = 250;

/// A number from the environment.
pub fn asked(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

/// What a run came to.
#[derive(Debug, Default)]
pub struct Came {
    pub commands: usize,
    pub done: usize,
    pub refused: usize,
    pub again: usize,
    pub conflicts: usize,
    pub events: u64,
    pub things: usize,
    pub disposed: usize,
    pub findings: usize,
    /// Of each act, how many were carried out and refused.
    pub acts: BTreeMap<&'static str, (usize, usize)>,
    /// Of each act, by which rules.
    pub rules: BTreeMap<&'static str, BTreeMap<String, usize>>,
}

impl Came {
    /// Every act is carried out and refused, or named with a reason.
    pub fn made_every_act(&self) {
        for (word, ..) in Act::TABLE {
            let named = NOT_MADE
                .iter()
                .any(|(not, why)| not == word && !why.is_empty());
            let (done, refused) = self.acts.get(word).copied().unwrap_or_default();
            if done == 0 && refused > 0 && SELDOM.contains(word) {
                continue;
            }
            assert!(
                named != (done > 0),
                "{word} was carried out {done} times; refused by {:?}",
                self.rules.get(word)
            );
        }
        for (not, _) in NOT_MADE {
            assert!(
                Act::TABLE.iter().any(|(word, ..)| word == not),
                "no act {not}"
            );
        }
    }
}

struct Run {
    house: House,
    clock: Arc<TestClock>,
    room: Shadow,
    make: Maker,
    came: Came,
    /// What was carried out, and the answer.
    before: Vec<(Sent, Recorded)>,
    answers: HashMap<CommandId, Recorded>,
    /// Commands that were made and not sent yet.
    late: Vec<Asked>,
    /// The record of each thing as it was last read.
    docs: HashMap<String, String>,
    /// The figures of each place as they were last looked at.
    figures: Vec<Figures>,
}

/// What is to come of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Expected {
    Either,
    /// The answer that there was.
    Again,
    Conflict,
}

/// Runs so many commands on a new ledger.
pub async fn run(site: impl Into<Site>, seed: u64, commands: usize) -> Came {
    eprintln!("again by: LIFTLEDGER_MODEL_SEED={seed} LIFTLEDGER_MODEL_COMMANDS={commands}");
    let mut run = Run::begin(site.into(), seed).await;
    let mut whole = WHOLE;
    while run.came.commands < commands {
        run.some().await;
        if run.came.commands >= whole {
            run.everything().await;
            whole += WHOLE;
        }
    }
    run.finish().await
}

impl Run {
    async fn begin(site: Site, seed: u64) -> Self {
        let now = Utc.with_ymd_and_hms(2026, 3, 4, 9, 0, 0).unwrap();
        let clock = Arc::new(TestClock::at(now));
        std::fs::create_dir_all(&site.folder).unwrap();
        let schedule = include_str!("../../../seed/demo/retention.toml");
        std::fs::write(site.folder.join("retention.toml"), schedule).unwrap();
        let house = House::begin_at(&site, "ledger.example/harrow-cove", clock.clone());
        let mut run = Self {
            house: house.await.unwrap(),
            clock,
            room: Shadow::default(),
            make: Maker::new(seed, now),
            came: Came::default(),
            before: vec![],
            answers: HashMap::new(),
            late: vec![],
            docs: HashMap::new(),
            figures: vec![],
        };
        for n in 0..40_u8 {
            let kept = run.house.originals.keep(&[n; 9]).unwrap();
            run.make.kept.push(kept.digest);
        }
        for (n, role) in STAFF.into_iter().enumerate() {
            let user_name = format!("p{n}");
            let add = Act::AddPerson(liftledger::custody::person::AddPerson {
                user_name: user_name.clone(),
                name: format!("Name of {user_name}"),
                number: format!("N-{n}"),
                roles: [role].into(),
            });
            let id = run.must((n > 0).then_some(0), add).await;
            run.room.people.push(Person {
                id: PersonId(id),
                user_name,
                roles: [role].into(),
                active: true,
            });
        }
        for fields in [
            serde_json::json!({"do": "open-case", "number": "HC-26-0001", "title": "Boatyard", "offence": "burglary"}),
            serde_json::json!({"do": "add-place", "name": "Shelf 1", "kind": "shelf", "climate": "room-temperature"}),
            serde_json::json!({"do": "add-place", "name": "Shelf 2", "kind": "shelf", "climate": "temperature-controlled"}),
        ] {
            let act: Act = serde_json::from_value(fields).unwrap();
            let who = if act.word() == "open-case" { 1 } else { 3 };
            let id = run.must(Some(who), act.clone()).await;
            run.room.took(who, None, id, &act).unwrap();
        }
        run
    }

    async fn must(&mut self, who: Option<usize>, act: Act) -> uuid::Uuid {
        let command = Command::now(act);
        let id = command.id.0;
        let sent = Sent {
            person: who.map(|p| self.room.people[p].id),
            signed: if who.is_some() {
                Signed::Password
            } else {
                Signed::System
            },
            beside: None,
            source: Source::Desk,
            command,
        };
        self.house.recorder.record(sent).await.unwrap();
        id
    }

    fn sent(&self, asked: &Asked) -> Sent {
        Sent {
            person: Some(self.room.people[asked.who].id),
            signed: asked.signed,
            beside: asked.beside.map(|p| self.room.people[p].id),
            source: Source::Desk,
            command: asked.command.clone(),
        }
    }

    /// One command, and what is to come of it.
    fn plan(&mut self) -> (Sent, Expected) {
        let earlier = self.make.dice.below(self.before.len().max(1));
        match self.make.dice.below(100) {
            // Sent again, and sent again with other content.
            0..5 if !self.before.is_empty() => (self.before[earlier].0.clone(), Expected::Again),
            5..7 if !self.before.is_empty() => {
                let other = self.make.next(&self.room);
                let mut sent = self.before[earlier].0.clone();
                if sent.command.act == other.command.act {
                    return (sent, Expected::Again);
                }
                sent.command.act = other.command.act;
                (sent, Expected::Conflict)
            }
            // Filled in long ago and sent now.
            7..12 if self.late.len() > 20 => {
                let at = self.make.dice.below(self.late.len());
                let late = self.late.swap_remove(at);
                (self.sent(&late), Expected::Either)
            }
            12..17 => {
                let late = self.make.next(&self.room);
                self.late.push(late);
                let asked = self.make.next(&self.room);
                (self.sent(&asked), Expected::Either)
            }
            _ => {
                let asked = self.make.next(&self.room);
                (self.sent(&asked), Expected::Either)
            }
        }
    }

    /// One command, or a few people's at the same moment.
    async fn some(&mut self) {
        let hours = if self.make.dice.percent(5) {
            self.make.dice.below(30)
        } else {
            0
        };
        let seconds = 1 + self.make.dice.below(90) + hours * 3600;
        self.make.now = self
            .clock
            .advance(Duration::seconds(i64::try_from(seconds).unwrap()));
        let at_once = if self.make.dice.percent(60) {
            1
        } else {
            2 + self.make.dice.below(5)
        };
        let mut plans: Vec<(Sent, Expected)> = (0..at_once).map(|_| self.plan()).collect();
        if at_once > 1 && self.make.dice.percent(20) {
            plans.push(plans[0].clone());
        }
        let size = self.house.store.head().await.unwrap().size;
        let all = plans
            .iter()
            .map(|(sent, _)| self.house.recorder.record(sent.clone()));
        let answers = join_all(all).await;
        let mut events = 0;
        let mut changed = BTreeSet::new();
        let mut named = BTreeSet::new();
        let mut places = BTreeSet::new();
        let mut done: Vec<(&Sent, Recorded)> = vec![];
        for ((sent, expected), answer) in plans.iter().zip(answers) {
            let act = &sent.command.act;
            self.came.commands += 1;
            named.extend(act.pieces().into_iter().filter_map(|p| self.room.find(p)));
            places.extend(place_of(act).map(|p| self.room.place(p)));
            match answer {
                Ok(recorded) => {
                    if let Some(earlier) = self.answers.get(&sent.command.id) {
                        assert_eq!(*earlier, recorded, "{sent:?}");
                        assert_ne!(*expected, Expected::Conflict, "{sent:?}");
                        self.came.again += 1;
                        continue;
                    }
                    assert_eq!(*expected, Expected::Either, "{sent:?}");
                    events += recorded.count;
                    self.came.done += 1;
                    self.came.acts.entry(act.word()).or_default().0 += 1;
                    self.answers.insert(sent.command.id, recorded.clone());
                    done.push((sent, recorded));
                }
                Err(RecordError::Refused(refusal)) => {
                    assert_eq!(*expected, Expected::Either, "{sent:?}: {refusal}");
                    assert!(!refusal.sentence.is_empty() && !refusal.next.is_empty());
                    self.came.refused += 1;
                    self.came.acts.entry(act.word()).or_default().1 += 1;
                    let rules = self.came.rules.entry(act.word()).or_default();
                    *rules.entry(refusal.code).or_default() += 1;
                }
                Err(RecordError::Conflict) => {
                    assert_eq!(*expected, Expected::Conflict, "{sent:?}");
                    self.came.conflicts += 1;
                }
                Err(e) => panic!("{sent:?}: {e}"),
            }
        }
        // In the order in which they stand in the ledger.
        done.sort_by_key(|(_, recorded)| recorded.seq);
        for (sent, recorded) in done {
            let who = self.room.person(sent.person.unwrap());
            let command = &sent.command;
            let beside = sent.beside.map(|p| self.room.person(p));
            let took = self.room.took(who, beside, command.id.0, &command.act);
            if matches!(command.act, Act::Amend(_)) {
                // What it corrects, its event knows: what was read before is not held against it.
                self.docs.clear();
            }
            changed.extend(took.unwrap_or_else(|e| panic!("{e}: {who} {command:?}")));
            self.before.push((sent.clone(), recorded));
        }
        let head = self.house.store.head().await.unwrap().size;
        assert_eq!(
            head,
            size + events,
            "what is refused or sent again adds nothing: {plans:?}"
        );
        self.make.size = head;
        // What was named without being changed is the same to the byte.
        self.look(&changed, &named)
            .await
            .unwrap_or_else(|e| panic!("{e}: {plans:#?}"));
        self.look_at_places(places)
            .await
            .unwrap_or_else(|e| panic!("{e}: {plans:#?}"));
    }

    /// The record of each place that a command named, or where something came or went.
    async fn look_at_places(&mut self, mut places: BTreeSet<usize>) -> Result<(), String> {
        let figures = self.room.figures();
        places.extend((0..figures.len()).filter(|p| self.figures.get(*p) != Some(&figures[*p])));
        let subjects: Vec<String> = places
            .iter()
            .map(|p| Subject::Place(self.room.places[*p].id).to_string())
            .collect();
        let mut rows = HashMap::new();
        for row in self.house.store.docs(&subjects).await.unwrap() {
            rows.insert(row.subject.clone(), row.doc);
        }
        for (place, subject) in places.into_iter().zip(&subjects) {
            let doc = rows
                .get(subject)
                .ok_or_else(|| format!("no record of {subject}"))?;
            figures[place]
                .agree(doc)
                .map_err(|e| format!("{subject}: {e}"))?;
        }
        self.figures = figures;
        Ok(())
    }

    async fn look(
        &mut self,
        changed: &BTreeSet<usize>,
        named: &BTreeSet<usize>,
    ) -> Result<(), String> {
        let all: BTreeSet<usize> = changed.union(named).copied().collect();
        if all.is_empty() {
            return Ok(());
        }
        let piece = |t: &usize| Subject::from(self.room.things[*t].piece).to_string();
        let subjects: Vec<String> = all.iter().map(piece).collect();
        let mut rows = HashMap::new();
        for row in self.house.store.docs(&subjects).await.unwrap() {
            rows.insert(row.subject.clone(), row);
        }
        for (thing, subject) in all.iter().zip(&subjects) {
            let row = rows
                .remove(subject)
                .ok_or_else(|| format!("no record of {subject}"))?;
            self.room.agrees(*thing, &row)?;
            let before = self.docs.get(subject);
            if !changed.contains(thing) && before.is_some_and(|b| still(b) != still(&row.doc)) {
                return Err(format!(
                    "{subject} changed though nothing was done with it: {before:?}, now {}",
                    row.doc
                ));
            }
            self.docs.insert(row.subject, row.doc);
        }
        Ok(())
    }

    /// Every record against the model, what is listed by place against where things are, and fresh findings to answer.
    async fn everything(&mut self) {
        let mut seen = 0;
        let mut placed: HashMap<String, usize> = HashMap::new();
        for kind in ["item", "package"] {
            let mut filter = DocFilter {
                kind: Some(kind.into()),
                limit: LIST_MAX,
                ..DocFilter::default()
            };
            loop {
                let rows = self.house.store.list_docs(&filter).await.unwrap();
                for row in &rows {
                    let piece: Piece =
                        serde_json::from_value(serde_json::json!(row.subject)).unwrap();
                    let thing = self
                        .room
                        .find(piece)
                        .unwrap_or_else(|| panic!("{piece} is nowhere"));
                    self.room.agrees(thing, row).unwrap();
                    let known = self.docs.get(&row.subject);
                    // Pictures, numbers and answers change a record beside custody.
                    if known != Some(&row.doc) {
                        self.docs.insert(row.subject.clone(), row.doc.clone());
                    }
                    if let Some(place) = &row.place {
                        *placed.entry(place.clone()).or_default() += 1;
                    }
                    seen += 1;
                }
                let Some(last) = rows.last().filter(|_| rows.len() == LIST_MAX as usize) else {
                    break;
                };
                filter.after = Some(Cursor {
                    key: String::new(),
                    subject: last.subject.clone(),
                });
            }
        }
        assert_eq!(seen, self.room.things.len());
        let all = (0..self.room.places.len()).collect();
        self.look_at_places(all).await.unwrap();
        for place in &self.room.places {
            let subject = Subject::Place(place.id).to_string();
            let filter = DocFilter {
                place: Some(subject.clone()),
                ..DocFilter::default()
            };
            let listed = self
                .house
                .store
                .count_docs(&filter, u32::MAX)
                .await
                .unwrap();
            let here = placed.get(&subject).copied().unwrap_or_default();
            assert_eq!(listed, here as u64, "{subject}");
        }
        let n = self.room.things.len();
        let first = self.make.dice.below(n.max(1));
        self.make.findings.clear();
        for thing in first..(first + 5).min(n) {
            let of = self.room.things[thing].piece.into();
            let keys = told::keys(self.house.store.as_ref(), of, self.make.now).await;
            self.make.findings.extend(keys.unwrap());
        }
    }

    /// Every finding of a thing names events that there are and that are about it, its mark, or what it was in.
    async fn findings(&self, thing: usize, later: DateTime<Utc>) -> usize {
        let store = self.house.store.as_ref();
        let t = &self.room.things[thing];
        let mut about: BTreeSet<String> = [Subject::from(t.piece).to_string()].into();
        about.extend(t.mark.map(|m| Subject::Mark(m).to_string()));
        let mut around: Vec<usize> = t.ever_in.iter().copied().collect();
        while let Some(package) = around.pop() {
            let x = &self.room.things[package];
            if about.insert(Subject::from(x.piece).to_string()) {
                around.extend(&x.ever_in);
            }
        }
        let found = told::keys(store, t.piece.into(), later).await.unwrap();
        for key in &found {
            assert!(!key.events.is_empty(), "{key}");
            assert!(about.contains(&key.of.to_string()), "{key} of {}", t.piece);
            let mut touched = false;
            for seq in &key.events {
                let raw = store.event(*seq).await.unwrap();
                let raw = raw.unwrap_or_else(|| panic!("{key}: there is no event {seq}"));
                let header: serde_json::Value =
                    serde_json::from_slice(&raw.header.unwrap()).unwrap();
                let subjects = header["touches"].as_array().unwrap();
                touched |= subjects.iter().any(|s| {
                    let s = s.to_string();
                    about.iter().any(|a| s.contains(a))
                });
            }
            assert!(touched, "{key}: none of its events is about it");
        }
        found.len()
    }

    async fn finish(mut self) -> Came {
        self.everything().await;
        let later = self.make.now + Duration::days(3);
        // Each of the later ones, and some of all.
        let n = self.room.things.len();
        for thing in (0..n).step_by(1 + n / 120) {
            self.came.findings += self.findings(thing, later).await;
        }
        let store = self.house.store.as_ref();
        let audit = audit(store, &self.house.verifying, &[], |_| {})
            .await
            .unwrap();
        assert!(audit.is_clean(), "{audit:?}");
        self.came.events = store.head().await.unwrap().size;
        self.came.things = n;
        self.came.disposed = (0..n).filter(|t| self.room.gone(*t)).count();
        self.house.close().await;
        self.came
    }
}

/// The place that a command names.
fn place_of(act: &Act) -> Option<PlaceId> {
    match act {
        Act::Store(x) => Some(x.place),
        Act::StoreMany(x) => Some(x.place),
        Act::SetCapacity(x) => Some(x.place),
        Act::MarkTwoPerson(x) => Some(x.place),
        _ => None,
    }
}

/// A record without when its item first came onto a shelf: that changes with the package that it lies in.
fn still(doc: &str) -> serde_json::Value {
    let mut doc: serde_json::Value = serde_json::from_str(doc).unwrap();
    if let Some(fields) = doc.as_object_mut() {
        fields.remove("shelved_at");
    }
    doc
}
