//! Forms of the storeroom: add a place, store, fetch. What the keep rules say of a shelf stands in the choice.

use std::collections::BTreeSet;

use serde_json::{Map, Value};

use super::choices::{About, active_people, beside, person_choice, places};
use super::{Sheet, wrong};
use crate::app::Reader;
use crate::app::views::keeping::keeping;
use crate::app::views::place_file::blind_places;
use crate::app::views::words::{capital, listed, place_kind};
use crate::app::{ReadError, knowledge};
use crate::custody::capacity::standing_words;
use crate::custody::intake::MAX_LINES;
use crate::custody::place::{PlaceAdded, PlaceKind};
use crate::custody::rules::Trade as _;
use crate::custody::state::{Holder, Place};
use crate::ids::{Code, PlaceId, Subject};
use crate::people::{Action, permission};
use crate::trade::TradeRules;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

const ALLOWED: &str = "Allowed";
const FORBIDDEN: &str = "Forbidden by a keep rule";

/// A place in words: its climate, and what else is known of it.
fn place_words(rules: &TradeRules, place: &PlaceAdded) -> String {
    let climate = rules
        .climate(&place.climate)
        .map_or(place.climate.as_str(), |c| c.name.as_str())
        .to_lowercase();
    let mut words = vec![climate];
    let facts = [
        (place.damp, "damp"),
        (place.lit, "in light"),
        (place.hot, "hot"),
        (place.dusty, "dusty"),
        (place.on_edge, "on edge"),
        (place.stacked, "stacked"),
        (place.biohazard_marked, "marked for biological hazards"),
    ];
    words.extend(
        facts
            .into_iter()
            .filter(|(is, _)| *is)
            .map(|(_, w)| w.to_owned()),
    );
    format!(
        "{} ({}: {})",
        place.name,
        place_kind(place.place_kind),
        words.join(", ")
    )
}

/// How much room is there, behind a place's words.
fn with_room(mut words: String, place: &Place, blind: &BTreeSet<PlaceId>) -> String {
    match place.capacity {
        Some(capacity) if blind.contains(&place.id) => {
            words.push_str(&format!(", takes {capacity}"));
        }
        Some(_) => words.push_str(&format!(", holds {}", standing_words(place))),
        None => {}
    }
    if place.two_person.is_some() {
        words.push_str(", for two people");
    }
    words
}

/// Say how much a place takes.
pub(super) async fn set_capacity(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let place = reader.place(typed.read("place")?).await?;
    let mut capacity = Input::new("capacity", "How much it takes", Kind::Whole)
        .hint("Packages and loose items that stand in it alone; a box is one, whatever is in it. Leave it empty where that is not to be counted.")
        .optional();
    if let Some(now) = place.capacity {
        capacity = capacity.value(now.to_string());
    }
    let mut sheet = of_place(
        &place,
        format!("Say how much {} takes", place.added.name),
        "Nothing is stored there beyond it. What stands there already stays.",
    );
    if !blind_places(reader).await?.contains(&place.id) {
        sheet
            .facts
            .push(("Stands there now".into(), standing_words(&place)));
    }
    sheet.inputs.push(capacity);
    sheet.submit = "Put it on the record".into();
    Ok(sheet)
}

/// Mark a place for two people, or take the mark off.
pub(super) async fn mark_two_person(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::MarkTwoPerson)?;
    let place = reader.place(typed.read("place")?).await?;
    let name = &place.added.name;
    let (title, intro, sentence) = if place.two_person.is_some() {
        (
            format!("Take the mark for two people off {name}"),
            "From then on one person alone may store there and take out.",
            format!("I take the mark for two people off {name}."),
        )
    } else {
        (
            format!("Mark {name} for two people"),
            "From then on whoever stores, moves or takes out something there, or in any place in it, names a second custodian or supervisor, who gives their own password. What stands there already bears a note.",
            format!("I mark {name} for two people."),
        )
    };
    let mut sheet = of_place(&place, title, intro);
    sheet.sentence = sentence;
    sheet
        .known
        .push(("two_person".into(), Value::Bool(place.two_person.is_none())));
    sheet
        .inputs
        .push(Input::line("reason", "Why").hint("Goes on the record."));
    sheet.submit = if place.two_person.is_some() {
        "Take the mark off".into()
    } else {
        "Mark it".into()
    };
    Ok(sheet)
}

/// The beginning of a form about a place.
pub(super) fn of_place(place: &Place, title: String, intro: &str) -> Sheet {
    let page = format!("/places/{}", place.id);
    Sheet {
        title,
        thing: place.added.name.clone(),
        intro: intro.to_owned(),
        facts: vec![("Place".into(), place.added.name.clone())],
        inputs: vec![Input::hidden("place", place.id.to_string())],
        crumbs: vec![
            Link::new("/places", "Places"),
            Link::new(page.clone(), place.added.name.clone()),
        ],
        done: page,
        ..Sheet::default()
    }
}

/// Add a place; `parent` says what it is in.
pub(super) async fn add(reader: &Reader<'_>, _typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let rules = &reader.house().rules;
    let kinds = [
        ("building", PlaceKind::Building),
        ("room", PlaceKind::Room),
        ("unit", PlaceKind::Unit),
        ("shelf", PlaceKind::Shelf),
        ("bin", PlaceKind::Bin),
    ]
    .map(|(value, kind)| Choice::new(value, capital(place_kind(kind))))
    .to_vec();
    let climates = rules
        .climates()
        .iter()
        .map(|c| Choice::new(&c.id, format!("{}: {}", c.name, c.description)))
        .collect();
    let parents = places(reader)
        .await?
        .iter()
        .map(|p| Choice::new(p.id.to_string(), place_words(rules, &p.added)))
        .collect();
    let mut inputs = vec![
        Input::line("name", "Name").hint("As on its label; no two places have the same."),
        Input::new("kind", "Kind", Kind::One(kinds)),
        Input::new("parent", "What it is in", Kind::One(parents)).optional(),
        Input::new("climate", "Climate", Kind::One(climates))
            .hint("What is measured there, not what is meant to be."),
    ];
    inputs.extend(
        [
            ("damp", "It is damp there"),
            ("lit", "It is in direct or strong light"),
            ("hot", "It is hot, or near something hot"),
            ("dusty", "It is dusty"),
            ("on_edge", "Things stand on edge there"),
            ("stacked", "Things are stacked there"),
            ("biohazard_marked", "It is marked for biological hazards"),
        ]
        .map(|(name, label)| Input::new(name, label, Kind::Yes)),
    );
    Ok(Sheet {
        title: "Add a place".into(),
        thing: "a new place in the storeroom".into(),
        intro: "What is said of a place here decides what the keep rules let stand there.".into(),
        inputs,
        submit: "Add the place".into(),
        crumbs: vec![Link::new("/desk/storeroom", "Intake and storeroom")],
        done: "/desk/storeroom".into(),
        ..Sheet::default()
    })
}

/// What the place in the form is, when its label was scanned instead of choosing it.
async fn scanned(reader: &Reader<'_>, sheet: &mut Sheet, typed: &Typed) -> Result<(), Failure> {
    let text = typed.get("place_code").trim();
    if text.is_empty() {
        if typed.get("place").is_empty() {
            sheet.wrong = Some(wrong(
                "bad-value",
                "No place is given.",
                "Choose a place, or scan its label.",
                "place",
            ));
        }
        return Ok(());
    }
    let found: Option<PlaceId> = match text.parse::<Code>() {
        Ok(code) => match reader.subject_of_code(&code).await {
            Ok(Subject::Place(id)) => Some(id),
            Ok(_) | Err(ReadError::NotFound(_)) => None,
            Err(e) => return Err(e.into()),
        },
        Err(_) => None,
    };
    let typed_place = typed.get("place");
    match found.map(|id| id.to_string()) {
        Some(id) if typed_place.is_empty() || typed_place == id => {
            sheet.known.push(("place".into(), Value::String(id)));
        }
        Some(_) => {
            sheet.wrong = Some(wrong(
                "bad-value",
                "The label that was scanned is of another place than the one chosen.",
                "Leave one of the two empty.",
                "place_code",
            ));
        }
        None => {
            sheet.wrong = Some(wrong(
                "bad-value",
                "No place bears this code.",
                "Scan the label of the shelf once more, or choose the place from the list.",
                "place_code",
            ));
        }
    }
    Ok(())
}

fn drop_code(fields: &mut Map<String, Value>) {
    fields.remove("place_code");
}

/// Store on a shelf, or move to another.
pub(super) async fn store(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let at = match about.state.holder(about.piece) {
        Some(Holder::Place { place }) => Some(*place),
        _ => None,
    };
    let mut sheet = about.sheet(if at.is_some() { "Move" } else { "Store" });
    let rules = &reader.house().rules;
    let thing = about.state.thing(about.piece);
    let needs = thing
        .as_ref()
        .and_then(|t| knowledge::needs(rules, t))
        .unwrap_or_default();
    let asks = keeping(rules, &needs).place;
    sheet.intro = if asks.is_empty() {
        "The keep rules ask for no particular place.".into()
    } else {
        "The keep rules that apply stand here; a place that one of them forbids names it.".into()
    };
    sheet.facts.extend(asks.into_iter().map(|r| {
        (
            format!("Rule {}", r.rule),
            format!("{} ({})", r.sentence, r.source),
        )
    }));
    let (mut allowed, mut forbidden) = (Vec::new(), Vec::new());
    let places = places(reader).await?;
    // The one that stands around another may be the one that is marked, so any mark will do to offer the field.
    let two_person = places.iter().any(|p| p.two_person.is_some());
    let blind = blind_places(reader).await?;
    for place in places {
        if Some(place.id) == at {
            continue;
        }
        let words = with_room(place_words(rules, &place.added), &place, &blind);
        let against = thing
            .as_ref()
            .and_then(|t| rules.place(t, &place.added).err())
            .unwrap_or_default();
        if against.is_empty() {
            allowed.push(Choice::new(place.id.to_string(), words).within(ALLOWED));
        } else {
            let rule_names: Vec<String> = against.iter().map(|r| r.rule.clone()).collect();
            let rule = if rule_names.len() == 1 {
                "rule"
            } else {
                "rules"
            };
            let label = format!("{words}: against {rule} {}", listed(&rule_names));
            forbidden.push(Choice::new(place.id.to_string(), label).within(FORBIDDEN));
        }
    }
    allowed.extend(forbidden);
    sheet
        .inputs
        .push(Input::new("place", "Where", Kind::One(allowed)).optional());
    sheet.inputs.push(
        Input::line("place_code", "Or the code on the place's label")
            .hint("Scan the label of the shelf.")
            .optional(),
    );
    if !about.is_sealed() {
        sheet.inputs.push(
            Input::line("unsealed_reason", "Why it is stored without a seal")
                .hint("It is not in a sealed package; the reason goes on the record."),
        );
    }
    let supervisors = active_people(reader)
        .await?
        .into_iter()
        .filter(|p| permission::allows(&p.roles, Action::OverrideKeeping))
        .map(|p| person_choice(&p))
        .collect();
    sheet.inputs.push(
        Input::new(
            "overridden.by",
            "Who answers for it",
            Kind::One(supervisors),
        )
        .hint("Only for a place that a keep rule forbids.")
        .optional(),
    );
    sheet.inputs.push(
        Input::line("overridden.reason", "Why against the rule")
            .hint("Goes on the record with the rule and the name.")
            .optional(),
    );
    sheet.arrange = Some(drop_code);
    sheet.beside = beside(reader, two_person).await?;
    scanned(reader, &mut sheet, typed).await?;
    let half = typed.get("overridden.by").trim().is_empty()
        != typed.get("overridden.reason").trim().is_empty();
    if half && sheet.wrong.is_none() {
        let empty = if typed.get("overridden.by").trim().is_empty() {
            "overridden.by"
        } else {
            "overridden.reason"
        };
        sheet.wrong = Some(wrong(
            "bad-value",
            "Who answers for storing against a rule, and why, belong together.",
            "Fill in both, or leave both empty.",
            empty,
        ));
    }
    Ok(sheet)
}

/// What was scanned, a label a line, as the command's list.
fn split_codes(fields: &mut Map<String, Value>) {
    drop_code(fields);
    if let Some(Value::String(text)) = fields.get("codes") {
        let codes = text.lines().map(str::trim).filter(|l| !l.is_empty());
        let codes = codes.map(|l| Value::String(l.to_owned())).collect();
        fields.insert("codes".into(), Value::Array(codes));
    }
}

/// Put many things onto one place.
pub(super) async fn store_many(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let rules = &reader.house().rules;
    let places = places(reader).await?;
    let two_person = places.iter().any(|p| p.two_person.is_some());
    let blind = blind_places(reader).await?;
    let choices = places
        .iter()
        .map(|p| {
            Choice::new(
                p.id.to_string(),
                with_room(place_words(rules, &p.added), p, &blind),
            )
        })
        .collect();
    let mut sheet = Sheet {
        beside: beside(reader, two_person).await?,
        title: "Put many on one shelf".into(),
        thing: "what is put on the shelf".into(),
        intro: "Scan the shelf, then one label after the other. Each thing is judged by its own keep rules; either all are put there or none is. Against a rule a thing is stored by itself.".into(),
        inputs: vec![
            Input::new("place", "Where", Kind::One(choices)).optional(),
            Input::line("place_code", "Or the code on the place's label")
                .hint("Scan the label of the shelf.")
                .optional(),
            Input::new("codes", "What, a label a line", Kind::Table)
                .hint(format!("A scanner ends each line by itself. At most {MAX_LINES}.")),
            Input::line("unsealed_reason", "Why some of it is stored without a seal")
                .hint("Only where something is not in a sealed package; goes on the record of each.")
                .optional(),
        ],
        submit: "Put them there".into(),
        crumbs: vec![Link::new("/desk/storeroom", "Intake and storeroom")],
        done: "/desk/storeroom".into(),
        arrange: Some(split_codes),
        ..Sheet::default()
    };
    scanned(reader, &mut sheet, typed).await?;
    if let Ok(place) = typed.read::<PlaceId>("place") {
        sheet.done = format!("/places/{place}");
    }
    Ok(sheet)
}

/// Take from a shelf into one's own hands.
pub(super) async fn fetch(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Check out");
    sheet.intro = "It goes from the shelf into your own hands.".into();
    sheet.inputs.push(Input::line("purpose", "Purpose"));
    sheet.beside = beside(reader, about.is_two_person()).await?;
    Ok(sheet)
}
