//! People: the list, one person, and a new first password. For administrators.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::acts::person::{FIRST_PASSWORD, password_field, refused};
use super::{block, draw, happened};
use crate::app::{Part, Reader};
use crate::custody::Refusal;
use crate::custody::state::Person;
use crate::ids::PersonId;
use crate::people::password;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Input, Typed};
use crate::web::frame::{Frame, Link, Notice, NoticeKind, RefusalBlock};
use crate::web::path::Path;
use crate::web::session::{Posted, Visitor, roles_words};

/// How many people stand on one page.
const ROWS: u32 = 200;

struct Row {
    id: PersonId,
    name: String,
    number: String,
    user_name: String,
    roles: String,
    active: bool,
}

#[derive(Template)]
#[template(path = "people/list.html")]
struct ListPage {
    frame: Frame,
    rows: Vec<Row>,
    next: Option<String>,
}

#[derive(Template)]
#[template(path = "people/person.html")]
struct PersonPage {
    frame: Frame,
    person: Person,
    facts: Vec<(String, String)>,
    own: bool,
    password: Input,
    refusal: Option<RefusalBlock>,
}

/// Everybody with an account.
pub async fn list(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let mut part = Part::first(ROWS);
    part.after = Some(typed.get("after").to_owned()).filter(|a| !a.is_empty());
    let page = visitor.reader(&app).people(None, &part).await?;
    let rows = page
        .rows
        .iter()
        .map(|p| Row {
            id: p.id,
            name: p.name.clone(),
            number: p.number.clone(),
            user_name: p.user_name.clone(),
            roles: roles_words(p),
            active: p.active,
        })
        .collect();
    draw(&ListPage {
        frame: visitor.frame(vec![Link::new("/people", "People")]),
        rows,
        next: page.next,
    })
}

/// What just happened to this person. An administrator reads no evidence, so only events of people are told here.
async fn notice(reader: &Reader<'_>, typed: &Typed) -> Option<Notice> {
    let done = |text: String| Notice {
        kind: NoticeKind::Done,
        text,
        next: None,
    };
    if typed.get("password") == "set" {
        return Some(Notice {
            next: Some("Give it to them in person; they change it on their own page.".into()),
            ..done("First password set.".into())
        });
    }
    let seq = typed.get("done").parse().ok()?;
    let header = reader.house().event(seq).await.ok()??.header;
    let told = header.kind.starts_with("person.") && header.actor == reader.viewer().id();
    told.then(|| done(format!("{}, event {seq}.", happened(&header.kind))))
}

async fn page(
    app: &App,
    visitor: &Visitor,
    person: Person,
    refusal: Option<Refusal>,
) -> Result<PersonPage, Failure> {
    let has = app.house().has_password(person.id).await?;
    let mut password = password_field();
    if let Some(refusal) = &refusal {
        password.error = Some(format!("{} {}", refusal.sentence, refusal.next));
    }
    Ok(PersonPage {
        frame: visitor.frame(vec![
            Link::new("/people", "People"),
            Link::new("", person.name.clone()),
        ]),
        facts: vec![
            ("Number".into(), person.number.clone()),
            ("User name".into(), person.user_name.clone()),
            ("Roles".into(), roles_words(&person)),
            (
                "Account".into(),
                if person.active { "on" } else { "off" }.into(),
            ),
            (
                "Password".into(),
                if has {
                    "set"
                } else {
                    "none yet: nobody can sign in with it"
                }
                .into(),
            ),
        ],
        own: person.id == visitor.person.id,
        password,
        refusal: refusal.map(|r| block(&r, &format!("the password of {}", person.name))),
        person,
    })
}

/// One person.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<PersonId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let reader = visitor.reader(&app);
    let person = reader.person(id).await?;
    let mut page = page(&app, &visitor, person, None).await?;
    page.frame.notice = notice(&reader, &typed).await;
    draw(&page)
}

/// Sets a new first password.
pub async fn set_password(
    State(app): State<App>,
    Path(id): Path<PersonId>,
    posted: Posted,
) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let person = visitor.reader(&app).person(id).await?;
    if id == visitor.person.id {
        return Err(Failure::new(
            StatusCode::CONFLICT,
            "own-password",
            "Your own password is not set here.",
            "Change it on your own page, which asks for the old one.",
        ));
    }
    let secret = typed.get(FIRST_PASSWORD);
    if let Err(e) = password::check(secret, &person.user_name) {
        let page = page(&app, &visitor, person, Some(refused(e, FIRST_PASSWORD))).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, draw(&page)?).into_response());
    }
    app.house().set_password(&person, secret, app.now()).await?;
    tracing::info!(by = %visitor.person.id, of = %id, "an administrator set a first password");
    Ok(Redirect::to(&format!("/people/{id}?password=set")).into_response())
}
