//! Counts: the list, and the page on which one is scanned and its differences are resolved.

use askama::Template;
use axum::extract::{Multipart, Path, RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Redirect, Response};

use super::show::{self, Button};
use super::{block, draw, notice};
use crate::app::views::count_file::{self, BatchWords, CountFile, CountLine};
use crate::app::{RecordError, Sent};
use crate::custody::count::ScanCodes;
use crate::custody::{Act, Command, Refusal, Signed};
use crate::ids::{CommandId, CountId};
use crate::ledger::event::Source;
use crate::people::Action;
use crate::web::App;
use crate::web::error::{Failure, status_of};
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link, RefusalBlock};
use crate::web::label_form::received;
use crate::web::session::Visitor;

#[derive(Template)]
#[template(path = "count/list.html")]
struct ListPage {
    frame: Frame,
    rows: Vec<CountLine>,
    next: Option<String>,
    buttons: Vec<Button>,
}

/// The list of counts, newest first.
pub async fn list(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let page = count_file::list(&reader, None, &show::part(&typed, "after")).await?;
    let mut buttons = Vec::new();
    if reader.viewer().may(Action::Keep) {
        buttons.push(Button::new("/do/begin-count", "Begin a count"));
    }
    let frame = visitor.frame(vec![Link::new("", "Counts")]);
    draw(&ListPage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        rows: page.rows,
        next: show::next_href("/counts", "after", page.next.as_ref()),
        buttons,
    })
}

#[derive(Template)]
#[template(path = "count/count.html")]
struct CountPage {
    frame: Frame,
    refusal: Option<RefusalBlock>,
    file: CountFile,
    last: Option<BatchWords>,
    may_count: bool,
    command: String,
    command_of_photo: String,
    facts: Vec<(String, String)>,
}

/// The page of a count.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<CountId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    shown(&app, &visitor, id, query.as_deref(), None).await
}

/// Reads a photograph of a label: its code is then one that was scanned.
pub async fn photographed(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<CountId>,
    parts: Multipart,
) -> Result<Response, Failure> {
    let form = received(&visitor, parts).await?;
    let command: CommandId = form.typed.read("id")?;
    let text = match form.one() {
        Ok(text) => text,
        Err(refusal) => return shown(&app, &visitor, id, None, Some(&refusal)).await,
    };
    let sent = Sent {
        person: Some(visitor.person.id),
        signed: Signed::Session,
        beside: None,
        source: Source::Desk,
        command: Command {
            id: command,
            claimed_at: None,
            late_reason: None,
            paper_sheet: None,
            act: Act::ScanCodes(ScanCodes {
                count: id,
                codes: vec![text],
            }),
        },
    };
    match app.house().recorder.record(sent).await {
        Ok(recorded) => {
            Ok(Redirect::to(&format!("/counts/{id}?done={}", recorded.seq)).into_response())
        }
        Err(RecordError::Refused(refusal)) => shown(&app, &visitor, id, None, Some(&refusal)).await,
        Err(e) => Err(e.into()),
    }
}

async fn shown(
    app: &App,
    visitor: &Visitor,
    id: CountId,
    query: Option<&str>,
    refusal: Option<&Refusal>,
) -> Result<Response, Failure> {
    let reader = visitor.reader(app);
    let typed = Typed::of_query(query)?;
    let file = count_file::load(&reader, id).await?;
    let last = match typed.get("done").parse() {
        Ok(seq) => reader
            .event(seq)
            .await
            .ok()
            .filter(|e| {
                e.header
                    .touches
                    .iter()
                    .any(|t| t.subject == crate::ids::Subject::Count(id))
            })
            .and_then(|e| crate::custody::Fact::from_fields(&e.header.kind, &e.fields).ok())
            .and_then(|fact| count_file::batch(&fact)),
        Err(_) => None,
    };
    let places: Vec<&str> = file.places.iter().map(|p| p.name.as_str()).collect();
    let mut facts = vec![
        ("Places".to_owned(), places.join(", ")),
        (
            "Begun".to_owned(),
            format!("{} by {}", file.begun, file.begun_by),
        ),
        ("Took part".to_owned(), file.counters.join("; ")),
        ("Sample".to_owned(), file.sample.clone()),
        (
            "Seen".to_owned(),
            format!("{} things, {} labels scanned again", file.seen, file.again),
        ),
    ];
    if let Some(e) = &file.ended {
        facts.push(("Ended".to_owned(), format!("{} by {}", e.when, e.by)));
        facts.push((
            "Result".to_owned(),
            format!(
                "{} of {} found; {}; {} came or went by the record meanwhile",
                e.found, e.expected, file.tally, e.moved
            ),
        ));
    }
    facts.retain(|(_, v)| !v.is_empty());
    let frame = visitor.frame(vec![
        Link::new("/counts", "Counts"),
        Link::new("", format!("Count of {}", file.name)),
    ]);
    let page = draw(&CountPage {
        frame: show::framed(frame, notice(&reader, query).await),
        refusal: refusal.map(|r| block(r, "the photograph")),
        last,
        may_count: reader.viewer().may(Action::Keep),
        command: CommandId::new().to_string(),
        command_of_photo: CommandId::new().to_string(),
        facts,
        file,
    })?;
    Ok((refusal.map_or(StatusCode::OK, status_of), page).into_response())
}
