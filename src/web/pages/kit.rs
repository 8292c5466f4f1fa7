//! My kit: what I carry, by medium and lot. And a lot's page: everything that was made with it, as on a recall.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;
use chrono::NaiveDate;
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};

use super::{draw, notice};
use crate::app::Part;
use crate::app::views::lot_file::{self, LotFile};
use crate::app::views::words;
use crate::custody::kit::KitEntry;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Choice, Typed};
use crate::web::frame::{Frame, Link};
use crate::web::session::Visitor;
use crate::zone::Zone;

/// How many items stand on one page.
const ROWS: u32 = 100;

struct Row {
    medium: String,
    lot: String,
    href: String,
    remove: String,
    opened: String,
    expires: String,
    since: String,
    expired: bool,
}

#[derive(Template)]
#[template(path = "kit/kit.html")]
struct KitPage {
    frame: Frame,
    rows: Vec<Row>,
    expired: usize,
}

#[derive(Template)]
#[template(path = "kit/lot.html")]
struct LotPage {
    frame: Frame,
    media: Vec<Choice>,
    medium: String,
    lot: String,
    file: Option<LotFile>,
    next: Option<String>,
}

fn encoded(text: &str) -> String {
    utf8_percent_encode(text, NON_ALPHANUMERIC).to_string()
}

/// The part of an address that names a lot.
fn named(medium: &str, lot: &str) -> String {
    format!("medium={}&lot={}", encoded(medium), encoded(lot))
}

fn row(entry: &KitEntry, today: NaiveDate, zone: Zone) -> Row {
    let day = |d: Option<NaiveDate>| d.map(|d| d.to_string()).unwrap_or_default();
    let named = named(&entry.medium, &entry.lot);
    Row {
        medium: words::capital(&entry.medium_name),
        lot: entry.lot.clone(),
        href: format!("/lots?{named}"),
        remove: format!("/do/kit-remove?{named}"),
        opened: day(entry.opened_on),
        expires: day(entry.expires_on),
        since: words::minute(&entry.since, zone),
        expired: entry.as_lot().expired(today),
    }
}

/// What the visitor carries.
pub async fn mine(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let zone = app.house().zone().await?;
    let today = app.now().with_timezone(&zone).date_naive();
    let reader = visitor.reader(&app);
    let rows: Vec<Row> = visitor
        .person
        .kit
        .iter()
        .map(|e| row(e, today, zone))
        .collect();
    let mut frame = visitor.frame(vec![Link::new("", "My kit")]);
    frame.notice = notice(&reader, query.as_deref()).await;
    draw(&KitPage {
        frame,
        expired: rows.iter().filter(|r| r.expired).count(),
        rows,
    })
}

/// Everything made with a lot.
pub async fn lot(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let rules = &app.house().rules;
    let (medium, lot) = (typed.get("medium").to_owned(), typed.get("lot").to_owned());
    let asked = rules.medium_ever(&medium).is_some() && !lot.trim().is_empty();
    let mut part = Part::first(ROWS);
    part.after = Some(typed.get("after").to_owned()).filter(|a| !a.is_empty());
    let file = if asked {
        Some(lot_file::load(&visitor.reader(&app), &medium, &lot, &part).await?)
    } else {
        None
    };
    let next = file
        .as_ref()
        .and_then(|f| f.items.next.as_ref())
        .map(|n| format!("/lots?{}&after={}", named(&medium, &lot), encoded(n)));
    draw(&LotPage {
        frame: visitor.frame(vec![Link::new("", "What was made with a lot")]),
        media: rules
            .media()
            .iter()
            .map(|m| Choice::new(m.id.clone(), m.name.clone()))
            .collect(),
        medium,
        lot,
        file,
        next,
    })
}
