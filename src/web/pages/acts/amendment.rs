//! The form of an amendment: a correction is a new event that names the old one.

use axum::http::StatusCode;
use serde_json::{Map, Value};

use super::{Sheet, address, case};
use crate::app::Reader;
use crate::app::views::words::{act, signed_by};
use crate::custody::amendment::AMENDABLE;
use crate::ids::{Seq, Subject};
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

/// A field in words.
fn words(field: &str) -> &'static str {
    match field {
        "object" => "Object",
        "exact_place" => "Exact place",
        "up" => "Which way is up",
        "note" => "Note",
        "description" => "Description",
        "lot" => "Lot of the medium",
        _ => "This field",
    }
}

/// What fields say now.
struct Record {
    name: String,
    fields: Vec<(&'static str, String)>,
}

async fn record(reader: &Reader<'_>, of: Subject) -> Result<Option<Record>, Failure> {
    Ok(match of {
        Subject::Mark(id) => {
            let mark = reader.mark(id).await?;
            let n = mark.noted;
            Some(Record {
                name: format!("mark M{}", mark.number),
                fields: vec![
                    ("object", n.object),
                    ("exact_place", n.exact_place),
                    ("up", n.up),
                    ("note", n.note),
                ],
            })
        }
        Subject::Item(id) => {
            let item = reader.item(id).await?;
            Some(Record {
                name: format!("item {}", item.number),
                fields: vec![
                    ("description", item.recovered.description.clone()),
                    ("lot", item.recovered.lot.clone()),
                ],
            })
        }
        _ => None,
    })
}

/// The event is a number, and a value may become empty.
fn shape(fields: &mut Map<String, Value>) {
    if let Some(event) = fields.get_mut("event")
        && let Some(seq) = event.as_str().and_then(|s| s.parse::<Seq>().ok())
    {
        *event = Value::from(seq);
    }
    fields
        .entry("value")
        .or_insert_with(|| Value::String(String::new()));
}

/// Correct a record. Opened with the event, and with the field where that is known.
pub(super) async fn amend(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Amend)?;
    let seq: Seq = typed.read("event")?;
    let event = reader.event(seq).await?;
    let amendable = AMENDABLE
        .iter()
        .find(|(kind, _)| *kind == event.header.kind)
        .map_or(&[][..], |(_, fields)| fields);
    // The last subject is the one that the event made.
    let of = event.header.touches.last().map(|t| t.subject);
    let found = match of {
        Some(of) if !amendable.is_empty() => record(reader, of).await?.map(|r| (of, r)),
        _ => None,
    };
    let (Some((of, record)), Some(case_id)) = (found, event.header.case) else {
        return Err(Failure::new(
            StatusCode::CONFLICT,
            "not-amendable",
            "This event is not amended: who had what and when stays as recorded.",
            "Add a note by a new act.",
        ));
    };
    let case = reader.case(case_id).await?;
    let page = address(of).unwrap_or_else(|| "/".into());
    let field = Some(typed.get("field")).filter(|f| amendable.contains(f));
    let mut facts = vec![
        ("Case".into(), format!("{}, {}", case.number, case.title)),
        ("What".into(), record.name.clone()),
        (
            "Event".into(),
            format!("{seq}, {}", act(&event.header.kind)),
        ),
    ];
    if let Some(by) = event.fields.get("by").and_then(Value::as_str) {
        facts.push(("Recorded by".into(), signed_by(by)));
    }
    let mut value = Input::lines("value", "What it should say").optional();
    let known = field.and_then(|f| record.fields.iter().find(|(name, _)| *name == f));
    let which = if let Some((name, now)) = known {
        facts.push((format!("{} now", words(name)), now.clone()));
        value = value.value(now.clone());
        Input::hidden("field", *name)
    } else {
        for (name, now) in &record.fields {
            if !now.is_empty() {
                facts.push((format!("{} now", words(name)), now.clone()));
            }
        }
        let choices = amendable
            .iter()
            .map(|f| Choice::new(*f, words(f)))
            .collect();
        Input::new("field", "What is corrected", Kind::One(choices))
    };
    let mut crumbs = case::crumbs(&case);
    crumbs.push(Link::new(page.clone(), record.name.clone()));
    Ok(Sheet {
        title: format!("Correct {}", record.name),
        thing: format!("event {seq} of case {}", case.number),
        intro: "The old wording stays on the record, and the new one stands beside it with your reason. Whoever recorded it, \
                or a supervisor, corrects it."
            .into(),
        facts,
        inputs: vec![
            Input::hidden("event", seq.to_string()),
            which,
            value,
            Input::line("reason", "Why"),
        ],
        submit: "Correct it".into(),
        crumbs,
        done: page,
        about: Some(case),
        arrange: Some(shape),
        ..Sheet::default()
    })
}
