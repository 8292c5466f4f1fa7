//! Rows as callers see them.

use std::collections::HashMap;

/// Where the ledger ends.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Head {
    /// How many events there are; the next one takes `size + 1`.
    pub size: u64,
    /// `recorded_at` of the last event, as its header says; `None` for an empty ledger or a header that is not JSON.
    pub last_recorded_at: Option<String>,
}

/// An event to be appended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EventRow {
    /// Its place.
    pub seq: u64,
    /// Its identifier.
    pub id: String,
    /// The canonical header.
    pub header: Vec<u8>,
}

/// The payload of an event.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PayloadRow {
    /// The place of its event.
    pub seq: u64,
    /// The salt of its commitments.
    pub salt: Vec<u8>,
    /// The canonical fields.
    pub fields: Vec<u8>,
}

/// A node of the tree over the events.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NodeRow {
    /// 0 for leaves.
    pub level: u32,
    /// From the left, 0 for the first.
    pub idx: u64,
    /// SHA-256, 32 bytes.
    pub hash: Vec<u8>,
}

/// A signed checkpoint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckpointRow {
    /// Over how many events.
    pub size: u64,
    /// The signed note.
    pub note: String,
}

/// That an event touches a subject.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TouchRow {
    /// `kind:uuid`.
    pub subject: String,
    /// Which of the subject's events, 1 for the first.
    pub n: u64,
    /// The event's place.
    pub seq: u64,
}

/// Some touches of one subject that follow each other, with nothing taken for granted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TouchesRow {
    /// `kind:uuid`.
    pub subject: String,
    /// Which of the subject's events, and the event's place; in the order of the first.
    pub at: Vec<(i64, i64)>,
}

/// What a subject is now, and the columns that lists are made by.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DocRow {
    /// `kind:uuid`.
    pub subject: String,
    /// `person`, `place`, `case`, `mark`, `item`, `package`.
    pub kind: String,
    /// The case it belongs to.
    pub case_id: Option<String>,
    /// Its number within the case.
    pub number: Option<i64>,
    /// The code on its label; no two are the same.
    pub code: Option<String>,
    /// A user name, a case number, the name of a place; unique within a kind.
    pub name: Option<String>,
    /// Who has it.
    pub holder: Option<String>,
    /// The package it is in.
    pub inside: Option<String>,
    /// To whom it is offered.
    pub offer_to: Option<String>,
    /// When it must be back, RFC 3339 in UTC.
    pub due_at: Option<String>,
    /// Where it is stored.
    pub place: Option<String>,
    /// By which lot it was made: the medium, a slash, the lot.
    pub lot: Option<String>,
    /// Whether it still counts (not disposed of, not closed).
    pub active: bool,
    /// The document, JSON.
    pub doc: String,
}

impl DocRow {
    /// The cursor behind this row, for a list in `order`.
    #[must_use]
    pub fn cursor(&self, order: DocOrder) -> Cursor {
        let key = match order {
            DocOrder::Subject | DocOrder::Newest => None,
            DocOrder::Number => self.number.map(|n| n.to_string()),
            DocOrder::Due => self.due_at.clone(),
            DocOrder::Name => self.name.clone(),
            DocOrder::Offer => self.offer_to.clone(),
        };
        Cursor {
            key: key.unwrap_or_default(),
            subject: self.subject.clone(),
        }
    }
}

/// A list's order. By number, due time or name, rows without one are left out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DocOrder {
    /// By identifier, so oldest first within a kind.
    #[default]
    Subject,
    /// By identifier, newest first within a kind.
    Newest,
    /// By number within the case.
    Number,
    /// By due time, the most urgent first.
    Due,
    /// By name.
    Name,
    /// By whom it is offered to.
    Offer,
}

/// Where a list goes on: behind this row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cursor {
    /// The last row's number, due time or name; empty where the order is by identifier.
    pub key: String,
    /// The last row's subject.
    pub subject: String,
}

/// Which documents. Every condition that is set must hold.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DocFilter {
    /// Of this kind.
    pub kind: Option<String>,
    /// Of this case.
    pub case_id: Option<String>,
    /// With this number in its case.
    pub number: Option<i64>,
    /// With this holder.
    pub holder: Option<String>,
    /// Offered to this person.
    pub offer_to: Option<String>,
    /// Stored in this place.
    pub place: Option<String>,
    /// In this package.
    pub inside: Option<String>,
    /// Made by this lot.
    pub lot: Option<String>,
    /// Due before this time, RFC 3339 in UTC.
    pub due_before: Option<String>,
    /// Only those that still count, or only those that do not.
    pub active: Option<bool>,
    /// In which order.
    pub order: DocOrder,
    /// Behind this row.
    pub after: Option<Cursor>,
    /// At most so many; 0 and everything above [`super::LIST_MAX`] mean [`super::LIST_MAX`].
    pub limit: u32,
}

/// Where a seal number was used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SealRow {
    /// The number on the seal.
    pub number: String,
    /// The package it was put on.
    pub package: String,
    /// By which event.
    pub seq: u64,
}

/// By which words a subject is found. They replace what the index had of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WordsRow {
    /// `kind:uuid`.
    pub subject: String,
    /// Its kind.
    pub kind: String,
    /// Each word once.
    pub words: Vec<String>,
}

/// A word, and a subject that is found by it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WordRow {
    /// `kind:uuid`.
    pub subject: String,
    /// The word.
    pub word: String,
}

/// A command that was carried out, and its answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CommandRow {
    /// The client's identifier.
    pub id: String,
    /// A digest of its content: the same id with another fingerprint is a conflict.
    pub fingerprint: Vec<u8>,
    /// Who sent it.
    pub actor: String,
    /// What was answered.
    pub answer: String,
    /// The first event it made.
    pub first_seq: u64,
    /// How many events it made.
    pub count: u64,
}

/// Everything one append writes, in one transaction.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Batch {
    /// Events, in order, right behind the head.
    pub events: Vec<EventRow>,
    /// Their payloads.
    pub payloads: Vec<PayloadRow>,
    /// New nodes of the tree.
    pub nodes: Vec<NodeRow>,
    /// The checkpoint over all of it.
    pub checkpoint: Option<CheckpointRow>,
    /// Which subjects the events touch.
    pub touches: Vec<TouchRow>,
    /// Documents, new or replaced; of several for one subject the last counts.
    pub docs: Vec<DocRow>,
    /// Seal numbers used.
    pub seals: Vec<SealRow>,
    /// By which words subjects are found; a subject stands here once.
    pub words: Vec<WordsRow>,
    /// Commands answered.
    pub commands: Vec<CommandRow>,
    /// Payloads that go, by events of this batch. What their commands were known by goes too.
    pub expunged: Vec<ExpungedRow>,
    /// What is to be removed outside of these tables.
    pub removals: Vec<RemovalRow>,
}

/// A payload that was expunged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ExpungedRow {
    /// Of which event.
    pub seq: u64,
    /// By which event.
    pub by: u64,
    /// The command that made it.
    pub command: Option<String>,
    /// What is left of it: canonical fields.
    pub remains: Vec<u8>,
}

/// Something that an expungement still has to remove.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RemovalRow {
    /// The digest of a file, or [`super::RAW_BYTES`].
    pub what: String,
    /// By which event.
    pub by: u64,
}

/// What became of the raw bytes of what was removed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scrubbed {
    /// Whether nothing is left to do.
    pub done: bool,
    /// In words, for the instruction that follows an expungement.
    pub said: String,
}

/// An event as it lies in the database, for readers who trust nothing: any column may be missing or out of range.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawEvent {
    /// Its place.
    pub seq: i64,
    /// Its identifier; bytes that are not UTF-8 are replaced.
    pub id: Option<String>,
    /// Its header.
    pub header: Option<Vec<u8>>,
    /// The salt; `None` where the payload is missing.
    pub salt: Option<Vec<u8>>,
    /// The fields; `None` where the payload is missing.
    pub fields: Option<Vec<u8>>,
    /// By which event its payload was expunged.
    pub expunged_by: Option<i64>,
    /// What is left of the payload then: canonical fields.
    pub remains: Option<Vec<u8>>,
}

/// An event of a subject.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TouchedEvent {
    /// Which of the subject's events.
    pub n: u64,
    /// The event.
    pub event: RawEvent,
}

/// The same of one of several subjects.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SubjectEvent {
    /// Whose.
    pub subject: String,
    /// Which, and the event.
    pub touched: TouchedEvent,
}

/// A node as it lies in the database.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawNode {
    /// 0 for leaves.
    pub level: i64,
    /// From the left.
    pub idx: i64,
    /// The hash, of whatever length.
    pub hash: Option<Vec<u8>>,
}

/// A checkpoint as it lies in the database.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawCheckpoint {
    /// Over how many events.
    pub size: i64,
    /// The note's bytes.
    pub note: Option<Vec<u8>>,
}

/// How many rows there are of each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Events.
    pub events: u64,
    /// Payloads.
    pub payloads: u64,
    /// Nodes of the tree.
    pub nodes: u64,
    /// Checkpoints.
    pub checkpoints: u64,
    /// Touches.
    pub touches: u64,
    /// Documents.
    pub docs: u64,
}

/// A person's password hash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CredentialRow {
    /// Whose.
    pub person: String,
    /// The hash with its parameters, as a PHC string.
    pub phc: String,
    /// When it was set.
    pub changed_at: String,
}

/// A session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SessionRow {
    /// The hash of its token.
    pub token_hash: Vec<u8>,
    /// Whose.
    pub person: String,
    /// When it was opened.
    pub created_at: String,
    /// When it was last used.
    pub seen_at: String,
    /// The theme chosen in it.
    pub theme: Option<String>,
}

/// A token for programs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TokenRow {
    /// The hash of the token.
    pub token_hash: Vec<u8>,
    /// Whose.
    pub person: String,
    /// What the person calls it.
    pub name: String,
    /// When it was made.
    pub created_at: String,
    /// When it was last used.
    pub last_used_at: Option<String>,
    /// When it ends.
    pub expires_at: Option<String>,
}

/// Failed attempts to sign in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignInFailureRow {
    /// The user name tried.
    pub user_name: String,
    /// How often since the last success.
    pub count: u64,
    /// When last.
    pub last_at: String,
}

/// A guard that does not stand as the schema made it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BrokenGuard {
    /// The trigger's name.
    pub name: String,
    /// True where a trigger of that name is there and says something else; false where there is none.
    pub changed: bool,
}

/// Of several documents for one subject the last; the order of first appearance stays.
pub(super) fn last_of_each(docs: Vec<DocRow>) -> Vec<DocRow> {
    let mut at: HashMap<String, usize> = HashMap::with_capacity(docs.len());
    let mut last: Vec<DocRow> = Vec::with_capacity(docs.len());
    for doc in docs {
        if let Some(slot) = at.get(&doc.subject).and_then(|&i| last.get_mut(i)) {
            *slot = doc;
        } else {
            at.insert(doc.subject.clone(), last.len());
            last.push(doc);
        }
    }
    last
}
