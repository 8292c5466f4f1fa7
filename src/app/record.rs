//! The only append path: one writer drains a queue and commits what waits as a group.
//!
//! For each waiting command the writer loads the state it touches, decides, and stages; then everything is written and
//! committed once, with the signed checkpoint, and only then is anybody answered. Two people who accept the same thing at
//! the same instant stand behind each other here: one gets a receipt, the other a refusal.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use tokio::sync::{mpsc, oneshot};

use super::rows;
use super::stage::{Stage, StageError};
use crate::clock::Clock;
use crate::custody::count::MAX_EXPECTED;
use crate::custody::rules::Trade;
use crate::custody::state::{Key, PastEvent};
use crate::custody::{Actor, Command, Refusal, Signed, State};
use crate::ids::{CommandId, Digest, PersonId, Piece, PlaceId, Seq, Subject};
use crate::ledger::checkpoint::{self, Checkpoint};
use crate::ledger::event::{Event, Source};
use crate::ledger::merkle::{Frontier, root_nodes};
use crate::ledger::payload::Salt;
use crate::ledger::times;
use crate::metrics::Metrics;
use crate::store::{
    Batch, CheckpointRow, CommandRow, DocFilter, EventRow, LIST_MAX, NodeRow, PayloadRow, SealRow,
    Store, StoreError, TouchRow, WriteTx,
};

/// How many commands go into one commit at the most.
pub const MAX_GROUP: usize = 256;
/// How often the writer lets others run before it begins with a group.
const MAX_YIELDS: usize = 16;
/// How many commands may wait before a sender waits too.
pub const QUEUE: usize = 1024;
/// How many records stay in memory between commits; above it the writer begins afresh.
const MAX_KNOWN: usize = 50_000;
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

/// A command on its way: who sends it, how they signed, and from where.
#[derive(Clone, Debug)]
pub struct Sent {
    /// Who; none for the ledger itself.
    pub person: Option<PersonId>,
    /// How they signed.
    pub signed: Signed,
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
}

impl Recorder {
    /// Starts the writer; it ends when the last recorder is dropped and the queue is empty.
    #[must_use]
    pub fn start(tools: Tools) -> (Self, tokio::task::JoinHandle<()>) {
        let (queue, waiting) = mpsc::channel(QUEUE);
        let metrics = Arc::new(Metrics::default());
        let writer = Writer {
            tools,
            stage: None,
            metrics: metrics.clone(),
        };
        let task = tokio::spawn(writer.run(waiting));
        (Self { queue, metrics }, task)
    }

    /// What this server counts.
    #[must_use]
    pub fn metrics(&self) -> &Arc<Metrics> {
        &self.metrics
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

impl Writer {
    async fn run(mut self, mut waiting: mpsc::Receiver<Job>) {
        let mut jobs = Vec::with_capacity(MAX_GROUP);
        while waiting.recv_many(&mut jobs, MAX_GROUP).await > 0 {
            gather(&mut waiting, &mut jobs).await;
            let begun = std::time::Instant::now();
            let outcome = self.group(&jobs).await;
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
                outcomes.push(same_again(earlier, &fingerprint));
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
                        actor: job.sent.person.map_or_else(String::new, |p| p.to_string()),
                        answer: serde_json::to_string(&recorded)
                            .map_err(|e| RecordError::Corrupt(e.to_string()))?,
                        first_seq: recorded.seq,
                        count: recorded.count,
                    });
                    batch.nodes.extend(nodes);
                    for event in &events {
                        changed.extend(event.header.touches.iter().map(|t| t.subject));
                        add(&mut batch, event);
                    }
                    outcomes.push(Ok(recorded));
                }
            }
        }
        if batch.events.is_empty() {
            tx.rollback().await?;
        } else {
            for subject in changed {
                let row = rows::row(&stage.state, subject)
                    .map_err(|e| RecordError::Corrupt(e.to_string()))?;
                batch.docs.extend(row);
            }
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
        }
        self.stage = (stage.state.known.len() <= MAX_KNOWN).then_some(stage);
        Ok(outcomes)
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
            stage.state.events.clear();
            stage.state.stored.clear();
            let fleeting = |k: &Key| matches!(k, Key::Event(_) | Key::StoredIn(_));
            stage.state.known.retain(|k| !fleeting(k));
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
        }
        Ok(())
    }

    async fn past(&self, seq: Seq) -> Result<Option<PastEvent>, RecordError> {
        let Some(raw) = self.tools.store.event(seq).await? else {
            return Ok(None);
        };
        let damaged = || RecordError::Corrupt(format!("event {seq} cannot be read"));
        let salt: [u8; 16] = raw
            .salt
            .ok_or_else(damaged)?
            .try_into()
            .map_err(|_| damaged())?;
        let event = Event::open(
            raw.header.ok_or_else(damaged)?,
            Salt(salt),
            &raw.fields.ok_or_else(damaged)?,
        )
        .map_err(|_| damaged())?;
        Ok(Some(PastEvent {
            kind: event.header.kind,
            actor: event.header.actor,
            case: event.header.case,
            subjects: event.header.touches.iter().map(|t| t.subject).collect(),
            fields: event.fields,
        }))
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

/// An event's rows, for a batch.
pub(super) fn add(batch: &mut Batch, event: &Event) {
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
    if event.header.kind == "package.sealed"
        && let (Some(number), Some(package)) =
            (event.field_str("seal"), event.header.touches.first())
    {
        batch.seals.push(SealRow {
            number: number.to_owned(),
            package: package.subject.to_string(),
            seq,
        });
    }
}

/// SHA-256 over who sends what: the same command from somebody else is another command.
fn fingerprint(sent: &Sent) -> Result<Digest, RecordError> {
    let text = serde_json::to_vec(&(sent.person, &sent.command))
        .map_err(|e| RecordError::Corrupt(e.to_string()))?;
    Ok(Digest::of(&text))
}

fn same_again(earlier: &CommandRow, fingerprint: &Digest) -> Outcome {
    if earlier.fingerprint != fingerprint.0 {
        return Err(RecordError::Conflict);
    }
    serde_json::from_str(&earlier.answer).map_err(|e| RecordError::Corrupt(e.to_string()))
}
