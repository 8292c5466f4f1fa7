//! Signing in and out, the way to one's own desk, and the theme.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};

use super::draw;
use crate::app::sign_in::SignInError;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link, Theme};
use crate::web::session::{Posted, Visitor, cookie_for, desks};

#[derive(Template)]
#[template(path = "account/sign_in.html")]
struct SignInPage {
    frame: Frame,
    agency: String,
    user_name: String,
    next: String,
    error: Option<String>,
}

/// A path on this server, so that nobody is led elsewhere after signing in.
fn own_path(next: &str) -> String {
    let ok = next.starts_with('/')
        && !next.starts_with("//")
        && !next.contains(['\\', '\r', '\n', '\t'])
        && next.len() <= 2000;
    if ok { next.to_owned() } else { "/".to_owned() }
}

async fn page(
    app: &App,
    user_name: &str,
    next: &str,
    error: Option<String>,
) -> Result<SignInPage, Failure> {
    Ok(SignInPage {
        frame: Frame {
            crumbs: vec![Link::new("/sign-in", "Sign in")],
            ..Frame::default()
        },
        agency: app.house().agency().await?.name,
        user_name: user_name.to_owned(),
        next: own_path(next),
        error,
    })
}

/// The form.
pub async fn show(State(app): State<App>, RawQuery(query): RawQuery) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    draw(&page(&app, "", typed.get("next"), None).await?)
}

/// Checks name and password and opens a session.
pub async fn enter(State(app): State<App>, typed: Typed) -> Result<Response, Failure> {
    let (name, next) = (typed.get("user_name"), typed.get("next"));
    match app
        .house()
        .sign_in(name, typed.get("password"), app.now())
        .await
    {
        Ok(opened) => {
            let cookie = cookie_for(&app, &opened.token);
            Ok((
                [(header::SET_COOKIE, cookie)],
                Redirect::to(&own_path(next)),
            )
                .into_response())
        }
        Err(e @ (SignInError::Wrong | SignInError::Wait { .. } | SignInError::Busy)) => {
            let failure = Failure::from(e);
            let said = format!("{} {}", failure.refusal.sentence, failure.refusal.next);
            let name: String = name.chars().take(64).collect();
            let shown = draw(&page(&app, &name, next, Some(said)).await?)?;
            Ok((failure.status, shown).into_response())
        }
        Err(e) => Err(e.into()),
    }
}

/// Ends the session.
pub async fn leave(State(app): State<App>, posted: Posted) -> Result<Response, Failure> {
    app.house().sign_out(&posted.visitor.session).await?;
    let cookie = cookie_for(&app, "");
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to("/sign-in")).into_response())
}

/// Changes the theme and goes back.
pub async fn theme(State(app): State<App>, posted: Posted) -> Result<Response, Failure> {
    let theme = Theme::parse(posted.typed.get("theme"));
    app.house()
        .set_theme(&posted.visitor.session, theme.as_str())
        .await?;
    Ok(Redirect::to(&own_path(posted.typed.get("back"))).into_response())
}

/// To the first desk that one's roles have.
pub async fn home(visitor: Visitor) -> Redirect {
    let desk = desks(&visitor.viewer);
    Redirect::to(desk.first().map_or("/account", |d| d.href.as_str()))
}
