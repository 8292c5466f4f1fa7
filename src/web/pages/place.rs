//! Places in the storeroom: the list, and what stands in one.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;

use super::show::{self, Button, May};
use super::{draw, notice};
use crate::app::views::place_file::{PlaceFile, load};
use crate::app::views::{line, words};
use crate::ids::PlaceId;
use crate::keeping::fitting;
use crate::people::Action;
use crate::trade::TradeRules;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link};
use crate::web::path::Path;
use crate::web::session::Visitor;

/// A place in the list.
struct Row {
    href: String,
    name: String,
    kind: &'static str,
    within: Option<Link>,
    climate: String,
    code: String,
}

#[derive(Template)]
#[template(path = "place/list.html")]
struct ListPage {
    frame: Frame,
    rows: Vec<Row>,
    next: Option<String>,
    buttons: Vec<Button>,
}

/// The list of places.
pub async fn list(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let page = reader.places(&show::part(&typed, "after")).await?;
    let rules = &app.house().rules;
    let mut rows = Vec::with_capacity(page.rows.len());
    for place in &page.rows {
        let within = match place.added.parent {
            None => None,
            Some(parent) => {
                // Mostly it stands on the same page of the list.
                let name = match page.rows.iter().find(|p| p.id == parent) {
                    Some(p) => p.added.name.clone(),
                    None => reader.place(parent).await?.added.name,
                };
                Some(Link::new(format!("/places/{parent}"), name))
            }
        };
        rows.push(Row {
            href: format!("/places/{}", place.id),
            name: place.added.name.clone(),
            kind: words::place_kind(place.added.place_kind),
            within,
            climate: rules
                .climate(&place.added.climate)
                .map_or_else(|| place.added.climate.clone(), |c| c.name.clone()),
            code: place.code.grouped(),
        });
    }
    let mut buttons = Vec::new();
    if reader.viewer().may(Action::Keep) {
        buttons.push(Button::new("/do/add-place", "Add a place"));
    }
    let frame = visitor.frame(vec![Link::new("", "Places")]);
    draw(&ListPage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        rows,
        next: show::next_href("/places", "after", page.next.as_ref()),
        buttons,
    })
}

#[derive(Template)]
#[template(path = "place/place.html")]
struct PlacePage {
    frame: Frame,
    file: PlaceFile,
    facts: Vec<(String, String)>,
    buttons: Vec<Button>,
    stock: Vec<StockRow>,
    may: May,
    next: Option<String>,
}

/// A kind of box in stock.
struct StockRow {
    kind: String,
    container: String,
    inside: String,
    count: u32,
    /// The form that counts it again; none where the viewer may not.
    again: Option<String>,
}

fn stock(file: &PlaceFile, rules: &TradeRules, keeps: bool) -> Vec<StockRow> {
    file.stock
        .iter()
        .map(|l| StockRow {
            kind: l.kind.clone(),
            container: line::container(rules, &l.container),
            inside: fitting::words(l.inner_mm),
            count: l.count,
            again: keeps.then(|| {
                let kind = percent_encoding::utf8_percent_encode(
                    &l.kind,
                    percent_encoding::NON_ALPHANUMERIC,
                );
                format!("/do/stock-set?place={}&kind={kind}", file.id)
            }),
        })
        .collect()
}

/// The page of a place.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<PlaceId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let typed = Typed::of_query(query.as_deref())?;
    let file = load(&reader, id, &show::part(&typed, "after")).await?;
    let cases = file.contents.rows.iter().map(|l| l.case);
    for case in reader.cases_of(cases).await?.values() {
        show::noted(&reader, case, "what stands in a place").await?;
    }
    let climate = if file.climate_name.is_empty() {
        file.climate.clone()
    } else {
        file.climate_name.clone()
    };
    let mut facts = vec![
        ("Kind".to_owned(), file.kind_words.clone()),
        ("Climate".to_owned(), climate),
        ("It is".to_owned(), file.facts.join(", ")),
        ("Stands there".to_owned(), file.standing_words.clone()),
        (
            "Two people".to_owned(),
            file.two_person.as_ref().map_or_else(String::new, |p| {
                format!("needed to store and to take out ({} is marked)", p.name)
            }),
        ),
    ];
    facts.retain(|(_, v)| !v.is_empty());
    let mut buttons = Vec::new();
    if reader.viewer().may(Action::Keep) {
        buttons.push(Button::new(
            format!("/do/add-place?parent={id}"),
            "Add a place in it",
        ));
        buttons.push(Button::new(
            format!("/do/stock-set?place={id}"),
            "Count boxes in stock",
        ));
        buttons.push(Button::new(
            format!("/do/seals-deliver?place={id}"),
            "Record delivered seals",
        ));
        if !file.seals.is_empty() {
            buttons.push(Button::new(
                format!("/do/seals-issue?place={id}"),
                "Issue seals",
            ));
            buttons.push(Button::new(
                format!("/do/seals-spoil?place={id}"),
                "Write off seals",
            ));
        }
        buttons.push(Button::new(
            format!("/do/store-many?place={id}"),
            "Put many here",
        ));
        buttons.push(Button::new(
            format!("/do/set-capacity?place={id}"),
            "Say how much it takes",
        ));
        buttons.push(Button::new(
            format!("/do/log-climate?place={id}"),
            "Log the climate",
        ));
    }
    if reader.viewer().may(Action::Pack) && !file.stock.is_empty() {
        buttons.push(Button::new(
            format!("/do/stock-take?place={id}"),
            "Take boxes from stock",
        ));
    }
    if reader.viewer().may(Action::Keep) {
        buttons.push(Button::new(
            format!("/do/begin-count?place={id}"),
            "Begin a count",
        ));
    }
    if reader.viewer().may(Action::MarkTwoPerson) {
        let marked = file.two_person.as_ref().is_some_and(|p| p.id == id);
        buttons.push(Button::new(
            format!("/do/mark-two-person?place={id}"),
            if marked {
                "Take the mark for two people off"
            } else {
                "Mark it for two people"
            },
        ));
    }
    buttons.push(Button::new(
        format!("/room?of={id}"),
        "How full it is, in a picture",
    ));
    let mut crumbs = vec![Link::new("/places", "Places")];
    crumbs.extend(
        file.path
            .iter()
            .map(|p| Link::new(format!("/places/{}", p.id), p.name.clone())),
    );
    crumbs.push(Link::new("", file.name.clone()));
    let frame = visitor.frame(crumbs);
    draw(&PlacePage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        facts,
        buttons,
        stock: stock(&file, &app.house().rules, reader.viewer().may(Action::Keep)),
        may: May::of(&reader),
        next: show::next_href(
            &format!("/places/{id}"),
            "after",
            file.contents.next.as_ref(),
        ),
        file,
    })
}
