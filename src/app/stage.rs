//! Where a command becomes events: decide, give each event its place, commit to its payload, apply.
//!
//! A [`Stage`] stands on a ledger's head. It knows nothing of a database: whoever drives it loads what
//! [`crate::custody::State::wants`] asks for and the counts of the subjects touched, and afterwards stores what
//! [`Stage::take`] returned, all in one transaction. A refusal leaves the stage as it was.

use std::collections::HashMap;

use chrono::{DateTime, SubsecRound, Utc};
use serde_json::Value;

use crate::custody::rules::{Meta, Misfit, Trade};
use crate::custody::{Actor, Command, Draft, Refusal, Signed, State, apply, decide};
use crate::ids::{EventId, Seq, Subject};
use crate::ledger::event::{Attested, Event, EventError, Source};
use crate::ledger::merkle::{Frontier, Node};
use crate::ledger::payload::Salt;
use crate::ledger::{event, times};

/// Why a command yielded no events.
#[derive(Debug, thiserror::Error)]
pub enum StageError {
    /// A rule of custody forbids it.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The counts of a subject were not loaded: the driver's error.
    #[error("the count of {0} was not loaded")]
    CountMissing(Subject),
    /// The fact does not make a payload that the ledger takes.
    #[error("the payload is not one that the ledger takes: {0}")]
    Payload(String),
    /// The event breaks a rule of the ledger's format.
    #[error(transparent)]
    Event(#[from] EventError),
    /// The state and the ledger do not belong together.
    #[error(transparent)]
    Misfit(#[from] Misfit),
    /// No randomness to be had.
    #[error("the machine gave no random numbers")]
    Random,
}

/// A ledger's head, with what was loaded to decide on.
pub struct Stage {
    /// What was loaded.
    pub state: State,
    /// The right edge of the tree.
    frontier: Frontier,
    /// How many events each subject has, as far as loaded.
    counts: HashMap<Subject, u64>,
    /// Which counts the last command lacked.
    missing: Vec<Subject>,
    /// The last event's recorded time; time never runs backwards in the ledger.
    last_recorded: Option<DateTime<Utc>>,
    /// Version of the trade rules in force.
    rules: String,
}

/// What one command yielded, ready to be stored.
#[derive(Debug)]
pub struct Staged {
    /// The events, in order.
    pub events: Vec<Event>,
    /// The tree nodes that they completed.
    pub nodes: Vec<Node>,
}

impl Stage {
    /// A stage on this head. An empty frontier and no last time begin a ledger.
    #[must_use]
    pub fn new(
        state: State,
        frontier: Frontier,
        last_recorded: Option<DateTime<Utc>>,
        rules: String,
    ) -> Self {
        Self {
            state,
            frontier,
            counts: HashMap::new(),
            missing: Vec::new(),
            last_recorded,
            rules,
        }
    }

    /// Number of events so far.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.frontier.size()
    }

    /// The last event's recorded time; none where there is no event.
    #[must_use]
    pub fn last_recorded(&self) -> Option<DateTime<Utc>> {
        self.last_recorded
    }

    /// The right edge of the tree.
    #[must_use]
    pub fn frontier(&self) -> &Frontier {
        &self.frontier
    }

    /// Says how many events a subject has.
    pub fn count(&mut self, subject: Subject, n: u64) {
        self.counts.insert(subject, n);
    }

    /// How many events a subject has, where that was loaded or staged here.
    #[must_use]
    pub fn count_of(&self, subject: Subject) -> Option<u64> {
        self.counts.get(&subject).copied()
    }

    /// The subjects whose counts the last command lacked: what is behind a [`StageError::CountMissing`].
    #[must_use]
    pub fn missing(&self) -> &[Subject] {
        &self.missing
    }

    /// Decides the command and stages its events.
    ///
    /// # Errors
    /// [`StageError::Refused`] by a rule of custody, which changes nothing. The others mean that the driver or the data
    /// is at fault; the stage must then be thrown away, since it may hold half of a command.
    pub fn take(
        &mut self,
        trade: &dyn Trade,
        actor: &Actor,
        command: &Command,
        source: Source,
        now: DateTime<Utc>,
    ) -> Result<Staged, StageError> {
        // A clock that was set back must not make the ledger's own time run backwards.
        let now = now.trunc_subsecs(6);
        let now = self.last_recorded.map_or(now, |last| now.max(last));
        let drafts = decide(&self.state, trade, actor, command, now)?;
        self.counted(&drafts, command)?;
        let mut staged = Staged {
            events: Vec::with_capacity(drafts.len()),
            nodes: Vec::new(),
        };
        for draft in drafts {
            let event = self.seal(&draft, actor, command, source, now)?;
            staged.nodes.extend(self.frontier.append(event.leaf()));
            for touch in &event.header.touches {
                self.counts.insert(touch.subject, touch.n);
            }
            let meta = Meta {
                seq: event.header.seq,
                actor: actor.id,
                at: draft.claimed_at,
            };
            apply(&mut self.state, &draft.fact, &meta)?;
            self.last_recorded = Some(now);
            staged.events.push(event);
        }
        Ok(staged)
    }

    /// Every count is there before anything is staged: a command with several events must not stop half-way.
    fn counted(&mut self, drafts: &[Draft], command: &Command) -> Result<(), StageError> {
        let created = command.creates();
        let subjects = drafts.iter().flat_map(|d| &d.subjects);
        self.missing = subjects
            .filter(|s| created != Some(**s) && !self.counts.contains_key(s))
            .copied()
            .collect();
        match self.missing.first() {
            None => Ok(()),
            Some(subject) => Err(StageError::CountMissing(*subject)),
        }
    }

    fn seal(
        &self,
        draft: &Draft,
        actor: &Actor,
        command: &Command,
        source: Source,
        now: DateTime<Utc>,
    ) -> Result<Event, StageError> {
        let seq: Seq = self.size() + 1;
        let created = command.creates();
        let mut touches = Vec::with_capacity(draft.subjects.len());
        for subject in &draft.subjects {
            let before = match self.counts.get(subject) {
                Some(n) => *n,
                // What the command creates has no events yet.
                None if created == Some(*subject) => 0,
                None => return Err(StageError::CountMissing(*subject)),
            };
            touches.push(event::Touch {
                subject: *subject,
                n: before + 1,
            });
        }
        let mut fields = draft
            .fact
            .to_fields()
            .map_err(|e| StageError::Payload(e.to_string()))?;
        fields.insert("command".into(), Value::String(command.id.to_string()));
        if let Some(reason) = &draft.late_reason {
            fields.insert("late_reason".into(), Value::String(reason.clone()));
        }
        if let Some(sheet) = draft.paper_sheet {
            fields.insert("paper_sheet".into(), Value::String(sheet.to_string()));
        }
        if let Some(person) = actor.id.and_then(|id| self.state.people.get(&id)) {
            // The name as it was then: a file of one case must be readable without the list of people.
            fields.insert(
                "by".into(),
                Value::String(format!("{} ({})", person.name, person.number)),
            );
        }
        let mut salt = [0_u8; 16];
        getrandom::fill(&mut salt).map_err(|_| StageError::Random)?;
        let attested = match actor.signed {
            // The hand-over was signed in ink; who enters it has signed for that as the act asks.
            _ if draft.paper_sheet.is_some() => Attested::Paper,
            Signed::Session => Attested::Session,
            Signed::Token => Attested::Token,
            Signed::Password => Attested::Password,
            Signed::System => Attested::None,
        };
        let sealed = event::Draft {
            seq,
            id: EventId::new(),
            kind: draft.fact.kind().into(),
            case: draft.case,
            touches,
            actor: actor.id,
            attested,
            source,
            claimed_at: times::claimed(draft.claimed_at),
            recorded_at: times::recorded(now),
            rules: self.rules.clone(),
        };
        Ok(Event::seal(sealed, Salt(salt), fields)?)
    }
}
