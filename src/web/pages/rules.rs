//! The trade rules in force: all kinds, and the entries of each with their sources.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;

use super::draw;
use crate::app::views::words;
use crate::trade::catalogue::Shelf;
use crate::trade::{Kind, OVERLAY};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::frame::{Frame, Link};
use crate::web::session::Visitor;

/// An entry that the agency disabled.
struct Off {
    id: String,
    kind: &'static str,
    why: String,
}

#[derive(Template)]
#[template(path = "rules/list.html")]
struct ListPage {
    frame: Frame,
    version: String,
    agency: Option<String>,
    file: &'static str,
    shelves: Vec<Shelf>,
    off: Vec<Off>,
}

impl ListPage {
    fn many(&self, shelf: &Shelf) -> String {
        words::capital(shelf.kind.many())
    }
    fn own(&self, shelf: &Shelf) -> usize {
        shelf.rows.iter().filter(|r| r.agency).count()
    }
}

#[derive(Template)]
#[template(path = "rules/shelf.html")]
struct ShelfPage {
    frame: Frame,
    title: String,
    shelf: Shelf,
    off: Vec<Off>,
}

fn off(app: &App, of: Option<Kind>) -> Vec<Off> {
    let all = app.house().rules.off().iter();
    all.filter(|(kind, ..)| of.is_none_or(|k| k == *kind))
        .map(|(kind, id, why)| Off {
            id: id.clone(),
            kind: kind.word(),
            why: why.clone(),
        })
        .collect()
}

/// All kinds.
pub async fn list(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let rules = &app.house().rules;
    draw(&ListPage {
        frame: visitor.frame(vec![Link::new("", "Trade rules")]),
        version: rules.version().to_owned(),
        agency: rules.agency().map(str::to_owned),
        file: OVERLAY,
        shelves: rules.shelves(),
        off: off(&app, None),
    })
}

/// The entries of a kind.
pub async fn shelf(
    State(app): State<App>,
    visitor: Visitor,
    Path(kind): Path<String>,
) -> Result<Response, Failure> {
    let kind = Kind::of_word(&kind).ok_or_else(Failure::no_page)?;
    let title = words::capital(kind.many());
    draw(&ShelfPage {
        frame: visitor.frame(vec![
            Link::new("/rules", "Trade rules"),
            Link::new("", title.clone()),
        ]),
        title,
        shelf: app.house().rules.shelf(kind),
        off: off(&app, Some(kind)),
    })
}
