//! Prints and readings that go on the record: each label, each report, each reading of a restricted case.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, not_found};
use crate::ids::{CaseId, CommandId, Digest, Subject};

/// A label was printed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LabelPrinted {
    /// An item, a package or a place.
    pub of: Subject,
    /// Which label: card-front, box, envelope …
    pub label: String,
    /// SHA-256 of the PDF.
    pub digest: Digest,
}

/// A report was printed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReportPrinted {
    /// A case, an item or a package.
    pub of: Subject,
    /// SHA-256 of the PDF.
    pub digest: Digest,
    /// The size of the ledger that it speaks of.
    pub ledger_size: u64,
    /// How many events of each subject it shows, as `subject=count`.
    pub counts: Vec<String>,
    /// The print identifier that stands on it and in its properties.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print: Option<CommandId>,
}

/// A restricted case was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CaseRead {
    /// Case.
    pub case: CaseId,
    /// Which page or answer.
    pub what: String,
}

fn about(ctx: &Context<'_>, of: Subject) -> Result<Option<CaseId>, Refusal> {
    match of {
        Subject::Place(id) if ctx.state.places.contains_key(&id) => Ok(None),
        Subject::Case(_) | Subject::Item(_) | Subject::Package(_) => {
            let case = ctx
                .state
                .case_of(of)
                .ok_or_else(|| not_found("item, package or case"))?;
            ctx.case(case)?;
            Ok(Some(case))
        }
        _ => Err(not_found("item, package or case").on("of")),
    }
}

pub(super) fn label(ctx: &Context<'_>, x: &LabelPrinted) -> Result<Vec<Draft>, Refusal> {
    let case = about(ctx, x.of)?;
    text("label", &x.label, 40, true)?;
    Ok(ctx.draft(case, vec![x.of], Fact::LabelPrinted(x.clone())))
}

pub(super) fn report(ctx: &Context<'_>, x: &ReportPrinted) -> Result<Vec<Draft>, Refusal> {
    let case = about(ctx, x.of)?;
    if x.counts.len() > 10_000 {
        return Err(Refusal::new(
            Rule::BadValue,
            "The report covers too many subjects.",
            "Print it item by item.",
        ));
    }
    Ok(ctx.draft(case, vec![x.of], Fact::ReportPrinted(x.clone())))
}

pub(super) fn read(ctx: &Context<'_>, x: &CaseRead) -> Result<Vec<Draft>, Refusal> {
    let case = ctx.case(x.case)?;
    text("what", &x.what, 100, true)?;
    if !case.restricted {
        return Err(Refusal::new(
            Rule::BadValue,
            "Only the reading of a restricted case goes on the record.",
            "Nothing is left to do.",
        ));
    }
    Ok(ctx.draft(
        Some(x.case),
        vec![Subject::Case(x.case)],
        Fact::CaseRead(x.clone()),
    ))
}
