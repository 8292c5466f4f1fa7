//! The form of a recovery: a mark yields an item. Which medium suits the surface, how it is done, what can hurt, which way
//! round it will read and what it will have to be packed in stand where the step is taken.

use serde_json::{Map, Value};

use super::Sheet;
use super::mark::{facts, name, within};
use crate::app::Reader;
use crate::custody::state::Mark;
use crate::keeping::KeepNeeds;
use crate::keeping::packaging::Facts;
use crate::lifting::contrast::{self, Ground};
use crate::lifting::film::{MAX_SIDE, film};
use crate::lifting::handedness::{Lateral, read};
use crate::lifting::medium::{Form, Medium, chain};
use crate::lifting::method::MarkTone;
use crate::lifting::thickness::{Thickness, tenths};
use crate::lifting::volume::volume;
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

/// What was typed so far, as far as what the rules say goes by it.
struct Circumstances {
    air_c: Option<i16>,
    thickness: Option<Thickness>,
    card: Option<Ground>,
    how_viewed: Option<String>,
    mark_tenths: Option<(u32, u32)>,
}

impl Circumstances {
    fn of(typed: &Typed) -> Self {
        Self {
            air_c: typed.get("air_c").trim().parse().ok(),
            thickness: typed.get("thickness").parse().ok(),
            card: Ground::of_word(typed.get("card")),
            how_viewed: Some(typed.get("how_viewed").to_owned()).filter(|v| !v.is_empty()),
            mark_tenths: two_lengths(typed.get("mark_mm")),
        }
    }
}

/// "22 x 18.5" in tenths of a millimetre.
fn two_lengths(text: &str) -> Option<(u32, u32)> {
    let (a, b) = text.split_once(['x', 'X', '×', '*'])?;
    Some((tenths(a, MAX_SIDE).ok()?, tenths(b, MAX_SIDE).ok()?))
}

/// What the rules say of a recovery by this medium before it is made.
fn ahead(
    rules: &TradeRules,
    mark: &Mark,
    medium: &Medium,
    now: &Circumstances,
) -> Vec<(String, String)> {
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
    if let Some(window) = rules.set_window(medium, now.air_c, now.thickness) {
        out.push(("Set time".into(), window.sentence()));
    }
    if let (Some(rule), Some((length, width))) = (&medium.film, now.mark_tenths) {
        out.push(("Film".into(), film(rule, length, width).sentence));
    }
    if let (Form::Cast, Some((length, width)), Some(thickness)) =
        (medium.form, now.mark_tenths, now.thickness)
    {
        // A layer that was not measured takes as much as the thickest that is called so.
        let said = volume(length, width, thickness.span().1, None).sentence;
        out.push(("Material".into(), said));
    }
    out.extend(contrast(medium, tone, now.card));
    let view = now.how_viewed.as_deref();
    if let Some(steps) = chain(medium, view, tone, now.card) {
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

/// Which card the mark goes on, or how the lifter's own ground stands to it.
fn contrast(
    medium: &Medium,
    tone: Option<MarkTone>,
    card: Option<Ground>,
) -> Vec<(String, String)> {
    let mut out = Vec::new();
    let Some(tone) = tone else {
        return out;
    };
    if medium.card {
        let said = format!("Take {}.", contrast::advice(tone));
        out.push(("Card".to_owned(), said));
    }
    let ground = if medium.card { card } else { medium.ground };
    if let Some(warning) = ground.and_then(|g| contrast::warning(tone, g)) {
        out.push(("Contrast".to_owned(), warning));
    }
    out
}

/// Takes "40 x 25 x 8" apart into three numbers; what cannot be read stays for the refusal. The size of the mark was for
/// working out film and material only.
fn arrange(fields: &mut Map<String, Value>) {
    fields.remove("mark_mm");
    super::stock::three_numbers(fields, "size_mm");
}

/// The fields that only some media have: thickness, size of the mark, and how it is looked at.
fn of_medium(rules: &TradeRules, medium: &Medium) -> Vec<Input> {
    let mut out = Vec::new();
    if rules.set_window(medium, None, None).is_some() {
        out.push(
            Input::line("thickness", "Thickness of the layer")
                .hint("thin, thick, or millimetres such as 2.5. With the air temperature it decides the set time.")
                .optional(),
        );
    }
    if medium.film.is_some() || medium.form == Form::Cast {
        out.push(
            Input::line("mark_mm", "Length and width to cover, mm")
                .hint("22 x 18: only to work out the film or the material, not recorded.")
                .optional(),
        );
    }
    if medium.views.len() > 1 {
        let views = medium
            .views
            .iter()
            .map(|v| Choice::new(v.id.clone(), v.name.clone()))
            .collect();
        let usual = medium.usual_view().map_or("", |v| v.id.as_str());
        out.push(
            Input::new("how_viewed", "How it is looked at", Kind::One(views))
                .hint("It decides which way round it reads.")
                .value(usual)
                .optional(),
        );
    }
    out
}

/// What is wrong with the fields that are text here and a value in the command.
fn wrong_text(typed: &Typed) -> Option<crate::custody::Refusal> {
    let text = typed.get("thickness").trim();
    let error = text
        .parse::<Thickness>()
        .err()
        .filter(|_| !text.is_empty())?;
    Some(super::wrong(
        "bad-value",
        format!("The thickness is not understood: {error}."),
        "Write thin, thick, or millimetres such as 2.5; or leave it empty.",
        "thickness",
    ))
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
        told.extend(ahead(rules, &mark, medium, &Circumstances::of(typed)));
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
    if let Some(medium) = chosen {
        inputs.extend(of_medium(rules, medium));
    }
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
        look: "Show steps, set time and cautions".into(),
        wrong: wrong_text(typed),
        ..Sheet::default()
    })
}
