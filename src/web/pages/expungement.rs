//! Orders to expunge: those that wait, and the instruction that goes with one.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;

use super::show::{self, Button};
use super::{draw, notice};
use crate::app::views::expungements::{self, Instruction, OpenOrder};
use crate::ids::CaseId;
use crate::people::Action;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link};
use crate::web::path::Path;
use crate::web::session::Visitor;

#[derive(Template)]
#[template(path = "expungement/list.html")]
struct ListPage {
    frame: Frame,
    rows: Vec<OpenOrder>,
    next: Option<String>,
}

/// Orders that wait.
pub async fn list(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let page = expungements::open(&reader, &show::part(&typed, "after")).await?;
    let frame = visitor.frame(vec![Link::new("", "Orders to expunge")]);
    draw(&ListPage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        next: show::next_href("/expungements", "after", page.next.as_ref()),
        rows: page.rows,
    })
}

#[derive(Template)]
#[template(path = "expungement/order.html")]
struct OrderPage {
    frame: Frame,
    told: Instruction,
    facts: Vec<(String, String)>,
    buttons: Vec<Button>,
    reads: bool,
}

/// The instruction that goes with an order.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path((id, number)): Path<(CaseId, u32)>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let viewer = reader.viewer();
    let case = expungements::case(&reader, id).await?;
    let reads = viewer.may(Action::ReadEvidence);
    if reads {
        show::noted(&reader, &case, "an order to expunge").await?;
    }
    let told = expungements::instruction(&reader, &case, number).await?;
    let order = &told.order;
    let mut facts = vec![
        ("Case".to_owned(), told.case_number.clone()),
        ("Court".to_owned(), order.court.clone()),
        (
            "Order".to_owned(),
            format!("{} of {}", order.order, order.dated),
        ),
        ("It names".to_owned(), told.what.clone()),
        (
            "Put on the record".to_owned(),
            format!("{}, by {}", told.ordered, told.ordered_by),
        ),
    ];
    let standing = match (&order.withdrawn_at, told.carried_out.is_empty()) {
        (Some(_), _) => "taken back".to_owned(),
        (None, true) => "waits to be carried out".to_owned(),
        (None, false) => told.carried_out.clone(),
    };
    facts.push(("Carried out".to_owned(), standing));
    let mut buttons = Vec::new();
    if order.is_open() {
        let about = format!("case={id}&number={number}");
        if viewer.may(Action::CarryOutExpungement) && order.by != viewer.id() {
            buttons.push(Button::new(
                format!("/do/carry-out-expungement?{about}"),
                "Carry it out",
            ));
        }
        if viewer.may(Action::OrderExpungement) {
            buttons.push(Button::new(
                format!("/do/withdraw-expungement?{about}"),
                "Take it back",
            ));
        }
    }
    let mut crumbs = Vec::new();
    if reads {
        crumbs.push(Link::new("/cases", "Cases"));
        crumbs.push(Link::new(format!("/cases/{id}"), &case.number));
    } else {
        crumbs.push(Link::new("/expungements", "Orders to expunge"));
    }
    crumbs.push(Link::new("", format!("Order {}", order.order)));
    draw(&OrderPage {
        frame: show::framed(
            visitor.frame(crumbs),
            notice(&reader, query.as_deref()).await,
        ),
        facts,
        buttons,
        reads,
        told,
    })
}
