//! What of a case may be disposed of, and every reason why the rest may not.

use chrono::Utc;
use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::app::reader::{Page, Part, ReadError, Reader};
use crate::custody::state::{Case, Holder, Item};
use crate::custody::{State, hold, retention};
use crate::ids::{CaseId, Code, ItemId, Piece, Subject};

/// An item with what stands against its disposition.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct EligibleLine {
    /// Which.
    pub id: ItemId,
    /// `Item 3`.
    pub name: String,
    /// The code on its label.
    pub code: Code,
    /// Description.
    pub what: String,
    /// Whether nothing stands against it.
    pub eligible: bool,
    /// Whether it was disposed of already.
    pub disposed: bool,
    /// Every reason why it stays, in sentences.
    pub reasons: Vec<String>,
    /// How far its disposition is, in words; empty where nobody has authorised one.
    pub standing: String,
}

/// A case with what the schedule says of it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct EligibleCase {
    /// Which.
    pub id: CaseId,
    /// Number.
    pub number: String,
    /// How many items, so far.
    pub items: u32,
    /// Why its evidence stays, in sentences; empty where nothing stands against it for the whole case.
    pub reasons: Vec<String>,
}

/// What stands against the disposition of everything in a case.
#[must_use]
pub fn of_case(case: &Case) -> Vec<String> {
    let mut out = Vec::new();
    for h in hold::standing(&case.holds) {
        out.push(format!(
            "Hold {} stands on the case, ordered by {}: {}",
            h.number, h.authority, h.reason
        ));
    }
    if let Some(kept) = retention::kept(case, Utc::now().date_naive()) {
        out.push(words::capital(&kept));
    }
    out
}

fn line(state: &State, case: &Case, item: &Item) -> EligibleLine {
    let piece = Piece::Item(item.id);
    let mut reasons = of_case(case);
    for h in hold::standing(&item.holds) {
        reasons.push(format!(
            "Hold {} stands on it, ordered by {}: {}",
            h.number, h.authority, h.reason
        ));
    }
    let outermost = state.outermost(piece);
    let custody = state.custody(outermost);
    let disposed = matches!(state.holder(piece), Some(Holder::Disposed { .. }));
    if outermost != piece {
        reasons.push(format!(
            "It is in {}: dispose of that, or take it out",
            state.name(outermost)
        ));
    }
    if let Some(offer) = custody.and_then(|c| c.offer.as_ref()) {
        reasons.push(format!(
            "It is on offer to {}",
            words::person_in(state, offer.to)
        ));
    }
    if let Some(Holder::Outside { name, organisation }) = state.holder(piece) {
        reasons.push(format!("{} has it", words::outside(name, organisation)));
    }
    let standing = match custody.and_then(|c| c.disposition.as_ref()) {
        _ if disposed => words::held_by(state, piece).unwrap_or_default(),
        Some(d) if d.executed.is_some() => {
            format!("{}, waits for its witness", d.method.words())
        }
        Some(d) => format!("authorised to be {}", d.method.words()),
        None => String::new(),
    };
    if disposed {
        reasons.clear();
    }
    EligibleLine {
        id: item.id,
        name: words::title(state, piece),
        code: item.code.clone(),
        what: item.recovered.description.clone(),
        eligible: reasons.is_empty() && !disposed,
        disposed,
        reasons,
        standing,
    }
}

/// The items of a case by number, each with every reason why it stays.
///
/// # Errors
/// See [`ReadError`].
pub async fn items(
    reader: &Reader<'_>,
    id: CaseId,
    part: &Part,
) -> Result<Page<EligibleLine>, ReadError> {
    let case = reader.case(id).await?;
    let page = reader.items_of(id, part).await?;
    let asked: Vec<Subject> = page.rows.iter().map(|i| Subject::Item(i.id)).collect();
    let state = reader.around(&asked).await?;
    Ok(Page {
        rows: page.rows.iter().map(|i| line(&state, &case, i)).collect(),
        next: page.next,
    })
}

/// Cases, newest first, with what the schedule and holds say of each as a whole; of a restricted one the number alone.
///
/// # Errors
/// See [`ReadError`].
pub async fn cases(reader: &Reader<'_>, part: &Part) -> Result<Page<EligibleCase>, ReadError> {
    let page = reader.cases(part).await?;
    Ok(Page {
        rows: page
            .rows
            .iter()
            .map(|c| EligibleCase {
                id: c.id,
                number: c.number.clone(),
                items: c.items,
                reasons: if c.restricted {
                    vec![super::case_row::RESTRICTED.to_owned()]
                } else {
                    of_case(c)
                },
            })
            .collect(),
        next: page.next,
    })
}
