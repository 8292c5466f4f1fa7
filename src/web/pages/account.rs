//! My account: who I am here, my password, and the access tokens of my programs.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::{block, draw};
use crate::app::sign_in::{MAX_TOKEN_DAYS, SignInError};
use crate::app::views::words::minute;
use crate::custody::Refusal;
use crate::ledger::times;
use crate::people::password;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Input, Kind, Typed, fill};
use crate::web::frame::{Frame, Link, Notice, NoticeKind, RefusalBlock};
use crate::web::session::{Posted, Visitor, cookie_for, roles_words};
use crate::zone::Zone;

/// How long a token lives when nobody says otherwise, in days.
const USUAL_DAYS: &str = "90";

struct TokenLine {
    name: String,
    made: String,
    used: String,
    ends: String,
    over: bool,
}

#[derive(Template)]
#[template(path = "account/account.html")]
struct AccountPage {
    frame: Frame,
    facts: Vec<(String, String)>,
    password: Vec<Input>,
    token: Vec<Input>,
    tokens: Vec<TokenLine>,
    issued: Option<(String, String)>,
    refusal: Option<RefusalBlock>,
}

fn password_fields() -> Vec<Input> {
    vec![
        Input::new("old", "Your password now", Kind::Password),
        Input::new("new", "New password", Kind::Password)
            .hint("At least 12 characters, such as a few words in a row."),
        Input::new("again", "New password once more", Kind::Password),
    ]
}

fn token_fields() -> Vec<Input> {
    vec![
        Input::line("name", "Name of the token").hint("What it is for: label printer at intake."),
        Input::new("days", "Ends after days", Kind::Whole)
            .value(USUAL_DAYS)
            .hint(format!("1 to {MAX_TOKEN_DAYS}.")),
        Input::new("password", "Your password", Kind::Password),
    ]
}

/// A time of the store in words.
fn said(time: &str, zone: Zone) -> String {
    times::parse_recorded(time).map_or_else(|_| time.to_owned(), |t| minute(&t, zone))
}

async fn page(app: &App, visitor: &Visitor) -> Result<AccountPage, Failure> {
    let zone = app.house().zone().await?;
    let now = app.now();
    let me = &visitor.person;
    let tokens = app
        .house()
        .tokens(me.id)
        .await?
        .into_iter()
        .map(|row| TokenLine {
            made: said(&row.created_at, zone),
            used: row
                .last_used_at
                .as_deref()
                .map_or_else(|| "never".into(), |t| said(t, zone)),
            over: row
                .expires_at
                .as_deref()
                .is_some_and(|t| times::parse_recorded(t).is_ok_and(|t| t <= now)),
            ends: row
                .expires_at
                .as_deref()
                .map_or_else(|| "not set".into(), |t| said(t, zone)),
            name: row.name,
        })
        .collect();
    Ok(AccountPage {
        frame: visitor.frame(vec![Link::new("/account", "My account")]),
        facts: vec![
            ("Name".into(), me.name.clone()),
            ("Number".into(), me.number.clone()),
            ("User name".into(), me.user_name.clone()),
            ("Roles".into(), roles_words(me)),
        ],
        password: password_fields(),
        token: token_fields(),
        tokens,
        issued: None,
        refusal: None,
    })
}

/// The page again with what was refused.
async fn refuse(
    app: &App,
    visitor: &Visitor,
    failure: &Failure,
    field: &str,
    thing: &str,
    typed: &Typed,
) -> Result<Response, Failure> {
    let mut page = page(app, visitor).await?;
    let refusal: &Refusal = &failure.refusal;
    page.refusal = Some(block(refusal, thing));
    if typed.has("days") {
        fill(&mut page.token, typed);
    }
    for input in page.password.iter_mut().chain(&mut page.token) {
        if input.name == field {
            input.error = Some(format!("{} {}", refusal.sentence, refusal.next));
        }
    }
    let mut response = (failure.status, draw(&page)?).into_response();
    if let Some(seconds) = failure.retry_after {
        response
            .headers_mut()
            .insert(header::RETRY_AFTER, seconds.into());
    }
    Ok(response)
}

/// What proving the password failed by, in words that fit a person who is signed in.
fn not_proved(e: SignInError) -> Failure {
    match e {
        SignInError::Wrong => Failure::new(
            StatusCode::UNAUTHORIZED,
            "password-wrong",
            "This is not your password.",
            "Type it once more.",
        ),
        other => other.into(),
    }
}

/// The page.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let mut page = page(&app, &visitor).await?;
    let text = match typed.get("done") {
        "password" => Some("Password changed."),
        "ended" => Some("Access token ended."),
        _ => None,
    };
    page.frame.notice = text.map(|text| Notice {
        kind: NoticeKind::Done,
        text: text.into(),
        next: None,
    });
    draw(&page)
}

/// Changes the password: the old one is proved first. All sessions end, and this one is opened anew.
pub async fn change_password(State(app): State<App>, posted: Posted) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let me = &visitor.person;
    let (old, new) = (typed.get("old"), typed.get("new"));
    let refuse = async |failure: Failure, field: &str| {
        refuse(&app, &visitor, &failure, field, "your password", &typed).await
    };
    if new != typed.get("again") {
        let failure = Failure::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "bad-value",
            "The new password was typed in two ways.",
            "Type the same one twice.",
        );
        return refuse(failure, "again").await;
    }
    if let Err(e) = password::check(new, &me.user_name) {
        return refuse(SignInError::Password(e).into(), "new").await;
    }
    if let Err(e) = app.house().prove(me, old, app.now()).await {
        return refuse(not_proved(e), "old").await;
    }
    app.house().set_password(me, new, app.now()).await?;
    let opened = app.house().sign_in(&me.user_name, new, app.now()).await?;
    let cookie = cookie_for(&app, &opened.token);
    Ok((
        [(header::SET_COOKIE, cookie)],
        Redirect::to("/account?done=password"),
    )
        .into_response())
}

/// Makes an access token and shows it, this once.
pub async fn issue_token(State(app): State<App>, posted: Posted) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let me = &visitor.person;
    let name = typed.get("name").trim();
    let refuse = async |failure: Failure, field: &str| {
        refuse(
            &app,
            &visitor,
            &failure,
            field,
            "a new access token",
            &typed,
        )
        .await
    };
    let Ok(days) = typed.get("days").trim().parse::<u16>() else {
        let why = format!("a token lives 1 to {MAX_TOKEN_DAYS} days");
        return refuse(SignInError::Token(why).into(), "days").await;
    };
    if let Err(e) = app
        .house()
        .prove(me, typed.get("password"), app.now())
        .await
    {
        return refuse(not_proved(e), "password").await;
    }
    match app.house().issue_token(me.id, name, days, app.now()).await {
        Ok(token) => {
            let mut page = page(&app, &visitor).await?;
            page.issued = Some((name.to_owned(), token));
            draw(&page)
        }
        Err(e @ SignInError::Token(_)) => refuse(e.into(), "name").await,
        Err(e) => Err(e.into()),
    }
}

/// Ends an access token.
pub async fn end_token(State(app): State<App>, posted: Posted) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let ended = app
        .house()
        .end_token(visitor.person.id, typed.get("name"))
        .await?;
    if ended {
        Ok(Redirect::to("/account?done=ended").into_response())
    } else {
        Err(Failure::new(
            StatusCode::NOT_FOUND,
            "not-found",
            "You have no token of this name.",
            "Load your account page again.",
        ))
    }
}
