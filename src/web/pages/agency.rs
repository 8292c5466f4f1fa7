//! The agency: its name on papers, the zone of its times, the paper in its printers. For administrators.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::{block, draw};
use crate::app::agency::{Agency, AgencyError, paper_word, parse_paper};
use crate::app::papers::signing;
use crate::custody::Refusal;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed, fill};
use crate::web::frame::{Frame, Link, Notice, NoticeKind, RefusalBlock};
use crate::web::session::{Posted, Visitor};
use crate::zone::{Zone, ZoneError};

#[derive(Template)]
#[template(path = "agency/agency.html")]
struct AgencyPage {
    frame: Frame,
    inputs: Vec<Input>,
    refusal: Option<RefusalBlock>,
    signing: String,
}

fn page(visitor: &Visitor, app: &App, agency: &Agency) -> AgencyPage {
    let papers = vec![Choice::new("a4", "A4"), Choice::new("letter", "Letter")];
    AgencyPage {
        frame: visitor.frame(vec![Link::new("/people", "People"), Link::new("", "Agency")]),
        inputs: vec![
            Input::line("name", "Name, as on labels and reports").value(agency.name.clone()),
            Input::line("zone", "Zone of the clocks on the wall")
                .hint("A place whose clocks yours agree with, such as Europe/Oslo, or an offset from UTC such as +01:00. Times are shown in it, and times that are typed are meant in it; each is kept with the offset that held at that moment.")
                .offers(Zone::names().map(|name| Choice::new(name, "")).collect())
                .value(agency.zone.to_string()),
            Input::new("paper", "Paper in the printers", Kind::One(papers))
                .value(paper_word(agency.paper)),
        ],
        refusal: None,
        signing: signing::standing(app.house()),
    }
}

/// What is set.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let mut page = page(&visitor, &app, &app.house().agency().await?);
    if Typed::of_query(query.as_deref())?.has("set") {
        page.frame.notice = Some(Notice {
            kind: NoticeKind::Done,
            text: "The agency is set.".into(),
            next: None,
        });
    }
    draw(&page)
}

fn read(typed: &Typed) -> Result<Agency, (AgencyError, &'static str)> {
    Ok(Agency {
        name: typed.get("name").trim().to_owned(),
        zone: (typed.get("zone").parse()).map_err(|e: ZoneError| (e.into(), "zone"))?,
        paper: parse_paper(typed.get("paper")).map_err(|e| (e, "paper"))?,
    })
}

/// Sets it.
pub async fn set(State(app): State<App>, posted: Posted) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let wrong = match read(&typed) {
        Ok(agency) => match app.house().set_agency(&agency).await {
            Ok(()) => return Ok(Redirect::to("/agency?set=1").into_response()),
            Err(AgencyError::Store(e)) => return Err(e.into()),
            Err(e) => (e, "name"),
        },
        Err(wrong) => wrong,
    };
    let mut page = page(&visitor, &app, &app.house().agency().await?);
    fill(&mut page.inputs, &typed);
    let refusal = Refusal::coded(
        "bad-value",
        format!("It is not taken: {}.", wrong.0),
        "Change it and send it again.",
    )
    .on(wrong.1);
    for input in page.inputs.iter_mut().filter(|i| i.name == wrong.1) {
        input.error = Some(refusal.sentence.clone());
    }
    page.refusal = Some(block(&refusal, "the agency"));
    Ok((StatusCode::UNPROCESSABLE_ENTITY, draw(&page)?).into_response())
}
