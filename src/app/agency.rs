//! What the agency calls itself, and in which zone and on which paper it works. Kept as settings, not in the ledger:
//! none of it is evidence.

use super::house::House;
use crate::reports::paper::Paper;
use crate::store::StoreError;
use crate::zone::{Zone, ZoneError};

const NAME: &str = "agency-name";
const ZONE: &str = "zone";
const PAPER: &str = "paper";

/// The longest name of an agency, in characters.
pub const MAX_NAME: usize = 120;
/// What stands on papers until somebody gives a name.
pub const UNNAMED: &str = "Agency not named yet";

/// The agency.
#[derive(Clone, Debug, PartialEq)]
pub struct Agency {
    /// Its name, as on papers.
    pub name: String,
    /// The zone in which times are shown. Times are kept with the offset in which they were claimed.
    pub zone: Zone,
    /// The paper in its printers.
    pub paper: Paper,
}

impl Default for Agency {
    fn default() -> Self {
        Self {
            name: UNNAMED.into(),
            zone: Zone::default(),
            paper: Paper::A4,
        }
    }
}

/// Why a setting of the agency cannot be taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AgencyError {
    /// The name is empty, too long, or holds control characters.
    #[error("the agency's name has 1 to {MAX_NAME} characters on one line")]
    Name,
    /// No zone.
    #[error(transparent)]
    Zone(#[from] ZoneError),
    /// Not a paper.
    #[error("the paper is a4 or letter")]
    Paper,
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// The word of a paper in settings and forms.
#[must_use]
pub fn paper_word(paper: Paper) -> &'static str {
    match paper {
        Paper::A4 => "a4",
        Paper::Letter => "letter",
    }
}

/// Reads the word of a paper.
///
/// # Errors
/// [`AgencyError::Paper`].
pub fn parse_paper(text: &str) -> Result<Paper, AgencyError> {
    [Paper::A4, Paper::Letter]
        .into_iter()
        .find(|p| paper_word(*p) == text.trim())
        .ok_or(AgencyError::Paper)
}

impl House {
    /// The agency as set; defaults where nothing was set or a setting cannot be read.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn agency(&self) -> Result<Agency, StoreError> {
        let mut agency = Agency {
            zone: self.zone().await?,
            ..Agency::default()
        };
        if let Some(name) = self.store.setting(NAME).await? {
            agency.name = name;
        }
        if let Some(paper) = self.store.setting(PAPER).await?
            && let Ok(paper) = parse_paper(&paper)
        {
            agency.paper = paper;
        }
        Ok(agency)
    }

    /// The agency's zone alone, which every page asks for; UTC where none was set or it cannot be read.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn zone(&self) -> Result<Zone, StoreError> {
        let set = self.store.setting(ZONE).await?;
        Ok(set.and_then(|zone| zone.parse().ok()).unwrap_or_default())
    }

    /// Sets the agency. Who may do so, the caller has asked before.
    ///
    /// # Errors
    /// [`AgencyError`]; nothing is set then but what was set before the database failed.
    pub async fn set_agency(&self, agency: &Agency) -> Result<(), AgencyError> {
        let name = agency.name.trim();
        if name.is_empty() || name.chars().count() > MAX_NAME || name.chars().any(char::is_control)
        {
            return Err(AgencyError::Name);
        }
        let zone = agency.zone.to_string();
        zone.parse::<Zone>()?;
        self.store.set_setting(NAME, name).await?;
        self.store.set_setting(ZONE, &zone).await?;
        self.store
            .set_setting(PAPER, paper_word(agency.paper))
            .await?;
        Ok(())
    }
}
