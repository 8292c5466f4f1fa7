//! A count begins: what it looks through, and what is expected there.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::{Count, MAX_EXPECTED, MAX_PLACES, Sample, now_only};
use crate::custody::fact::{Draft, Fact};
use crate::custody::refusal::{Refusal, Rule};
use crate::custody::rules::{Context, Meta, Misfit, not_found};
use crate::custody::state::{Holder, Key, State};
use crate::ids::{CountId, Digest, Piece, PlaceId, Subject};
use crate::keeping::sampling;
use crate::keeping::sampling::Confidence;

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

/// What the record says stands in these places now, by code.
fn standing(state: &State, places: &[PlaceId]) -> Vec<(String, Piece)> {
    let here: BTreeSet<PlaceId> = places.iter().copied().collect();
    let stands = |c: &crate::custody::state::Custody| {
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
pub(super) fn seed(ctx: &Context<'_>) -> String {
    let text = format!(
        "liftledger-seed:{}:{}",
        ctx.command.id,
        ctx.now.timestamp_micros()
    );
    hex::encode(&Sha256::digest(text.as_bytes())[..16])
}

pub(in crate::custody) fn begin(ctx: &Context<'_>, x: &BeginCount) -> Result<Vec<Draft>, Refusal> {
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

pub(in crate::custody) fn begun(
    state: &mut State,
    x: &CountBegun,
    meta: &Meta,
) -> Result<(), Misfit> {
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
