//! Weights: grams as they are typed, milligrams as they are kept, and when two weighings of one thing differ.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::refusal::{Refusal, Rule, text};

/// Two weighings differ by more than this, whatever the weight (milligrams; our assumption, no source).
pub const TOLERANCE_MG: u64 = 100;
/// Two weighings differ by more than this share of the weight with which it went out (one in so many; our assumption, no
/// source): paper and card take up and lose water with the weather.
pub const TOLERANCE_SHARE: u64 = 100;
/// The heaviest thing that is weighed, in milligrams.
pub const MAX_MG: u64 = 1_000_000_000;

/// What a scale showed. Both fields, or none.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Weighed {
    /// Grams with at most three decimals, such as `412.5`.
    #[serde(default)]
    pub grams: String,
    /// Which scale: its number or name.
    #[serde(default)]
    pub scale: String,
}

/// Milligrams from grams with at most three decimals; none for anything else, for nothing, and beyond [`MAX_MG`].
#[must_use]
pub fn milligrams(grams: &str) -> Option<u64> {
    let (whole, part) = match grams.trim().split_once(['.', ',']) {
        Some((whole, part)) if !part.is_empty() => (whole, part),
        Some(_) => return None,
        None => (grams.trim(), ""),
    };
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || whole.len() > 9 || part.len() > 3 || !digits(whole) || !digits(part) {
        return None;
    }
    let part: u64 = format!("{part:0<3}").parse().ok()?;
    let mg = whole.parse::<u64>().ok()? * 1_000 + part;
    (1..=MAX_MG).contains(&mg).then_some(mg)
}

/// Milligrams as grams, without zeros at the end: `412.5 g`.
#[must_use]
pub fn grams(mg: u64) -> String {
    let part = format!("{:03}", mg % 1_000);
    match part.trim_end_matches('0') {
        "" => format!("{} g", mg / 1_000),
        part => format!("{}.{part} g", mg / 1_000),
    }
}

/// How far a weighing may be from that with which it went out, in milligrams.
#[must_use]
pub fn tolerance(out_mg: u64) -> u64 {
    TOLERANCE_MG.max(out_mg / TOLERANCE_SHARE)
}

/// What differs, in words: `14.5 g less than the 412.5 g`; none within the tolerance.
#[must_use]
pub fn difference(out_mg: u64, back_mg: u64) -> Option<String> {
    let by = out_mg.abs_diff(back_mg);
    if by <= tolerance(out_mg) {
        return None;
    }
    let way = if back_mg < out_mg { "less" } else { "more" };
    Some(format!("{} {way} than {}", grams(by), grams(out_mg)))
}

/// What was weighed, in milligrams and with its scale.
///
/// # Errors
/// [`Rule::BadText`], [`Rule::BadValue`].
pub(super) fn weighed(x: Option<&Weighed>) -> Result<Option<(u64, String)>, Refusal> {
    let Some(x) = x else { return Ok(None) };
    let given = !x.grams.trim().is_empty() || !x.scale.trim().is_empty();
    text("grams", &x.grams, 20, given)?;
    text("scale", &x.scale, 100, given)?;
    if !given {
        return Ok(None);
    }
    match milligrams(&x.grams) {
        Some(mg) => Ok(Some((mg, x.scale.trim().to_owned()))),
        None => Err(Refusal::new(
            Rule::BadValue,
            format!("{} is no weight in grams.", x.grams.trim()),
            "Give grams with at most three decimals, such as 412.5.",
        )
        .on("grams")),
    }
}
