//! Forms of cases: open a case, open a scene.

use super::Sheet;
use crate::app::Reader;
use crate::custody::state::Case;
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Input, Typed};
use crate::web::frame::Link;

/// Where one is, within a case.
#[must_use]
pub(super) fn crumbs(case: &Case) -> Vec<Link> {
    vec![
        Link::new("/cases", "Cases"),
        Link::new(format!("/cases/{}", case.id), case.number.clone()),
    ]
}

/// Open a case.
pub(super) fn open(reader: &Reader<'_>) -> Result<Sheet, Failure> {
    reader.must(Action::OpenCase)?;
    Ok(Sheet {
        title: "Open a case".into(),
        thing: "a new case".into(),
        intro: "Marks, items and packages get their numbers within the case.".into(),
        inputs: vec![
            Input::line("number", "Case number")
                .hint("The agency's own; no two cases have the same."),
            Input::line("title", "Title"),
            Input::line("offence", "Offence").optional(),
        ],
        submit: "Open the case".into(),
        crumbs: vec![Link::new("/cases", "Cases")],
        done: "/cases".into(),
        field: true,
        ..Sheet::default()
    })
}

/// Open a scene of a case.
pub(super) async fn open_scene(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let case = reader.case(typed.read("case")?).await?;
    Ok(Sheet {
        title: "Open a scene".into(),
        thing: format!("a scene of case {}", case.number),
        facts: vec![("Case".into(), format!("{}, {}", case.number, case.title))],
        inputs: vec![
            Input::hidden("case", case.id.to_string()),
            Input::line("name", "Short name").hint("As it stands on lift cards: boat shed, slipway 2."),
            Input::line("address", "Address, or how to find it"),
        ],
        cautions: vec![
            "Before you work: is the scene safe and released for work? Unstable structures, traffic, water, chemicals, gas \
             and people come first. Follow your local rules."
                .into(),
        ],
        submit: "Open the scene".into(),
        crumbs: crumbs(&case),
        done: format!("/cases/{}", case.id),
        about: Some(case),
        field: true,
        ..Sheet::default()
    })
}
