//! Finding: what was scanned or typed into the field on top.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::{IntoResponse as _, Redirect, Response};

use super::acts::address;
use super::draw;
use crate::app::views::find::{Hit, MOST_HITS, find};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link};
use crate::web::session::Visitor;

/// Something found, with its page.
struct Row {
    href: String,
    hit: Hit,
}

#[derive(Template)]
#[template(path = "find/find.html")]
struct FindPage {
    frame: Frame,
    q: String,
    rows: Vec<Row>,
    full: bool,
}

/// Goes to the one thing found, or lists several.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let q: String = typed.get("q").trim().chars().take(200).collect();
    let hits = find(&visitor.reader(&app), &q).await?;
    if let [hit] = hits.as_slice()
        && let Some(to) = address(hit.subject)
    {
        return Ok(Redirect::to(&to).into_response());
    }
    let rows: Vec<Row> = hits
        .into_iter()
        .filter_map(|hit| address(hit.subject).map(|href| Row { href, hit }))
        .collect();
    draw(&FindPage {
        frame: visitor.frame(vec![Link::new("", "Find")]),
        full: rows.len() >= MOST_HITS,
        q,
        rows,
    })
}
