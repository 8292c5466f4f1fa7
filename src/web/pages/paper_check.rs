//! Checking a paper: a PDF that turned up, held against the record of prints. The file is read, and not kept.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};
use tokio::sync::Semaphore;

use super::{block, draw, show};
use crate::app::papers::check::{Checked, TRUST, check};
use crate::custody::Refusal;
use crate::disclosure::paper::{MAX_BYTES, is_pdf};
use crate::web::App;
use crate::web::error::{Failure, status_of};
use crate::web::frame::{Frame, Link, RefusalBlock};
use crate::web::sent_field::{bytes, unreadable};
use crate::web::session::{Visitor, check_csrf};

/// How many events are looked at for a file without an identifier: about a second's work.
const MOST_EVENTS: u64 = 200_000;
/// How many fields the form may have.
const MAX_FIELDS: usize = 4;
/// The longest token.
const MAX_TOKEN: usize = 256;
/// How many files are in memory at once; who comes then waits.
static AT_ONCE: Semaphore = Semaphore::const_new(2);

#[derive(Template)]
#[template(path = "paper/check.html")]
struct CheckPage {
    frame: Frame,
    refusal: Option<RefusalBlock>,
    checked: Option<Checked>,
    trust: &'static str,
}

fn page(
    visitor: &Visitor,
    checked: Option<Checked>,
    refusal: Option<&Refusal>,
) -> Result<Response, Failure> {
    let page = draw(&CheckPage {
        frame: visitor.frame(vec![Link::new("", "Check a paper")]),
        refusal: refusal.map(|r| block(r, "the file")),
        checked,
        trust: TRUST,
    })?;
    Ok((refusal.map_or(StatusCode::OK, status_of), page).into_response())
}

/// The form.
pub async fn form(visitor: Visitor) -> Result<Response, Failure> {
    page(&visitor, None, None)
}

fn refused(code: &str, sentence: &str, next: &str) -> Refusal {
    Refusal::coded(code, sentence, next).on("file")
}

/// The file of the form, its token checked first.
async fn file(
    visitor: &Visitor,
    parts: &mut Multipart,
) -> Result<Result<Vec<u8>, Refusal>, Failure> {
    let mut is_ours = false;
    for _ in 0..MAX_FIELDS {
        let Some(field) = parts.next_field().await.map_err(|e| unreadable(&e))? else {
            break;
        };
        match field.name() {
            Some("csrf") => {
                let token = bytes(field, MAX_TOKEN, unreadable)
                    .await?
                    .unwrap_or_default();
                check_csrf(visitor, &String::from_utf8_lossy(&token))?;
                is_ours = true;
            }
            Some("file") if !is_ours => return Err(Failure::foreign_form()),
            Some("file") => {
                let Some(bytes) = bytes(field, MAX_BYTES, unreadable).await? else {
                    return Ok(Err(refused(
                        "too-large",
                        "The file is larger than 32 MB, which no paper of this ledger is.",
                        "Choose the PDF of the paper itself.",
                    )));
                };
                if bytes.is_empty() {
                    break;
                }
                if !is_pdf(&bytes) {
                    return Ok(Err(refused(
                        "not-a-pdf",
                        "The file is not a PDF, so it is no paper of this ledger.",
                        "Choose the PDF as it was handed out, not a picture or scan of it.",
                    )));
                }
                return Ok(Ok(bytes));
            }
            _ => {}
        }
    }
    if !is_ours {
        return Err(Failure::foreign_form());
    }
    Ok(Err(refused(
        "no-file",
        "No file was sent, or an empty one.",
        "Choose the PDF.",
    )))
}

/// The answer.
pub async fn answer(
    State(app): State<App>,
    visitor: Visitor,
    mut parts: Multipart,
) -> Result<Response, Failure> {
    let _turn = AT_ONCE.acquire().await.map_err(|_| Failure::internal())?;
    let bytes = match file(&visitor, &mut parts).await? {
        Ok(bytes) => bytes,
        Err(refusal) => return page(&visitor, None, Some(&refusal)),
    };
    let reader = visitor.reader(&app);
    let checked = check(&reader, bytes, Some(MOST_EVENTS)).await?;
    for case in &checked.cases {
        show::noted(&reader, case, "check of a paper").await?;
    }
    page(&visitor, Some(checked), None)
}
