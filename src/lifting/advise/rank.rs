//! From a question to advice.

use super::Knowledge;
use super::answer::{Advice, Consequences, Excluded, Nothing, NothingCode, Ranked, Why};
use super::checklist::steps;
use super::question::{KitLot, Question, Seen};
use super::rule::{AdviceRule, Effect, KIT_EXPIRED, KIT_MISSING, KIT_UNDATED};
use crate::lifting::contrast::card_for;
use crate::lifting::handedness::read;
use crate::lifting::medium::{Form, Medium, chain};

/// How much it counts that a medium's own entry names the surface; our assumption, no source.
const SUITED: i32 = 20;
/// The source of what the kit itself says.
const KIT: &str = "the kit as it was stated";

fn why(rule: &AdviceRule) -> Why {
    Why {
        rule: rule.id.clone(),
        sentence: rule.sentence.clone(),
        source: rule.source.clone(),
    }
}

fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} or {last}", most.join(", ")),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// The word of a value, as the data has it.
fn word(value: impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(s)) => s.replace('-', " "),
        _ => String::new(),
    }
}

/// Every rule that excludes a medium on what is seen, whatever the kit: first the rules of advice, then the medium's own
/// entry.
#[must_use]
pub fn excluded_by(knowledge: &Knowledge<'_>, medium: &Medium, seen: &Seen<'_>) -> Vec<Why> {
    let mut out: Vec<Why> = knowledge
        .advice
        .rules
        .iter()
        .filter(|r| r.effect == Effect::Exclude && r.about(medium) && r.when.hold(seen))
        .map(why)
        .collect();
    let mut own = |what: &str, is: String| {
        out.push(Why {
            rule: format!("{}-unsuited", medium.id),
            sentence: format!("{} does not suit {what} {is}.", capital(&medium.name)),
            source: medium.source.clone(),
        });
    };
    if let Some(texture) = seen.texture
        && medium.unsuited.textures.contains(&texture)
    {
        own("a surface that is", word(texture));
    }
    if let Some(curvature) = seen.curvature
        && medium.unsuited.curvatures.contains(&curvature)
    {
        own("a curve that is", word(curvature));
    }
    out
}

/// Whether something of a medium must be in the kit.
fn carried(medium: &Medium) -> bool {
    !matches!(medium.form, Form::Object | Form::Image)
}

/// The lots of a medium that may be used, the first to expire first; or why there is none.
fn lots(question: &Question, medium: &Medium) -> Result<Vec<KitLot>, Why> {
    let Some(kit) = &question.kit else {
        return Ok(Vec::new());
    };
    if !carried(medium) {
        return Ok(Vec::new());
    }
    let of: Vec<&KitLot> = kit.iter().filter(|k| k.medium == medium.id).collect();
    let mut good: Vec<KitLot> = of
        .iter()
        .filter(|k| question.date.is_none_or(|on| !k.expired(on)))
        .map(|k| (*k).clone())
        .collect();
    // Without a date it keeps; so it comes last.
    good.sort_by_key(|k| (k.expires_on.is_none(), k.expires_on));
    if !good.is_empty() {
        return Ok(good);
    }
    let (rule, sentence) = match of.iter().max_by_key(|k| k.expires_on) {
        None => (
            KIT_MISSING,
            format!("{} is not in the kit.", capital(&medium.name)),
        ),
        Some(last) => {
            let day = last.expires_on.map(|d| d.to_string()).unwrap_or_default();
            let sentence = if of.len() == 1 {
                format!(
                    "The {} in the kit, lot {}, expired on {day}.",
                    medium.name, last.lot
                )
            } else {
                format!(
                    "Every lot of {} in the kit has expired, the last on {day}.",
                    medium.name
                )
            };
            (KIT_EXPIRED, sentence)
        }
    };
    Err(Why {
        rule: rule.into(),
        sentence,
        source: KIT.into(),
    })
}

fn consequences(seen: &Seen<'_>, medium: &Medium) -> Consequences {
    let card = seen.tone.filter(|_| medium.card).and_then(card_for);
    let steps = chain(medium, None, seen.tone, card).unwrap_or_default();
    Consequences {
        view: medium
            .usual_view()
            .map(|v| v.name.clone())
            .unwrap_or_default(),
        reading: read(&steps),
        set: medium.set.clone(),
        card,
    }
}

fn ranked(
    knowledge: &Knowledge<'_>,
    seen: &Seen<'_>,
    medium: &Medium,
    lots: Vec<KitLot>,
) -> Ranked {
    let suited = seen.suits(medium);
    let mut score = if suited { SUITED } else { 0 };
    let (mut reasons, mut against) = (Vec::new(), Vec::new());
    for rule in &knowledge.advice.rules {
        if !rule.about(medium) || !rule.when.hold(seen) {
            continue;
        }
        match rule.effect {
            Effect::Prefer => {
                score += i32::from(rule.weight);
                reasons.push(why(rule));
            }
            Effect::Against => {
                score -= i32::from(rule.weight);
                against.push(why(rule));
            }
            Effect::Exclude | Effect::Note => {}
        }
    }
    if suited {
        reasons.push(Why {
            rule: format!("{}-suited", medium.id),
            sentence: format!("{} suits this surface.", capital(&medium.name)),
            source: medium.source.clone(),
        });
    }
    Ranked {
        medium: medium.id.clone(),
        name: medium.name.clone(),
        suited,
        score,
        reasons,
        against,
        lots,
        consequences: consequences(seen, medium),
        steps: steps(knowledge, medium),
    }
}

/// Why nothing can be taken away. `would` are the media that only the kit stands against, with what it says of them.
fn nothing(question: &Question, seen: &Seen<'_>, would: &[(&Medium, Why)]) -> Nothing {
    let names = |rule: &str| -> Vec<&str> {
        would
            .iter()
            .filter(|(_, w)| w.rule == rule)
            .map(|(m, _)| m.name.as_str())
            .collect()
    };
    let expired = names(KIT_EXPIRED);
    let lacking = names(KIT_MISSING);
    let (code, sentence, next) =
        if question.kit.as_ref().is_some_and(Vec::is_empty) && !lacking.is_empty() {
            (
                NothingCode::KitEmpty,
                format!("The kit is empty; {} would do here.", listed(&lacking)),
                "Fetch one of them.",
            )
        } else if !expired.is_empty() {
            (
                NothingCode::KitExpired,
                format!(
                    "Of what would do here the kit has only {}, and it has expired.",
                    listed(&expired)
                ),
                "Fetch a lot that is good; whoever uses an expired one says so on the record.",
            )
        } else if !lacking.is_empty() {
            (
                NothingCode::KitLacks,
                format!("Nothing in the kit does here; {} would.", listed(&lacking)),
                "Fetch one of them.",
            )
        } else if seen.wet {
            (
                NothingCode::WetSurface,
                "Nothing holds on a wet surface.".into(),
                "Let it dry in still air without heat, and ask again.",
            )
        } else {
            (
                NothingCode::PhotographOnly,
                "Nothing is known that takes such a mark off such a surface.".into(),
                "Have somebody experienced look at it.",
            )
        };
    let object = if seen.collectable {
        ""
    } else {
        " If the piece that bears it can be taken after all, collect it."
    };
    Nothing {
        code,
        sentence,
        next: format!("Photograph it with a scale, whatever comes after. {next}{object}"),
    }
}

/// What to use, in order, with reasons; what not, and why; what follows. The question must have passed
/// [`Question::check`]; a medium of the kit that there is not is passed over.
#[must_use]
pub fn advise(knowledge: &Knowledge<'_>, question: &Question) -> Advice {
    let seen = Seen::of(knowledge, question);
    let mut out = Advice {
        first: Vec::new(),
        ranked: Vec::new(),
        excluded: Vec::new(),
        nothing: None,
        notes: knowledge
            .advice
            .rules
            .iter()
            .filter(|r| r.effect == Effect::Note && r.when.hold(&seen))
            .map(why)
            .collect(),
    };
    let mut would: Vec<(&Medium, Why)> = Vec::new();
    for medium in knowledge.media {
        if medium.form == Form::Image {
            out.first.extend(steps(knowledge, medium));
            continue;
        }
        let mut reasons = excluded_by(knowledge, medium, &seen);
        match lots(question, medium) {
            Ok(lots) if reasons.is_empty() => {
                out.ranked.push(ranked(knowledge, &seen, medium, lots));
                continue;
            }
            Ok(_) => {}
            Err(kit) => {
                if reasons.is_empty() {
                    would.push((medium, kit.clone()));
                }
                reasons.push(kit);
            }
        }
        out.excluded.push(Excluded {
            medium: medium.id.clone(),
            name: medium.name.clone(),
            reasons,
        });
    }
    // Stable: media of equal score keep the order of the data.
    out.ranked.sort_by_key(|r| -r.score);
    if out.ranked.is_empty() {
        out.nothing = Some(nothing(question, &seen, &would));
    }
    let dated = |k: &KitLot| k.expires_on.is_some();
    if question.date.is_none() && question.kit.iter().flatten().any(dated) {
        out.notes.push(Why {
            rule: KIT_UNDATED.into(),
            sentence: "No day was given, so nothing in the kit counts as expired.".into(),
            source: KIT.into(),
        });
    }
    out
}
