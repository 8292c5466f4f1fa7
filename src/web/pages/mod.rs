//! Pages, one noun each. [`act`] carries out every command from a form; the other files show what is on the record.

pub mod account;
pub mod act;
pub mod acts;
pub mod afis;
pub mod agency;
pub mod bundle;
pub mod case;
pub mod checklist;
pub mod count;
pub mod desk;
pub mod disposition;
pub mod event;
pub mod expungement;
pub mod find;
pub mod image;
pub mod import;
pub mod intake;
pub mod item;
pub mod kit;
pub mod live;
pub mod mark;
pub mod package;
pub mod paper;
pub mod paper_check;
pub mod papers;
pub mod people;
pub mod photograph;
pub mod picture;
pub mod place;
pub mod proof;
pub mod room;
pub mod rules;
pub mod show;
pub mod sign_in;

use askama::Template;
use axum::response::{Html, IntoResponse, Response};

use super::error::Failure;
use super::form::Typed;
use super::frame::{Frame, Link, Notice, NoticeKind, RefusalBlock};
use super::session::Visitor;
use crate::app::Reader;
use crate::app::views::words;
use crate::custody::{Fact, Refusal};

/// Draws a page.
///
/// # Errors
/// [`Failure::internal`] where the template cannot be drawn.
pub fn draw(page: &impl Template) -> Result<Response, Failure> {
    Ok(Html(text(page)?).into_response())
}

/// The text of a page, or of a part of one.
///
/// # Errors
/// As [`draw`].
pub fn text(page: &impl Template) -> Result<String, Failure> {
    match page.render() {
        Ok(html) => Ok(html),
        Err(e) => {
            tracing::error!(error = %e, "a page cannot be drawn");
            Err(Failure::internal())
        }
    }
}

/// What just happened, for the page that a form leads back to: `done` is the place of the event in the ledger. Only
/// what the reader may see is told.
pub async fn notice(reader: &Reader<'_>, query: Option<&str>) -> Option<Notice> {
    let typed = Typed::of_query(query).ok()?;
    let seq = typed.get("done").parse().ok()?;
    let event = reader.event(seq).await.ok()?;
    if event.header.actor != reader.viewer().id() {
        return None;
    }
    Some(Notice {
        kind: NoticeKind::Done,
        text: format!("{}, event {seq}.", happened(&event.header.kind)),
        next: None,
    })
}

/// What an event of a kind says happened, in two or three words.
#[must_use]
pub fn happened(kind: &str) -> &str {
    match kind {
        "case.assigned" => "Assignment recorded",
        "case.restricted" => "Restriction recorded",
        "case.read" => "Reading recorded",
        "mark.developed" => "Development recorded",
        "item.recovered" => "Recovery recorded",
        "item.brought-in" => {
            "Taken in; print its label, and under the case's papers the receipt for whoever brought it"
        }
        "kit.added" => "Put into your kit",
        "kit.removed" => "Taken out of your kit",
        "custody.released" => "Released; it stays with you until it is received",
        "custody.refused" => "Refused; it stays with whoever released it",
        "record.amended" => "Amended by a new event",
        known if Fact::KINDS.contains(&known) => words::act(known),
        _ => "Recorded",
    }
}

/// A refusal as it stands above a form.
#[must_use]
pub fn block(refusal: &Refusal, thing: &str) -> RefusalBlock {
    RefusalBlock {
        code: refusal.code.clone(),
        rule: refusal.sentence.clone(),
        // Forms with a row a line mark the rows themselves.
        lines: match refusal.field.as_deref() {
            Some("csv" | "codes") => refusal.lines.to_vec(),
            _ => Vec::new(),
        },
        thing: thing.to_owned(),
        next: refusal.next.clone(),
    }
}

#[derive(Template)]
#[template(path = "errors/failure.html")]
struct FailurePage {
    frame: Frame,
    refusal: Refusal,
    kept: bool,
}

/// The page for a failure.
#[must_use]
pub fn error_page(visitor: Option<&Visitor>, failure: &Failure) -> String {
    let crumbs = vec![Link::new("/", "Start"), Link::new("", "Not shown")];
    let frame = visitor.map_or_else(
        || Frame {
            crumbs: crumbs.clone(),
            ..Frame::default()
        },
        |v| v.frame(crumbs.clone()),
    );
    let page = FailurePage {
        frame,
        refusal: (*failure.refusal).clone(),
        kept: failure.status.is_server_error(),
    };
    page.render()
        .unwrap_or_else(|_| format!("{} {}", failure.refusal.sentence, failure.refusal.next))
}
