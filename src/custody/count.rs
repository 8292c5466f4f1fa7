//! Counts: a place looked through with a scanner, without being told what should be there, and what came of it.
//!
//! What is expected is what the record says stands there when the count begins. It is not in the event that begins the
//! count, which everybody may read, but its SHA-256 is; so nobody can say afterwards that something else was looked for.
//! What differs becomes one event each, and each is resolved by somebody who did not count.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Holder, Key, State};
use crate::ids::{Code, CountId, Digest, IdError, PersonId, Piece, PlaceId, Subject};
use crate::keeping::sampling::{self, Confidence};

/// How many places one count may cover.
pub const MAX_PLACES: usize = 200;
/// How many things may stand in them.
pub const MAX_EXPECTED: usize = 4_000;
/// How many codes one batch of scans may have.
pub const MAX_BATCH: usize = 500;
/// How many things may be seen in one count.
pub const MAX_SEEN: usize = 5_000;
/// How many labels that cannot be placed are kept.
pub const MAX_ODD: usize = 500;
/// How many differences a count may end with.
pub const MAX_DIFFERENCES: usize = 1_000;
/// The longest text of a label, in characters.
pub const MAX_LABEL: usize = 100;

/// How sure a sample is to show that something is missing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SampleAsked {
    /// If so many were missing …
    pub missing: u32,
    /// … the sample must show at least one of them with this probability.
    pub confidence: Confidence,
}

/// Begin a count.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BeginCount {
    /// The places that are looked through, the one that gives the count its name first.
    pub places: Vec<PlaceId>,
    /// A sample instead of everything.
    #[serde(default)]
    pub sample: Option<SampleAsked>,
}

/// Scan codes into a count.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScanCodes {
    /// Which count.
    pub count: CountId,
    /// What was scanned or typed, one text a label.
    pub codes: Vec<String>,
}

/// End a count: what differs goes on the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EndCount {
    /// Which count.
    pub count: CountId,
}

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

/// Why a label could not be placed when it was scanned.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Odd {
    /// The code's check character does not fit: mistyped or misread.
    Misread,
    /// It is no code of this kind: a label of another agency or of a shop.
    Foreign,
    /// A code of this kind that is not in this ledger: another agency's ledger.
    Unknown,
    /// The label of a place.
    Place,
}

/// A label that could not be placed.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct OddLabel {
    /// What was scanned.
    pub text: String,
    /// Why it could not be placed.
    pub why: Odd,
}

/// A count was begun.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountBegun {
    /// Which.
    pub count: CountId,
    /// The places.
    pub places: Vec<PlaceId>,
    /// Their names at that moment.
    pub place_names: Vec<String>,
    /// SHA-256 over the codes of what stands there by the record, ascending, each with a line feed behind it.
    pub expected_digest: Digest,
    /// If so many were missing …
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub missing: Option<u32>,
    /// … the sample shows one of them with this probability.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confidence: Option<Confidence>,
    /// How many things stand there; only of a sample, which cannot be drawn again without it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub population: Option<u32>,
    /// How many of them are looked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<u32>,
    /// What draws them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seed: Option<String>,
}

/// Codes were scanned.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CodesScanned {
    /// Which count.
    pub count: CountId,
    /// Things seen for the first time in this count.
    pub seen: Vec<Piece>,
    /// How many of the labels had been scanned before.
    pub again: u32,
    /// Labels that could not be placed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub odd: Vec<OddLabel>,
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

/// A sample that is looked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Sample {
    /// If so many were missing …
    pub missing: u32,
    /// … the sample shows one of them with this probability.
    pub confidence: Confidence,
    /// What draws it.
    pub seed: String,
    /// What is looked for, by code.
    pub drawn: Vec<Piece>,
}

/// A difference as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Found {
    /// What was found.
    pub number: u32,
    /// What kind.
    pub difference: Difference,
    /// Which thing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<Piece>,
    /// The code or the label.
    pub label: String,
    /// Where the record had it.
    pub on_record: String,
    /// The event that put it on the record.
    pub seq: u64,
    /// What came of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resolved: Option<Resolved>,
}

/// What came of a difference, and who says so.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Resolved {
    /// What.
    pub outcome: Outcome,
    /// How that is known.
    pub reason: String,
    /// Who.
    pub by: Option<PersonId>,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The event.
    pub seq: u64,
}

/// How a count ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Ended {
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
    /// How many things were to be seen.
    pub expected: u32,
    /// How many of them were seen.
    pub found: u32,
    /// How many came or went meanwhile.
    pub moved: u32,
}

/// A count.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Count {
    /// Identifier.
    pub id: CountId,
    /// The places.
    pub places: Vec<PlaceId>,
    /// Their names when it was begun.
    pub place_names: Vec<String>,
    /// When it was begun.
    pub begun_at: DateTime<FixedOffset>,
    /// By whom.
    pub begun_by: Option<PersonId>,
    /// Everybody who began, scanned or ended it: none of them resolves its differences.
    pub counters: BTreeSet<PersonId>,
    /// What stood there by the record when it was begun, by code. Never shown while it is open.
    pub expected: Vec<Piece>,
    /// A sample instead of everything.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<Sample>,
    /// What was seen.
    pub seen: Vec<Piece>,
    /// How often something was scanned again.
    pub again: u32,
    /// Labels that could not be placed.
    pub odd: Vec<OddLabel>,
    /// How it ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended: Option<Ended>,
    /// What differs.
    pub found: Vec<Found>,
}

impl Count {
    /// What is looked for.
    #[must_use]
    pub fn looked_for(&self) -> &[Piece] {
        self.sample.as_ref().map_or(&self.expected, |s| &s.drawn)
    }

    /// Which thing a difference is about.
    #[must_use]
    pub fn piece(&self, number: u32) -> Option<Piece> {
        self.found.iter().find(|f| f.number == number)?.piece
    }

    /// Differences that nobody has resolved yet.
    #[must_use]
    pub fn open(&self) -> usize {
        self.found.iter().filter(|f| f.resolved.is_none()).count()
    }

    /// Whether there is still something to do.
    #[must_use]
    pub fn is_active(&self) -> bool {
        self.ended.is_none() || self.open() > 0
    }

    /// The name of the first place.
    #[must_use]
    pub fn name(&self) -> &str {
        self.place_names.first().map_or("", String::as_str)
    }
}

/// What the record says stands in these places now, by code.
fn standing(state: &State, places: &[PlaceId]) -> Vec<(String, Piece)> {
    let here: BTreeSet<PlaceId> = places.iter().copied().collect();
    let stands = |c: &super::state::Custody| {
        c.inside.is_none() && matches!(&c.holder, Holder::Place { place } if here.contains(place))
    };
    let items = state
        .items
        .values()
        .filter(|x| stands(&x.custody))
        .map(|x| (x.code.to_string(), Piece::Item(x.id)));
    let packages = state
        .packages
        .values()
        .filter(|x| stands(&x.custody))
        .map(|x| (x.code.to_string(), Piece::Package(x.id)));
    let mut out: Vec<(String, Piece)> = items.chain(packages).collect();
    out.sort();
    out
}

fn digest(expected: &[(String, Piece)]) -> Digest {
    let mut hash = Sha256::new();
    for (code, _) in expected {
        hash.update(code.as_bytes());
        hash.update(b"\n");
    }
    Digest(hash.finalize().into())
}

/// Nobody chooses the seed: it is made of the command's identifier and the server's own time.
fn seed(ctx: &Context<'_>) -> String {
    let text = format!(
        "liftledger-seed:{}:{}",
        ctx.command.id,
        ctx.now.timestamp_micros()
    );
    hex::encode(&Sha256::digest(text.as_bytes())[..16])
}

fn now_only(ctx: &Context<'_>) -> Result<(), Refusal> {
    if ctx.command.claimed_at.is_some() {
        return Err(Refusal::new(
            Rule::BadValue,
            "A count is held against the record as it is at this moment.",
            "Leave the time empty.",
        )
        .on("claimed_at"));
    }
    Ok(())
}

pub(super) fn begin(ctx: &Context<'_>, x: &BeginCount) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    now_only(ctx)?;
    let distinct: BTreeSet<&PlaceId> = x.places.iter().collect();
    if x.places.is_empty() || x.places.len() > MAX_PLACES || distinct.len() != x.places.len() {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("A count covers 1 to {MAX_PLACES} places, each once."),
            "Count a part of the storeroom.",
        )
        .on("places"));
    }
    let mut place_names = Vec::with_capacity(x.places.len());
    for id in &x.places {
        let place = ctx.state.places.get(id).ok_or_else(|| not_found("place"))?;
        place_names.push(place.added.name.clone());
    }
    let expected = standing(ctx.state, &x.places);
    if expected.len() > MAX_EXPECTED {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("More than {MAX_EXPECTED} things stand there."),
            "Count fewer places at a time.",
        )
        .on("places"));
    }
    let population = u32::try_from(expected.len()).unwrap_or(u32::MAX);
    let size = match &x.sample {
        None => None,
        Some(asked) => Some(
            sampling::size(population, asked.missing, asked.confidence).map_err(|e| {
                Refusal::new(
                    Rule::BadValue,
                    format!("No sample can be drawn of what stands there: {e}."),
                    "Count everything, or ask for other numbers.",
                )
                .on("missing")
            })?,
        ),
    };
    let count = CountId(ctx.command.id.0);
    let mut subjects = vec![Subject::Count(count)];
    subjects.extend(x.places.iter().map(|p| Subject::Place(*p)));
    let fact = Fact::CountBegun(CountBegun {
        count,
        places: x.places.clone(),
        place_names,
        expected_digest: digest(&expected),
        missing: x.sample.as_ref().map(|s| s.missing),
        confidence: x.sample.as_ref().map(|s| s.confidence),
        population: size.map(|_| population),
        sample: size,
        seed: size.map(|_| seed(ctx)),
    });
    Ok(ctx.draft(None, subjects, fact))
}

fn open_count<'a>(ctx: &'a Context<'_>, id: CountId) -> Result<&'a Count, Refusal> {
    let count = ctx
        .state
        .counts
        .get(&id)
        .ok_or_else(|| not_found("count"))?;
    if count.ended.is_some() {
        return Err(Refusal::new(
            Rule::CountOver,
            format!("The count of {} is over.", count.name()),
            "Begin another one.",
        ));
    }
    Ok(count)
}

/// What a label says: a thing of this ledger.
///
/// # Errors
/// Why it cannot be placed.
pub fn read_label(state: &State, label: &str) -> Result<Piece, Odd> {
    match label.parse::<Code>() {
        Err(IdError::CheckCharacter) => Err(Odd::Misread),
        Err(_) => Err(Odd::Foreign),
        Ok(code) => match state.codes.get(&code) {
            Some(Subject::Item(id)) => Ok(Piece::Item(*id)),
            Some(Subject::Package(id)) => Ok(Piece::Package(*id)),
            Some(Subject::Place(_)) => Err(Odd::Place),
            _ => Err(Odd::Unknown),
        },
    }
}

pub(super) fn scan(ctx: &Context<'_>, x: &ScanCodes) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    for code in &x.codes {
        text("codes", code, MAX_LABEL, true)?;
    }
    if x.codes.is_empty() || x.codes.len() > MAX_BATCH {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("1 to {MAX_BATCH} labels are scanned at a time."),
            "Send the others after these.",
        )
        .on("codes"));
    }
    let count = open_count(ctx, x.count)?;
    let mut before: BTreeSet<Piece> = count.seen.iter().copied().collect();
    let mut odd_before: BTreeSet<OddLabel> = count.odd.iter().cloned().collect();
    let (mut seen, mut odd, mut again) = (Vec::new(), Vec::new(), 0_u32);
    for code in &x.codes {
        match read_label(ctx.state, code) {
            Ok(piece) if before.insert(piece) => seen.push(piece),
            Ok(_) => again += 1,
            Err(why) => {
                let label = OddLabel {
                    text: code.trim().to_owned(),
                    why,
                };
                if odd_before.insert(label.clone()) {
                    odd.push(label);
                } else {
                    again += 1;
                }
            }
        }
    }
    if before.len() > MAX_SEEN || odd_before.len() > MAX_ODD {
        return Err(Refusal::new(
            Rule::BadValue,
            format!(
                "A count takes at most {MAX_SEEN} things and {MAX_ODD} labels that cannot be placed."
            ),
            "End this count and count fewer places at a time.",
        )
        .on("codes"));
    }
    let fact = Fact::CodesScanned(CodesScanned {
        count: x.count,
        seen,
        again,
        odd,
    });
    Ok(ctx.draft(None, vec![Subject::Count(x.count)], fact))
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

pub(super) fn end(ctx: &Context<'_>, x: &EndCount) -> Result<Vec<Draft>, Refusal> {
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

pub(super) fn resolve(ctx: &Context<'_>, x: &ResolveDifference) -> Result<Vec<Draft>, Refusal> {
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

pub(super) fn begun(state: &mut State, x: &CountBegun, meta: &Meta) -> Result<(), Misfit> {
    let expected = standing(state, &x.places);
    if digest(&expected) != x.expected_digest {
        return Err(meta.misfit("what stands there is not what the count was begun with"));
    }
    let expected: Vec<Piece> = expected.into_iter().map(|(_, piece)| piece).collect();
    let sample = match (x.missing, x.confidence, x.sample, &x.seed) {
        (Some(missing), Some(confidence), Some(size), Some(seed)) => {
            let population = u32::try_from(expected.len()).unwrap_or(u32::MAX);
            let at = sampling::draw(population, size, seed)
                .map_err(|e| meta.misfit(format!("the sample cannot be drawn: {e}")))?;
            let drawn = at.into_iter().filter_map(|i| expected.get(i as usize));
            Some(Sample {
                missing,
                confidence,
                seed: seed.clone(),
                drawn: drawn.copied().collect(),
            })
        }
        _ => None,
    };
    state.known.insert(Key::Subject(Subject::Count(x.count)));
    state.counts.insert(
        x.count,
        Count {
            id: x.count,
            places: x.places.clone(),
            place_names: x.place_names.clone(),
            begun_at: meta.at,
            begun_by: meta.actor,
            counters: meta.actor.into_iter().collect(),
            expected,
            sample,
            seen: Vec::new(),
            again: 0,
            odd: Vec::new(),
            ended: None,
            found: Vec::new(),
        },
    );
    Ok(())
}

fn count_mut<'a>(state: &'a mut State, id: CountId, meta: &Meta) -> Result<&'a mut Count, Misfit> {
    state
        .counts
        .get_mut(&id)
        .ok_or_else(|| meta.misfit("no such count"))
}

pub(super) fn scanned(state: &mut State, x: &CodesScanned, meta: &Meta) -> Result<(), Misfit> {
    let count = count_mut(state, x.count, meta)?;
    count.seen.extend(&x.seen);
    count.again += x.again;
    count.odd.extend(x.odd.iter().cloned());
    count.counters.extend(meta.actor);
    Ok(())
}

pub(super) fn ended(state: &mut State, x: &CountEnded, meta: &Meta) -> Result<(), Misfit> {
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

pub(super) fn differs(state: &mut State, x: &CountDiffers, meta: &Meta) -> Result<(), Misfit> {
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

pub(super) fn resolved(
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
