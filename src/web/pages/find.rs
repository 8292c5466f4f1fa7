//! Finding: what was scanned or typed into the field on top, what a photograph of a label shows, and what somebody has in
//! hand.

use askama::Template;
use axum::extract::{Multipart, RawQuery, State};
use axum::response::{IntoResponse as _, Redirect, Response};
use uuid::Uuid;

use super::{acts, block, draw};
use crate::app::ReadError;
use crate::app::label_photo::one;
use crate::app::views::find::{Hit, MOST_HITS, find, held};
use crate::app::views::sighting::{Sighted, sighted};
use crate::custody::Refusal;
use crate::ids::{PersonId, Subject};
use crate::people::Action;
use crate::web::App;
use crate::web::error::{Failure, status_of};
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link, RefusalBlock};
use crate::web::label_form::received;
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
    more: bool,
    refusal: Option<RefusalBlock>,
    /// Texts of codes on a photograph that can be looked for.
    seen: Vec<String>,
}

#[derive(Template)]
#[template(path = "find/held.html")]
struct HeldPage {
    frame: Frame,
    name: String,
    account: Option<String>,
    rows: Vec<Row>,
    more: bool,
}

/// Where what was found is shown. Of a person: what they have in hand.
pub fn address(subject: Subject) -> String {
    match subject {
        Subject::Person(id) => format!("/find?held={id}"),
        other => acts::address(other).unwrap_or_else(|| "/find".into()),
    }
}

fn rows(hits: Vec<Hit>) -> Vec<Row> {
    let row = |hit: Hit| Row {
        href: address(hit.subject),
        hit,
    };
    hits.into_iter().map(row).collect()
}

/// Goes to the one thing found, or lists several.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    if !typed.get("held").is_empty() {
        let id = Uuid::try_parse(typed.get("held")).map_err(|_| ReadError::NotFound("person"))?;
        return in_hand(&app, &visitor, PersonId(id)).await;
    }
    let q: String = typed.get("q").trim().chars().take(200).collect();
    let found = find(&visitor.reader(&app), &q, MOST_HITS).await?;
    if let [hit] = found.hits.as_slice()
        && !found.more
    {
        return Ok(Redirect::to(&address(hit.subject)).into_response());
    }
    draw(&FindPage {
        frame: visitor.frame(vec![Link::new("", "Find")]),
        more: found.more,
        q,
        rows: rows(found.hits),
        refusal: None,
        seen: Vec::new(),
    })
}

/// Reads a photograph of a label, and goes where its code leads when it is scanned.
pub async fn photographed(
    State(app): State<App>,
    visitor: Visitor,
    parts: Multipart,
) -> Result<Response, Failure> {
    let texts = match received(&visitor, parts).await?.texts {
        Ok(texts) => texts,
        Err(refusal) => return unread(&visitor, &refusal, Vec::new()),
    };
    let text = match one(texts.clone()) {
        Ok(text) => text,
        Err(refusal) => return unread(&visitor, &refusal, texts),
    };
    let seen = sighted(&visitor.reader(&app), &text).await?;
    if let (Sighted::Ours, Some(subject)) = (seen.kind, seen.subject) {
        return Ok(Redirect::to(&address(subject)).into_response());
    }
    let code = match seen.kind {
        Sighted::Misread => "label-misread",
        Sighted::Foreign => "label-not-ours",
        Sighted::Ours | Sighted::Unknown => "not-found",
    };
    let refusal = Refusal::coded(code, seen.sentence, seen.next);
    // A foreign text may be a number that is on the record.
    let texts = if seen.kind == Sighted::Foreign {
        texts
    } else {
        Vec::new()
    };
    unread(&visitor, &refusal, texts)
}

fn unread(visitor: &Visitor, refusal: &Refusal, seen: Vec<String>) -> Result<Response, Failure> {
    let page = draw(&FindPage {
        frame: visitor.frame(vec![Link::new("", "Find")]),
        more: false,
        q: String::new(),
        rows: Vec::new(),
        refusal: Some(block(refusal, "the photograph")),
        seen,
    })?;
    Ok((status_of(refusal), page).into_response())
}

async fn in_hand(app: &App, visitor: &Visitor, person: PersonId) -> Result<Response, Failure> {
    let (person, found) = held(&visitor.reader(app), person).await?;
    let may = visitor.viewer.may(Action::ManagePeople);
    draw(&HeldPage {
        frame: visitor.frame(vec![
            Link::new("/find", "Find"),
            Link::new("", &person.name),
        ]),
        account: may.then(|| format!("/people/{}", person.id)),
        name: person.name,
        more: found.more,
        rows: rows(found.hits),
    })
}
