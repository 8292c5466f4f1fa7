//! A piece in one line, for lists.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::standing::standing;
use super::words;
use crate::custody::State;
use crate::custody::state::Holder;
use crate::ids::{CaseId, Code, Piece};
use crate::trade::TradeRules;
use crate::zone::Zone;

/// A piece in one line.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PieceLine {
    /// Which.
    pub piece: Piece,
    /// Its case.
    pub case: CaseId,
    /// The case's number.
    pub case_number: String,
    /// Number in the case.
    pub number: u32,
    /// `Item 3`, `Package P2`.
    pub name: String,
    /// The code on its label.
    pub code: Code,
    /// The same in groups.
    pub code_grouped: String,
    /// An item's description; a package's container and how many pieces are in it.
    pub what: String,
    /// `item 3 is in package P2 …`, as a sentence.
    pub standing: String,
    /// Who has it.
    pub holder: Holder,
    /// The same in words.
    pub holder_words: String,
    /// The seal on the piece or on the outermost package around it; empty for none.
    pub seal: String,
    /// Whether it is on offer.
    pub offered: bool,
    /// Whether it should be back by now.
    pub overdue: bool,
    /// When it is due back, in words; empty for no date.
    pub due: String,
    /// Which way round an item's usual picture reads; empty for a package.
    pub reads: String,
}

/// A piece in one line; none where the state does not hold it.
#[must_use]
pub fn piece_line(
    state: &State,
    rules: &TradeRules,
    piece: Piece,
    zone: Zone,
    now: DateTime<Utc>,
) -> Option<PieceLine> {
    let stands = standing(state, piece, &[], zone, now)?;
    let (case, number, code, what, reads) = match piece {
        Piece::Item(id) => {
            let item = state.items.get(&id)?;
            let what = item.recovered.description.clone();
            (
                item.case,
                item.number,
                &item.code,
                what,
                item.recovered.reads.clone(),
            )
        }
        Piece::Package(id) => {
            let package = state.packages.get(&id)?;
            let what = format!(
                "{}, {}",
                container(rules, &package.container),
                words::counted(package.contents.len(), "piece")
            );
            (
                package.case,
                package.number,
                &package.code,
                what,
                String::new(),
            )
        }
    };
    let seal = match stands.outermost {
        Piece::Package(id) => state
            .packages
            .get(&id)
            .and_then(|p| p.seal())
            .map(|s| s.number.clone())
            .unwrap_or_default(),
        Piece::Item(_) => String::new(),
    };
    Some(PieceLine {
        piece,
        case,
        case_number: state
            .cases
            .get(&case)
            .map(|c| c.number.clone())
            .unwrap_or_default(),
        number,
        name: words::title(state, piece),
        code: code.clone(),
        code_grouped: code.grouped(),
        what,
        standing: stands.sentence,
        holder: stands.holder,
        holder_words: stands.holder_words,
        seal,
        offered: stands.offer.is_some(),
        overdue: stands.loan.as_ref().is_some_and(|l| l.overdue),
        due: stands.loan.map(|l| l.words).unwrap_or_default(),
        reads,
    })
}

/// A container's name.
#[must_use]
pub fn container(rules: &TradeRules, id: &str) -> String {
    rules
        .container(id)
        .map_or_else(|| id.to_owned(), |c| c.name.clone())
}
