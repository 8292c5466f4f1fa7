//! The desks: what waits for whoever is signed in. What changes while a desk is looked at is drawn by itself.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;

use super::acts::address;
use super::live::{Shown, digest_of};
use super::{draw, notice, show, text};
use crate::app::views::count_file;
use crate::app::views::desk::{Desk, Group, Line, Which, load};
use crate::ids::Subject;
use crate::people::Action;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::frame::{DeskBlock, DeskLine, Frame, Link};
use crate::web::session::Visitor;

#[derive(Template)]
#[template(path = "desk/desk.html")]
struct DeskPage {
    frame: Frame,
    title: &'static str,
    field: bool,
    of: &'static str,
    digest: String,
    part: String,
}

/// What changes while a desk is looked at.
#[derive(Template)]
#[template(path = "desk/part.html")]
struct DeskPart {
    block: DeskBlock,
    /// What is done here.
    buttons: Vec<show::Button>,
    /// Pages that are looked at from here.
    ways: Vec<Link>,
    more: Vec<String>,
    said: &'static str,
}

/// The one next act. A mark waits for a photograph or for its recovery.
fn act(line: &Line, page: &str, records: bool) -> Link {
    if let Some(act) = &line.next_act {
        return Link::new(show::act_href(act), act.label.clone());
    }
    match (line.subject, line.badge.as_str()) {
        (Subject::Mark(_), "not photographed") if records => {
            Link::new(format!("{page}/photograph"), "Photograph it")
        }
        (Subject::Mark(id), "not recovered") if records => {
            Link::new(format!("/do/recover?mark={id}"), "Recover it")
        }
        (
            _,
            "reads reversed" | "not established" | "no scale" | "under 1000 ppi" | "to be assessed",
        ) => Link::new(format!("{page}#pictures"), "Look at its pictures"),
        _ => Link::new(page, "Open the page"),
    }
}

fn line(line: &Line, records: bool) -> DeskLine {
    let page = address(line.subject).unwrap_or_else(|| "/".into());
    let act = act(line, &page, records);
    if line.restricted {
        let label = if line.name.contains(&line.case_number) {
            line.name.clone()
        } else {
            format!("{}, {}", line.name, line.case_number)
        };
        let badge = if line.badge.is_empty() {
            "restricted".to_owned()
        } else {
            format!("restricted, {}", line.badge)
        };
        return DeskLine {
            what: Link::new(page, label),
            place: String::new(),
            why: "Its page says more, and puts the reading on the record.".into(),
            badge: Some((badge, true)),
            act,
        };
    }
    // Of a case the name already says its number.
    let label = if line.name.contains(&line.case_number) {
        format!("{}: {}", line.name, line.what)
    } else {
        format!("{}, {}: {}", line.name, line.case_number, line.what)
    };
    let calls = matches!(
        line.badge.as_str(),
        "break"
            | "attention"
            | "reads reversed"
            | "not established"
            | "no scale"
            | "overdue"
            | "due soon"
            | "not answered"
    );
    DeskLine {
        what: Link::new(page, label),
        place: line.place.clone(),
        why: line.why.clone(),
        badge: (!line.badge.is_empty()).then(|| (line.badge.clone(), calls)),
        act,
    }
}

fn block(desk: &Desk, records: bool) -> DeskBlock {
    let lines = |g: &Group| g.lines.iter().map(|l| line(l, records)).collect();
    DeskBlock {
        now: lines(&desk.now),
        soon: lines(&desk.soon),
        later: lines(&desk.later),
    }
}

/// A desk as it is now, without what stands around it.
///
/// # Errors
/// For whoever has no such desk; [`Failure::internal`] where it cannot be drawn.
pub async fn part(app: &App, visitor: &Visitor, which: Which) -> Result<Shown, Failure> {
    let reader = visitor.reader(app);
    let desk = load(&reader, which).await?;
    let (mut buttons, mut ways) = (Vec::new(), Vec::new());
    let viewer = reader.viewer();
    match which {
        Which::Field => {
            if viewer.may(Action::OpenCase) {
                buttons.push(show::Button::new("/do/open-case", "Open a case"));
            }
        }
        Which::Storeroom => {
            if viewer.may(Action::HandOver) {
                buttons.push(show::Button::new("/intake", "Intake counter"));
            }
            if viewer.may(Action::Keep) {
                buttons.push(show::Button::new("/do/store-many", "Put many on one shelf"));
                ways.push(Link::new("/import", "Import of a room"));
            }
            ways.push(Link::new("/places", "Places"));
            ways.push(Link::new("/room", "The room in pictures"));
            let (open, unresolved) = count_file::waiting(&reader).await?;
            let label = match (open, unresolved) {
                (0, 0) => "Counts".to_owned(),
                (_, 0) => format!("Counts, {open} open"),
                _ => format!("Counts, {unresolved} to be resolved"),
            };
            ways.push(Link::new("/counts", label));
            ways.push(Link::new("/disposition", "Retention and disposition"));
        }
        Which::Court => {
            if viewer.may(Action::Prove) {
                ways.push(Link::new("/proof", "Proof of the ledger"));
            }
            ways.push(Link::new("/papers/check", "Check a paper"));
        }
        Which::Examiner => {}
    }
    ways.push(Link::new("/cases", "All cases"));
    let more = [
        ("now", &desk.now),
        ("soon", &desk.soon),
        ("later", &desk.later),
    ]
    .into_iter()
    .filter(|(_, g)| g.more)
    .map(|(name, g)| {
        format!(
            "There is more under \u{201c}{name}\u{201d} than the {} lines shown.",
            g.lines.len()
        )
    })
    .collect();
    let part = DeskPart {
        block: block(&desk, viewer.may(Action::RecordScene)),
        buttons,
        ways,
        more,
        said: if which == Which::Examiner {
            "Comparison is no part of this program: it is done with the picture that is handed off."
        } else {
            ""
        },
    };
    let drawn = text(&part)?;
    // When it was looked at is no change.
    Ok(Shown {
        digest: digest_of(&drawn),
        html: format!("{drawn}<p class=\"hint\">As of {}.</p>", desk.as_of_words),
    })
}

async fn page(
    app: &App,
    visitor: &Visitor,
    query: Option<&str>,
    which: Which,
) -> Result<Response, Failure> {
    let shown = part(app, visitor, which).await?;
    let title = which.title();
    let frame = visitor.frame(vec![Link::new("", title)]);
    draw(&DeskPage {
        frame: show::framed(frame, notice(&visitor.reader(app), query).await),
        title,
        field: which == Which::Field,
        of: which.word(),
        digest: shown.digest,
        part: shown.html,
    })
}

/// The field desk.
pub async fn field(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    page(&app, &visitor, query.as_deref(), Which::Field).await
}

/// Intake and storeroom.
pub async fn storeroom(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    page(&app, &visitor, query.as_deref(), Which::Storeroom).await
}

/// The examiner's desk.
pub async fn examiner(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    page(&app, &visitor, query.as_deref(), Which::Examiner).await
}

/// The court desk.
pub async fn court(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    page(&app, &visitor, query.as_deref(), Which::Court).await
}
