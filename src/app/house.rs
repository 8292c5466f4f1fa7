//! A data folder, opened: the database, the keys, the originals, and the writer.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::Utc;

use super::record::{RecordError, Recorded, Recorder, Sent, Tools};
use crate::clock::{Clock, SystemClock};
use crate::custody::{Act, Command, Signed, person};
use crate::ids::{CommandId, PersonId, Subject};
use crate::keys::{Keys, KeysError};
use crate::ledger::checkpoint::{NoteError, VerifyingKey};
use crate::ledger::event::Source;
use crate::ledger::times;
use crate::originals::{Originals, OriginalsError};
use crate::people::password::{self, PasswordError};
use crate::store::{Accounts, CredentialRow, Reads as _, SqliteStore, StoreError};
use crate::trade::{TradeErrors, TradeRules};
use crate::uploads::Uploads;

/// The database's file in the folder.
pub const DATABASE: &str = "ledger.db";
/// The keys' folder.
pub const KEYS: &str = "keys";
/// The originals' folder.
pub const ORIGINALS: &str = "originals";
/// The folder of uploads under way.
pub const UPLOADS: &str = "uploads";
/// The setting that names the ledger on its checkpoints.
const ORIGIN: &str = "origin";

/// Why a data folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum HouseError {
    /// There is no ledger in the folder.
    #[error(
        "there is no ledger in {0}; name a folder that has one, or begin one with: liftledger person add"
    )]
    NoLedger(PathBuf),
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
    pub store: Arc<SqliteStore>,
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
    /// The only append path.
    pub recorder: Recorder,
    task: tokio::task::JoinHandle<()>,
}

impl House {
    /// Opens a folder that has a ledger.
    ///
    /// # Errors
    /// [`HouseError::NoLedger`], and what can go wrong with its parts.
    pub async fn open(folder: &Path) -> Result<Self, HouseError> {
        if !folder.join(DATABASE).is_file() {
            return Err(HouseError::NoLedger(folder.to_owned()));
        }
        let keys = Keys::open(&folder.join(KEYS))?;
        Self::with(folder, keys, None, Arc::new(SystemClock)).await
    }

    /// Opens a folder, or begins a ledger in it under this name.
    ///
    /// # Errors
    /// What can go wrong with its parts. An existing ledger keeps its name.
    pub async fn open_or_begin(folder: &Path, origin: &str) -> Result<Self, HouseError> {
        if folder.join(DATABASE).is_file() {
            return Self::open(folder).await;
        }
        Self::begin_at(folder, origin, Arc::new(SystemClock)).await
    }

    /// Begins a ledger in a folder, by this clock. Any other than the machine's is for invented stories.
    ///
    /// # Errors
    /// What can go wrong with its parts; keys that are there already are never overwritten.
    pub async fn begin_at(
        folder: &Path,
        origin: &str,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, HouseError> {
        std::fs::create_dir_all(folder)?;
        let keys = Keys::create(&folder.join(KEYS))?;
        Self::with(folder, keys, Some(origin), clock).await
    }

    async fn with(
        folder: &Path,
        keys: Keys,
        begin: Option<&str>,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, HouseError> {
        let store = Arc::new(SqliteStore::open(&folder.join(DATABASE)).await?);
        if let Some(origin) = begin {
            store.set_setting(ORIGIN, origin).await?;
        }
        let origin = store.setting(ORIGIN).await?.ok_or(StoreError::NotFound)?;
        let key = keys.checkpoint(&origin)?;
        let verifying = key.verifying_key().clone();
        if begin.is_some() {
            crate::keys::write_public(&folder.join(KEYS), &verifying)?;
        }
        let rules = Arc::new(TradeRules::of_folder(folder)?);
        let tools = Tools {
            store: store.clone(),
            key,
            trade: rules.clone(),
            rules: rules.version().to_owned(),
            clock,
        };
        let originals = Originals::open(folder.join(ORIGINALS))?;
        let uploads = Uploads::open(folder.join(UPLOADS), originals.clone(), tools.clock.now())?;
        let (recorder, task) = Recorder::start(tools);
        Ok(Self {
            store,
            originals,
            uploads,
            keys,
            verifying,
            rules,
            recorder,
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
        let command = Command {
            id: CommandId::new(),
            claimed_at: None,
            late_reason: None,
            act: Act::AddPerson(add),
        };
        let id = PersonId(command.id.0);
        let sent = Sent {
            person: None,
            signed: Signed::System,
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

    /// Whether the database answers and the writer takes commands.
    ///
    /// # Errors
    /// What does not work.
    pub async fn ready(&self) -> Result<(), HouseError> {
        self.store.head().await?;
        if self.task.is_finished() {
            return Err(RecordError::Unavailable("the writer has stopped".into()).into());
        }
        Ok(())
    }

    /// Lets the writer finish, then closes the database.
    pub async fn close(self) {
        drop(self.recorder);
        // The writer ends by itself; a panic in it has been logged where it happened.
        let _ = self.task.await;
        self.store.close().await;
    }
}
