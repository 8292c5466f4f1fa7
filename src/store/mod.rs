//! The database.
//!
//! The store knows bytes and rows, and nothing of custody or of what an event says. It is trusted to keep rows, not to
//! be honest: whoever has the file can change it, and the verifier reads it raw for that reason.
//!
//! [`Store`] is the contract; callers hold a `dyn Store`. Each database has its own SQL behind it ([`sqlite`],
//! [`postgres`]); what is the same on both (signing in, from rows to ours) is written once and stamped for each.
//! Three parts: [`Reads`] from a committed state, [`Accounts`] for signing in, and [`Store::begin`], which opens the
//! one write transaction that events go through.
//!
//! Which error: [`StoreError::Moved`] when someone else appended first (load again, decide again);
//! [`StoreError::Refused`] when a guard or a constraint of the schema said no; [`StoreError::Corrupt`] when what was
//! read cannot be what was written; [`StoreError::NotFound`] when a row that must be there is not;
//! [`StoreError::Database`] for everything the database could not do. A row that may be missing is an `Option`.

mod accounts;
mod decode;
mod error;
mod listing;
pub mod postgres;
mod removals;
mod rows;
pub mod sqlite;
mod write_tx;

use futures_util::future::BoxFuture;

pub use postgres::{Address, PostgresStore};
pub use rows::{
    Batch, BrokenGuard, CheckpointRow, CommandRow, Counts, CredentialRow, Cursor, DocFilter,
    DocOrder, DocRow, EventRow, ExpungedRow, Head, NodeRow, PayloadRow, RawCheckpoint, RawEvent,
    RawNode, RemovalRow, Scrubbed, SealRow, SessionRow, SignInFailureRow, SubjectEvent, TokenRow,
    TouchRow, TouchedEvent, TouchesRow, WordRow, WordsRow,
};
pub use sqlite::SqliteStore;

/// No list is longer than this; a greater limit is cut down to it.
pub const LIST_MAX: u32 = 500;
/// No page of the verifier's raw rows is longer than this; a greater limit is cut down to it.
pub const RAW_MAX: u32 = 5_000;
/// No more keys (subjects, coordinates) than this are looked up in one call; more is [`StoreError::Refused`].
pub const KEYS_MAX: usize = 10_000;

/// What [`Reads::words_with`] is asked.
#[derive(Clone, Copy, Debug)]
pub struct WordsAsked<'a> {
    /// Of which kind of subject.
    pub kind: &'a str,
    /// How the word begins by which they are gone through.
    pub begin: &'a str,
    /// How other words begin that the same subject must have.
    pub also: &'a [String],
    /// How many rows are gone through; at most [`LIST_MAX`].
    pub through: u32,
    /// How many are given; at most [`LIST_MAX`].
    pub limit: u32,
}

/// Why the store could not do it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// Someone else appended first: the batch does not begin right behind the last event.
    #[error("the ledger has grown in the meantime")]
    Moved,
    /// A row that must be there is not.
    #[error("there is no such row")]
    NotFound,
    /// What was read cannot be what was written.
    #[error("the database is damaged: {0}")]
    Corrupt(String),
    /// A guard or a constraint of the schema said no, or the request is beyond a bound.
    #[error("the database refused: {0}")]
    Refused(String),
    /// The database could not do it: busy, full, unreachable.
    #[error("the database failed: {0}")]
    Database(String),
}

/// What every method of the contract gives.
pub type Answer<'a, T> = BoxFuture<'a, Result<T, StoreError>>;

/// The contract of a database that keeps the ledger.
pub trait Store: Reads + Accounts + Removals {
    /// Opens the write transaction; waits while another one is open. While it is open, the methods of [`Accounts`]
    /// that write wait for it: call none of them from inside.
    fn begin(&self) -> Answer<'_, Box<dyn WriteTx>>;
    /// Begins to hear of what other servers append; `None` where the database tells nobody.
    fn listen(&self) -> Answer<'_, Option<Box<dyn Listening>>>;
    /// Closes every connection, after what they are doing.
    fn close(&self) -> BoxFuture<'_, ()>;
    /// Overwrites the raw bytes of what was removed, as far as this database lets its role. Waits for no reader for long.
    fn scrub(&self) -> Answer<'_, Scrubbed>;
}

/// What [`RemovalRow::what`] says where the raw bytes of the database are meant.
pub const RAW_BYTES: &str = "raw-bytes";

/// What expungements still have to remove. Each write is a transaction of its own.
pub trait Removals: Send + Sync {
    /// What is still to be removed, in no particular order, at most [`LIST_MAX`].
    fn removals(&self, limit: u32) -> Answer<'_, Vec<RemovalRow>>;
    /// Notes that it is removed.
    fn removal_done<'a>(&'a self, what: &'a str) -> Answer<'a, ()>;
    /// Whether the document of a mark or an item names this file.
    fn is_named<'a>(&'a self, digest: &'a str) -> Answer<'a, bool>;
}

/// Hears of what other servers append.
pub trait Listening: Send {
    /// Waits for the next notice: how many events the ledger is said to have. `None` when the connection was lost, and with
    /// it perhaps notices; then it is over.
    fn heard(&mut self) -> Answer<'_, Option<u64>>;
}

/// One write transaction. Dropped without [`WriteTx::commit`], it leaves nothing.
///
/// `Sync`, so that a future that holds it by reference can move between threads.
pub trait WriteTx: Send + Sync {
    /// Where the ledger ends.
    fn head(&mut self) -> Answer<'_, Head>;
    /// The documents of `subjects`, in no particular order; a subject without one is left out.
    fn load_docs<'a>(&'a mut self, subjects: &'a [String]) -> Answer<'a, Vec<DocRow>>;
    /// A bounded list of documents, as [`Reads::list_docs`], seen from inside the transaction.
    fn list_docs<'a>(&'a mut self, filter: &'a DocFilter) -> Answer<'a, Vec<DocRow>>;
    /// The document of a kind by its name.
    fn lookup<'a>(&'a mut self, kind: &'a str, name: &'a str) -> Answer<'a, Option<DocRow>>;
    /// The document by the code on its label.
    fn lookup_code<'a>(&'a mut self, code: &'a str) -> Answer<'a, Option<DocRow>>;
    /// Where a seal number was used.
    fn lookup_seal<'a>(&'a mut self, number: &'a str) -> Answer<'a, Option<SealRow>>;
    /// How many events a subject has: its greatest `n`, 0 for none.
    fn subject_count<'a>(&'a mut self, subject: &'a str) -> Answer<'a, u64>;
    /// The greatest number given out in a case to documents of a kind, 0 for none.
    fn max_number<'a>(&'a mut self, case_id: &'a str, kind: &'a str) -> Answer<'a, i64>;
    /// What was answered to a command before.
    fn command<'a>(&'a mut self, id: &'a str) -> Answer<'a, Option<CommandRow>>;
    /// What was answered to several commands before, in no particular order; a command that is new is left out.
    fn commands<'a>(&'a mut self, ids: &'a [String]) -> Answer<'a, Vec<CommandRow>>;
    /// Nodes of the tree by (level, index), in no particular order; one that is not there is left out.
    fn nodes<'a>(&'a mut self, at: &'a [(u32, u64)]) -> Answer<'a, Vec<NodeRow>>;
    /// Writes all of a batch. Its events begin right behind the head ([`StoreError::Moved`] otherwise). After an
    /// error the transaction can only be rolled back.
    fn append(&mut self, batch: Batch) -> Answer<'_, ()>;
    /// Empties what is derived (touches, documents, seals, words), so that it can be built again from events.
    fn clear_read_models(&mut self) -> Answer<'_, ()>;
    /// Empties the word index, so that it can be filled again from documents.
    fn clear_words(&mut self) -> Answer<'_, ()>;
    /// Makes it durable. An error may mean either: read the head again to know.
    fn commit(self: Box<Self>) -> Answer<'static, ()>;
    /// Gives it up.
    fn rollback(self: Box<Self>) -> Answer<'static, ()>;
}

/// Reading what is committed. Every list is bounded.
pub trait Reads: Send + Sync {
    /// Where the ledger ends.
    fn head(&self) -> Answer<'_, Head>;
    /// How many rows there are of each.
    fn counts(&self) -> Answer<'_, Counts>;
    /// The document of a subject.
    fn doc<'a>(&'a self, subject: &'a str) -> Answer<'a, Option<DocRow>>;
    /// The documents of several subjects, in no particular order; a subject without one is left out.
    fn docs<'a>(&'a self, subjects: &'a [String]) -> Answer<'a, Vec<DocRow>>;
    /// The document by the code on its label.
    fn doc_by_code<'a>(&'a self, code: &'a str) -> Answer<'a, Option<DocRow>>;
    /// The document of a kind by its name.
    fn doc_by_name<'a>(&'a self, kind: &'a str, name: &'a str) -> Answer<'a, Option<DocRow>>;
    /// Documents by what they have in common, at most [`LIST_MAX`].
    fn list_docs<'a>(&'a self, filter: &'a DocFilter) -> Answer<'a, Vec<DocRow>>;
    /// Their subjects alone, in the same order: what an index has, no document need be read for.
    fn list_subjects<'a>(&'a self, filter: &'a DocFilter) -> Answer<'a, Vec<String>>;
    /// How many documents fit the filter, whatever its limit, order and cursor; counted up to `most` and no further.
    fn count_docs<'a>(&'a self, filter: &'a DocFilter, most: u32) -> Answer<'a, u64>;
    /// Documents whose code begins with `begin`, in the order of codes, at most [`LIST_MAX`].
    fn docs_by_code_from<'a>(&'a self, begin: &'a str, limit: u32) -> Answer<'a, Vec<DocRow>>;
    /// Words of a kind's subjects that begin with `begin`, each with a subject that is found by it: in the order of words
    /// and for one word the newest subject first, at most [`LIST_MAX`]. By an index, so that it reads no more than it gives.
    fn words_from<'a>(
        &'a self,
        kind: &'a str,
        begin: &'a str,
        limit: u32,
    ) -> Answer<'a, Vec<WordRow>>;
    /// The same of those subjects that have other words, too; of how many rows it goes through, whatever it gives, there is
    /// a bound.
    fn words_with<'a>(&'a self, asked: &'a WordsAsked<'a>) -> Answer<'a, Vec<WordRow>>;
    /// Which of several subjects have a word that begins so, in no order.
    fn having_word<'a>(&'a self, subjects: &'a [String], begin: &'a str)
    -> Answer<'a, Vec<String>>;
    /// Words behind a (subject, word), in that order, at most [`RAW_MAX`] in all, those of one subject and kind in one row; the
    /// last subject may have more. Begin with two empty texts.
    fn words_page<'a>(&'a self, after: (&'a str, &'a str), limit: u32)
    -> Answer<'a, Vec<WordsRow>>;
    /// Where a seal number was used.
    fn seal<'a>(&'a self, number: &'a str) -> Answer<'a, Option<SealRow>>;
    /// Which of several seal numbers were used and where, in no particular order; one that was not is left out.
    fn seals<'a>(&'a self, numbers: &'a [String]) -> Answer<'a, Vec<SealRow>>;
    /// What was answered to a command before.
    fn command<'a>(&'a self, id: &'a str) -> Answer<'a, Option<CommandRow>>;
    /// What was answered to several commands before, in no particular order; one that is not known is left out.
    fn commands<'a>(&'a self, ids: &'a [String]) -> Answer<'a, Vec<CommandRow>>;
    /// How many events a subject has: its greatest `n`, 0 for none.
    fn subject_count<'a>(&'a self, subject: &'a str) -> Answer<'a, u64>;
    /// The events of a subject behind its `after_n`th, in order, at most [`LIST_MAX`].
    fn events_of<'a>(
        &'a self,
        subject: &'a str,
        after_n: u64,
        limit: u32,
    ) -> Answer<'a, Vec<TouchedEvent>>;
    /// The first events of several subjects, at most `each` of one, those of one in order; more than [`RAW_MAX`] in all is
    /// [`StoreError::Refused`]. Subjects come in any order, and one without events is left out.
    fn first_events<'a>(
        &'a self,
        subjects: &'a [String],
        each: u32,
    ) -> Answer<'a, Vec<SubjectEvent>>;
    /// One event by its place.
    fn event(&self, seq: u64) -> Answer<'_, Option<RawEvent>>;
    /// One event by its identifier.
    fn event_by_id<'a>(&'a self, id: &'a str) -> Answer<'a, Option<RawEvent>>;
    /// Events from `from` (included) upward, at most [`RAW_MAX`]. Begin with `i64::MIN` to see rows that should not be.
    fn events(&self, from: i64, limit: u32) -> Answer<'_, Vec<RawEvent>>;
    /// Places of payloads whose event is missing, at most [`RAW_MAX`].
    fn orphan_payloads(&self, limit: u32) -> Answer<'_, Vec<i64>>;
    /// Touches behind a (subject, n), in that order, at most [`RAW_MAX`] in all, those of one subject in one row; the last subject
    /// may have more. Begin with `("", i64::MIN)` to see rows that should not be.
    fn touches<'a>(&'a self, after: (&'a str, i64), limit: u32) -> Answer<'a, Vec<TouchesRow>>;
    /// Nodes of the tree by (level, index), in no particular order; one that is not there is left out.
    fn nodes<'a>(&'a self, at: &'a [(u32, u64)]) -> Answer<'a, Vec<NodeRow>>;
    /// Nodes behind a (level, index), in that order, at most [`RAW_MAX`]. Begin with `None`.
    fn nodes_page(&self, after: Option<(i64, i64)>, limit: u32) -> Answer<'_, Vec<RawNode>>;
    /// The checkpoint over the most events.
    fn latest_checkpoint(&self) -> Answer<'_, Option<CheckpointRow>>;
    /// The smallest checkpoint over at least `size` events.
    fn checkpoint_at_least(&self, size: u64) -> Answer<'_, Option<CheckpointRow>>;
    /// Checkpoints of a size above `after`, in order, at most [`RAW_MAX`]. Begin with `i64::MIN`.
    fn checkpoints(&self, after: i64, limit: u32) -> Answer<'_, Vec<RawCheckpoint>>;
    /// Guards (triggers on the ledger's tables) that are gone, or that do not say what the schema's do.
    fn broken_guards(&self) -> Answer<'_, Vec<BrokenGuard>>;
}

/// Signing in, tokens and settings. None of it is evidence. Times are RFC 3339 in UTC, compared as texts.
pub trait Accounts: Send + Sync {
    /// The password hash of a person.
    fn credential<'a>(&'a self, person: &'a str) -> Answer<'a, Option<CredentialRow>>;
    /// Password hashes behind a person, in the order of persons, at most [`LIST_MAX`]. Begin with an empty text.
    fn credentials<'a>(&'a self, after: &'a str, limit: u32) -> Answer<'a, Vec<CredentialRow>>;
    /// Sets or replaces a person's password hash.
    fn set_credential(&self, row: CredentialRow) -> Answer<'_, ()>;
    /// Opens a session.
    fn create_session(&self, row: SessionRow) -> Answer<'_, ()>;
    /// The session of a token's hash. Whether it is still good, the caller decides by its times.
    fn session<'a>(&'a self, token_hash: &'a [u8]) -> Answer<'a, Option<SessionRow>>;
    /// Notes that a session was used; `false` where there is none.
    fn touch_session<'a>(&'a self, token_hash: &'a [u8], seen_at: &'a str) -> Answer<'a, bool>;
    /// Sets the theme of a session; `false` where there is none.
    fn set_session_theme<'a>(&'a self, token_hash: &'a [u8], theme: &'a str) -> Answer<'a, bool>;
    /// Ends a session; `false` where there was none.
    fn delete_session<'a>(&'a self, token_hash: &'a [u8]) -> Answer<'a, bool>;
    /// Ends all sessions of a person; how many.
    fn delete_sessions_of<'a>(&'a self, person: &'a str) -> Answer<'a, u64>;
    /// Ends sessions last seen before the one or opened before the other time; how many.
    fn delete_expired_sessions<'a>(
        &'a self,
        seen_before: &'a str,
        created_before: &'a str,
    ) -> Answer<'a, u64>;
    /// Adds a token; [`StoreError::Refused`] where the person has one of that name.
    fn create_token(&self, row: TokenRow) -> Answer<'_, ()>;
    /// The token of a hash. Whether it is still good, the caller decides by its times.
    fn token<'a>(&'a self, token_hash: &'a [u8]) -> Answer<'a, Option<TokenRow>>;
    /// Tokens behind a hash, in the order of hashes, at most [`LIST_MAX`]. Begin with no bytes.
    fn tokens<'a>(&'a self, after: &'a [u8], limit: u32) -> Answer<'a, Vec<TokenRow>>;
    /// A person's tokens by name, at most [`LIST_MAX`].
    fn tokens_of<'a>(&'a self, person: &'a str) -> Answer<'a, Vec<TokenRow>>;
    /// Notes that a token was used; `false` where there is none.
    fn touch_token<'a>(&'a self, token_hash: &'a [u8], last_used_at: &'a str) -> Answer<'a, bool>;
    /// Removes a person's token by name; `false` where there was none.
    fn delete_token<'a>(&'a self, person: &'a str, name: &'a str) -> Answer<'a, bool>;
    /// Failed attempts to sign in under a user name.
    fn sign_in_failures<'a>(&'a self, user_name: &'a str) -> Answer<'a, Option<SignInFailureRow>>;
    /// Counts one more failed attempt; the new count.
    fn add_sign_in_failure<'a>(&'a self, user_name: &'a str, at: &'a str) -> Answer<'a, u64>;
    /// Forgets the failed attempts of a user name.
    fn clear_sign_in_failures<'a>(&'a self, user_name: &'a str) -> Answer<'a, ()>;
    /// Forgets failed attempts whose last was before `before`; how many user names.
    fn delete_old_sign_in_failures<'a>(&'a self, before: &'a str) -> Answer<'a, u64>;
    /// Settings behind a name, name and value, in the order of names, at most [`LIST_MAX`]. Begin with an empty text.
    fn settings<'a>(&'a self, after: &'a str, limit: u32) -> Answer<'a, Vec<(String, String)>>;
    /// A setting.
    fn setting<'a>(&'a self, name: &'a str) -> Answer<'a, Option<String>>;
    /// Sets or replaces a setting.
    fn set_setting<'a>(&'a self, name: &'a str, value: &'a str) -> Answer<'a, ()>;
}
