//! The mark file: the mark, its pictures, its history, and the items recovered from it.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::amendments::{Amendment, amendments};
use super::case_ref::CaseRef;
use super::custody_rows::{CustodyRow, rows};
use super::keeping::{self, CautionWords};
use super::line::{PieceLine, piece_line};
use super::mark_words::{MarkWords, mark_words};
use super::trail::{Step, named};
use super::words;
use crate::app::reader::{ReadError, Reader};
use crate::ids::{MarkId, Piece, Subject};

/// Everything about a mark.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MarkFile {
    /// Its case.
    pub case: CaseRef,
    /// The mark.
    pub mark: MarkWords,
    /// Items recovered from it.
    pub items: Vec<PieceLine>,
    /// What happened with it.
    pub rows: Vec<CustodyRow>,
    /// Corrections.
    pub amendments: Vec<Amendment>,
    /// Cautions of its developments.
    pub cautions: Vec<CautionWords>,
    /// The event that noted it, for a correction.
    pub noted_seq: Option<u64>,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

/// Everything about a mark that the viewer may see.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(reader: &Reader<'_>, id: MarkId) -> Result<MarkFile, ReadError> {
    let mark = reader.mark(id).await?;
    let case = reader.case(mark.case).await?;
    let zone = reader.house().zone().await?;
    let now = Utc::now();
    let of = Subject::Mark(id);
    let history = reader.history(of).await?;
    let amendments = amendments(of, &history, zone);
    let steps: Vec<Step> = history
        .into_iter()
        .map(|past| Step::own(past, of))
        .collect();
    let mut asked: Vec<Subject> = named(&steps).into_iter().collect();
    asked.push(of);
    asked.extend(mark.items.iter().map(|i| Subject::Item(*i)));
    let state = reader.around(&asked).await?;
    let rules = &reader.house().rules;
    let cautions = mark
        .developments
        .iter()
        .filter_map(|d| rules.method_ever(&d.method))
        .flat_map(|m| rules.cautions_of(&m.cautions));
    Ok(MarkFile {
        case: CaseRef::from(&case),
        mark: mark_words(&mark, Some(&case), &state, rules, zone),
        items: mark
            .items
            .iter()
            .filter_map(|i| piece_line(&state, rules, Piece::Item(*i), zone, now))
            .collect(),
        rows: rows(&steps, &state, zone),
        amendments,
        cautions: keeping::cautions(cautions),
        noted_seq: steps
            .iter()
            .find(|s| s.past.event.header.kind == "mark.noted")
            .map(Step::seq),
        as_of: now,
        as_of_words: words::when(&now, zone),
    })
}
