//! What may be disposed of: the cases, and the items of one with every reason why they stay.

use askama::Template;
use axum::extract::{Path, RawQuery, State};
use axum::response::Response;

use super::show;
use super::{draw, notice};
use crate::app::views::eligible::{self, EligibleCase, EligibleLine};
use crate::ids::CaseId;
use crate::people::Action;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link};
use crate::web::session::Visitor;

#[derive(Template)]
#[template(path = "disposition/cases.html")]
struct CasesPage {
    frame: Frame,
    rows: Vec<EligibleCase>,
    next: Option<String>,
}

/// Cases with what the schedule says of them.
pub async fn cases(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let page = eligible::cases(&reader, &show::part(&typed, "after")).await?;
    let frame = visitor.frame(vec![Link::new("", "Retention and disposition")]);
    draw(&CasesPage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        next: show::next_href("/disposition", "after", page.next.as_ref()),
        rows: page.rows,
    })
}

#[derive(Template)]
#[template(path = "disposition/items.html")]
struct ItemsPage {
    frame: Frame,
    number: String,
    rows: Vec<EligibleLine>,
    may_authorise: bool,
    next: Option<String>,
}

/// The items of a case, each with every reason why it stays.
pub async fn items(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<CaseId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let case = reader.case(id).await?;
    show::noted(&reader, &case, "what may be disposed of").await?;
    let page = eligible::items(&reader, id, &show::part(&typed, "after")).await?;
    let frame = visitor.frame(show::crumbs(
        format!("/cases/{id}"),
        &case.number,
        "Disposition",
    ));
    draw(&ItemsPage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        number: case.number.clone(),
        may_authorise: reader.viewer().may(Action::AuthoriseDisposition),
        next: show::next_href(
            &format!("/cases/{id}/disposition"),
            "after",
            page.next.as_ref(),
        ),
        rows: page.rows,
    })
}
