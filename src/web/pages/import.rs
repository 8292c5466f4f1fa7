//! The import of an existing room: a mapping and a CSV file, what is wrong with every row, and then, signed, the rows
//! themselves. The page of a file that is being worked on asks for itself again, with or without script.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Multipart, RawQuery, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Redirect, Response};
use uuid::Uuid;

use super::act::{self, SignPage};
use super::{block, draw};
use crate::app::import::sent::{self, MOST_FILE, MOST_MAPPING, SentError, SentFile, Stage, Told};
use crate::app::import::{Mapping, Problem};
use crate::custody::Refusal;
use crate::custody::import::{MAX_ROWS, NOT_WITNESSED};
use crate::ids::CommandId;
use crate::web::App;
use crate::web::error::{Failure, status_of};
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link, RefusalBlock, SigningBlock};
use crate::web::path::Path;
use crate::web::sent_field::{bytes, unreadable};
use crate::web::session::{Posted, Visitor, check_csrf};

/// How many problems a page shows.
const A_PAGE: usize = 100;
/// How many fields the form may have.
const MAX_FIELDS: usize = 6;
/// How large a table without a name is called.
const UNNAMED: &str = "table.csv";
/// What stands in the field of the mapping at first.
const EXAMPLE: &str = "date = \"%Y-%m-%d\"
separator = \",\"

[columns]
case = \"Case No\"
item = \"Item No\"
description = \"What\"
place = \"Shelf\"

[constant]
kind = \"object\"
";

#[derive(Template)]
#[template(path = "import/form.html")]
struct FormPage {
    frame: Frame,
    refusal: Option<RefusalBlock>,
    mapping: String,
    own: Option<String>,
}

#[derive(Template)]
#[template(path = "import/file.html")]
struct FilePage {
    frame: Frame,
    refusal: Option<RefusalBlock>,
    id: Uuid,
    name: String,
    told: Told,
    busy: bool,
    facts: Vec<(String, String)>,
    /// How much of the file is done, of 1000.
    done: u64,
    problems: Vec<Problem>,
    page: usize,
    pages: usize,
    may_record: bool,
    command: String,
}

fn here() -> Vec<Link> {
    vec![
        Link::new("/desk/storeroom", "Intake and storeroom"),
        Link::new("", "Import of a room"),
    ]
}

fn refused(code: &str, sentence: &str, next: &str, field: &str) -> Refusal {
    Refusal::coded(code, sentence, next).on(field)
}

fn form_page(
    app: &App,
    visitor: &Visitor,
    mapping: String,
    refusal: Option<&Refusal>,
) -> Result<Response, Failure> {
    let own = app.sent_files().own(visitor.person.id);
    let page = draw(&FormPage {
        frame: visitor.frame(here()),
        refusal: refusal.map(|r| block(r, "what was sent")),
        mapping,
        own: own.map(|f| format!("/import/{}", f.id)),
    })?;
    Ok((refusal.map_or(StatusCode::OK, status_of), page).into_response())
}

/// The form.
pub async fn form(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    form_page(&app, &visitor, EXAMPLE.to_owned(), None)
}

/// What the form brought.
struct Brought {
    mapping: String,
    name: String,
    file: Vec<u8>,
}

/// The form's parts, its token first; a refusal goes with the mapping, which stays in the form.
async fn received(
    visitor: &Visitor,
    parts: &mut Multipart,
) -> Result<Result<Brought, (Refusal, String)>, Failure> {
    let mut is_ours = false;
    let mut brought = Brought {
        mapping: String::new(),
        name: UNNAMED.to_owned(),
        file: Vec::new(),
    };
    for _ in 0..MAX_FIELDS {
        let Some(field) = parts.next_field().await.map_err(|e| unreadable(&e))? else {
            break;
        };
        let name = field.name().unwrap_or_default().to_owned();
        if name == "csrf" {
            let token = bytes(field, 256, unreadable).await?.unwrap_or_default();
            check_csrf(visitor, &String::from_utf8_lossy(&token))?;
            is_ours = true;
            continue;
        }
        if !is_ours {
            return Err(Failure::foreign_form());
        }
        if name == "mapping" || name == "mapping_file" {
            let text = bytes(field, MOST_MAPPING, unreadable).await?;
            let Some(text) = text.and_then(|t| String::from_utf8(t).ok()) else {
                let refusal = refused(
                    "bad-text",
                    "The mapping is longer than 256 kB, or no text in UTF-8.",
                    "Send a shorter one.",
                    "mapping",
                );
                return Ok(Err((refusal, brought.mapping)));
            };
            // A file counts before what stands in the field.
            if name == "mapping" || !text.trim().is_empty() {
                brought.mapping = text;
            }
        } else if name == "file" {
            let sent = field.file_name().unwrap_or_default();
            let last = sent.rsplit(['/', '\\']).next().unwrap_or_default().trim();
            if !last.is_empty() {
                brought.name = last.chars().filter(|c| !c.is_control()).take(200).collect();
            }
            match bytes(field, MOST_FILE, unreadable).await? {
                Some(all) => brought.file = all,
                None => {
                    let refusal = refused(
                        "too-large",
                        "The file is larger than 16 MB.",
                        "Cut it in parts, each with the heading; or let the server's operator run liftledger import.",
                        "file",
                    );
                    return Ok(Err((refusal, brought.mapping)));
                }
            }
        }
    }
    if !is_ours {
        return Err(Failure::foreign_form());
    }
    if brought.file.is_empty() {
        let refusal = refused(
            "no-table",
            "No file was sent, or an empty one.",
            "Choose the CSV file.",
            "file",
        );
        return Ok(Err((refusal, brought.mapping)));
    }
    Ok(Ok(brought))
}

/// Runs something on a file until it is done or the server stops.
fn in_background<F>(app: &App, work: F)
where
    F: Future<Output = ()> + Send + 'static,
{
    let mut stopping = app.stopping();
    tokio::spawn(async move {
        let stopped = async {
            // Without its sender nobody stops it.
            if stopping.wait_for(|s| *s).await.is_err() {
                std::future::pending::<()>().await;
            }
        };
        tokio::select! {
            () = work => {}
            () = stopped => {}
        }
    });
}

/// Takes a mapping and a file, and begins to look the file through.
pub async fn send(
    State(app): State<App>,
    visitor: Visitor,
    mut parts: Multipart,
) -> Result<Response, Failure> {
    let brought = match received(&visitor, &mut parts).await? {
        Ok(brought) => brought,
        Err((refusal, mapping)) => return form_page(&app, &visitor, mapping, Some(&refusal)),
    };
    let mapping = match Mapping::parse(&brought.mapping) {
        Ok(mapping) => mapping,
        Err(e) => {
            let refusal = refused(
                "bad-mapping",
                &format!("The mapping cannot be used: {e}."),
                "Mend it; the columns are those of the file's heading.",
                "mapping",
            );
            return form_page(&app, &visitor, brought.mapping, Some(&refusal));
        }
    };
    let now = app.now();
    let taken = app
        .sent_files()
        .take(visitor.person.id, brought.name, mapping, brought.file, now);
    let file = match taken {
        Ok(file) => file,
        Err(e) => {
            let refusal = busy(e);
            return form_page(&app, &visitor, brought.mapping, Some(&refusal));
        }
    };
    let to = format!("/import/{}", file.id);
    let house = app.shared_house();
    in_background(&app, async move { sent::look_through(&house, &file).await });
    Ok(Redirect::to(&to).into_response())
}

fn busy(e: SentError) -> Refusal {
    let mut said = e.to_string();
    if let Some(first) = said.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    refused(
        "busy",
        &format!("{said}."),
        "Wait until it is done, then go on.",
        "file",
    )
}

fn own(app: &App, visitor: &Visitor, id: Uuid) -> Result<Arc<SentFile>, Failure> {
    app.sent_files()
        .of(visitor.person.id, id)
        .ok_or_else(|| {
            Failure::new(
                StatusCode::NOT_FOUND,
                "not-found",
                "This file is not here, or not any more: files are yours alone, and go after four hours or with the server.",
                "Send it again; rows that are on the record are left out.",
            )
        })
}

fn facts(told: &Told) -> Vec<(String, String)> {
    let s = &told.summary;
    let recording = matches!(told.stage, Stage::Recording | Stage::Done);
    let mut out = vec![(
        "Rows gone through".to_owned(),
        match told.rows {
            Some(all) if recording => format!("{} of {all}", s.rows),
            _ => s.rows.to_string(),
        },
    )];
    let good = if recording {
        "Taken over"
    } else {
        "Can be taken over"
    };
    out.push((good.to_owned(), s.good.to_string()));
    for (name, n) in [
        ("On the record before", s.before),
        ("Wrong", s.wrong),
        ("Held back with a wrong row of their batch", s.held_back),
        ("Batches left out", s.batches_refused),
    ] {
        if n > 0 {
            out.push((name.to_owned(), n.to_string()));
        }
    }
    out
}

fn file_page(
    visitor: &Visitor,
    file: &SentFile,
    page: usize,
    refusal: Option<&Refusal>,
) -> Result<Response, Failure> {
    let told = file.told();
    let pages = told.problems.len().div_ceil(A_PAGE).max(1);
    let page = page.clamp(1, pages);
    let problems = told.problems.iter().skip((page - 1) * A_PAGE);
    let busy = told.broke.is_none() && matches!(told.stage, Stage::Looking | Stage::Recording);
    let drawn = draw(&FilePage {
        frame: visitor.frame(vec![
            Link::new("/desk/storeroom", "Intake and storeroom"),
            Link::new("/import", "Import of a room"),
            Link::new("", file.name.clone()),
        ]),
        refusal: refusal.map(|r| block(r, "the import")),
        id: file.id,
        name: file.name.clone(),
        busy,
        facts: facts(&told),
        done: told
            .rows
            .filter(|n| *n > 0)
            .map_or(0, |n| told.summary.rows.min(n) * 1000 / n),
        problems: problems.take(A_PAGE).cloned().collect(),
        page,
        pages,
        may_record: told.broke.is_none() && told.stage == Stage::Looked && told.summary.good > 0,
        command: CommandId::new().to_string(),
        told,
    })?;
    Ok((refusal.map_or(StatusCode::OK, status_of), drawn).into_response())
}

/// A file: how far it is, and what is wrong with it.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<Uuid>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let file = own(&app, &visitor, id)?;
    let typed = Typed::of_query(query.as_deref())?;
    file_page(
        &visitor,
        &file,
        typed.get("page").parse().unwrap_or(1),
        None,
    )
}

/// What is wrong with it, as a table.
pub async fn problems(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<Uuid>,
) -> Result<Response, Failure> {
    let file = own(&app, &visitor, id)?;
    let table = sent::problems_csv(&file.told().problems).map_err(|e| {
        tracing::error!(error = %e, "a table cannot be written");
        Failure::internal()
    })?;
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8"),
        (
            header::CONTENT_DISPOSITION,
            "attachment; filename=\"problems.csv\"",
        ),
    ];
    Ok((headers, table).into_response())
}

/// Shows what is signed, or begins to record.
pub async fn record(
    State(app): State<App>,
    Path(id): Path<Uuid>,
    posted: Posted,
) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let file = own(&app, &visitor, id)?;
    let batch: usize = typed.get("batch").parse().unwrap_or(0);
    if !(1..=MAX_ROWS).contains(&batch) {
        let refusal = refused(
            "bad-value",
            "So many rows are not recorded at a time.",
            "Give a number from 1 to 200.",
            "batch",
        );
        return file_page(&visitor, &file, 1, Some(&refusal));
    }
    if typed.has("back-to-form") {
        return Ok(Redirect::to(&format!("/import/{id}")).into_response());
    }
    let secret = typed.get("password");
    let error = match secret {
        "" => None,
        secret => act::proven(&app, &visitor.person, secret, act::NOT_YOURS).await?,
    };
    if secret.is_empty() || error.is_some() {
        return signed(&visitor, &file, &typed, batch, error);
    }
    if let Err(e) = sent::begin_recording(&file) {
        return file_page(&visitor, &file, 1, Some(&busy(e)));
    }
    let house = app.shared_house();
    in_background(
        &app,
        async move { sent::record(&house, &file, batch).await },
    );
    Ok(Redirect::to(&format!("/import/{id}")).into_response())
}

fn signed(
    visitor: &Visitor,
    file: &SentFile,
    typed: &Typed,
    batch: usize,
    error: Option<String>,
) -> Result<Response, Failure> {
    let told = file.told();
    let address = format!("/import/{}", file.id);
    let mut facts = vec![("File".to_owned(), file.name.clone())];
    facts.extend(self::facts(&told));
    facts.push((
        "At a time".to_owned(),
        format!("{batch} rows, all of them or none"),
    ));
    let page = SignPage {
        title: "import of a room".into(),
        action: format!("{address}/record"),
        leave: address.clone(),
        frame: visitor.frame(vec![
            Link::new("/import", "Import of a room"),
            Link::new(address, file.name.clone()),
            Link::new("", "Sign"),
        ]),
        command: typed.get("id").to_owned(),
        carried: act::carried(typed, &[]),
        signing: SigningBlock {
            facts,
            sentence: format!(
                "I take the rows of this file over as the former record says them. {NOT_WITNESSED}."
            ),
            act: "Sign and take them over".into(),
            own: true,
            error,
            second: None,
            second_error: None,
        },
    };
    page.response()
}

/// Throws a file away that is not wanted.
pub async fn leave(
    State(app): State<App>,
    Path(id): Path<Uuid>,
    posted: Posted,
) -> Result<Response, Failure> {
    let by = posted.visitor.person.id;
    app.sent_files().drop_own(by, id);
    Ok(Redirect::to("/import").into_response())
}
