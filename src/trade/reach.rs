//! Rules that can never matter: those that apply to nothing, and those that add nothing to another.
//!
//! It is found out by trying: every medium, on every class of surface, with every combination of facts. A rule that none of
//! these reaches is an error, and so is one that another rule covers wherever it applies, with all that it asks.

use super::draft::{Entry, Placed};
use super::error::TradeErrors;
use super::kind::Draft;
use crate::keeping::packaging::{Facts, selects};
use crate::keeping::{PackingRule, PlaceRule, When};
use crate::lifting::advise::AdviceRules;
use crate::lifting::{Medium, SubstrateClass};

/// Where a rule applies: one bit for each medium with its facts.
type Reach = Vec<bool>;

const SURFACES: [Option<SubstrateClass>; 5] = [
    None,
    Some(SubstrateClass::Porous),
    Some(SubstrateClass::Nonporous),
    Some(SubstrateClass::Semiporous),
    Some(SubstrateClass::Other),
];

fn combinations<'d>(media: &[Placed<'d, Medium>]) -> Vec<(Medium, Facts)> {
    let mut out = Vec::with_capacity(media.len() * SURFACES.len() * 32);
    for medium in media {
        for surface in SURFACES {
            for bits in 0..32u8 {
                let facts = Facts {
                    wet: bits & 1 != 0,
                    biological: bits & 2 != 0,
                    fragile: bits & 4 != 0,
                    sharp: bits & 8 != 0,
                    ridge: bits & 16 != 0,
                    size_mm: None,
                    surface,
                };
                out.push((medium.value.clone(), facts));
            }
        }
    }
    out
}

fn never(when: &[When]) -> Option<&'static str> {
    (when.contains(&When::Wet) && when.contains(&When::Dry))
        .then_some("nothing is both wet and dry, so the rule can never hold")
}

/// Adds an error for each rule that can never matter.
pub(super) fn all(draft: &Draft<'_>, errors: &mut TradeErrors) {
    let sound = errors.0.is_empty();
    let tried = combinations(&draft.media.list);
    let packing: Vec<(&Placed<'_, PackingRule>, Reach)> = draft
        .packing
        .list
        .iter()
        .map(|r| {
            let reach = tried.iter().map(|(m, f)| r.value.applies(m, f)).collect();
            (r, reach)
        })
        .collect();
    for (i, (rule, reach)) in packing.iter().enumerate() {
        if asks_nothing(&rule.value) {
            errors.add(rule.error("the rule asks for nothing"));
        } else if !reach.contains(&true) {
            unreached(rule, &rule.value.when, &rule.value.media, draft, errors);
        } else if let Some((other, _)) = packing.iter().enumerate().find_map(|(j, p)| {
            let inside = adds_nothing(&rule.value, &p.0.value) && within(reach, &p.1);
            // Of two that say the same, the second is the one too many.
            let same = adds_nothing(&p.0.value, &rule.value) && within(&p.1, reach);
            (i != j && inside && (!same || j < i)).then_some(p)
        }) {
            errors.add(rule.error(&format!(
                "the rule adds nothing: \"{}\" holds wherever it does and asks for as much",
                other.value.id
            )));
        }
    }
    places(draft, &tried, errors);
    advice(draft, errors);
    // Where a name is wrong, the caution that it should have been is not to blame.
    if sound {
        cautions(draft, errors);
    }
}

fn places(draft: &Draft<'_>, tried: &[(Medium, Facts)], errors: &mut TradeErrors) {
    let places: Vec<(&Placed<'_, PlaceRule>, Reach)> = draft
        .places
        .list
        .iter()
        .map(|r| {
            let rule = &r.value;
            let applies = |m: &Medium, f: &Facts| {
                rule.containers.is_empty()
                    && selects(&rule.media, &rule.forms, m)
                    && rule.when.iter().all(|w| w.holds(f))
            };
            (r, tried.iter().map(|(m, f)| applies(m, f)).collect())
        })
        .collect();
    for (i, (rule, reach)) in places.iter().enumerate() {
        let value = &rule.value;
        if !value.containers.is_empty() {
            if !(value.media.is_empty() && value.forms.is_empty() && value.when.is_empty()) {
                errors.add(rule.error(
                    "a rule for containers holds for packages, so its media, forms and facts are never asked",
                ));
            }
        } else if !reach.contains(&true) {
            unreached(rule, &value.when, &value.media, draft, errors);
        } else if let Some((other, _)) = places.iter().enumerate().find_map(|(j, p)| {
            let same_need = p.0.value.need == value.need && p.0.value.climates == value.climates;
            let same = within(&p.1, reach);
            (i != j && same_need && within(reach, &p.1) && (!same || j < i)).then_some(p)
        }) {
            errors.add(rule.error(&format!(
                "the rule adds nothing: \"{}\" holds wherever it does and asks for as much",
                other.value.id
            )));
        }
    }
}

/// A rule of advice that changes nothing. Where the agency's file changes media or advice, the program's own rules are let be.
fn advice(draft: &Draft<'_>, errors: &mut TradeErrors) {
    let changed = !draft.media.disabled.is_empty()
        || !draft.advice.disabled.is_empty()
        || draft.media.list.iter().any(|m| m.agency)
        || draft.advice.list.iter().any(|r| r.agency);
    let media: Vec<Medium> = draft.media.list.iter().map(|m| m.value.clone()).collect();
    let rules = AdviceRules {
        rules: draft.advice.list.iter().map(|r| r.value.clone()).collect(),
        checklists: Vec::new(),
    };
    for rule in rules
        .out_of_reach(&media)
        .into_iter()
        .filter_map(|i| draft.advice.list.get(i))
    {
        if rule.agency || !changed {
            errors.add(rule.error("the rule is out of reach: it never changes what is advised"));
        }
    }
}

/// A caution that nothing names is never shown to anybody.
fn cautions(draft: &Draft<'_>, errors: &mut TradeErrors) {
    for caution in &draft.cautions.list {
        let id = &caution.value.id;
        let named = draft
            .media
            .list
            .iter()
            .any(|m| m.value.cautions.contains(id))
            || draft
                .media
                .disabled
                .iter()
                .any(|o| o.entry.value.cautions.contains(id))
            || draft
                .methods
                .list
                .iter()
                .any(|m| m.value.cautions.contains(id))
            || draft
                .methods
                .disabled
                .iter()
                .any(|o| o.entry.value.cautions.contains(id))
            || draft
                .packing
                .list
                .iter()
                .any(|r| r.value.cautions.contains(id))
            || draft
                .packing
                .disabled
                .iter()
                .any(|o| o.entry.value.cautions.contains(id));
        if !named {
            errors.add(caution.error("nothing names this caution, so nobody would ever see it"));
        }
    }
}

/// A rule that no combination reaches. One that only disabled media kept out of reach is let be.
fn unreached<T: Entry>(
    rule: &Placed<'_, T>,
    when: &[When],
    media: &[String],
    draft: &Draft<'_>,
    errors: &mut TradeErrors,
) {
    if let Some(why) = never(when) {
        errors.add(rule.error_near("when", why));
    } else if draft.media.disabled.is_empty() || (rule.agency && !media.is_empty()) {
        errors.add(rule.error("the rule can never apply: no medium in force is of what it names"));
    }
}

fn within(inner: &Reach, outer: &Reach) -> bool {
    inner.iter().zip(outer).all(|(i, o)| !i || *o)
}

fn asks_nothing(r: &PackingRule) -> bool {
    let nothing = PackingRule::default();
    let asked = PackingRule {
        id: String::new(),
        source: String::new(),
        sentence: String::new(),
        media: Vec::new(),
        forms: Vec::new(),
        surfaces: Vec::new(),
        when: Vec::new(),
        ..r.clone()
    };
    asked == nothing
}

/// Whether all that a rule asks is asked by another.
fn adds_nothing(rule: &PackingRule, other: &PackingRule) -> bool {
    fn all<T: PartialEq>(of: &[T], within: &[T]) -> bool {
        of.iter().all(|x| within.contains(x))
    }
    let narrowed =
        rule.one_of.is_empty() || (!other.one_of.is_empty() && all(&other.one_of, &rule.one_of));
    narrowed
        && all(&rule.must_be, &other.must_be)
        && all(&rule.must_not, &other.must_not)
        && all(&rule.must_not_be, &other.must_not_be)
        && (!rule.outer || other.outer)
        && (!rule.alone || other.alone)
        && all(&rule.labels, &other.labels)
        && rule.clearance_mm.unwrap_or(0) <= other.clearance_mm.unwrap_or(0)
        && (rule.drying.is_none() || rule.drying == other.drying)
        && (rule.limit.is_none() || rule.limit == other.limit)
        && all(&rule.cautions, &other.cautions)
}
