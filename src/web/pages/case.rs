//! Cases: the list, and the page of one.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;

use super::show::{self, Button, May};
use super::{draw, notice};
use crate::app::views::case_file::{CaseFile, Parts, load};
use crate::app::views::case_row::CaseRow;
use crate::app::views::ready::{self, Ready};
use crate::app::views::words;
use crate::custody::expungement::Expungement;
use crate::ids::CaseId;
use crate::people::Action;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link};
use crate::web::path::Path;
use crate::web::session::Visitor;

/// A case in the list.
struct Row {
    href: String,
    number: String,
    title: String,
    offence: String,
    opened: String,
    restricted: bool,
    counts: String,
}

#[derive(Template)]
#[template(path = "case/list.html")]
struct ListPage {
    frame: Frame,
    rows: Vec<Row>,
    next: Option<String>,
    buttons: Vec<Button>,
}

/// The list of cases, newest first.
pub async fn list(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let page = reader.cases(&show::part(&typed, "after")).await?;
    let zone = app.house().zone().await?;
    let rows = page
        .rows
        .iter()
        .map(CaseRow::from)
        .map(|c| Row {
            href: format!("/cases/{}", c.id),
            number: c.number.clone(),
            title: c.words().to_owned(),
            offence: c.offence.clone().unwrap_or_default(),
            opened: words::minute(&c.opened_at, zone),
            restricted: c.restricted,
            counts: words::holds(c.marks, c.items, c.packages),
        })
        .collect();
    let mut buttons = Vec::new();
    if reader.viewer().may(Action::OpenCase) {
        buttons.push(Button::new("/do/open-case", "Open a case"));
    }
    let frame = visitor.frame(vec![Link::new("", "Cases")]);
    draw(&ListPage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        rows,
        next: show::next_href("/cases", "after", page.next.as_ref()),
        buttons,
    })
}

#[derive(Template)]
#[template(path = "case/case.html")]
struct CasePage {
    frame: Frame,
    file: CaseFile,
    facts: Vec<(String, String)>,
    buttons: Vec<Button>,
    may: May,
    more_marks: Option<String>,
    more_items: Option<String>,
    more_packages: Option<String>,
    orders: Vec<Expungement>,
}

#[derive(Template)]
#[template(path = "ready/ready.html")]
struct ReadyPage {
    frame: Frame,
    ready: Ready,
    may: May,
}

/// Whether a case is ready for court, and what is left.
pub async fn ready(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<CaseId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let case = reader.case(id).await?;
    show::noted(&reader, &case, "ready for court").await?;
    let frame = visitor.frame(show::crumbs(
        format!("/cases/{id}"),
        &case.number,
        "Ready for court",
    ));
    draw(&ReadyPage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        ready: ready::load(&reader, id).await?,
        may: May::of(&reader),
    })
}

/// The page of a case.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<CaseId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let case = reader.case(id).await?;
    show::noted(&reader, &case, "page of the case").await?;
    let parts = Parts {
        marks: show::part(&typed, "marks"),
        items: show::part(&typed, "items"),
        packages: show::part(&typed, "packages"),
    };
    let file = load(&reader, id, &parts).await?;
    let viewer = reader.viewer();
    let mut buttons = Vec::new();
    for (action, word, label) in [
        (Action::RecordScene, "note-mark", "Note a mark"),
        (Action::OpenCase, "open-scene", "Open a scene"),
        (Action::Pack, "pack", "Pack"),
        (Action::AssignCase, "assign", "Assign people"),
        (
            Action::AuthoriseDisposition,
            "set-retention",
            "Say how long it is kept",
        ),
        (
            Action::AssignCase,
            "restrict",
            if case.restricted {
                "Lift the restriction"
            } else {
                "Restrict the case"
            },
        ),
    ] {
        let goes_on = case.expunged.is_none() || matches!(word, "assign" | "restrict");
        if viewer.may(action) && goes_on {
            buttons.push(Button::new(format!("/do/{word}?case={id}"), label));
        }
    }
    buttons.push(Button::new(format!("/cases/{id}/papers"), "Papers"));
    buttons.push(Button::new(
        format!("/cases/{id}/disposition"),
        "What may be disposed of",
    ));
    if viewer.may(Action::Hold) && case.expunged.is_none() {
        buttons.push(Button::new(
            format!("/do/place-hold?of=case:{id}"),
            "Place a hold",
        ));
        if crate::custody::hold::standing(&case.holds).next().is_some() {
            buttons.push(Button::new(
                format!("/do/lift-hold?of=case:{id}"),
                "Lift a hold",
            ));
        }
    }
    if viewer.may(Action::OrderExpungement) {
        buttons.push(Button::new(
            format!("/do/order-expungement?of=case:{id}"),
            "Enter an order to expunge",
        ));
    }
    let mut facts = vec![
        ("Case number".to_owned(), case.number.clone()),
        ("Offence".to_owned(), case.offence.clone()),
        ("Opened".to_owned(), file.opened.clone()),
        ("Opened by".to_owned(), file.opened_by.clone()),
        (
            "Who may see it".to_owned(),
            if case.restricted {
                "restricted: only those assigned; each reading is recorded".to_owned()
            } else {
                "everybody whose role reads evidence records".to_owned()
            },
        ),
    ];
    facts.extend(show::expunged(case.expunged.as_ref()));
    let zone = app.house().zone().await?;
    facts.extend(show::held(&case.holds, zone));
    facts.push(("Kept".to_owned(), show::kept(&case)));
    facts.retain(|(_, v)| !v.is_empty());
    let here = format!("/cases/{id}");
    let frame = visitor.frame(vec![
        Link::new("/cases", "Cases"),
        Link::new("", case.number.clone()),
    ]);
    draw(&CasePage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        facts,
        buttons,
        may: May::of(&reader),
        more_marks: show::next_href(&here, "marks", file.marks.next.as_ref()),
        more_items: show::next_href(&here, "items", file.items.next.as_ref()),
        more_packages: show::next_href(&here, "packages", file.packages.next.as_ref()),
        orders: case.expungements,
        file,
    })
}
