//! Forms of a kit: put a lot in, take one out.

use super::Sheet;
use crate::app::Reader;
use crate::custody::kit::carried;
use crate::lifting::medium::Form;
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

/// Put a lot in.
pub(super) async fn add(reader: &Reader<'_>) -> Result<Sheet, Failure> {
    reader.must(Action::RecordScene)?;
    let media = reader
        .house()
        .rules
        .media()
        .iter()
        .filter(|m| !matches!(m.form, Form::Object | Form::Image))
        .map(|m| Choice::new(m.id.clone(), m.name.clone()))
        .collect();
    Ok(Sheet {
        title: "Put a lot into my kit".into(),
        thing: "my kit".into(),
        intro: "As it stands on the package. It goes on the record, and recoveries offer it."
            .into(),
        inputs: vec![
            Input::new("medium", "Medium", Kind::One(media)),
            Input::line("lot", "Lot"),
            Input::new("opened_on", "Opened on", Kind::Day)
                .hint("Where it is open already.")
                .optional(),
            Input::new("expires_on", "Good until", Kind::Day)
                .hint("The last day on which it is good, where the package says one.")
                .optional(),
        ],
        submit: "Put it in".into(),
        crumbs: vec![Link::new("/kit", "My kit")],
        done: "/kit".into(),
        field: true,
        ..Sheet::default()
    })
}

/// Take a lot out.
pub(super) async fn remove(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::RecordScene)?;
    let (medium, lot) = (typed.get("medium"), typed.get("lot"));
    let person = reader.viewer().person.as_ref();
    let mut facts = Vec::new();
    if let Some(entry) = person.and_then(|p| carried(p, medium, lot)) {
        facts.push(("Medium".into(), entry.medium_name.clone()));
        facts.push(("Lot".into(), entry.lot.clone()));
        let dates = [
            ("Opened", entry.opened_on),
            ("Good until", entry.expires_on),
        ];
        for (name, day) in dates {
            if let Some(day) = day {
                facts.push((name.into(), day.to_string()));
            }
        }
    }
    let choices: Vec<Choice> = person
        .map(|p| p.kit.as_slice())
        .unwrap_or_default()
        .iter()
        .map(|e| Choice::new(e.medium.clone(), e.medium_name.clone()))
        .fold(Vec::new(), |mut out, c| {
            if !out.contains(&c) {
                out.push(c);
            }
            out
        });
    let mut inputs = if facts.is_empty() {
        vec![
            Input::new("medium", "Medium", Kind::One(choices)),
            Input::line("lot", "Lot"),
        ]
    } else {
        vec![Input::hidden("medium", medium), Input::hidden("lot", lot)]
    };
    inputs.push(Input::line("reason", "Why").hint("Used up, expired, recalled, handed back."));
    Ok(Sheet {
        title: "Take a lot out of my kit".into(),
        thing: "my kit".into(),
        facts,
        inputs,
        submit: "Take it out".into(),
        crumbs: vec![Link::new("/kit", "My kit")],
        done: "/kit".into(),
        field: true,
        ..Sheet::default()
    })
}
