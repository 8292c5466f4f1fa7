//! What an examiner finds a picture worth for comparison. Comparison itself is no part of this program.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::image::{picture, picture_mut};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit};
use super::state::{Assessed, State};
use crate::ids::{Digest, Subject};

/// The value of a picture for comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Value {
    /// Of value.
    Value,
    /// Of limited value.
    Limited,
    /// Of no value.
    NoValue,
}

impl Value {
    /// All, best first.
    pub const ALL: [Self; 3] = [Self::Value, Self::Limited, Self::NoValue];

    /// The word in commands and forms.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Value => "value",
            Self::Limited => "limited",
            Self::NoValue => "no-value",
        }
    }

    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Value => "of value for comparison",
            Self::Limited => "of limited value for comparison",
            Self::NoValue => "of no value for comparison",
        }
    }
}

/// Say what a picture is worth for comparison.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AssessValue {
    /// The mark or item that it shows.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// The value.
    pub value: Value,
    /// Why.
    pub reason: String,
}

/// It was said what a picture is worth for comparison.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ValueAssessed {
    /// A mark or an item.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// The value.
    pub value: Value,
    /// What was said before; none for the first time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<Value>,
    /// Why.
    pub reason: String,
    /// The examiner's name, as it was then.
    pub examiner: String,
}

pub(super) fn assess(ctx: &Context<'_>, x: &AssessValue) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    let (case, image) = picture(ctx, x.of, x.digest)?;
    text("reason", &x.reason, 500, true)?;
    let was = image.assessed.as_ref().map(|a| a.value);
    let again = image
        .assessed
        .as_ref()
        .is_some_and(|a| a.value == x.value && a.reason == x.reason && a.by == me);
    if again {
        return Err(Refusal::new(
            Rule::BadValue,
            "You said exactly this of the picture already.",
            "Nothing is left to do.",
        )
        .on("value"));
    }
    let fact = Fact::ValueAssessed(ValueAssessed {
        of: x.of,
        digest: x.digest,
        value: x.value,
        was,
        reason: x.reason.clone(),
        examiner: ctx.state.person_name(me),
    });
    Ok(ctx.draft(Some(case), vec![x.of], fact))
}

pub(super) fn assessed(state: &mut State, x: &ValueAssessed, meta: &Meta) -> Result<(), Misfit> {
    let by = meta
        .actor
        .ok_or_else(|| meta.misfit("an assessment has an actor"))?;
    picture_mut(state, x.of, x.digest, meta)?.assessed = Some(Assessed {
        value: x.value,
        reason: x.reason.clone(),
        at: meta.at,
        by,
        examiner: x.examiner.clone(),
    });
    Ok(())
}
