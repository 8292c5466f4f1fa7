//! The place file: what a place is and what stands in it, as far as the viewer may see it.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::line::{PieceLine, piece_line};
use super::words;
use crate::app::reader::{Page, Part, ReadError, Reader};
use crate::custody::place::PlaceKind;
use crate::custody::state::Place;
use crate::ids::{Code, CountId, PlaceId, Subject};
use crate::keeping::StockLine;
use crate::people::Action;

/// Everything about a place.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PlaceFile {
    /// Which.
    pub id: PlaceId,
    /// Name, as on its label.
    pub name: String,
    /// The code on its label.
    pub code: Code,
    /// The same in groups.
    pub code_grouped: String,
    /// What kind of place.
    pub kind: PlaceKind,
    /// The same in words.
    pub kind_words: String,
    /// What it is in, the outermost first.
    pub path: Vec<PlaceRef>,
    /// Climate class, by the trade rules' identifier.
    pub climate: String,
    /// What the rules say of it; empty where they don't know it.
    pub climate_name: String,
    /// Damp, lit, hot, dusty, on edge, stacked, marked for biological hazards.
    pub facts: Vec<String>,
    /// The boxes in stock there, by kind.
    pub stock: Vec<StockLine>,
    /// The count that covers it and is to be blind for the reader. While it is open nothing is said of what stands there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub counted: Option<CountId>,
    /// What stands in it.
    pub contents: Page<PieceLine>,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

/// A place by name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct PlaceRef {
    /// Which.
    pub id: PlaceId,
    /// Its name.
    pub name: String,
}

/// How many places may stand in one another.
const DEEPEST: usize = 10;

/// Everything about a place, and a part of what stands in it.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(reader: &Reader<'_>, id: PlaceId, part: &Part) -> Result<PlaceFile, ReadError> {
    let place = reader.place(id).await?;
    let zone = reader.house().agency().await?.zone;
    let now = Utc::now();
    let mut path = Vec::new();
    let mut parent = place.added.parent;
    while let Some(id) = parent.filter(|_| path.len() < DEEPEST) {
        let above = reader.place(id).await?;
        parent = above.added.parent;
        path.push(PlaceRef {
            id,
            name: above.added.name,
        });
    }
    path.reverse();
    let counted = blind(reader, id).await?;
    let things = match counted {
        Some(_) => Page {
            rows: Vec::new(),
            next: None,
        },
        None => reader.stored_in(id, part).await?,
    };
    let asked: Vec<Subject> = things
        .rows
        .iter()
        .map(|t| Subject::from(t.piece()))
        .collect();
    let state = reader.around(&asked).await?;
    let rules = &reader.house().rules;
    let lines = things
        .rows
        .iter()
        .filter_map(|t| piece_line(&state, rules, t.piece(), zone, now))
        .collect();
    let climate = rules.climate(&place.added.climate);
    Ok(PlaceFile {
        id,
        name: place.added.name.clone(),
        code_grouped: place.code.grouped(),
        code: place.code.clone(),
        kind: place.added.place_kind,
        kind_words: words::place_kind(place.added.place_kind).into(),
        path,
        climate: place.added.climate.clone(),
        climate_name: climate.map(|c| c.name.clone()).unwrap_or_default(),
        facts: facts(&place),
        stock: place.stock.clone(),
        counted,
        contents: Page {
            rows: lines,
            next: things.next,
        },
        as_of: now,
        as_of_words: words::when(&now, zone),
    })
}

/// How many parts of the list of open counts are looked through.
const MOST_PARTS: usize = 20;

/// The open count of everything that covers this place, where the reader takes part in it or could: whoever counts is not
/// told what should be there. A count of a sample tells what it looks for, so there is nothing to be kept.
async fn blind(reader: &Reader<'_>, place: PlaceId) -> Result<Option<CountId>, ReadError> {
    let viewer = reader.viewer();
    let Some(me) = viewer.id() else {
        return Ok(None);
    };
    let may_count = viewer.may(Action::Keep);
    let mut part = Part::default();
    for _ in 0..MOST_PARTS {
        let page = reader.counts(Some(true), &part).await?;
        let found = page.rows.iter().find(|c| {
            c.ended.is_none()
                && c.sample.is_none()
                && c.places.contains(&place)
                && (may_count || c.counters.contains(&me))
        });
        if let Some(count) = found {
            return Ok(Some(count.id));
        }
        match page.next {
            Some(next) => part.after = Some(next),
            None => break,
        }
    }
    Ok(None)
}

fn facts(place: &Place) -> Vec<String> {
    let p = &place.added;
    [
        (p.damp, "damp"),
        (p.lit, "in direct or strong light"),
        (p.hot, "hot"),
        (p.dusty, "dusty"),
        (p.on_edge, "things stand on edge"),
        (p.stacked, "things are stacked"),
        (p.biohazard_marked, "marked for biological hazards"),
    ]
    .into_iter()
    .filter(|(is, _)| *is)
    .map(|(_, words)| words.to_owned())
    .collect()
}
