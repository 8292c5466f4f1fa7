//! Intake at a counter: many things received under one signing, and some refused, each decided as if it came alone.
//!
//! There is no event of an intake. Each line becomes the event that receiving or refusing the thing by itself would be,
//! with the same command's identifier; either all lines are recorded or none is.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::command::Act;
use super::count::{MAX_LABEL, Odd, read_label};
use super::fact::Draft;
use super::hand_over::{Condition, Receive, Refuse};
use super::refusal::{LineRefusal, Refusal, Rule, text};
use super::rules::{self, Context, capital};
use super::state::State;
use crate::ids::{Code, Piece};

/// How many lines one signing may hold.
pub const MAX_LINES: usize = 200;

/// Take in what was brought to the counter.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Intake {
    /// One line a thing, at most [`MAX_LINES`].
    pub lines: Vec<IntakeLine>,
}

/// One thing of an intake.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct IntakeLine {
    /// What was scanned or typed off its label.
    pub code: String,
    /// The seal number seen; needed where there is a seal and it is received.
    #[serde(default)]
    pub seal_seen: String,
    /// The condition seen.
    #[serde(default)]
    pub condition: Condition,
    /// Note; needed for any condition other than intact.
    #[serde(default)]
    pub note: String,
    /// Why it is refused; none where it is received.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refuse: Option<String>,
}

impl IntakeLine {
    /// The thing that its label names, where it was loaded.
    pub(super) fn piece(&self, state: &State) -> Option<Piece> {
        read_label(state, &self.code).ok()
    }

    /// Its code, where the label bears one.
    pub(super) fn code(&self) -> Option<Code> {
        self.code.parse().ok()
    }

    fn act(&self, piece: Piece) -> Act {
        match &self.refuse {
            Some(reason) => Act::Refuse(Refuse {
                piece,
                reason: reason.clone(),
            }),
            None => Act::Receive(Receive {
                piece,
                seal_seen: self.seal_seen.clone(),
                condition: self.condition,
                note: self.note.clone(),
            }),
        }
    }
}

/// A label that names nothing that can be received.
fn unplaced(label: &str, why: Odd) -> Refusal {
    let label = label.trim();
    let refusal = match why {
        Odd::Misread => Refusal::new(
            Rule::Misread,
            format!("The check character of {label} does not fit: it was mistyped or misread."),
            "Scan the label again, or type the code once more.",
        ),
        Odd::Foreign => Refusal::new(
            Rule::ForeignLabel,
            format!("{label} is no code of this kind: another agency or a shop made this label."),
            "Look for a label of this ledger on it; without one, take the line off.",
        ),
        Odd::Unknown => Refusal::new(
            Rule::NotFound,
            format!("Nothing in this ledger bears the code {label}."),
            "It belongs to another ledger: ask whoever brought it, and take the line off.",
        ),
        Odd::Place => Refusal::new(
            Rule::BadValue,
            format!("{label} is the label of a place."),
            "Scan the label of the package.",
        ),
    };
    refusal.on("code")
}

fn line(
    ctx: &Context<'_>,
    line: &IntakeLine,
    number: usize,
    named: &mut BTreeMap<Piece, usize>,
) -> Result<Vec<Draft>, Refusal> {
    by_label(ctx, &line.code, number, named, |piece| line.act(piece))
}

/// Decides what is done with the thing whose label was read, once for each thing.
///
/// # Errors
/// [`Refusal`].
pub(super) fn by_label(
    ctx: &Context<'_>,
    label: &str,
    number: usize,
    named: &mut BTreeMap<Piece, usize>,
    act: impl FnOnce(Piece) -> Act,
) -> Result<Vec<Draft>, Refusal> {
    text("code", label, MAX_LABEL, true)?;
    let piece = read_label(ctx.state, label).map_err(|why| unplaced(label, why))?;
    let drafts = rules::part(ctx, act(piece))?;
    if let Some(before) = named.insert(piece, number) {
        return Err(Refusal::new(
            Rule::NamedTwice,
            format!(
                "{} stands on line {before} already.",
                capital(&ctx.state.name(piece))
            ),
            "Take one of the two lines off.",
        )
        .on("code"));
    }
    Ok(drafts)
}

pub(super) fn take_in(ctx: &Context<'_>, x: &Intake) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    all_or_none(&x.lines, "lines", |one, number, named| {
        line(ctx, one, number, named)
    })
}

/// Decides every line of a command that holds several, each as if it came alone: the events of all, or a refusal that names
/// every wrong line.
///
/// # Errors
/// [`Refusal`].
pub(super) fn all_or_none<T>(
    all: &[T],
    field: &str,
    mut one: impl FnMut(&T, usize, &mut BTreeMap<Piece, usize>) -> Result<Vec<Draft>, Refusal>,
) -> Result<Vec<Draft>, Refusal> {
    if all.is_empty() || all.len() > MAX_LINES {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("One act of this kind holds 1 to {MAX_LINES} lines."),
            "Send the others after these.",
        )
        .on(field));
    }
    let (mut drafts, mut refused) = (Vec::new(), Vec::new());
    let mut named = BTreeMap::new();
    for (i, line) in all.iter().enumerate() {
        match one(line, i + 1, &mut named) {
            Ok(of) => drafts.extend(of),
            Err(refusal) => refused.push((i + 1, refusal)),
        }
    }
    if refused.is_empty() {
        return Ok(drafts);
    }
    let lines: Vec<LineRefusal> = refused
        .iter()
        .map(|(number, refusal)| LineRefusal::new(*number, refusal))
        .collect();
    let mut whole = match refused.pop() {
        // One wrong line is answered as if it had been sent alone.
        Some((_, only)) if lines.len() == 1 => only,
        _ => Refusal::new(
            Rule::LinesRefused,
            format!(
                "{} of {} lines cannot be recorded, so none was.",
                lines.len(),
                all.len()
            ),
            "Mend the lines that are named, or take them off, and sign again.",
        )
        .on(field),
    };
    whole.lines = lines.into_boxed_slice();
    Err(whole)
}
