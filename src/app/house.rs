//! A data folder, opened: the database, the keys, the originals, and the writer.

use std::path::PathBuf;
use std::sync::Arc;

use chrono::Utc;

use super::readiness::Counted;
use super::record::{RecordError, Recorded, Recorder, Sent, Tools};
use super::removal::{self, Files};
use super::site::Site;
use super::{refreshed, word_index};
use crate::clock::{Clock, SystemClock};
use crate::custody::{Act, Command, Signed, person};
use crate::ids::{PersonId, Subject};
use crate::keys::{Keys, KeysError};
use crate::ledger::checkpoint::{NoteError, VerifyingKey};
use crate::ledger::event::Source;
use crate::ledger::times;
use crate::originals::{Originals, OriginalsError};
use crate::people::password::{self, PasswordError};
use crate::receivers::{Receivers, ReceiversError};
use crate::store::{CredentialRow, Store, StoreError};
use crate::timestamps::TimestampServer;
use crate::trade::{TradeErrors, TradeRules};
use crate::uploads::Uploads;
use crate::witnesses::{Witnesses, WitnessesError};

/// The database's file in the folder.
pub const DATABASE: &str = "ledger.db";
/// The keys' folder.
pub const KEYS: &str = "keys";
/// The originals' folder.
pub const ORIGINALS: &str = "originals";
/// The folder of uploads under way.
pub const UPLOADS: &str = "uploads";
/// The setting that names the ledger on its checkpoints.
pub(super) const ORIGIN: &str = "origin";
/// The setting that says which key its checkpoints are verified with.
pub(super) const KEY: &str = "verifier-key";

/// Why a data folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum HouseError {
    /// There is no ledger in the folder.
    #[error(
        "there is no ledger in {0}; name a folder that has one, or begin one with: liftledger person add"
    )]
    NoLedger(PathBuf),
    /// There is no ledger in the database.
    #[error(
        "there is no ledger in the database {0}; begin one with: liftledger person add --database …"
    )]
    EmptyDatabase(String),
    /// Events, and no name: a restoring that was stopped.
    #[error(
        "{0} has events and is not whole: a restoring was stopped there; remove it and restore once more"
    )]
    HalfRestored(String),
    /// A database is named, and the folder has one of its own.
    #[error(
        "{0} has a ledger of its own in ledger.db; name another folder for the keys and originals of the database, or \
         leave --database out"
    )]
    TwoLedgers(PathBuf),
    /// The ledger was begun with other keys than the folder has.
    #[error(
        "the ledger's checkpoints are verified with {expected}, and the keys in {folder} are others; every server of a \
         database needs a copy of the keys folder that the ledger was begun with"
    )]
    OtherKeys {
        /// The folder.
        folder: PathBuf,
        /// The key that the database names.
        expected: String,
    },
    /// Nobody said where the originals are.
    #[error(
        "the ledger's originals are in {0}; say so with --originals, or with LIFTLEDGER_ORIGINALS, or name the place that \
         they were moved to"
    )]
    OriginalsElsewhere(String),
    /// The folder cannot be made.
    #[error("the folder cannot be made: {0}")]
    Folder(#[from] std::io::Error),
    /// The keys.
    #[error(transparent)]
    Keys(#[from] KeysError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The originals.
    #[error(transparent)]
    Originals(#[from] OriginalsError),
    /// The trade rules.
    #[error("the trade rules: {0}")]
    Trade(#[from] TradeErrors),
    /// Who takes hand-offs.
    #[error("the receivers: {0}")]
    Receivers(#[from] ReceiversError),
    /// Whose cosignatures are kept.
    #[error("the witnesses: {0}")]
    Witnesses(#[from] WitnessesError),
    /// The ledger's name.
    #[error(transparent)]
    Name(#[from] NoteError),
    /// The password.
    #[error(transparent)]
    Password(#[from] PasswordError),
    /// The command was not carried out.
    #[error(transparent)]
    Record(#[from] RecordError),
}

/// A data folder, opened.
pub struct House {
    /// The database.
    pub store: Arc<dyn Store>,
    /// The original bytes of images.
    pub originals: Originals,
    /// Uploads under way.
    pub uploads: Uploads,
    /// The keys.
    pub keys: Keys,
    /// The key that checkpoints are verified with.
    pub verifying: VerifyingKey,
    /// The trade rules in force.
    pub rules: Arc<TradeRules>,
    /// Who takes hand-offs, by the agency's own file.
    pub receivers: Arc<Receivers>,
    /// Whose cosignatures are kept, by the agency's own file.
    pub witnesses: Arc<Witnesses>,
    /// The only append path.
    pub recorder: Recorder,
    /// Who is asked for timestamps of papers; nobody unless it is said.
    pub timestamps: Option<Arc<TimestampServer>>,
    /// Turns at making working copies.
    pub copying: Arc<tokio::sync::Semaphore>,
    /// What metrics tell again for a while.
    pub(super) counted: Counted,
    task: tokio::task::JoinHandle<()>,
}

impl House {
    /// Opens a ledger: that of a folder, or that of a database with the folder of its keys and originals.
    ///
    /// # Errors
    /// [`HouseError::NoLedger`], [`HouseError::EmptyDatabase`], and what can go wrong with its parts.
    pub async fn open(site: impl Into<Site>) -> Result<Self, HouseError> {
        let site = site.into();
        let store = site.find().await?.ok_or_else(|| site.empty())?;
        if store.setting(ORIGIN).await?.is_none() {
            store.close().await;
            return Err(site.empty());
        }
        let keys = Keys::open(&site.folder.join(KEYS))?;
        Self::with(&site, store, keys, None, Arc::new(SystemClock)).await
    }

    /// Opens a ledger, or begins one under this name.
    ///
    /// # Errors
    /// What can go wrong with its parts. An existing ledger keeps its name.
    pub async fn open_or_begin(site: impl Into<Site>, origin: &str) -> Result<Self, HouseError> {
        let site = site.into();
        match Self::open(&site).await {
            Err(HouseError::NoLedger(_) | HouseError::EmptyDatabase(_)) => {
                Self::begin_at(&site, origin, Arc::new(SystemClock)).await
            }
            opened => opened,
        }
    }

    /// Begins a ledger, by this clock. Any other than the machine's is for invented stories.
    ///
    /// # Errors
    /// What can go wrong with its parts; keys that are there already are never overwritten.
    pub async fn begin_at(
        site: impl Into<Site>,
        origin: &str,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, HouseError> {
        let site = site.into();
        std::fs::create_dir_all(&site.folder)?;
        let store = site.make().await?;
        if store.head().await?.size > 0 {
            store.close().await;
            return Err(HouseError::HalfRestored(site.name()));
        }
        let keys = Keys::create(&site.folder.join(KEYS))?;
        Self::with(&site, store, keys, Some(origin), clock).await
    }

    async fn with(
        site: &Site,
        store: Arc<dyn Store>,
        keys: Keys,
        begin: Option<&str>,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, HouseError> {
        let folder = &site.folder;
        if let Some(origin) = begin {
            store.set_setting(ORIGIN, origin).await?;
        }
        let origin = store.setting(ORIGIN).await?.ok_or(StoreError::NotFound)?;
        let key = keys.checkpoint(&origin)?;
        let verifying = key.verifying_key().clone();
        if begin.is_some() {
            crate::keys::write_public(&folder.join(KEYS), &verifying)?;
            store.set_setting(KEY, &verifying.to_string()).await?;
        }
        // Ledgers begun before this was noted have no such setting.
        if let Some(expected) = store.setting(KEY).await?
            && expected != verifying.to_string()
        {
            let folder = folder.join(KEYS);
            return Err(HouseError::OtherKeys { folder, expected });
        }
        refreshed::ensure(store.as_ref()).await?;
        word_index::ensure(store.as_ref()).await?;
        let rules = Arc::new(TradeRules::of_folder(folder)?);
        let receivers = Arc::new(Receivers::of_folder(folder)?);
        let witnesses = Arc::new(Witnesses::of_folder(folder)?);
        let originals = site.originals(store.as_ref()).await?;
        let uploads = Uploads::open(folder.join(UPLOADS), originals.clone(), clock.now())?;
        let files = Files { originals, uploads };
        // An expungement that was stopped between its event and the removal is finished before anything else is done.
        if !store.removals(1).await?.is_empty()
            && let Err(error) = removal::finish(&store, &files).await
        {
            tracing::error!(%error, "what was expunged is not all removed yet");
        }
        let tools = Tools {
            store: store.clone(),
            key,
            trade: rules.clone(),
            rules: rules.version().to_owned(),
            clock,
            files: Some(files.clone()),
        };
        let Files { originals, uploads } = files;
        let (recorder, task) = Recorder::start(tools);
        Ok(Self {
            store,
            originals,
            uploads,
            keys,
            verifying,
            rules,
            receivers,
            witnesses,
            recorder,
            timestamps: None,
            copying: Arc::new(tokio::sync::Semaphore::new(super::copies::AT_ONCE)),
            counted: Counted::default(),
            task,
        })
    }

    /// Adds an administrator in the ledger's own name, with a first password. All other people are added by one.
    ///
    /// # Errors
    /// [`HouseError::Password`] before anything is recorded; [`HouseError::Record`].
    pub async fn add_administrator(
        &self,
        user_name: &str,
        name: &str,
        number: &str,
        secret: &str,
    ) -> Result<(PersonId, Recorded), HouseError> {
        let phc = password::hash(secret, user_name)?;
        let add = person::AddPerson {
            user_name: user_name.into(),
            name: name.into(),
            number: number.into(),
            roles: [crate::people::Role::Administrator].into(),
        };
        let command = Command::now(Act::AddPerson(add));
        let id = PersonId(command.id.0);
        let sent = Sent {
            person: None,
            signed: Signed::System,
            beside: None,
            source: Source::CommandLine,
            command,
        };
        let recorded = self.recorder.record(sent).await?;
        let row = CredentialRow {
            person: Subject::Person(id).to_string(),
            phc,
            changed_at: times::recorded(Utc::now()),
        };
        self.store.set_credential(row).await?;
        Ok((id, recorded))
    }

    /// The same, with a server that is asked for timestamps of papers.
    #[must_use]
    pub fn timestamped(mut self, server: Option<TimestampServer>) -> Self {
        self.timestamps = server.map(Arc::new);
        self
    }

    /// Follows what other servers append, for as long as it runs.
    pub fn follow(&self) -> impl Future<Output = ()> + Send + use<> {
        self.recorder.growth().clone().listen(self.store.clone())
    }

    /// Whether nobody takes commands any more.
    pub(super) fn writer_has_stopped(&self) -> bool {
        self.task.is_finished()
    }

    /// Lets the writer finish, then closes the database.
    pub async fn close(self) {
        drop(self.recorder);
        // The writer ends by itself; a panic in it has been logged where it happened.
        let _ = self.task.await;
        self.store.close().await;
    }
}
