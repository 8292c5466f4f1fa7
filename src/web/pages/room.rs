//! The room in pictures, each with a table beside it, and the list behind every number.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;

use super::acts::address;
use super::draw;
use crate::app::views::room::{
    Alone, Counted, FIGURES, Figure, Occupancy, Room, figure_of, load, occupied,
};
use crate::ids::PlaceId;
use crate::web::App;
use crate::web::draw::bars::{self, Bar};
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link};
use crate::web::session::Visitor;

/// A row of the table beside a picture.
struct Row {
    label: Link,
    words: String,
    /// The way to what is in it, where it is a place with places in it.
    within: Option<Link>,
}

/// A picture with its table.
struct Picture {
    id: &'static str,
    title: String,
    said: String,
    bound: String,
    heads: (&'static str, &'static str),
    svg: String,
    rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "room/room.html")]
struct RoomPage {
    frame: Frame,
    pictures: Vec<Picture>,
    as_of: String,
}

fn occupancy(of: &Occupancy) -> Picture {
    let title = of.of.as_ref().map_or_else(
        || "How full it is".to_owned(),
        |p| format!("How full {} is", p.name),
    );
    let mut rows = Vec::new();
    let mut bars = Vec::new();
    for place in &of.places {
        let href = format!("/places/{}", place.id);
        let limit = (place.room > 0).then(|| u64::from(place.room));
        // Against a capacity only what stands where one is on record can be drawn.
        let value = match limit {
            Some(_) => place.counted,
            None => place.things,
        };
        bars.push(Bar {
            label: place.name.clone(),
            words: match (value, limit) {
                (None, _) => place.words.clone(),
                (Some(n), None) => n.to_string(),
                (Some(n), Some(limit)) if u64::from(n) > limit => {
                    format!("{n} of {limit}, too many")
                }
                (Some(n), Some(limit)) => format!("{n} of {limit}"),
            },
            value: value.map_or(0, u64::from),
            limit,
            href: href.clone(),
        });
        rows.push(Row {
            label: Link::new(href, place.name.clone()),
            words: place.words.clone(),
            within: place
                .has_places
                .then(|| Link::new(format!("/room?of={}", place.id), "The places in it")),
        });
    }
    let said = if of.places.is_empty() {
        "No place yet.".to_owned()
    } else {
        "A bar is what stands in a place and in all places in it; the outline around it is how much they take, where that is on record.".to_owned()
    };
    Picture {
        id: "occupancy",
        svg: bars::draw("occupancy", &title, &said, &bars),
        title,
        said,
        bound: if of.more {
            "The first of the places, by name; the list of places has all.".into()
        } else {
            "Every package and every loose item that stands there, also of cases that you may not see: how many, not which.".into()
        },
        heads: ("Place", "Stands there"),
        rows,
    }
}

fn figure((id, title): (&'static str, &'static str), said: String, of: &Figure) -> Picture {
    let list = |i: usize| format!("/room/list?of={id}&column={}", i + 1);
    let bars: Vec<Bar> = of
        .columns
        .iter()
        .enumerate()
        .map(|(i, c)| Bar {
            label: c.label.clone(),
            words: c.count.to_string(),
            value: u64::try_from(c.count).unwrap_or(u64::MAX),
            limit: None,
            href: list(i),
        })
        .collect();
    let rows = of
        .columns
        .iter()
        .enumerate()
        .map(|(i, c)| Row {
            label: Link::new(list(i), c.label.clone()),
            words: c.count.to_string(),
            within: None,
        })
        .collect();
    Picture {
        id,
        title: title.to_owned(),
        svg: bars::draw(id, title, &said, &bars),
        said,
        bound: of.bound.clone(),
        heads: ("Time", "How many"),
        rows,
    }
}

fn summed(of: &Figure, none: &str, what: &str) -> String {
    match &of.longest {
        None => none.to_owned(),
        Some(longest) => format!(
            "{} {what}. Median {}; longest {} ({}).",
            of.count, of.median, longest.words, longest.name
        ),
    }
}

fn pictures(room: &Room) -> Vec<Picture> {
    let [to_shelf, waiting, overdue, findings] = FIGURES;
    vec![
        occupancy(&room.occupancy),
        figure(
            to_shelf,
            summed(
                &room.to_shelf,
                "Nothing came onto a shelf yet.",
                "came onto a shelf",
            ),
            &room.to_shelf,
        ),
        figure(
            waiting,
            summed(
                &room.waiting,
                "Nothing waits for a shelf.",
                "never stood on a shelf, by the time since the recovery",
            ),
            &room.waiting,
        ),
        figure(
            overdue,
            summed(&room.overdue, "Nothing is overdue.", "overdue"),
            &room.overdue,
        ),
        figure(
            findings,
            summed(&room.findings, "No finding is open.", "open, by age"),
            &room.findings,
        ),
    ]
}

fn asked(typed: &Typed) -> Result<Option<PlaceId>, Failure> {
    if typed.get("of").is_empty() {
        Ok(None)
    } else {
        typed.read("of").map(Some)
    }
}

/// The room in pictures.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let reader = visitor.reader(&app);
    let title = "The room in pictures";
    let (pictures, crumbs, as_of) = if let Some(id) = asked(&typed)? {
        // Only the occupancy is of one place; the others would repeat the whole room's.
        let (places, as_of) = occupied(&reader, Some(id)).await?;
        let name = places.of.as_ref().map(|p| p.name.clone());
        let crumbs = vec![
            Link::new("/room", title),
            Link::new("", name.unwrap_or_default()),
        ];
        (vec![occupancy(&places)], crumbs, as_of)
    } else {
        let room = load(&reader, None).await?;
        (
            pictures(&room),
            vec![Link::new("", title)],
            room.as_of_words,
        )
    };
    draw(&RoomPage {
        frame: visitor.frame(crumbs),
        pictures,
        as_of,
    })
}

/// A line of the list behind a number.
struct ListRow {
    href: String,
    name: String,
    why: String,
    words: String,
}

#[derive(Template)]
#[template(path = "room/list.html")]
struct ListPage {
    frame: Frame,
    title: String,
    bound: String,
    rows: Vec<ListRow>,
    as_of: String,
}

fn row(of: &Counted) -> ListRow {
    ListRow {
        href: address(of.subject).unwrap_or_else(|| "/room".into()),
        name: of.name.clone(),
        why: of.why.clone(),
        words: of.words.clone(),
    }
}

/// What a number counts; of all columns of a figure, or of one.
pub async fn list(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let Alone {
        title,
        figure,
        as_of_words,
    } = figure_of(&visitor.reader(&app), typed.get("of")).await?;
    let one = match typed.get("column") {
        "" => None,
        _ => Some(typed.read::<usize>("column")?),
    };
    let columns: Vec<_> = figure
        .columns
        .iter()
        .enumerate()
        .filter(|(i, _)| one.is_none_or(|n| n == i + 1))
        .map(|(_, c)| c)
        .collect();
    let title = match (one, columns.as_slice()) {
        (Some(_), [column]) => format!("{title}: {}", column.label),
        _ => title.to_owned(),
    };
    let mut rows: Vec<ListRow> = Vec::new();
    for column in columns.iter().rev() {
        rows.extend(column.things.iter().map(row));
    }
    draw(&ListPage {
        frame: visitor.frame(vec![
            Link::new("/room", "The room in pictures"),
            Link::new("", title.clone()),
        ]),
        title,
        bound: figure.bound.clone(),
        rows,
        as_of: as_of_words,
    })
}
