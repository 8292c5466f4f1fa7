//! Forms of who may see a case: assign, restrict.

use serde_json::{Map, Value};

use super::choices::{active_people, person_choice};
use super::{Sheet, as_truth, case};
use crate::app::{ReadError, Reader};
use crate::ids::CaseId;
use crate::people::{Action, permission};
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

fn assigned(fields: &mut Map<String, Value>) {
    as_truth(fields, "assigned");
}

fn restricted(fields: &mut Map<String, Value>) {
    as_truth(fields, "restricted");
}

/// Assign a person to a case, or end it. A supervisor does it for a restricted case without seeing into it.
pub(super) async fn assign(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::AssignCase)?;
    let id: CaseId = typed.read("case")?;
    let case = match reader.case(id).await {
        Ok(case) => Some(case),
        Err(ReadError::Restricted) => None,
        Err(e) => return Err(e.into()),
    };
    let mut people = active_people(reader).await?;
    people.retain(|p| permission::allows(&p.roles, Action::ReadEvidence));
    let mut choices: Vec<Choice> = Vec::new();
    if let Some(case) = &case {
        people.sort_by_key(|p| !case.assigned.contains(&p.id));
    }
    for person in &people {
        let choice = person_choice(person);
        choices.push(match &case {
            Some(c) if c.assigned.contains(&person.id) => choice.within("Assigned now"),
            Some(_) => choice.within("Not assigned now"),
            None => choice,
        });
    }
    let inputs = vec![
        Input::hidden("case", id.to_string()),
        Input::new("person", "Who", Kind::One(choices)),
        Input::new(
            "assigned",
            "What",
            Kind::One(vec![
                Choice::new("yes", "Assign to the case"),
                Choice::new("no", "End the assignment"),
            ]),
        )
        .value("yes"),
    ];
    let mut sheet = Sheet {
        title: "Assign a person to a restricted case".into(),
        thing: "the assignments of a restricted case".into(),
        intro: "This case is restricted and you are not assigned to it: you may say who works on it, without reading it."
            .into(),
        inputs,
        submit: "Record the assignment".into(),
        crumbs: vec![Link::new("/cases", "Cases")],
        done: "/cases".into(),
        arrange: Some(assigned),
        ..Sheet::default()
    };
    if let Some(case) = &case {
        sheet.title = format!("Assign a person to case {}", case.number);
        sheet.thing = format!("the assignments of case {}", case.number);
        sheet.intro = if case.restricted {
            "The case is restricted: only those assigned see it.".into()
        } else {
            "The case is open to all with the role; an assignment says who works on it.".into()
        };
        sheet.facts = vec![("Case".into(), format!("{}, {}", case.number, case.title))];
        sheet.crumbs = case::crumbs(case);
        sheet.done = format!("/cases/{}", case.id);
        sheet.about = Some(case.clone());
    }
    Ok(sheet)
}

/// Restrict a case, or lift the restriction.
pub(super) async fn restrict(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::AssignCase)?;
    let case = reader.case(typed.read("case")?).await?;
    // What was asked for stays so when the form is sent again after the case has changed.
    let to = match typed.get("restricted") {
        "yes" => true,
        "no" => false,
        _ => !case.restricted,
    };
    let me_assigned = reader
        .viewer()
        .id()
        .is_some_and(|me| case.assigned.contains(&me));
    let intro = match (to, me_assigned) {
        (true, true) => "Only those assigned will see it, and every reading goes on the record.",
        (true, false) => {
            "Only those assigned will see it, and every reading goes on the record. You are not assigned: assign yourself \
             first if you are to see it afterwards."
        }
        (false, _) => "Everybody whose role reads evidence will see it again.",
    };
    let title = if to {
        format!("Restrict case {}", case.number)
    } else {
        format!("Lift the restriction of case {}", case.number)
    };
    Ok(Sheet {
        title,
        thing: format!("case {}", case.number),
        intro: intro.into(),
        facts: vec![("Case".into(), format!("{}, {}", case.number, case.title))],
        inputs: vec![
            Input::hidden("case", case.id.to_string()),
            Input::hidden("restricted", if to { "yes" } else { "no" }),
            Input::line("reason", "Why"),
        ],
        submit: if to {
            "Restrict"
        } else {
            "Lift the restriction"
        }
        .into(),
        crumbs: case::crumbs(&case),
        done: if to && !me_assigned {
            "/cases".into()
        } else {
            format!("/cases/{}", case.id)
        },
        arrange: Some(restricted),
        about: Some(case),
        ..Sheet::default()
    })
}
