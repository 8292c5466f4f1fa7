//! The form of a recovery: a mark yields an item. Which medium suits the surface, how it is done, what can hurt, which way
//! round it will read and what it will have to be packed in stand where the step is taken.

use chrono::NaiveDate;
use serde_json::{Map, Value};

use super::mark::{facts, name, within};
use super::{Sheet, advice};
use crate::app::Reader;
use crate::app::views::advice::{AdviceTold, tell};
use crate::custody;
use crate::custody::kit::{self, KitEntry};
use crate::custody::state::{Mark, Person};
use crate::keeping::KeepNeeds;
use crate::keeping::packaging::Facts;
use crate::lifting::advise::checklist;
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

const ADVISED: &str = "Advised, the best first";
const ALWAYS: &str = "Always possible";
const NOT_ADVISED: &str = "Not advised here; can be recorded all the same";

/// All media, in the order of the advice.
fn media(rules: &TradeRules, told: &AdviceTold) -> Vec<Choice> {
    let ranked = told.ranked.iter().map(|c| {
        let r = &c.ranked;
        Choice::new(r.medium.clone(), r.name.clone()).within(ADVISED)
    });
    let images = rules
        .media()
        .iter()
        .filter(|m| m.form == Form::Image)
        .map(|m| Choice::new(m.id.clone(), m.name.clone()).within(ALWAYS));
    let excluded = told
        .excluded
        .iter()
        .map(|e| Choice::new(e.medium.clone(), e.name.clone()).within(NOT_ADVISED));
    ranked.chain(images).chain(excluded).collect()
}

/// The field for the lot: what is in the kit is offered, the one that expires first is put in.
fn lot(
    person: Option<&Person>,
    chosen: Option<&Medium>,
    told: &AdviceTold,
    today: NaiveDate,
) -> Input {
    let of: Vec<&KitEntry> = person
        .map(|p| p.kit.as_slice())
        .unwrap_or_default()
        .iter()
        .filter(|e| chosen.is_none_or(|m| m.id == e.medium))
        .collect();
    let said = |e: &KitEntry| match e.expires_on {
        Some(day) if e.as_lot().expired(today) => format!("expired on {day}"),
        Some(day) => format!("good until {day}"),
        None => "no date".to_owned(),
    };
    let offers = of
        .iter()
        .map(|e| Choice::new(e.lot.clone(), format!("{}, {}", e.medium_name, said(e))))
        .collect();
    let mut field = Input::line("lot", "Lot of the medium")
        .optional()
        .offers(offers);
    if let Some(medium) = chosen {
        let listed: Vec<String> = of
            .iter()
            .map(|e| format!("{} ({})", e.lot, said(e)))
            .collect();
        if !listed.is_empty() {
            field = field.hint(format!("In your kit: {}.", listed.join(", ")));
        }
        let ranked = told.ranked.iter().find(|c| c.ranked.medium == medium.id);
        if let Some(first) = ranked.and_then(|c| c.ranked.lots.first()) {
            field = field.value(first.lot.clone());
        }
    }
    field
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

/// Makes truths of what was said of the surface. Takes "40 x 25 x 8" apart into three numbers; what cannot be read stays for the refusal. The size of the mark was for
/// working out film and material only.
fn arrange(fields: &mut Map<String, Value>) {
    if let Some(Value::Object(said)) = fields.get_mut("advice") {
        said.remove("shown");
        for (name, value) in said.iter_mut() {
            if name != "depth" {
                *value = Value::Bool(value.as_str() == Some("yes"));
            }
        }
    }
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
    let zone = reader.house().zone().await?;
    let now = chrono::Utc::now().with_timezone(&zone);
    let today = now.date_naive();
    let now = now.format("%Y-%m-%dT%H:%M").to_string();
    let chosen = rules.medium(typed.get("medium"));
    let person = reader.viewer().person.as_ref();
    let said = advice::said(typed);
    let air = typed.get("air_c").trim().parse().ok();
    let question = custody::advice::question(&mark, &said, person, today, air);
    let told_advice = tell(rules, question);
    let mut told = facts(&case, &mark);
    let from = match typed.get("from_item").trim() {
        "" => None,
        _ => Some(reader.item(typed.read("from_item")?).await?),
    };
    if let Some(from) = &from {
        let what = format!("item {}, {}", from.number, from.recovered.description);
        told.push(("Taken from".to_owned(), what));
    }
    let mut cautions = Vec::new();
    match chosen {
        // The cautions of the chosen medium stand at its steps.
        Some(medium) => {
            told.extend(ahead(rules, &mark, medium, &Circumstances::of(typed)));
            let typed_lot = typed.get("lot");
            let entry = person.and_then(|p| {
                let of = || p.kit.iter().filter(|e| e.medium == medium.id);
                if typed_lot.is_empty() {
                    let all_expired = of().all(|e| e.as_lot().expired(today));
                    of().next().filter(|_| all_expired)
                } else {
                    kit::carried(p, &medium.id, typed_lot)
                }
            });
            let warned = entry.and_then(|e| kit::expired(&medium.name, &e.as_lot(), today));
            cautions.extend(warned.map(|w| format!("{w} The record will bear this warning.")));
        }
        None => cautions.push(
            "Powder, liquids, fumes, blades and blood can hurt: gloves, eye protection and a mask as the step asks. The safety \
             data sheet, your local rules and licensed practice decide."
                .to_owned(),
        ),
    }
    let steps = chosen.map(|m| {
        (
            m.id.as_str(),
            m.name.as_str(),
            checklist::steps(&rules.knowledge(), m),
        )
    });
    let block = advice::block(mark.id, &said, &told_advice, steps);
    let mut inputs = vec![
        Input::hidden("mark", mark.id.to_string()),
        Input::new("medium", "Medium", Kind::One(media(rules, &told_advice))),
        lot(person, chosen, &told_advice, today),
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
    inputs.extend(from.map(|item| Input::hidden("from_item", item.id.to_string())));
    // That advice was shown goes to the command, whatever was said of the surface.
    inputs.push(Input::hidden("advice.shown", "yes"));
    inputs.extend(advice::carried(&said));
    Ok(Sheet {
        title: format!("Record a recovery from {}", name(&mark)),
        thing: format!("a recovery from {} of case {}", name(&mark), case.number),
        facts: told,
        cautions,
        advice: Some(Box::new(block)),
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
