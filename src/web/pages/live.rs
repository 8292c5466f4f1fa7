//! What is kept up to date while it is looked at: a stream that says only that something changed, and the part of the page
//! that changes, which is also what a page without a stream asks for every few seconds.

use std::convert::Infallible;
use std::str::FromStr;
use std::time::Duration;

use axum::extract::{RawQuery, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::sse::{Event, Sse};
use axum::response::{Html, IntoResponse as _, Response};
use futures_util::stream::unfold;
use tokio::sync::watch;
use tokio::time::{Instant, Interval, MissedTickBehavior, interval_at, sleep_until};

use super::{desk, intake};
use crate::app::views::desk::Which;
use crate::app::{ReadError, Viewer};
use crate::ids::Digest;
use crate::people::Action;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::live::Seat;
use crate::web::session::Visitor;

/// How long a browser waits before it opens a stream again that broke off, in milliseconds.
const AGAIN: Duration = Duration::from_secs(5);
/// How long a look may take.
const PATIENCE: Duration = Duration::from_secs(20);

/// Which part of which page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// What waits on a desk.
    Desk(Which),
    /// What is on its way to the intake counter.
    Intake,
}

impl FromStr for Part {
    type Err = ();
    fn from_str(s: &str) -> Result<Self, ()> {
        if s == "intake" {
            return Ok(Self::Intake);
        }
        let which = Which::ALL.into_iter().find(|w| w.word() == s).ok_or(())?;
        Ok(Self::Desk(which))
    }
}

/// A part as it is now.
pub struct Shown {
    /// Its HTML.
    pub html: String,
    /// What it is known by: two that show the same have the same.
    pub digest: String,
}

/// What HTML is known by.
#[must_use]
pub fn digest_of(html: &str) -> String {
    let mut digest = Digest::of(html.as_bytes()).to_string();
    digest.truncate(32);
    digest
}

impl Part {
    fn asked(typed: &Typed) -> Result<Self, Failure> {
        typed.get("of").parse().map_err(|()| Failure::no_page())
    }

    async fn shown(self, app: &App, visitor: &Visitor) -> Result<Shown, Failure> {
        match self {
            Self::Desk(which) => desk::part(app, visitor, which).await,
            Self::Intake if visitor.viewer.may(Action::HandOver) => {
                intake::part(app, visitor).await
            }
            Self::Intake => Err(ReadError::Forbidden(Action::HandOver).into()),
        }
    }
}

/// The part as it is now; 304 where it is as whoever asks has it.
pub async fn part(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let shown = Part::asked(&typed)?.shown(&app, &visitor).await?;
    let tag = format!("\"{}\"", shown.digest);
    let has = headers
        .get(header::IF_NONE_MATCH)
        .is_some_and(|v| v.as_bytes() == tag.as_bytes());
    let mut response = if has {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        Html(shown.html).into_response()
    };
    if let Ok(value) = HeaderValue::from_str(&tag) {
        response.headers_mut().insert(header::ETAG, value);
    }
    Ok(response)
}

/// A stream of notes that the part changed. `seen` is the digest of what the page shows.
pub async fn stream(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let part = Part::asked(&typed)?;
    // Whoever may not see it hears so before there is a stream.
    part.shown(&app, &visitor).await?;
    let Some(seat) = app.streams().take(visitor.person.id) else {
        return Err(Failure::new(
            StatusCode::TOO_MANY_REQUESTS,
            "too-many-streams",
            "There are as many open pages kept up to date as this server allows.",
            "The page looks every few seconds instead; close what you do not need.",
        ));
    };
    let pace = app.pace();
    let mut turn = interval_at(Instant::now() + pace.beat, pace.beat);
    turn.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut sizes = app.house().recorder.growth().follow();
    // The first look is due at once: the ledger may have grown since the page was made.
    sizes.mark_changed();
    let watching = Watching {
        stop: app.stopping(),
        app,
        visitor,
        part,
        seen: typed.get("seen").chars().take(64).collect(),
        sizes,
        turn,
        looked: None,
        step: Step::Greet,
        _seat: seat,
    };
    let mut response = Sse::new(unfold(watching, Watching::next)).into_response();
    let headers = response.headers_mut();
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    // A proxy that gathers an answer before it hands it on would hold the notes back; some ask for this word.
    headers.insert(
        HeaderName::from_static("x-accel-buffering"),
        HeaderValue::from_static("no"),
    );
    Ok(response)
}

enum Step {
    Greet,
    Watch,
    End,
}

enum Woken {
    Stop,
    Grown,
    Beat,
}

/// A stream between two notes.
struct Watching {
    app: App,
    visitor: Visitor,
    part: Part,
    seen: String,
    sizes: watch::Receiver<u64>,
    stop: watch::Receiver<bool>,
    turn: Interval,
    looked: Option<Instant>,
    step: Step,
    _seat: Seat,
}

/// Until the server is told to stop.
async fn stopped(stop: &mut watch::Receiver<bool>) {
    if stop.wait_for(|s| *s).await.is_err() {
        std::future::pending::<()>().await;
    }
}

impl Watching {
    async fn next(mut self) -> Option<(Result<Event, Infallible>, Self)> {
        let note = match self.step {
            Step::End => return None,
            Step::Greet => {
                self.step = Step::Watch;
                // Also so that whoever waits hears at once that the stream is there.
                Event::default().retry(AGAIN).comment("here")
            }
            Step::Watch => self.note().await?,
        };
        Some((Ok(note), self))
    }

    /// The next note; none when the stream is over.
    async fn note(&mut self) -> Option<Event> {
        loop {
            let woken = tokio::select! {
                biased;
                () = stopped(&mut self.stop) => Woken::Stop,
                grown = self.sizes.changed() => grown.map_or(Woken::Stop, |()| Woken::Grown),
                _ = self.turn.tick() => Woken::Beat,
            };
            match woken {
                Woken::Stop => return None,
                Woken::Grown => {
                    if let Some(looked) = self.looked {
                        tokio::select! {
                            biased;
                            () = stopped(&mut self.stop) => return None,
                            () = sleep_until(looked + self.app.pace().look) => {}
                        }
                    }
                    self.sizes.mark_unchanged();
                }
                Woken::Beat => {}
            }
            let Some(visitor) = self.lasting().await else {
                self.step = Step::End;
                return Some(Event::default().event("over").data("the session has ended"));
            };
            self.visitor = visitor;
            let rested = self
                .looked
                .is_none_or(|at| at.elapsed() >= self.app.pace().rest);
            if matches!(woken, Woken::Grown) || rested {
                self.looked = Some(Instant::now());
                let shown = self.part.shown(&self.app, &self.visitor);
                match tokio::time::timeout(PATIENCE, shown).await {
                    Ok(Ok(shown)) if shown.digest != self.seen => {
                        self.seen = shown.digest;
                        return Some(Event::default().event("changed").data("changed"));
                    }
                    Ok(Ok(_)) => {}
                    // Whoever may no longer see it, or a database that is away: the page finds out by asking.
                    Ok(Err(_)) | Err(_) => return None,
                }
            }
            if matches!(woken, Woken::Beat) {
                return Some(Event::default().comment("beat"));
            }
        }
    }

    /// Whoever looks, with the roles of now; none where the session has ended.
    async fn lasting(&self) -> Option<Visitor> {
        let house = self.app.house();
        let again = house
            .session_again(&self.visitor.session, self.app.now())
            .await;
        match again {
            Ok(Some(session)) => Some(Visitor {
                viewer: Viewer::person(session.person.clone()),
                person: session.person.clone(),
                session,
                ..self.visitor.clone()
            }),
            Ok(None) => None,
            Err(e) => {
                tracing::warn!(error = %e, "a session cannot be read");
                None
            }
        }
    }
}
