//! Forms of the storeroom: add a place, store, fetch. What the keep rules say of a shelf stands in the choice.

use serde_json::{Map, Value};

use super::choices::{About, active_people, person_choice, places};
use super::{Sheet, wrong};
use crate::app::Reader;
use crate::app::views::keeping::keeping;
use crate::app::views::words::{capital, listed, place_kind};
use crate::app::{ReadError, knowledge};
use crate::custody::place::{PlaceAdded, PlaceKind};
use crate::custody::rules::Trade as _;
use crate::custody::state::Holder;
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
    for place in places(reader).await? {
        if Some(place.id) == at {
            continue;
        }
        let words = place_words(rules, &place.added);
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

/// Take from a shelf into one's own hands.
pub(super) async fn fetch(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Check out");
    sheet.intro = "It goes from the shelf into your own hands.".into();
    sheet.inputs.push(Input::line("purpose", "Purpose"));
    Ok(sheet)
}
