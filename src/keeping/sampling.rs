//! Sample audits: how many things must be looked at, and which. Pure statistics; specified in `SAMPLING.md` beside this
//! file, so that a stranger can redo both.

use std::collections::HashMap;
use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// The largest population.
pub const MAX_POPULATION: u32 = 10_000_000;
/// The most things that are drawn from it.
pub const MAX_DRAWN: u32 = 100_000;
/// The longest seed, in characters.
pub const MAX_SEED: usize = 64;
/// One, as [`Confidence`] counts it.
const ONE: u64 = 1_000_000_000_000;
/// Binary places of the fixed-point bounds.
const PLACES: u32 = 64 + 32;
/// Up to so many factors are compared in whole numbers where the bounds leave it open.
const MAX_EXACT: u32 = 4_096;

/// Why there is no plan or no sample.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SamplingError {
    /// No population, or too large a one.
    #[error("the population is between 1 and {MAX_POPULATION}")]
    Population,
    /// None missing, or more than there are.
    #[error("the number missing is between 1 and the population")]
    Missing,
    /// Not a confidence.
    #[error(
        "the confidence lies above 0 and is at most 1 (or 100 %), with at most twelve decimal places, such as 0.95 or 95%"
    )]
    Confidence,
    /// More than the population, or more than are drawn.
    #[error("the sample is between 1 and the population, and at most {MAX_DRAWN}")]
    Sample,
    /// Not a seed.
    #[error("a seed has 1 to {MAX_SEED} visible ASCII characters")]
    Seed,
}

/// A confidence as a decimal number with twelve places, so that 0.95 is 0.95 and not the nearest binary fraction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Confidence(u64);

impl Confidence {
    /// The confidence as a decimal, for libraries that want one.
    #[must_use]
    pub fn as_f64(self) -> f64 {
        self.to_string().parse().unwrap_or(f64::NAN)
    }
}

impl FromStr for Confidence {
    type Err = SamplingError;
    fn from_str(s: &str) -> Result<Self, SamplingError> {
        let (text, scale) = match s.trim().strip_suffix('%') {
            Some(percent) => (percent.trim_end(), 2),
            None => (s.trim(), 0),
        };
        let (whole, part) = text.split_once('.').unwrap_or((text, ""));
        let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
        if whole.is_empty()
            || whole.len() > 3
            || part.len() + scale > 12
            || !digits(whole)
            || !digits(part)
        {
            return Err(SamplingError::Confidence);
        }
        let padded = format!("{whole}{part:0<width$}", width = 12 - scale);
        let parts: u64 = padded.parse().map_err(|_| SamplingError::Confidence)?;
        if (1..=ONE).contains(&parts) {
            Ok(Self(parts))
        } else {
            Err(SamplingError::Confidence)
        }
    }
}

impl fmt::Display for Confidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = format!("{}.{:012}", self.0 / ONE, self.0 % ONE);
        f.write_str(text.trim_end_matches('0').trim_end_matches('.'))
    }
}

impl Serialize for Confidence {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Confidence {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

impl JsonSchema for Confidence {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Confidence".into()
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({"type": "string", "description": "above 0, at most 1, as decimal text such as 0.95 or 95%"})
    }
}

/// The smallest sample that shows at least one of `missing` missing things with this confidence.
///
/// # Errors
/// [`SamplingError`] where the numbers make no sense.
pub fn size(population: u32, missing: u32, confidence: Confidence) -> Result<u32, SamplingError> {
    if !(1..=MAX_POPULATION).contains(&population) {
        return Err(SamplingError::Population);
    }
    if !(1..=population).contains(&missing) {
        return Err(SamplingError::Missing);
    }
    // So many are certain to hold a missing one: only the others fit into a smaller sample.
    let (mut low, mut high) = (1, population - missing + 1);
    if confidence.0 == ONE {
        return Ok(high);
    }
    while low < high {
        let n = low + (high - low) / 2;
        if enough(population, missing, n, ONE - confidence.0) {
            high = n;
        } else {
            low = n + 1;
        }
    }
    Ok(low)
}

/// The probability that a sample shows none of the missing things, as a decimal for people.
#[must_use]
pub fn chance_of_none(population: u32, missing: u32, sample: u32) -> f64 {
    let (from, few) = factors(population, missing, sample);
    let mut p = 1.0_f64;
    for i in 0..few {
        p *= f64::from(from.saturating_sub(i)) / f64::from(population - i);
        if p == 0.0 {
            break;
        }
    }
    p
}

/// P(n) is a product of `few` factors (from - i) / (population - i): of the sample or of the missing, whichever is fewer.
fn factors(population: u32, missing: u32, sample: u32) -> (u32, u32) {
    let (few, many) = (missing.min(sample), missing.max(sample));
    (population.saturating_sub(many), few)
}

/// Whether P(n) is at most `risk` (in units of 1/[`ONE`]).
fn enough(population: u32, missing: u32, n: u32, risk: u64) -> bool {
    let (from, few) = factors(population, missing, n);
    let (at_most, above) = bar(risk);
    // Lower and upper bound of the product, times 2^96: each stays below 2^96, a factor below 2^24, so nothing overflows.
    let (mut lower, mut upper) = (1_u128 << PLACES, 1_u128 << PLACES);
    for i in 0..few {
        let top = u128::from(from.saturating_sub(i));
        let bottom = u128::from(population - i);
        lower = lower * top / bottom;
        upper = (upper * top).div_ceil(bottom);
        // The product only falls: once it is small enough, it stays so.
        if upper <= at_most {
            return true;
        }
    }
    if lower > above {
        return false;
    }
    few <= MAX_EXACT && exactly_enough(population, from, few, risk)
}

/// The risk times 2^96, rounded down and up. In two steps of 64 and 32 places, since 2^40 times 2^96 does not fit.
fn bar(risk: u64) -> (u128, u128) {
    let one = u128::from(ONE);
    let (first, rest) = (
        (u128::from(risk) << 64) / one,
        (u128::from(risk) << 64) % one,
    );
    let (second, rest) = ((rest << 32) / one, (rest << 32) % one);
    let down = (first << 32) + second;
    (down, down + u128::from(rest > 0))
}

/// The same in whole numbers of any length: product of the tops times [`ONE`] against product of the bottoms times the risk.
fn exactly_enough(population: u32, from: u32, few: u32, risk: u64) -> bool {
    let (mut left, mut right) = (vec![1_u32], vec![1_u32]);
    for i in 0..few {
        times(&mut left, from.saturating_sub(i));
        times(&mut right, population - i);
    }
    // Together they are ONE.
    for part in [1_000_000, 1_000_000] {
        times(&mut left, part);
    }
    let wide = times_wide(&right, risk);
    let trimmed = |v: &[u32]| v.iter().rposition(|x| *x != 0).map_or(0, |i| i + 1);
    let (l, r) = (trimmed(&left), trimmed(&wide));
    (l, left[..l].iter().rev().collect::<Vec<_>>())
        <= (r, wide[..r].iter().rev().collect::<Vec<_>>())
}

/// Multiplies a number, least digit first, in place.
#[allow(
    clippy::cast_possible_truncation,
    reason = "the digit and the carry are the two halves"
)]
fn times(number: &mut Vec<u32>, by: u32) {
    let mut carry = 0_u64;
    for digit in number.iter_mut() {
        let product = u64::from(*digit) * u64::from(by) + carry;
        *digit = product as u32;
        carry = product >> 32;
    }
    if carry > 0 {
        number.push(carry as u32);
    }
}

/// The product with a number below 2^64.
#[allow(
    clippy::cast_possible_truncation,
    reason = "the two halves of the number"
)]
fn times_wide(number: &[u32], by: u64) -> Vec<u32> {
    let mut low = number.to_vec();
    times(&mut low, by as u32);
    let mut high = number.to_vec();
    times(&mut high, (by >> 32) as u32);
    high.insert(0, 0);
    let mut out = Vec::with_capacity(high.len().max(low.len()) + 1);
    let mut carry = 0_u64;
    for i in 0..high.len().max(low.len()) {
        let sum = u64::from(low.get(i).copied().unwrap_or(0))
            + u64::from(high.get(i).copied().unwrap_or(0))
            + carry;
        out.push(sum as u32);
        carry = sum >> 32;
    }
    out.push(carry as u32);
    out
}

/// Whether a text can be a seed.
#[must_use]
pub fn is_seed(text: &str) -> bool {
    (1..=MAX_SEED).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_graphic())
}

/// Numbers from a seed, as `SAMPLING.md` has them.
struct Numbers<'a> {
    seed: &'a str,
    block: u64,
}

impl Numbers<'_> {
    fn below(&mut self, bound: u64) -> u64 {
        // 2^64 mod bound; what lies in the last, incomplete multiple is passed over.
        let over = (u64::MAX % bound + 1) % bound;
        loop {
            let text = format!("liftledger-sample-1:{}:{}", self.seed, self.block);
            self.block += 1;
            let digest: [u8; 32] = Sha256::digest(text.as_bytes()).into();
            let mut first = [0_u8; 8];
            first.copy_from_slice(&digest[..8]);
            let r = u64::from_be_bytes(first);
            // Bounds are below 2^24, so a block is passed over less than once in 2^40.
            if r <= u64::MAX - over {
                return r % bound;
            }
        }
    }
}

/// Which of `population` things, numbered from 0, are in the sample; ascending.
///
/// # Errors
/// [`SamplingError`] where the numbers or the seed make no sense.
pub fn draw(population: u32, sample: u32, seed: &str) -> Result<Vec<u32>, SamplingError> {
    if !(1..=MAX_POPULATION).contains(&population) {
        return Err(SamplingError::Population);
    }
    if !(1..=population.min(MAX_DRAWN)).contains(&sample) {
        return Err(SamplingError::Sample);
    }
    if !is_seed(seed) {
        return Err(SamplingError::Seed);
    }
    let mut numbers = Numbers { seed, block: 0 };
    // Only entries that were exchanged are kept; all others are where they began.
    let mut moved: HashMap<u32, u32> = HashMap::new();
    let mut out = Vec::with_capacity(sample as usize);
    for k in 0..sample {
        let far = numbers.below(u64::from(population - k));
        let j = k + u32::try_from(far).map_err(|_| SamplingError::Population)?;
        let at_k = moved.get(&k).copied().unwrap_or(k);
        out.push(moved.get(&j).copied().unwrap_or(j));
        moved.insert(j, at_k);
    }
    out.sort_unstable();
    Ok(out)
}
