//! The form of a recovery: a mark yields an item. Which medium suits the surface, how it is done, what can hurt, which way
//! round it will read and what it will have to be packed in stand where the step is taken.

use serde_json::{Map, Value};

use super::Sheet;
use super::mark::{facts, name, within};
use crate::app::Reader;
use crate::custody::state::Mark;
use crate::keeping::KeepNeeds;
use crate::keeping::packaging::Facts;
use crate::lifting::handedness::{Lateral, read};
use crate::lifting::medium::{Medium, chain};
use crate::trade::TradeRules;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

/// The word of a value as data has it: `fine-grain`.
fn word(value: impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(Value::String(s)) => s,
        _ => String::new(),
    }
}

fn has(list: &[impl serde::Serialize], wanted: &str) -> bool {
    list.iter().any(|x| word(x) == wanted)
}

const SUITED: &str = "Suits this surface";
const OPEN: &str = "Nothing known against it";
const UNSUITED: &str = "Does not suit this surface";

/// How a medium goes with the surface that was noted: the heading that it stands under.
fn fits(medium: &Medium, mark: &Mark) -> &'static str {
    let (texture, curvature) = (&mark.noted.texture, &mark.noted.curvature);
    if has(&medium.unsuited.textures, texture) || has(&medium.unsuited.curvatures, curvature) {
        UNSUITED
    } else if has(&medium.suits.textures, texture)
        && (medium.suits.curvatures.is_empty() || has(&medium.suits.curvatures, curvature))
    {
        SUITED
    } else {
        OPEN
    }
}

fn media(rules: &TradeRules, mark: &Mark) -> Vec<Choice> {
    let mut out: Vec<Choice> = rules
        .media()
        .iter()
        .map(|m| Choice::new(m.id.clone(), m.name.clone()).within(fits(m, mark)))
        .collect();
    let order = [SUITED, OPEN, UNSUITED];
    out.sort_by_key(|c| order.iter().position(|o| *o == c.group));
    out
}

/// What the rules say of a recovery by this medium before it is made.
fn ahead(rules: &TradeRules, mark: &Mark, medium: &Medium) -> Vec<(String, String)> {
    let tone = mark
        .developments
        .last()
        .and_then(|d| rules.method_ever(&d.method))
        .map(|m| m.tone);
    let mut out = vec![(
        "Medium".to_owned(),
        format!("{}. {}", medium.name, medium.description),
    )];
    for (n, step) in medium.how.iter().enumerate() {
        out.push((format!("Step {}", n + 1), step.clone()));
    }
    if let Some(set) = &medium.set {
        let minutes = |m: Option<u32>| m.map(|m| format!("{m} min"));
        let figures: Vec<String> = [
            minutes(set.earliest).map(|m| format!("not before {m}")),
            minutes(set.usual).map(|m| format!("usually {m}")),
            minutes(set.limit).map(|m| format!("not longer than {m}")),
        ]
        .into_iter()
        .flatten()
        .collect();
        if !figures.is_empty() {
            out.push((
                "Set time".into(),
                format!("{}. {}", figures.join(", "), set.note),
            ));
        }
    }
    if let Some(steps) = chain(medium, None, tone, None) {
        let reading = read(&steps);
        let said = match reading.lateral {
            Lateral::Direct => "It will read the right way round",
            Lateral::Reversed => "It will read MIRRORED: flip the image before comparison",
            Lateral::Unknown => "Which way round it reads is not known",
        };
        out.push(("Way round".into(), format!("{said}. {}", reading.sentence)));
    }
    let needs = KeepNeeds::derive(rules.keeping(), medium, &Facts::default());
    let packing: Vec<String> = needs
        .packing
        .reasons
        .iter()
        .map(|r| r.sentence.clone())
        .collect();
    if !packing.is_empty() {
        out.push(("Packing".into(), packing.join(" ")));
    }
    out
}

/// Takes "40 x 25 x 8" apart.
fn arrange(fields: &mut Map<String, Value>) {
    super::stock::three_numbers(fields, "size_mm");
}

/// Record a recovery.
pub(super) async fn recover(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let mark = reader.mark(typed.read("mark")?).await?;
    let case = reader.case(mark.case).await?;
    let rules = &reader.house().rules;
    let zone = reader.house().agency().await?.zone;
    let now = chrono::Utc::now()
        .with_timezone(&zone)
        .format("%Y-%m-%dT%H:%M")
        .to_string();
    let chosen = rules.medium(typed.get("medium"));
    let mut told = facts(&case, &mark);
    let mut cautions = vec![
        "Powder, liquids, fumes, blades and blood can hurt: gloves, eye protection and a mask as the step asks. The safety \
         data sheet, your local rules and licensed practice decide."
            .to_owned(),
    ];
    if let Some(medium) = chosen {
        told.extend(ahead(rules, &mark, medium));
        cautions = rules
            .cautions_of(&medium.cautions)
            .iter()
            .map(|c| c.shown())
            .collect();
    }
    let mut ways = (String::new(), Vec::new());
    if chosen.is_none() && !typed.has("sent") {
        ways.0 = "Steps, set time, way round and packing of a medium:".into();
        for choice in media(rules, &mark) {
            if choice.group != UNSUITED {
                let href = format!("/do/recover?mark={}&medium={}", mark.id, choice.value);
                ways.1.push(Link::new(href, choice.label));
            }
        }
    }
    let mut inputs = vec![
        Input::hidden("mark", mark.id.to_string()),
        Input::new("medium", "Medium", Kind::One(media(rules, &mark))),
        Input::line("lot", "Lot of the medium").optional(),
        Input::new("started_at", "Put on at", Kind::Time).value(now),
        Input::new("set_at", "Set, dried or cured at", Kind::Time)
            .hint("Where it has to set; a time outside what the medium asks for is noted as a warning.")
            .optional(),
        Input::new("air_c", "Air temperature, °C", Kind::Whole).optional(),
    ];
    if chosen.is_none_or(|m| m.card) {
        let colours = ["white", "black", "clear"]
            .map(|c| Choice::new(c, c))
            .to_vec();
        inputs.push(
            Input::new("card", "Colour of the backing card", Kind::One(colours))
                .hint("White for dark powder, black for light.")
                .optional(),
        );
    }
    inputs.extend([
        Input::line("description", "What it is, in a few words").hint("Lift of the fourth finger, on a white card."),
        Input::line("size_mm", "Length, width, height in mm")
            .hint("Three numbers, where it was measured: 40 x 25 x 8. It decides which container is large enough.")
            .optional(),
        Input::new("wet", "It is wet", Kind::Yes),
        Input::new("biological", "It bears or may bear blood or other biological material", Kind::Yes),
        Input::new("fragile", "It is fragile", Kind::Yes),
        Input::new("sharp", "It is sharp", Kind::Yes),
    ]);
    Ok(Sheet {
        title: format!("Record a recovery from {}", name(&mark)),
        thing: format!("a recovery from {} of case {}", name(&mark), case.number),
        facts: told,
        cautions,
        ways,
        inputs,
        submit: "Record the recovery".into(),
        crumbs: within(&case, &mark),
        done: format!("/marks/{}", mark.id),
        about: Some(case),
        field: true,
        arrange: Some(arrange),
        ..Sheet::default()
    })
}
