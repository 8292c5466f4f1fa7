//! What became of a difference.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Resolved, count_mut};
use crate::custody::fact::{Draft, Fact};
use crate::custody::refusal::{Refusal, Rule, text};
use crate::custody::rules::{Context, Meta, Misfit, not_found};
use crate::custody::state::State;
use crate::ids::{CountId, Piece, Subject};

/// Resolve a difference.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ResolveDifference {
    /// Which count.
    pub count: CountId,
    /// Which difference, by its number in the count.
    pub number: u32,
    /// What came of it.
    pub outcome: Outcome,
    /// How that is known.
    pub reason: String,
}

/// What came of a difference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// It was found where the record has it.
    FoundInPlace,
    /// It was found somewhere else and brought back, or the record was set right by an act of its own.
    SetRight,
    /// It belongs to somebody else and was given to them.
    NotOurs,
    /// It was looked for and not found.
    NotFound,
    /// It was scanned or counted wrongly.
    Miscounted,
}

/// A difference was resolved.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DifferenceResolved {
    /// Which count.
    pub count: CountId,
    /// Which difference.
    pub number: u32,
    /// Which thing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<Piece>,
    /// What came of it.
    pub outcome: Outcome,
    /// How that is known.
    pub reason: String,
}

pub(in crate::custody) fn resolve(
    ctx: &Context<'_>,
    x: &ResolveDifference,
) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    text("reason", &x.reason, 500, true)?;
    let count = ctx
        .state
        .counts
        .get(&x.count)
        .ok_or_else(|| not_found("count"))?;
    let found = count
        .found
        .iter()
        .find(|f| f.number == x.number)
        .ok_or_else(|| not_found("difference").on("number"))?;
    if let Some(resolved) = &found.resolved {
        return Err(Refusal::new(
            Rule::Resolved,
            format!(
                "Difference {} was resolved at {}.",
                x.number,
                resolved.at.format("%Y-%m-%d %H:%M %:z")
            ),
            "Nothing is left to do.",
        ));
    }
    if count.counters.contains(&me) {
        return Err(Refusal::new(
            Rule::OwnCount,
            "You took part in this count.",
            "Somebody who did not count resolves what differs.",
        ));
    }
    let mut subjects = vec![Subject::Count(x.count)];
    subjects.extend(found.piece.map(Subject::from));
    let case = found.piece.and_then(|p| ctx.state.case_of(p.into()));
    let fact = Fact::DifferenceResolved(DifferenceResolved {
        count: x.count,
        number: x.number,
        piece: found.piece,
        outcome: x.outcome,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(case, subjects, fact))
}

pub(in crate::custody) fn resolved(
    state: &mut State,
    x: &DifferenceResolved,
    meta: &Meta,
) -> Result<(), Misfit> {
    let found = count_mut(state, x.count, meta)?
        .found
        .iter_mut()
        .find(|f| f.number == x.number)
        .ok_or_else(|| meta.misfit("no such difference"))?;
    found.resolved = Some(Resolved {
        outcome: x.outcome,
        reason: x.reason.clone(),
        by: meta.actor,
        at: meta.at,
        seq: meta.seq,
    });
    Ok(())
}
