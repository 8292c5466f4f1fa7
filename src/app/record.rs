//! The only append path: one writer drains a queue and commits what waits as a group.
//!
//! For each waiting command the writer loads the state it touches, decides, and stages; then everything is written and
//! committed once, with the signed checkpoint, and only then is anybody answered. Two people who accept the same thing at
//! the same instant stand behind each other here: one gets a receipt, the other a refusal.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use tokio::sync::{mpsc, oneshot};

use super::growth::Growth;
use super::reader::ReadError;
use super::rebuilt::{self, open, past_event};
use super::removal::{self, Files};
use super::stage::{Stage, StageError};
use super::views::told;
use super::{rows, word_index};
use crate::clock::Clock;
use crate::custody::capacity::MAX_NEAR;
use crate::custody::count::MAX_EXPECTED;
use crate::custody::expungement::left;
use crate::custody::rules::Trade;
use crate::custody::state::{Key, PastEvent};
use crate::custody::{Act, Actor, Command, Refusal, Signed, State};
use crate::ids::{CommandId, Digest, PersonId, Piece, PlaceId, Seq, Subject};
use crate::ledger::checkpoint::{self, Checkpoint};
use crate::ledger::event::{Event, Source};
use crate::ledger::merkle::{Frontier, root_nodes};
use crate::ledger::payload;
use crate::ledger::{expunged, times};
use crate::metrics::Metrics;
use crate::store::{
    Batch, CheckpointRow, CommandRow, DocFilter, DocOrder, EventRow, ExpungedRow, LIST_MAX,
    NodeRow, PayloadRow, RAW_BYTES, RemovalRow, SealRow, Store, StoreError, TouchRow, WriteTx,
};

/// How many commands go into one commit at the most.
pub const MAX_GROUP: usize = 256;
/// How long a group may take. A line to the database that has fallen silent says nothing for ever; what was under way then
/// is told as not known, and the same command sent again will tell. Our assumption, no source.
const PATIENCE: Duration = Duration::from_secs(40);
/// How often the writer lets others run before it begins with a group.
const MAX_YIELDS: usize = 16;
/// How many commands may wait before a sender waits too.
pub const QUEUE: usize = 1024;
/// How many records stay in memory between commits; above it the writer begins afresh.
const MAX_KNOWN: usize = 20_000;
/// How many rounds of loading a command may need: packages stand at most 8 deep.
const MAX_ROUNDS: usize = 32;

/// Why a command was not carried out.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RecordError {
    /// A rule of custody forbids it.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The command's identifier was used before, with other content.
    #[error("a command with this identifier and other content was carried out before")]
    Conflict,
    /// The database could not do it now; nothing was recorded, or a repetition of the same command will tell.
    #[error("the ledger cannot be written now: {0}")]
    Unavailable(String),
    /// What is stored contradicts itself.
    #[error("the ledger is damaged: {0}")]
    Corrupt(String),
}

impl From<StoreError> for RecordError {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Corrupt(why) => Self::Corrupt(why),
            other => Self::Unavailable(other.to_string()),
        }
    }
}

/// What was recorded.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Recorded {
    /// The first event.
    pub seq: Seq,
    /// How many events.
    pub count: u64,
    /// What the command created.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub created: Option<Subject>,
}

impl Recorded {
    /// The last event: where a command is recorded as several, the one that says what all of them were for.
    #[must_use]
    pub fn last(&self) -> Seq {
        self.seq + self.count.saturating_sub(1)
    }
}

/// A command on its way: who sends it, how they signed, and from where.
#[derive(Clone, Debug)]
pub struct Sent {
    /// Who; none for the ledger itself.
    pub person: Option<PersonId>,
    /// How they signed.
    pub signed: Signed,
    /// Who else is there and gave their own password for it.
    pub beside: Option<PersonId>,
    /// From where.
    pub source: Source,
    /// What.
    pub command: Command,
}

struct Job {
    sent: Sent,
    reply: oneshot::Sender<Result<Recorded, RecordError>>,
}

/// Hands commands to the writer.
#[derive(Clone)]
pub struct Recorder {
    queue: mpsc::Sender<Job>,
    metrics: Arc<Metrics>,
    growth: Growth,
}

/// What the writer works with.
pub struct Tools {
    /// The database.
    pub store: Arc<dyn Store>,
    /// Signs checkpoints.
    pub key: checkpoint::Key,
    /// The knowledge of the trade.
    pub trade: Arc<dyn Trade + Send + Sync>,
    /// Version of the trade rules, as it goes into each event.
    pub rules: String,
    /// The server's clock.
    pub clock: Arc<dyn Clock>,
    /// The files that expungements remove some of; without them that is left to the next start.
    pub files: Option<Files>,
}

impl Recorder {
    /// Starts the writer; it ends when the last recorder is dropped and the queue is empty.
    #[must_use]
    pub fn start(tools: Tools) -> (Self, tokio::task::JoinHandle<()>) {
        let (queue, waiting) = mpsc::channel(QUEUE);
        let metrics = Arc::new(Metrics::default());
        let growth = Growth::default();
        let writer = Writer {
            tools,
            stage: None,
            metrics: metrics.clone(),
            growth: growth.clone(),
        };
        let task = tokio::spawn(writer.run(waiting));
        let recorder = Self {
            queue,
            metrics,
            growth,
        };
        (recorder, task)
    }

    /// What this server counts.
    #[must_use]
    pub fn metrics(&self) -> &Arc<Metrics> {
        &self.metrics
    }

    /// How far the ledger has grown, as far as this server knows.
    #[must_use]
    pub fn growth(&self) -> &Growth {
        &self.growth
    }

    /// How many commands wait for the writer.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.queue.max_capacity() - self.queue.capacity()
    }

    /// Has a command carried out. The answer comes after it is durable.
    ///
    /// # Errors
    /// See [`RecordError`].
    pub async fn record(&self, sent: Sent) -> Result<Recorded, RecordError> {
        let gone = || RecordError::Unavailable("the server is stopping".into());
        let (reply, answer) = oneshot::channel();
        self.queue
            .send(Job { sent, reply })
            .await
            .map_err(|_| gone())?;
        answer.await.map_err(|_| gone())?
    }
}

struct Writer {
    tools: Tools,
    /// The head and what was loaded, kept between commits.
    stage: Option<Stage>,
    metrics: Arc<Metrics>,
    growth: Growth,
}

/// Lets those who were just answered send their next command into the same group, as long as more come in: a group that
/// is not held up costs a commit for a few.
async fn gather(waiting: &mut mpsc::Receiver<Job>, jobs: &mut Vec<Job>) {
    for _ in 0..MAX_YIELDS {
        let before = jobs.len();
        tokio::task::yield_now().await;
        while jobs.len() < MAX_GROUP
            && let Ok(job) = waiting.try_recv()
        {
            jobs.push(job);
        }
        if jobs.len() == before || jobs.len() == MAX_GROUP {
            break;
        }
    }
}

type Outcome = Result<Recorded, RecordError>;

/// How many of these go into one commit. An expungement goes alone: the records are made anew from what is committed.
fn together(jobs: &[Job]) -> usize {
    let expunges = |j: &Job| matches!(j.sent.command.act, Act::CarryOutExpungement(_));
    match jobs.iter().position(expunges) {
        Some(0) => 1,
        Some(n) => n,
        None => jobs.len(),
    }
}

impl Writer {
    async fn run(mut self, mut waiting: mpsc::Receiver<Job>) {
        let mut jobs = Vec::with_capacity(MAX_GROUP);
        while waiting.recv_many(&mut jobs, MAX_GROUP).await > 0 {
            gather(&mut waiting, &mut jobs).await;
            while !jobs.is_empty() {
                let group: Vec<Job> = jobs.drain(..together(&jobs)).collect();
                self.carry_out(group).await;
            }
        }
    }

    /// One group, and its answers.
    async fn carry_out(&mut self, mut jobs: Vec<Job>) {
        {
            let begun = std::time::Instant::now();
            let outcome = match tokio::time::timeout(PATIENCE, self.group(&jobs)).await {
                Ok(outcome) => outcome,
                Err(_) => Err(RecordError::Unavailable(
                    "the database did not answer in time".into(),
                )),
            };
            if let Ok(outcomes) = &outcome {
                self.metrics.commit.took(begun.elapsed());
                #[allow(clippy::cast_precision_loss)]
                self.metrics.batch.observe(outcomes.len() as f64);
                for refusal in outcomes.iter().filter_map(|o| match o {
                    Err(RecordError::Refused(refusal)) => Some(refusal),
                    _ => None,
                }) {
                    self.metrics.refusals.add(&[("rule", &refusal.code)]);
                }
            }
            let outcomes = match outcome {
                Ok(outcomes) => outcomes,
                Err(e) => {
                    // Nothing of the group counts, and what is in memory may be ahead of the database.
                    self.stage = None;
                    tracing::error!(error = %e, commands = jobs.len(), "a group of commands was not committed");
                    vec![Err(e); jobs.len()]
                }
            };
            for (job, outcome) in jobs.drain(..).zip(outcomes) {
                // Whoever asked may have gone; the record stands all the same.
                let _ = job.reply.send(outcome);
            }
        }
    }

    async fn group(&mut self, jobs: &[Job]) -> Result<Vec<Outcome>, RecordError> {
        let mut tx = self.tools.store.begin().await?;
        let mut stage = self.at_head(tx.as_mut()).await?;
        let mut batch = Batch::default();
        let mut changed: BTreeSet<Subject> = BTreeSet::new();
        let mut words = word_index::Changes::default();
        let mut answered: HashMap<CommandId, usize> = HashMap::new();
        let mut outcomes: Vec<Outcome> = Vec::with_capacity(jobs.len());
        let ids: Vec<String> = jobs.iter().map(|j| j.sent.command.id.to_string()).collect();
        let before: HashMap<String, CommandRow> = tx
            .commands(&ids)
            .await?
            .into_iter()
            .map(|row| (row.id.clone(), row))
            .collect();
        for (job, name) in jobs.iter().zip(&ids) {
            let fingerprint = fingerprint(&job.sent)?;
            let id = job.sent.command.id;
            // Sent twice within the same group, or before.
            let earlier = match answered.get(&id) {
                Some(at) => batch.commands.get(*at),
                None => before.get(name),
            };
            if let Some(earlier) = earlier {
                outcomes.push(same_again(earlier, &job.sent, &fingerprint));
                continue;
            }
            if let Some(gone) = self.without_bytes(&job.sent.command.act).await? {
                outcomes.push(Err(RecordError::Unavailable(gone)));
                continue;
            }
            match self.one(tx.as_mut(), &mut stage, &job.sent).await? {
                Err(refusal) => outcomes.push(Err(RecordError::Refused(refusal))),
                Ok((events, nodes)) => {
                    let recorded = Recorded {
                        seq: events.first().map_or(0, |e| e.header.seq),
                        count: events.len() as u64,
                        created: job.sent.command.creates(),
                    };
                    answered.insert(id, batch.commands.len());
                    batch.commands.push(CommandRow {
                        id: name.clone(),
                        fingerprint: fingerprint.0.to_vec(),
                        actor: sender(&job.sent),
                        answer: serde_json::to_string(&recorded)
                            .map_err(|e| RecordError::Corrupt(e.to_string()))?,
                        first_seq: recorded.seq,
                        count: recorded.count,
                    });
                    batch.nodes.extend(nodes);
                    for event in &events {
                        changed.extend(event.header.touches.iter().map(|t| t.subject));
                        words.note(event);
                        add(&mut batch, event);
                    }
                    changed.append(&mut stage.state.also);
                    if !batch.expunged.is_empty() {
                        // Such a command is alone in its group, so nothing else is staged.
                        self.expunge(tx.as_mut(), &mut stage, &events, &mut batch, &mut changed)
                            .await?;
                        // What lost a text is no longer found by its words.
                        words.also(&changed);
                    }
                    outcomes.push(Ok(recorded));
                }
            }
        }
        let expunges = !batch.expunged.is_empty();
        if batch.events.is_empty() {
            tx.rollback().await?;
        } else {
            for subject in changed {
                let row = rows::row(&stage.state, subject)
                    .map_err(|e| RecordError::Corrupt(e.to_string()))?;
                batch.docs.extend(row);
            }
            batch.words = words.rows(tx.as_mut(), &mut stage.state).await?;
            let head = Checkpoint {
                origin: self.tools.key.name().to_owned(),
                size: stage.size(),
                root: stage.frontier().root(),
            };
            let note = checkpoint::sign(&head, &self.tools.key)
                .map_err(|e| RecordError::Corrupt(e.to_string()))?;
            batch.checkpoint = Some(CheckpointRow {
                size: head.size,
                note,
            });
            tx.append(batch).await?;
            tx.commit().await?;
            self.growth.reached(head.size);
        }
        self.stage = (stage.state.known.len() <= MAX_KNOWN && !expunges).then_some(stage);
        if expunges && let Some(files) = &self.tools.files {
            // What is not removed now stays on the list, and the next start goes on with it.
            if let Err(error) = removal::finish(&self.tools.store, files).await {
                tracing::error!(%error, "what was expunged is not all removed yet");
            }
        }
        Ok(outcomes)
    }

    /// What an expungement changes beside its own events: the records of everything that lost a text, and what is to be
    /// removed outside of the ledger's tables.
    async fn expunge(
        &self,
        tx: &mut dyn WriteTx,
        stage: &mut Stage,
        events: &[Event],
        batch: &mut Batch,
        changed: &mut BTreeSet<Subject>,
    ) -> Result<(), RecordError> {
        let by = events.first().map_or(0, |e| e.header.seq);
        let mut what: BTreeSet<String> = [RAW_BYTES.to_owned()].into();
        for row in &batch.expunged {
            if let Some(past) = stage.state.events.get(&row.seq) {
                changed.extend(past.subjects.iter().copied());
                let pictures = left::pictures(&past.kind, &past.fields);
                what.extend(pictures.into_iter().map(str::to_owned));
            }
        }
        batch
            .removals
            .extend(what.into_iter().map(|what| RemovalRow { what, by }));
        stage.state = rebuilt::rebuilt(self.tools.store.as_ref(), tx, events).await?;
        // A replay says so of everything.
        stage.state.also.clear();
        Ok(())
    }

    /// The stage on the database's head: the one in memory, or a fresh one where somebody else appended. The transaction
    /// holds the database's lock by now, so nobody appends between this and the commit.
    async fn at_head(&mut self, tx: &mut dyn WriteTx) -> Result<Stage, RecordError> {
        let head = tx.head().await?;
        if let Some(mut stage) = self.stage.take()
            && stage.size() == head.size
            // As many events, and yet others: the database was put back to an earlier state, and another server went on.
            && stage.last_recorded().map(times::recorded) == head.last_recorded_at
        {
            stage.state.forget_fleeting();
            return Ok(stage);
        }
        let at: Vec<(u32, u64)> = root_nodes(head.size)
            .into_iter()
            .map(|(level, index)| (u32::from(level), index))
            .collect();
        let mut nodes = HashMap::new();
        for node in tx.nodes(&at).await? {
            let hash: [u8; 32] = node
                .hash
                .try_into()
                .map_err(|_| RecordError::Corrupt("a tree node is not 32 bytes".into()))?;
            nodes.insert((node.level, node.idx), Digest(hash));
        }
        let frontier = Frontier::from_nodes(head.size, |level, index| {
            nodes.get(&(u32::from(level), index)).copied()
        })
        .map_err(|e| RecordError::Corrupt(e.to_string()))?;
        let last = match head.last_recorded_at {
            Some(text) => Some(
                times::parse_recorded(&text).map_err(|e| RecordError::Corrupt(e.to_string()))?,
            ),
            None if head.size == 0 => None,
            None => {
                return Err(RecordError::Corrupt(
                    "the last event's header cannot be read".into(),
                ));
            }
        };
        Ok(Stage::new(
            State::default(),
            frontier,
            last,
            self.tools.rules.clone(),
        ))
    }

    /// One command: load, decide, stage. The outer error ends the whole group.
    async fn one(
        &self,
        tx: &mut dyn WriteTx,
        stage: &mut Stage,
        sent: &Sent,
    ) -> Result<Result<(Vec<Event>, Vec<NodeRow>), Refusal>, RecordError> {
        let mut actor = Actor {
            id: sent.person,
            roles: BTreeSet::new(),
            signed: sent.signed,
            beside: sent.beside,
        };
        for _ in 0..MAX_ROUNDS {
            let wants = stage.state.wants(&actor, &sent.command);
            if wants.is_empty() {
                break;
            }
            self.load(tx, &mut stage.state, &wants).await?;
        }
        // The roles that count are those of this moment, not those of the sign-in.
        if let Some(person) = sent.person.and_then(|id| stage.state.people.get(&id)) {
            actor.roles = person.roles.clone();
        }
        let now = self.tools.clock.now();
        for _ in 0..=crate::ledger::event::MAX_TOUCHES {
            match stage.take(
                self.tools.trade.as_ref(),
                &actor,
                &sent.command,
                sent.source,
                now,
            ) {
                Ok(staged) => {
                    let nodes = staged
                        .nodes
                        .iter()
                        .map(|n| NodeRow {
                            level: u32::from(n.level),
                            idx: n.index,
                            hash: n.hash.0.to_vec(),
                        })
                        .collect();
                    return Ok(Ok((staged.events, nodes)));
                }
                Err(StageError::Refused(refusal)) => return Ok(Err(refusal)),
                Err(StageError::CountMissing(_)) => {
                    for subject in stage.missing().to_vec() {
                        let n = tx.subject_count(&subject.to_string()).await?;
                        stage.count(subject, n);
                    }
                }
                Err(e) => return Err(RecordError::Corrupt(e.to_string())),
            }
        }
        Err(RecordError::Corrupt(
            "an act touches too many subjects".into(),
        ))
    }

    /// An expungement may have removed a file between the moment it was kept and this one. A bucket is asked only where
    /// there was an expungement lately: a store that is away must not hold up whoever records something else.
    async fn without_bytes(&self, act: &Act) -> Result<Option<String>, RecordError> {
        let digest = match act {
            Act::AddImage(x) => x.digest,
            Act::AddCopy(x) => x.copy,
            _ => return Ok(None),
        };
        let Some(Files { originals, .. }) = &self.tools.files else {
            return Ok(None);
        };
        let now = self.tools.clock.now();
        if originals.are_in_bucket()
            && !removal::may_be_gone(self.tools.store.as_ref(), now).await?
        {
            return Ok(None);
        }
        let originals = originals.clone();
        let found = tokio::task::spawn_blocking(move || originals.has(digest)).await;
        Ok(match found {
            Ok(Ok(true)) => None,
            Ok(Ok(false)) => {
                Some("the picture's bytes are not here any more; send it once more".into())
            }
            Ok(Err(e)) => Some(e.to_string()),
            Err(e) => Some(e.to_string()),
        })
    }

    async fn load(
        &self,
        tx: &mut dyn WriteTx,
        state: &mut State,
        wants: &[Key],
    ) -> Result<(), RecordError> {
        let corrupt = |e: rows::BadDoc| RecordError::Corrupt(e.to_string());
        let subjects: Vec<String> = wants
            .iter()
            .filter_map(|k| {
                if let Key::Subject(s) = k {
                    Some(s.to_string())
                } else {
                    None
                }
            })
            .collect();
        if !subjects.is_empty() {
            for row in tx.load_docs(&subjects).await? {
                rows::take(state, &row).map_err(corrupt)?;
            }
        }
        for key in wants {
            let named = match key {
                Key::Subject(_) => None,
                Key::UserName(name) => tx.lookup("person", name).await?,
                Key::CaseNumber(name) => tx.lookup("case", name).await?,
                Key::PlaceName(name) => tx.lookup("place", name).await?,
                Key::Seal(number) => {
                    if let Some(seal) = tx.lookup_seal(number).await? {
                        let package = seal.package.parse();
                        let Ok(Subject::Package(package)) = package else {
                            return Err(RecordError::Corrupt(format!(
                                "seal {number} names no package"
                            )));
                        };
                        state.seals.insert(number.clone(), package);
                    }
                    None
                }
                Key::Code(code) => {
                    if let Some(row) = tx.lookup_code(code.as_str()).await? {
                        let subject = row.subject.parse().map_err(|_| {
                            RecordError::Corrupt(format!("code {code} names no subject"))
                        })?;
                        state.codes.insert(code.clone(), subject);
                    }
                    None
                }
                Key::StoredIn(place) => {
                    let listed = stored_in(tx, *place).await?;
                    state.stored.insert(*place, listed);
                    None
                }
                Key::Near(place) => {
                    let listed = near(tx, state, *place).await?;
                    state.near.insert(*place, listed);
                    None
                }
                Key::Findings(of) => {
                    let now = self.tools.clock.now();
                    let found = told::keys(self.tools.store.as_ref(), *of, now).await;
                    let found = found.map_err(|e| match e {
                        ReadError::Corrupt(why) => RecordError::Corrupt(why),
                        other => RecordError::Unavailable(other.to_string()),
                    })?;
                    state.findings.insert(*of, found);
                    None
                }
                Key::Record(case) => {
                    rebuilt::record_of(self.tools.store.as_ref(), tx, state, *case).await?;
                    None
                }
                Key::Event(seq) => {
                    if let Some(past) = self.past(*seq).await? {
                        state.events.insert(*seq, past);
                    }
                    None
                }
            };
            if let Some(row) = named {
                match (key, row.subject.parse()) {
                    (Key::UserName(name), Ok(Subject::Person(id))) => {
                        state.user_names.insert(name.clone(), id);
                    }
                    (Key::CaseNumber(name), Ok(Subject::Case(id))) => {
                        state.case_numbers.insert(name.clone(), id);
                    }
                    (Key::PlaceName(name), Ok(Subject::Place(id))) => {
                        state.place_names.insert(name.clone(), id);
                    }
                    _ => {
                        return Err(RecordError::Corrupt(format!(
                            "{} is not what its name says",
                            row.subject
                        )));
                    }
                }
            }
            // Here now, or known to be absent.
            state.known.insert(key.clone());
            if key.is_fleeting() {
                state.fleeting.push(key.clone());
            }
        }
        Ok(())
    }

    async fn past(&self, seq: Seq) -> Result<Option<PastEvent>, RecordError> {
        let raw = self.tools.store.event(seq).await?;
        raw.map(|raw| Ok(past_event(open(raw)?))).transpose()
    }
}

/// What the read model has in a place: more than a count may expect is enough to know that it is too much.
async fn stored_in(tx: &mut dyn WriteTx, place: PlaceId) -> Result<Vec<Piece>, RecordError> {
    let mut filter = DocFilter {
        place: Some(Subject::Place(place).to_string()),
        limit: LIST_MAX,
        ..DocFilter::default()
    };
    let mut out = Vec::new();
    while out.len() <= MAX_EXPECTED {
        let page = tx.list_docs(&filter).await?;
        let Some(last) = page.last() else { break };
        filter.after = Some(last.cursor(filter.order));
        for row in &page {
            let piece = row.subject.parse();
            out.push(
                piece.map_err(|_| {
                    RecordError::Corrupt(format!("{} stands in a place", row.subject))
                })?,
            );
        }
        if page.len() < LIST_MAX as usize {
            break;
        }
    }
    Ok(out)
}

/// The places beside a place, by name.
async fn near(
    tx: &mut dyn WriteTx,
    state: &State,
    place: PlaceId,
) -> Result<Vec<PlaceId>, RecordError> {
    let parent = state.places.get(&place).and_then(|p| p.added.parent);
    let filter = DocFilter {
        kind: Some("place".into()),
        inside: Some(rows::around_place(parent)),
        order: DocOrder::Name,
        limit: u32::try_from(MAX_NEAR).unwrap_or(LIST_MAX),
        ..DocFilter::default()
    };
    let listed = tx.list_docs(&filter).await?;
    listed
        .iter()
        .map(|row| match row.subject.parse() {
            Ok(Subject::Place(id)) => Ok(id),
            _ => Err(RecordError::Corrupt(format!("{} is no place", row.subject))),
        })
        .collect()
}

/// An event's rows, for a batch.
pub(super) fn add(batch: &mut Batch, event: &Event) {
    let seq = event.header.seq;
    batch.events.push(EventRow {
        seq,
        id: event.header.id.to_string(),
        header: event.bytes.clone(),
    });
    if event.expunged.is_none() {
        batch.payloads.push(PayloadRow {
            seq,
            salt: event.salt.0.to_vec(),
            fields: event.fields_bytes(),
        });
    }
    for (named, fields) in expunged::left(event) {
        batch.expunged.push(ExpungedRow {
            seq: named,
            by: seq,
            command: fields
                .get("command")
                .and_then(|c| c.as_str())
                .map(str::to_owned),
            remains: payload::to_bytes(&fields),
        });
    }
    for touch in &event.header.touches {
        batch.touches.push(TouchRow {
            subject: touch.subject.to_string(),
            n: touch.n,
            seq,
        });
    }
    let mut packages = event.header.touches.iter();
    if matches!(
        event.header.kind.as_str(),
        "package.sealed" | "item.imported"
    ) && let (Some(number), Some(package)) = (
        event.field_str("seal"),
        packages.find(|t| matches!(t.subject, Subject::Package(_))),
    ) {
        batch.seals.push(SealRow {
            number: number.to_owned(),
            package: package.subject.to_string(),
            seq,
        });
    }
}

fn sender(sent: &Sent) -> String {
    sent.person.map_or_else(String::new, |p| p.to_string())
}

/// SHA-256 over who sends what: the same command from somebody else is another command.
fn fingerprint(sent: &Sent) -> Result<Digest, RecordError> {
    let text = serde_json::to_vec(&(sent.person, &sent.command))
        .map_err(|e| RecordError::Corrupt(e.to_string()))?;
    Ok(Digest::of(&text))
}

fn same_again(earlier: &CommandRow, sent: &Sent, fingerprint: &Digest) -> Outcome {
    // What an expunged command was known by went with its content; whoever sent it gets the answer that they got.
    let is_expunged = earlier.fingerprint.is_empty() && earlier.actor == sender(sent);
    if earlier.fingerprint != fingerprint.0 && !is_expunged {
        return Err(RecordError::Conflict);
    }
    serde_json::from_str(&earlier.answer).map_err(|e| RecordError::Corrupt(e.to_string()))
}
