//! Hand-over sheets: paper for the day on which there is no network, signed in ink, and entered afterwards. The hand-over
//! is then entered late by the acts that it would have been, each naming the sheet.

use chrono::{DateTime, FixedOffset, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::command::Act;
use super::paper::{PaperKind, ReportPrinted};
use super::refusal::{Refusal, Rule};
use super::rules::{Context, Meta, Misfit, SKEW};
use super::state::State;
use crate::ids::{CommandId, PersonId, Piece, Subject};

/// How many hand-over sheets a case may have.
pub const MAX_SHEETS: usize = 1_000;

/// A hand-over sheet that was printed of a case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PaperSheet {
    /// The print identifier that stands on it.
    pub print: CommandId,
    /// When it was printed.
    pub at: DateTime<FixedOffset>,
    /// By whom; none for the server's operator.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<PersonId>,
}

/// Whether the act may be entered from a sheet.
#[must_use]
pub fn can_stand_on_a_sheet(act: &Act) -> bool {
    matches!(
        act,
        Act::Release(_)
            | Act::Withdraw(_)
            | Act::Receive(_)
            | Act::Refuse(_)
            | Act::Intake(_)
            | Act::HandOut(_)
            | Act::TakeBack(_)
    )
}

fn sheet_of<'a>(ctx: &'a Context<'_>, print: CommandId, piece: Piece) -> Option<&'a PaperSheet> {
    let case = ctx.state.case_of(piece.into())?;
    let sheets = &ctx.state.cases.get(&case)?.sheets;
    sheets.iter().find(|s| s.print == print)
}

/// The sheet that the command names was printed of the case of each thing that is handed over.
///
/// # Errors
/// [`Rule::NotFound`].
pub(super) fn named(ctx: &Context<'_>) -> Result<(), Refusal> {
    let Some(print) = ctx.command.paper_sheet else {
        return Ok(());
    };
    let act = &ctx.command.act;
    let missing = act
        .pieces()
        .into_iter()
        .find(|p| sheet_of(ctx, print, *p).is_none());
    match missing {
        Some(piece) if can_stand_on_a_sheet(act) => Err(Refusal::new(
            Rule::NotFound,
            format!(
                "No hand-over sheet of the case of {} has the print identifier {print}.",
                ctx.state.name(piece)
            ),
            "Read the identifier at the foot of the sheet again, or enter it without a sheet and say why it is late.",
        )
        .on("paper_sheet")),
        _ => Ok(()),
    }
}

/// What is entered from a sheet is a hand-over, and happened after the sheet was printed.
///
/// # Errors
/// [`Rule::BadValue`].
pub(super) fn used(ctx: &Context<'_>) -> Result<(), Refusal> {
    let Some(print) = ctx.command.paper_sheet else {
        return Ok(());
    };
    let act = &ctx.command.act;
    if !can_stand_on_a_sheet(act) {
        return Err(Refusal::new(
            Rule::BadValue,
            "Only hand-overs are entered from a hand-over sheet.",
            "Leave the sheet out.",
        )
        .on("paper_sheet"));
    }
    if ctx.command.claimed_at.is_none() {
        return Err(Refusal::new(
            Rule::BadValue,
            "What is entered from a sheet happened earlier.",
            "Give the date and time that stand on the sheet.",
        )
        .on("claimed_at"));
    }
    for piece in act.pieces() {
        let Some(sheet) = sheet_of(ctx, print, piece) else {
            continue;
        };
        if ctx.at.with_timezone(&Utc) + SKEW < sheet.at.with_timezone(&Utc) {
            return Err(Refusal::new(
                Rule::BadValue,
                format!(
                    "The sheet was printed later than that, at {}.",
                    sheet.at.format("%Y-%m-%d %H:%M %:z")
                ),
                "Give the date and time that stand on the sheet, or name the sheet that was used.",
            )
            .on("claimed_at"));
        }
    }
    Ok(())
}

/// A case takes another sheet.
///
/// # Errors
/// [`Rule::BadValue`].
pub(super) fn fits(ctx: &Context<'_>, x: &ReportPrinted) -> Result<(), Refusal> {
    let Subject::Case(case) = x.of else {
        return Ok(());
    };
    if x.paper == Some(PaperKind::HandOverSheet) && ctx.case(case)?.sheets.len() >= MAX_SHEETS {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("There are {MAX_SHEETS} hand-over sheets of this case already."),
            "Use one of those that were printed, and did not serve yet.",
        ));
    }
    Ok(())
}

/// A printed hand-over sheet is kept with its case, so that hand-overs can name it. Any other paper changes nothing.
pub(super) fn printed(state: &mut State, x: &ReportPrinted, meta: &Meta) -> Result<(), Misfit> {
    let (Some(PaperKind::HandOverSheet), Some(print), Subject::Case(case)) =
        (x.paper, x.print, x.of)
    else {
        return Ok(());
    };
    let case = state.cases.get_mut(&case);
    let case = case.ok_or_else(|| meta.misfit("no such case"))?;
    case.sheets.push(PaperSheet {
        print,
        at: meta.at,
        by: meta.actor,
    });
    Ok(())
}
