//! Labels read by whoever counts.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{MAX_BATCH, MAX_LABEL, MAX_ODD, MAX_SEEN, count_mut, open_count};
use crate::custody::fact::{Draft, Fact};
use crate::custody::refusal::{Refusal, Rule, text};
use crate::custody::rules::{Context, Meta, Misfit};
use crate::custody::state::State;
use crate::ids::{Code, CountId, IdError, Piece, Subject};

/// Scan codes into a count.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScanCodes {
    /// Which count.
    pub count: CountId,
    /// What was scanned or typed, one text a label.
    pub codes: Vec<String>,
}

/// Why a label could not be placed when it was scanned.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Odd {
    /// The code's check character does not fit: mistyped or misread.
    Misread,
    /// It is no code of this kind: a label of another agency or of a shop.
    Foreign,
    /// A code of this kind that is not in this ledger: another agency's ledger.
    Unknown,
    /// The label of a place.
    Place,
}

/// A label that could not be placed.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct OddLabel {
    /// What was scanned.
    pub text: String,
    /// Why it could not be placed.
    pub why: Odd,
}

/// Codes were scanned.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CodesScanned {
    /// Which count.
    pub count: CountId,
    /// Things seen for the first time in this count.
    pub seen: Vec<Piece>,
    /// How many of the labels had been scanned before.
    pub again: u32,
    /// Labels that could not be placed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub odd: Vec<OddLabel>,
}

/// What a label says: a thing of this ledger.
///
/// # Errors
/// Why it cannot be placed.
pub fn read_label(state: &State, label: &str) -> Result<Piece, Odd> {
    match label.parse::<Code>() {
        Err(IdError::CheckCharacter) => Err(Odd::Misread),
        Err(_) => Err(Odd::Foreign),
        Ok(code) => match state.codes.get(&code) {
            Some(Subject::Item(id)) => Ok(Piece::Item(*id)),
            Some(Subject::Package(id)) => Ok(Piece::Package(*id)),
            Some(Subject::Place(_)) => Err(Odd::Place),
            _ => Err(Odd::Unknown),
        },
    }
}

pub(in crate::custody) fn scan(ctx: &Context<'_>, x: &ScanCodes) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    for code in &x.codes {
        text("codes", code, MAX_LABEL, true)?;
    }
    if x.codes.is_empty() || x.codes.len() > MAX_BATCH {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("1 to {MAX_BATCH} labels are scanned at a time."),
            "Send the others after these.",
        )
        .on("codes"));
    }
    let count = open_count(ctx, x.count)?;
    let mut before: BTreeSet<Piece> = count.seen.iter().copied().collect();
    let mut odd_before: BTreeSet<OddLabel> = count.odd.iter().cloned().collect();
    let (mut seen, mut odd, mut again) = (Vec::new(), Vec::new(), 0_u32);
    for code in &x.codes {
        match read_label(ctx.state, code) {
            Ok(piece) if before.insert(piece) => seen.push(piece),
            Ok(_) => again += 1,
            Err(why) => {
                let label = OddLabel {
                    text: code.trim().to_owned(),
                    why,
                };
                if odd_before.insert(label.clone()) {
                    odd.push(label);
                } else {
                    again += 1;
                }
            }
        }
    }
    if before.len() > MAX_SEEN || odd_before.len() > MAX_ODD {
        return Err(Refusal::new(
            Rule::BadValue,
            format!(
                "A count takes at most {MAX_SEEN} things and {MAX_ODD} labels that cannot be placed."
            ),
            "End this count and count fewer places at a time.",
        )
        .on("codes"));
    }
    let fact = Fact::CodesScanned(CodesScanned {
        count: x.count,
        seen,
        again,
        odd,
    });
    Ok(ctx.draft(None, vec![Subject::Count(x.count)], fact))
}

pub(in crate::custody) fn scanned(
    state: &mut State,
    x: &CodesScanned,
    meta: &Meta,
) -> Result<(), Misfit> {
    let count = count_mut(state, x.count, meta)?;
    count.seen.extend(&x.seen);
    count.again += x.again;
    count.odd.extend(x.odd.iter().cloned());
    count.counters.extend(meta.actor);
    Ok(())
}
