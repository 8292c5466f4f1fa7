//! Forms of marks: note one on a surface, record how it was developed.

use super::Sheet;
use super::case::crumbs;
use crate::app::Reader;
use crate::custody::state::{Case, Mark};
use crate::lifting::contrast;
use crate::lifting::method::MarkTone;
use crate::lifting::surface::SubstrateClass;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

/// Textures, as [`crate::lifting::surface::Texture`] has them.
const TEXTURES: &[(&str, &str)] = &[
    ("smooth", "smooth: glass, gloss paint, polished metal"),
    ("fine-grain", "fine grain: panels, tiles, textured paint"),
    ("moulded-grain", "deep grain moulded into plastic"),
    ("ribbed", "ribs or grooves"),
    ("dimpled", "small regular dimples"),
    ("rough", "coarse: rough concrete, cast stone"),
    ("bare-wood", "bare wood"),
    ("absorbent", "paper, board, cloth"),
    ("sticky", "an adhesive side"),
    ("dusty", "dust that itself holds the mark"),
    ("impressed", "pressed in: a toolmark, a footwear impression"),
    ("recessed", "a recess or an inside corner"),
];

/// Curvatures, as [`crate::lifting::surface::Curvature`] has them.
const CURVATURES: &[(&str, &str)] = &[
    ("flat", "flat"),
    ("gentle", "a wide bend in one direction: a bottle, a bumper"),
    ("tight", "a narrow bend in one direction: a handle, a wire"),
    ("compound", "bends in two directions: a knob, a ball"),
];

const KINDS: &[(&str, &str)] = &[
    (
        "friction-ridge",
        "friction ridge mark: finger, palm or sole",
    ),
    ("toolmark", "toolmark"),
    ("footwear", "footwear mark"),
    ("other", "something else"),
];

fn choices(of: &[(&str, &str)]) -> Vec<Choice> {
    of.iter().map(|(v, l)| Choice::new(*v, *l)).collect()
}

fn class_words(class: SubstrateClass) -> &'static str {
    match class {
        SubstrateClass::Porous => "Porous",
        SubstrateClass::Nonporous => "Nonporous",
        SubstrateClass::Semiporous => "Semiporous",
        SubstrateClass::Other => "Other or not known",
    }
}

fn tone_words(tone: MarkTone) -> &'static str {
    match tone {
        MarkTone::Dark => "dark",
        MarkTone::Light => "light",
        MarkTone::Fluorescent => "glow under the right light",
        MarkTone::Varies => "dark or light, according to how it is done: look at it",
    }
}

/// How people call a mark.
#[must_use]
pub(super) fn name(mark: &Mark) -> String {
    format!("mark M{}", mark.number)
}

/// Where one is, within a mark.
#[must_use]
pub(super) fn within(case: &Case, mark: &Mark) -> Vec<Link> {
    let mut out = crumbs(case);
    out.push(Link::new(format!("/marks/{}", mark.id), name(mark)));
    out
}

/// What a form about a mark tells of it.
#[must_use]
pub(super) fn facts(case: &Case, mark: &Mark) -> Vec<(String, String)> {
    vec![
        ("Case".into(), format!("{}, {}", case.number, case.title)),
        (
            "Mark".into(),
            format!("M{}, {}", mark.number, mark.noted.object),
        ),
        ("Exact place".into(), mark.noted.exact_place.clone()),
        ("Up".into(), mark.noted.up.clone()),
    ]
}

/// Note a mark.
pub(super) async fn note(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let case = reader.case(typed.read("case")?).await?;
    let scenes: Vec<Choice> = case
        .scenes
        .iter()
        .map(|s| Choice::new(s.id.to_string(), format!("{}, {}", s.name, s.address)))
        .collect();
    let mut scene = Input::new("scene", "Scene", Kind::One(scenes.clone()));
    if let [only] = scenes.as_slice() {
        scene = scene.value(only.value.clone());
    }
    if scenes.is_empty() {
        scene = scene.hint("The case has no scene yet: open one first.");
    }
    let mut substrates: Vec<Choice> = reader
        .house()
        .rules
        .substrates()
        .iter()
        .map(|s| {
            Choice::new(s.id.clone(), format!("{} {}", s.id, s.name)).within(class_words(s.class))
        })
        .collect();
    substrates.sort_by(|a, b| a.group.cmp(&b.group).then(a.value.cmp(&b.value)));
    Ok(Sheet {
        title: "Note a mark".into(),
        thing: format!("a mark in case {}", case.number),
        facts: vec![("Case".into(), format!("{}, {}", case.number, case.title))],
        intro: "Photograph it with a scale before anything touches it; photographs are added to the mark when it is noted."
            .into(),
        inputs: vec![
            Input::hidden("case", case.id.to_string()),
            scene,
            Input::new("kind", "Kind of mark", Kind::One(choices(KINDS))).value("friction-ridge"),
            Input::line("object", "Object that bears it").hint("Fuel can, red plastic, 20 litres."),
            Input::lines("exact_place", "Exact place on the object")
                .hint("So that somebody else finds the spot: which side, how far from which edge."),
            Input::line("up", "Which way is up").hint("Towards what the arrow on the card points."),
            Input::new("substrate", "Substrate", Kind::One(substrates))
                .hint("Codes of ANSI/NIST-ITL field 9.355; 4B is not known."),
            Input::new("texture", "Texture", Kind::One(choices(TEXTURES))),
            Input::new("curvature", "Curvature", Kind::One(choices(CURVATURES))).value("flat"),
            Input::lines("note", "Note").optional(),
        ],
        submit: "Note the mark".into(),
        crumbs: crumbs(&case),
        done: format!("/cases/{}", case.id),
        about: Some(case),
        field: true,
        ..Sheet::default()
    })
}

/// Record how a mark was developed.
pub(super) async fn develop(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let mark = reader.mark(typed.read("mark")?).await?;
    let case = reader.case(mark.case).await?;
    let rules = &reader.house().rules;
    let methods = rules
        .methods()
        .iter()
        .map(|m| Choice::new(m.id.clone(), format!("{} {}", m.id, m.name)))
        .collect();
    // Before a method is chosen, the hazards of all of them stand in one caution that defers to what knows better.
    let chosen = rules.method(typed.get("method"));
    let mut told = facts(&case, &mark);
    if let Some(method) = chosen {
        let tone = format!("{} ({}).", tone_words(method.tone), method.tone_source);
        told.push(("Method".into(), format!("{} {}", method.id, method.name)));
        told.push(("It makes the mark".into(), tone));
        told.push((
            "Card".into(),
            format!("Take {}.", contrast::advice(method.tone)),
        ));
        told.extend(method.note.clone().map(|n| ("Note on it".to_owned(), n)));
    }
    let cautions = match chosen {
        Some(method) => rules
            .cautions_of(&method.cautions)
            .iter()
            .map(|c| c.shown())
            .collect(),
        None => vec![
            "Powders, fumes, dyes, solvents and strong light can hurt eyes, skin and lungs: gloves, eye protection, a mask or \
             extraction as the method asks, no flame near solvents. The safety data sheet, your local rules and licensed \
             practice decide."
                .to_owned(),
        ],
    };
    Ok(Sheet {
        title: format!("Record development of {}", name(&mark)),
        thing: format!("{} of case {}", name(&mark), case.number),
        facts: told,
        cautions,
        inputs: vec![
            Input::hidden("mark", mark.id.to_string()),
            Input::new("method", "Method", Kind::One(methods))
                .hint("Processing codes of ANSI/NIST-ITL field 9.352; OTH is any other."),
            Input::lines("note", "Note").optional(),
        ],
        submit: "Record the development".into(),
        look: "Show the method's cautions".into(),
        crumbs: within(&case, &mark),
        done: format!("/marks/{}", mark.id),
        about: Some(case),
        field: true,
        ..Sheet::default()
    })
}
