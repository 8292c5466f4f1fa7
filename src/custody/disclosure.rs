//! Disclosures: that a bundle of a case was made, for whom, up to where, and what was withheld from it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::Context;
use crate::ids::{CaseId, Digest, Subject};

/// The most fields that one disclosure may withhold.
pub const MAX_WITHHELD: usize = 2_000;
/// The most pictures that one disclosure may leave out.
pub const MAX_LEFT_OUT: usize = 2_000;

/// A bundle of a case was made. The server records it before the bundle is handed out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Disclose {
    /// Case.
    pub case: CaseId,
    /// To whom it goes.
    pub to: String,
    /// The order, request or rule that it follows, in words.
    pub authority: String,
    /// SHA-256 of the bundle.
    pub digest: Digest,
    /// Its size in bytes.
    pub bytes: u64,
    /// The size of the ledger that its checkpoint speaks of.
    pub ledger_size: u64,
    /// How many events are in it.
    pub events: u64,
    /// How many pictures are in it.
    pub images: u64,
    /// Fields withheld, as `event.field: reason`.
    #[serde(default)]
    pub withheld: Vec<String>,
    /// How many pictures are left out.
    #[serde(default)]
    pub images_left_out: u64,
}

/// A bundle was made.
pub type CaseDisclosed = Disclose;

pub(super) fn disclose(ctx: &Context<'_>, x: &Disclose) -> Result<Vec<Draft>, Refusal> {
    ctx.case(x.case)?;
    text("to", &x.to, 200, true)?;
    text("authority", &x.authority, 300, true)?;
    if x.withheld.len() > MAX_WITHHELD {
        return Err(Refusal::new(
            Rule::BadValue,
            "One disclosure withholds at most 2,000 fields.",
            "Withhold a field by its name for the whole case, or disclose part of it.",
        )
        .on("withheld"));
    }
    for reason in &x.withheld {
        text("withheld", reason, 500, true)?;
    }
    Ok(ctx.draft(
        Some(x.case),
        vec![Subject::Case(x.case)],
        Fact::CaseDisclosed(x.clone()),
    ))
}
