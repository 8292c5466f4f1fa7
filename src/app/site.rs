//! Where a ledger lies: a folder with its keys and originals, and its database in the folder or elsewhere.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::house::{DATABASE, HouseError, ORIGINALS};
use crate::originals::{Bucket, Originals, OriginalsError, Place};
use crate::store::{Address, PostgresStore, SqliteStore, Store};

/// The setting that says where the originals are, where it was ever said.
pub(super) const PLACE: &str = "originals";

/// Where a ledger lies. Made from a folder's path alone, its database is the file in it.
#[derive(Clone, Debug)]
pub struct Site {
    /// The folder with keys/ and originals/; and ledger.db where there is no other database.
    pub folder: PathBuf,
    /// The PostgreSQL database, where it is one.
    pub database: Option<Address>,
    /// Where the originals are, where it is not the folder's own.
    pub originals: Option<Place>,
}

impl<P: AsRef<Path> + ?Sized> From<&P> for Site {
    fn from(folder: &P) -> Self {
        Self {
            folder: folder.as_ref().to_owned(),
            database: None,
            originals: None,
        }
    }
}

impl From<&Site> for Site {
    fn from(site: &Site) -> Self {
        site.clone()
    }
}

impl Site {
    /// The database where there is one already, and `None` where none was begun.
    pub(super) async fn find(&self) -> Result<Option<Arc<dyn Store>>, HouseError> {
        let file = self.folder.join(DATABASE);
        let Some(address) = &self.database else {
            if !file.is_file() {
                return Ok(None);
            }
            return Ok(Some(Arc::new(SqliteStore::open(&file).await?)));
        };
        self.only_one()?;
        let store = PostgresStore::find(address).await?;
        Ok(store.map(|store| Arc::new(store) as Arc<dyn Store>))
    }

    /// The database, made where there is none.
    pub(super) async fn make(&self) -> Result<Arc<dyn Store>, HouseError> {
        Ok(match &self.database {
            None => Arc::new(SqliteStore::open(&self.folder.join(DATABASE)).await?),
            Some(address) => {
                self.only_one()?;
                Arc::new(PostgresStore::open(address).await?)
            }
        })
    }

    /// The originals. Where they are is noted in the database, so that nobody who forgets to say it looks for them, or puts
    /// new ones, in another place.
    pub(super) async fn originals(&self, store: &dyn Store) -> Result<Originals, HouseError> {
        let noted = store.setting(PLACE).await?;
        match (&self.originals, noted) {
            (None, Some(noted)) => return Err(HouseError::OriginalsElsewhere(noted)),
            (Some(place), noted) if noted.as_deref() != Some(&place.to_string()) => {
                store.set_setting(PLACE, &place.to_string()).await?;
            }
            _ => {}
        }
        let home = self.folder.join(ORIGINALS);
        Ok(match &self.originals {
            None => Originals::open(home)?,
            Some(Place::Folder(folder)) => Originals::open(folder)?,
            Some(Place::Bucket { name, prefix }) => {
                let bucket = Bucket::open(name, prefix, |n| std::env::var(n).ok());
                let bucket = bucket.map_err(OriginalsError::from)?;
                Originals::open(home)?.in_bucket(bucket)
            }
        })
    }

    /// A folder that has a ledger of its own does not lend its keys to another.
    fn only_one(&self) -> Result<(), HouseError> {
        if self.folder.join(DATABASE).exists() {
            return Err(HouseError::TwoLedgers(self.folder.clone()));
        }
        Ok(())
    }

    /// For people.
    pub(super) fn name(&self) -> String {
        match &self.database {
            None => self.folder.display().to_string(),
            Some(address) => address.to_string(),
        }
    }

    /// What there is no ledger in.
    pub(super) fn empty(&self) -> HouseError {
        match &self.database {
            None => HouseError::NoLedger(self.folder.clone()),
            Some(address) => HouseError::EmptyDatabase(address.to_string()),
        }
    }
}
