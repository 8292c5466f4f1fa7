//! A count ends: what was found, against what was expected.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scan::Odd;
use super::{Count, Ended, Found, MAX_DIFFERENCES, count_mut, now_only, open_count};
use crate::custody::fact::{Draft, Fact};
use crate::custody::refusal::{Refusal, Rule};
use crate::custody::rules::{Context, Meta, Misfit};
use crate::custody::state::{Holder, State};
use crate::ids::{Code, CountId, Piece, PlaceId, Subject};

/// End a count: what differs goes on the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EndCount {
    /// Which count.
    pub count: CountId,
}

/// What kind of difference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Difference {
    /// By the record it stands there; it was not seen.
    Missing,
    /// It was seen; by the record it stands at another place.
    Misplaced,
    /// It was seen; by the record it is on no shelf at all.
    Unexpected,
    /// A label was seen that is not of this ledger.
    Unknown,
}

/// A count was ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountEnded {
    /// Which.
    pub count: CountId,
    /// How many things were to be seen.
    pub expected: u32,
    /// How many of them were seen.
    pub found: u32,
    /// How many came or went by the record while it was counted; they are no differences.
    pub moved: u32,
    /// How many differences there are.
    pub differences: u32,
}

/// A difference was found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountDiffers {
    /// Which count.
    pub count: CountId,
    /// Its number in the count.
    pub number: u32,
    /// What kind.
    pub difference: Difference,
    /// Which thing; none for a label that is not of this ledger.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<Piece>,
    /// The code or the label.
    pub label: String,
    /// Where the record has it; empty for a label that is not of this ledger.
    pub on_record: String,
    /// The place that was counted.
    pub place_name: String,
}

/// What came of a count, by the record as it is now.
struct Compared {
    found: u32,
    moved: u32,
    differences: Vec<(Difference, Option<Piece>, String, String)>,
}

fn result(ctx: &Context<'_>, count: &Count) -> Compared {
    let state = ctx.state;
    let here: BTreeSet<PlaceId> = count.places.iter().copied().collect();
    let is_here = |piece: Piece| matches!(state.holder(piece), Some(Holder::Place { place }) if here.contains(place));
    let has = |piece: Piece| {
        state
            .holder(piece)
            .map_or_else(|| "nobody".to_owned(), |h| ctx.holder_name(h))
    };
    let label =
        |piece: Piece| Code::of(piece.into()).map_or_else(String::new, |code| code.to_string());
    let seen: BTreeSet<Piece> = count.seen.iter().copied().collect();
    let before: BTreeSet<Piece> = count.expected.iter().copied().collect();
    let mut out = Compared {
        found: 0,
        moved: 0,
        differences: Vec::new(),
    };
    for piece in count.looked_for() {
        if seen.contains(piece) {
            out.found += 1;
        } else if is_here(*piece) {
            out.differences.push((
                Difference::Missing,
                Some(*piece),
                label(*piece),
                has(*piece),
            ));
        } else {
            out.moved += 1;
        }
    }
    let mut by_label: BTreeMap<String, Piece> = BTreeMap::new();
    for piece in seen.difference(&before) {
        by_label.insert(label(*piece), *piece);
    }
    let mut unexpected = Vec::new();
    for (label, piece) in by_label {
        if is_here(piece) {
            // It came meanwhile, or it is in a package that stands here: both are as the record has it.
            out.moved += u32::from(state.outermost(piece) == piece);
            continue;
        }
        match state.holder(piece) {
            Some(Holder::Place { .. }) => {
                out.differences
                    .push((Difference::Misplaced, Some(piece), label, has(piece)));
            }
            _ => unexpected.push((Difference::Unexpected, Some(piece), label, has(piece))),
        }
    }
    out.differences.extend(unexpected);
    for odd in &count.odd {
        if matches!(odd.why, Odd::Foreign | Odd::Unknown) {
            out.differences
                .push((Difference::Unknown, None, odd.text.clone(), String::new()));
        }
    }
    out
}

pub(in crate::custody) fn end(ctx: &Context<'_>, x: &EndCount) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    now_only(ctx)?;
    let count = open_count(ctx, x.count)?;
    let result = result(ctx, count);
    if result.differences.len() > MAX_DIFFERENCES {
        return Err(Refusal::new(
            Rule::BadValue,
            format!(
                "The count would end with {} differences.",
                result.differences.len()
            ),
            format!(
                "Scan what is still to be scanned; a count ends with at most {MAX_DIFFERENCES}."
            ),
        ));
    }
    let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let mut drafts = ctx.draft(
        None,
        vec![Subject::Count(x.count)],
        Fact::CountEnded(CountEnded {
            count: x.count,
            expected: number(count.looked_for().len()),
            found: result.found,
            moved: result.moved,
            differences: number(result.differences.len()),
        }),
    );
    for (i, (difference, piece, label, on_record)) in result.differences.into_iter().enumerate() {
        let mut subjects = vec![Subject::Count(x.count)];
        subjects.extend(piece.map(Subject::from));
        let case = piece.and_then(|p| ctx.state.case_of(p.into()));
        let fact = Fact::CountDiffers(CountDiffers {
            count: x.count,
            number: number(i + 1),
            difference,
            piece,
            label,
            on_record,
            place_name: count.name().to_owned(),
        });
        drafts.extend(ctx.draft(case, subjects, fact));
    }
    Ok(drafts)
}

pub(in crate::custody) fn ended(
    state: &mut State,
    x: &CountEnded,
    meta: &Meta,
) -> Result<(), Misfit> {
    let count = count_mut(state, x.count, meta)?;
    count.counters.extend(meta.actor);
    count.ended = Some(Ended {
        at: meta.at,
        by: meta.actor,
        expected: x.expected,
        found: x.found,
        moved: x.moved,
    });
    Ok(())
}

pub(in crate::custody) fn differs(
    state: &mut State,
    x: &CountDiffers,
    meta: &Meta,
) -> Result<(), Misfit> {
    count_mut(state, x.count, meta)?.found.push(Found {
        number: x.number,
        difference: x.difference,
        piece: x.piece,
        label: x.label.clone(),
        on_record: x.on_record.clone(),
        seq: meta.seq,
        resolved: None,
    });
    Ok(())
}
