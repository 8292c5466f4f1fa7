//! The steps of a medium as a page to print: each caution stands at the step where what it warns of is done.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;

use super::draw;
use crate::app::views::advice::{packing, reads_words, set_words};
use crate::app::views::words::capital;
use crate::lifting::advise::checklist::steps;
use crate::lifting::advise::{CheckStep, MarkAsked, Question, Seen, Surface};
use crate::lifting::handedness::read;
use crate::lifting::surface::MarkKind;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::frame::{FactsBlock, Frame, Link};
use crate::web::session::Visitor;

#[derive(Template)]
#[template(path = "kit/checklist.html")]
struct ChecklistPage {
    frame: Frame,
    title: String,
    description: String,
    steps: Vec<CheckStep>,
    facts: FactsBlock,
    rules: String,
}

/// The steps of a medium, also of one that is disabled since: it may be on the record.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let rules = &app.house().rules;
    let medium = rules.medium_ever(&id).ok_or_else(Failure::no_page)?;
    let mut facts = Vec::new();
    for view in &medium.views {
        let reading = read(&view.steps);
        facts.push((
            view.name.clone(),
            reads_words(reading.lateral, reading.relief),
        ));
    }
    if let Some(set) = &medium.set {
        facts.push((
            "Set time".into(),
            format!("{} {}", set_words(set), set.source),
        ));
    }
    // Of a plain dry surface; what else follows from the surface stands on the form of the recovery.
    let plain = Question {
        surface: Surface::default(),
        mark: MarkAsked {
            kind: MarkKind::Other,
            depth: None,
            methods: Vec::new(),
            tone: None,
        },
        kit: None,
        date: None,
        air_c: None,
    };
    let knowledge = rules.knowledge();
    for reason in packing(rules, medium, &Seen::of(&knowledge, &plain)) {
        facts.push((
            "Packing".into(),
            format!("{} {}", reason.sentence, reason.next)
                .trim()
                .to_owned(),
        ));
    }
    facts.push(("Source".into(), medium.source.clone()));
    draw(&ChecklistPage {
        frame: visitor.frame(vec![Link::new("", capital(&medium.name))]),
        title: capital(&medium.name),
        description: medium.description.clone(),
        steps: steps(&knowledge, medium),
        facts: FactsBlock { facts },
        rules: rules.version().to_owned(),
    })
}
