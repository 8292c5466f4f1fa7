//! The stock of seals: which numbers an office was delivered, who was issued which of them, and which were spoiled. It
//! stands with the place where the seals are kept. Which of them were used is not said here: a seal that is put on a
//! package is found by its number.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::package::seal_number;
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Place, State};
use crate::ids::{PersonId, PlaceId, Subject};

/// How many numbers a range has at most.
pub const MAX_NUMBERS: u64 = 1_000;
/// How many ranges a place has at most.
pub const MAX_RANGES: usize = 20;
/// Into how many parts a range is issued at most, and in how many parts it is written off.
pub const MAX_PARTS: usize = 50;
/// How many numbers are written off at once: each is looked up, whether it was used.
pub const MAX_SPOILED: u64 = 100;
/// How many digits a number ends in at most.
const MAX_DIGITS: usize = 12;

/// Numbers that follow one another: the same letters before them, the same width.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SealSpan {
    /// What stands before the digits; may be empty.
    pub prefix: String,
    /// How many digits the number ends in, with the noughts before it.
    pub width: u8,
    /// The first number.
    pub first: u64,
    /// The last number; never less than the first.
    pub last: u64,
}

impl SealSpan {
    /// A number of this kind, as it is printed on the seal.
    #[must_use]
    pub fn number(&self, n: u64) -> String {
        format!(
            "{}{n:0width$}",
            self.prefix,
            width = usize::from(self.width)
        )
    }

    /// Which number a seal bears, if it is one of these.
    #[must_use]
    pub fn place_of(&self, seal: &str) -> Option<u64> {
        let digits = seal.strip_prefix(self.prefix.as_str())?;
        if digits.len() != usize::from(self.width) || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        let n = digits.parse().ok()?;
        self.has(n).then_some(n)
    }

    /// Whether the number is one of these.
    #[must_use]
    pub fn has(&self, n: u64) -> bool {
        (self.first..=self.last).contains(&n)
    }

    /// How many there are.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.last.saturating_sub(self.first).saturating_add(1)
    }

    /// Every number, as printed.
    pub fn numbers(&self) -> impl Iterator<Item = String> {
        (self.first..=self.last).map(|n| self.number(n))
    }

    fn alike(&self, other: &Self) -> bool {
        self.prefix == other.prefix && self.width == other.width
    }

    fn meets(&self, other: &Self) -> bool {
        self.alike(other) && self.first <= other.last && other.first <= self.last
    }

    fn within(&self, other: &Self) -> bool {
        self.alike(other) && other.has(self.first) && other.has(self.last)
    }
}

impl fmt::Display for SealSpan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.number(self.first))?;
        if self.last == self.first {
            return Ok(());
        }
        write!(f, " to {}", self.number(self.last))
    }
}

/// A part of a range that was issued.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Issued {
    /// Which numbers.
    pub span: SealSpan,
    /// To whom.
    pub to: PersonId,
}

/// A part of a range that was written off.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Spoiled {
    /// Which numbers.
    pub span: SealSpan,
    /// Why.
    pub reason: String,
}

/// A range of seals in stock.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SealRange {
    /// Which numbers.
    pub span: SealSpan,
    /// What of it was issued; no number twice.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub issued: Vec<Issued>,
    /// What of it was written off; no number twice.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spoiled: Vec<Spoiled>,
}

impl SealRange {
    /// Whether a number was written off.
    #[must_use]
    pub fn is_spoiled(&self, n: u64) -> bool {
        self.spoiled.iter().any(|s| s.span.has(n))
    }
}

/// Seals were delivered: put their numbers on the record of the place where they are kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SealsDeliver {
    /// Where they are kept.
    pub place: PlaceId,
    /// The first number, as printed on the seal.
    pub first: String,
    /// The last number, as printed on the seal.
    pub last: String,
}

/// Issue seals of one range to a person.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SealsIssue {
    /// Where they are kept.
    pub place: PlaceId,
    /// The first number, as printed on the seal.
    pub first: String,
    /// The last number, as printed on the seal.
    pub last: String,
    /// To whom.
    pub to: PersonId,
}

/// Write off seals of one range that will not be used, issued or not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SealsSpoil {
    /// Where they are kept.
    pub place: PlaceId,
    /// The first number, as printed on the seal.
    pub first: String,
    /// The last number, as printed on the seal.
    pub last: String,
    /// Why.
    pub reason: String,
}

/// Seals were delivered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SealsDelivered {
    /// Where they are kept.
    pub place: PlaceId,
    /// Which numbers.
    pub span: SealSpan,
}

/// Seals were issued.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SealsIssued {
    /// Where they were kept.
    pub place: PlaceId,
    /// Which numbers.
    pub span: SealSpan,
    /// To whom.
    pub to: PersonId,
    /// Their name then.
    pub to_name: String,
}

/// Seals were written off.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SealsSpoiled {
    /// Where they were kept.
    pub place: PlaceId,
    /// Which numbers.
    pub span: SealSpan,
    /// Why.
    pub reason: String,
}

fn bad(rule: Rule, what: String, next: impl Into<String>, field: &'static str) -> Refusal {
    Refusal::new(rule, what, next).on(field)
}

/// A number taken apart: what stands before its digits, and the digits.
fn apart(typed: &str, field: &'static str) -> Result<(String, u8, u64), Refusal> {
    text(field, typed, 40, true)?;
    let whole = seal_number(typed);
    let prefix = whole.trim_end_matches(|c: char| c.is_ascii_digit());
    let digits = whole.get(prefix.len()..).unwrap_or_default();
    let width = u8::try_from(digits.len())
        .ok()
        .filter(|w| (1..=MAX_DIGITS).contains(&usize::from(*w)));
    match (width, digits.parse()) {
        (Some(width), Ok(n)) => Ok((prefix.to_owned(), width, n)),
        _ => Err(bad(
            Rule::BadValue,
            format!("{whole} does not end in 1 to {MAX_DIGITS} digits."),
            "Give the whole number as it is printed on the seal, such as SB-004401.",
            field,
        )),
    }
}

/// The span that two numbers stand for.
///
/// # Errors
/// [`Rule::BadValue`]: no number, not of one kind, spelled backwards, more than [`MAX_NUMBERS`].
pub fn span(first: &str, last: &str) -> Result<SealSpan, Refusal> {
    let (prefix, width, from) = apart(first, "first")?;
    let (other, wide, to) = apart(last, "last")?;
    let (a, b) = (seal_number(first), seal_number(last));
    if prefix != other || width != wide {
        return Err(bad(
            Rule::BadValue,
            format!(
                "{a} and {b} are not of one range: what stands before the digits, or how many digits there are, differs."
            ),
            "Give the first and the last number of one range; put another range on the record by itself.",
            "last",
        ));
    }
    if to < from {
        return Err(bad(
            Rule::BadValue,
            format!("The range {a} to {b} is spelled backwards."),
            format!("Give {b} as the first number and {a} as the last."),
            "last",
        ));
    }
    let span = SealSpan {
        prefix,
        width,
        first: from,
        last: to,
    };
    if span.count() > MAX_NUMBERS {
        return Err(bad(
            Rule::BadValue,
            format!(
                "{span} are {} numbers; a range has at most {MAX_NUMBERS}.",
                span.count()
            ),
            "Put it on the record in parts.",
            "last",
        ));
    }
    Ok(span)
}

pub(super) fn deliver(ctx: &Context<'_>, x: &SealsDeliver) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    let span = span(&x.first, &x.last)?;
    let place = ctx.place(x.place)?;
    if let Some(there) = place.seals.iter().find(|r| r.span.meets(&span)) {
        return Err(bad(
            Rule::Taken,
            format!(
                "{span} meets the range {} that {} has: no number is in two ranges.",
                there.span, place.added.name
            ),
            "Read the first and the last seal again, and give only the numbers that are new.",
            "first",
        ));
    }
    if place.seals.len() >= MAX_RANGES {
        return Err(bad(
            Rule::BadValue,
            format!("A place has at most {MAX_RANGES} ranges of seals."),
            "Keep them at another place.",
            "place",
        ));
    }
    let fact = Fact::SealsDelivered(SealsDelivered {
        place: x.place,
        span,
    });
    Ok(ctx.draft(None, vec![Subject::Place(x.place)], fact))
}

/// The range of the place in which all these numbers are, none of them written off.
fn range_of<'a>(place: &'a Place, span: &SealSpan) -> Result<&'a SealRange, Refusal> {
    let range = place.seals.iter().find(|r| span.within(&r.span));
    let Some(range) = range else {
        return Err(bad(
            Rule::NotInStock,
            format!("{} has no range with all of {span}.", place.added.name),
            "Choose numbers of one range that the place has, or put the delivery on the record first.",
            "first",
        ));
    };
    if let Some(gone) = range.spoiled.iter().find(|s| s.span.meets(span)) {
        return Err(bad(
            Rule::Taken,
            format!("Of {span}, {} was written off.", gone.span),
            "Leave those numbers out.",
            "first",
        ));
    }
    Ok(range)
}

fn full(span: &SealSpan, what: &str) -> Refusal {
    bad(
        Rule::BadValue,
        format!("The range {span} was {what} in {MAX_PARTS} parts, and no more are kept."),
        "Take the numbers from another range.",
        "first",
    )
}

pub(super) fn issue(ctx: &Context<'_>, x: &SealsIssue) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    let span = span(&x.first, &x.last)?;
    let range = range_of(ctx.place(x.place)?, &span)?;
    if let Some(other) = range.issued.iter().find(|i| i.span.meets(&span)) {
        return Err(bad(
            Rule::Taken,
            format!("Of {span}, {} was issued before.", other.span),
            "Issue only numbers that nobody was issued.",
            "first",
        ));
    }
    if range.issued.len() >= MAX_PARTS {
        return Err(full(&range.span, "issued"));
    }
    let person = ctx
        .state
        .people
        .get(&x.to)
        .ok_or_else(|| not_found("person").on("to"))?;
    if !person.active {
        return Err(bad(
            Rule::BadValue,
            format!("{} is not active.", person.name),
            "Issue them to somebody who is.",
            "to",
        ));
    }
    let fact = Fact::SealsIssued(SealsIssued {
        place: x.place,
        span,
        to: x.to,
        to_name: person.name.clone(),
    });
    Ok(ctx.draft(None, vec![Subject::Place(x.place)], fact))
}

pub(super) fn spoil(ctx: &Context<'_>, x: &SealsSpoil) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    text("reason", &x.reason, 300, true)?;
    let span = span(&x.first, &x.last)?;
    if span.count() > MAX_SPOILED {
        return Err(bad(
            Rule::BadValue,
            format!("At most {MAX_SPOILED} numbers are written off at once."),
            "Write them off in parts.",
            "last",
        ));
    }
    let range = range_of(ctx.place(x.place)?, &span)?;
    if range.spoiled.len() >= MAX_PARTS {
        return Err(full(&range.span, "written off"));
    }
    if let Some(used) = span.numbers().find(|n| ctx.state.seals.contains_key(n)) {
        return Err(bad(
            Rule::Taken,
            format!("Seal {used} was used on a package."),
            "Leave it out: what was used is not written off.",
            "first",
        ));
    }
    let fact = Fact::SealsSpoiled(SealsSpoiled {
        place: x.place,
        span,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(None, vec![Subject::Place(x.place)], fact))
}

/// The numbers of an act that are looked up, whether they were used; none where the act will be refused.
pub(super) fn looked_up(x: &SealsSpoil) -> Vec<String> {
    span(&x.first, &x.last)
        .ok()
        .filter(|s| s.count() <= MAX_SPOILED)
        .map(|s| s.numbers().collect())
        .unwrap_or_default()
}

pub(super) fn delivered(state: &mut State, x: &SealsDelivered, meta: &Meta) -> Result<(), Misfit> {
    let place = state
        .places
        .get_mut(&x.place)
        .ok_or_else(|| meta.misfit("no such place"))?;
    place.seals.push(SealRange {
        span: x.span.clone(),
        issued: Vec::new(),
        spoiled: Vec::new(),
    });
    Ok(())
}

fn range_mut<'a>(
    state: &'a mut State,
    at: PlaceId,
    span: &SealSpan,
    meta: &Meta,
) -> Result<&'a mut SealRange, Misfit> {
    state
        .places
        .get_mut(&at)
        .and_then(|p| p.seals.iter_mut().find(|r| span.within(&r.span)))
        .ok_or_else(|| meta.misfit("no such range of seals"))
}

pub(super) fn was_issued(state: &mut State, x: &SealsIssued, meta: &Meta) -> Result<(), Misfit> {
    range_mut(state, x.place, &x.span, meta)?
        .issued
        .push(Issued {
            span: x.span.clone(),
            to: x.to,
        });
    Ok(())
}

pub(super) fn was_spoiled(state: &mut State, x: &SealsSpoiled, meta: &Meta) -> Result<(), Misfit> {
    range_mut(state, x.place, &x.span, meta)?
        .spoiled
        .push(Spoiled {
            span: x.span.clone(),
            reason: x.reason.clone(),
        });
    Ok(())
}
