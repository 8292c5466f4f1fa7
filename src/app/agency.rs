//! What the agency calls itself, and in which zone and on which paper it works. Kept as settings, not in the ledger:
//! none of it is evidence.

use chrono::{FixedOffset, Offset as _, Utc};

use super::house::House;
use crate::reports::paper::Paper;
use crate::store::StoreError;

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
    pub zone: FixedOffset,
    /// The paper in its printers.
    pub paper: Paper,
}

impl Default for Agency {
    fn default() -> Self {
        Self {
            name: UNNAMED.into(),
            zone: Utc.fix(),
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
    /// Not an offset.
    #[error("a zone is an offset from UTC such as +01:00, between -14:00 and +14:00")]
    Zone,
    /// Not a paper.
    #[error("the paper is a4 or letter")]
    Paper,
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Reads an offset such as `+01:00`; `Z` is UTC.
///
/// # Errors
/// [`AgencyError::Zone`].
pub fn parse_zone(text: &str) -> Result<FixedOffset, AgencyError> {
    let text = text.trim();
    if text.eq_ignore_ascii_case("z") {
        return Ok(Utc.fix());
    }
    let bytes = text.as_bytes();
    if bytes.len() != 6 || bytes[3] != b':' {
        return Err(AgencyError::Zone);
    }
    let sign = match bytes[0] {
        b'+' => 1,
        b'-' => -1,
        _ => return Err(AgencyError::Zone),
    };
    let two = |tens: u8, ones: u8| {
        (tens.is_ascii_digit() && ones.is_ascii_digit())
            .then(|| i32::from(tens - b'0') * 10 + i32::from(ones - b'0'))
            .ok_or(AgencyError::Zone)
    };
    let (hours, minutes) = (two(bytes[1], bytes[2])?, two(bytes[4], bytes[5])?);
    // UTC-12:00 to UTC+14:00 are in use; the bound is the same on both sides so that it can be said in one breath.
    if minutes > 59 || hours * 60 + minutes > 14 * 60 {
        return Err(AgencyError::Zone);
    }
    FixedOffset::east_opt(sign * (hours * 60 + minutes) * 60).ok_or(AgencyError::Zone)
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
        let mut agency = Agency::default();
        if let Some(name) = self.store.setting(NAME).await? {
            agency.name = name;
        }
        if let Some(zone) = self.store.setting(ZONE).await?
            && let Ok(zone) = parse_zone(&zone)
        {
            agency.zone = zone;
        }
        if let Some(paper) = self.store.setting(PAPER).await?
            && let Ok(paper) = parse_paper(&paper)
        {
            agency.paper = paper;
        }
        Ok(agency)
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
        parse_zone(&zone)?;
        self.store.set_setting(NAME, name).await?;
        self.store.set_setting(ZONE, &zone).await?;
        self.store
            .set_setting(PAPER, paper_word(agency.paper))
            .await?;
        Ok(())
    }
}
