//! The place file: what a place is and what stands in it, as far as the viewer may see it.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::climate_log_file::ClimateLogFile;
use super::line::{PieceLine, piece_line};
use super::seal_stock::{self, SealRangeFile};
use super::words;
use crate::app::reader::{Page, Part, ReadError, Reader};
use crate::custody::capacity::standing_words;
use crate::custody::count::Count;
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
    /// How many packages and loose items it takes, where that is on record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity: Option<u32>,
    /// How many stand there, those in the places in it left out; none while it is counted blindly.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standing: Option<u32>,
    /// The same in words: `3 of 12`.
    pub standing_words: String,
    /// The place that is marked for two people: this one, or one around it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub two_person: Option<PlaceRef>,
    /// The boxes in stock there, by kind.
    pub stock: Vec<StockLine>,
    /// The seals in stock there, range by range.
    pub seals: Vec<SealRangeFile>,
    /// What loggers there have shown; none where there is no reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub climate_log: Option<ClimateLogFile>,
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
    let zone = reader.house().zone().await?;
    let now = Utc::now();
    let mut path = Vec::new();
    let mut two_person = place.two_person.as_ref().map(|_| PlaceRef {
        id,
        name: place.added.name.clone(),
    });
    let mut parent = place.added.parent;
    while let Some(id) = parent.filter(|_| path.len() < DEEPEST) {
        let above = reader.place(id).await?;
        parent = above.added.parent;
        if two_person.is_none() && above.two_person.is_some() {
            two_person = Some(PlaceRef {
                id,
                name: above.added.name.clone(),
            });
        }
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
        capacity: place.capacity,
        standing: counted.is_none().then_some(place.standing),
        standing_words: match (counted, place.capacity) {
            (None, _) => standing_words(&place),
            (Some(_), Some(takes)) => format!("it takes {takes}, and is being counted"),
            (Some(_), None) => "being counted".into(),
        },
        two_person,
        stock: place.stock.clone(),
        seals: seal_stock::ranges(reader, &place).await?,
        climate_log: place
            .climate_log
            .as_deref()
            .map(|log| ClimateLogFile::of(log, zone)),
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

/// Every place that an open count of everything covers in which the reader takes part or could, and the places around those,
/// whose sums would tell.
///
/// # Errors
/// See [`ReadError`].
pub async fn blind_places(reader: &Reader<'_>) -> Result<BTreeSet<PlaceId>, ReadError> {
    let mut out = BTreeSet::new();
    blind_counts(reader, |count| {
        out.extend(count.places.iter().copied());
        true
    })
    .await?;
    if !out.is_empty() {
        let asked: Vec<Subject> = out.iter().map(|p| Subject::Place(*p)).collect();
        let state = reader.around(&asked).await?;
        let around: Vec<PlaceId> = out
            .iter()
            .flat_map(|p| state.places_around(*p))
            .map(|p| p.id)
            .collect();
        out.extend(around);
    }
    Ok(out)
}

/// The open count of everything that covers this place, where the reader takes part in it or could: whoever counts is not
/// told what should be there. A count of a sample tells what it looks for, so there is nothing to be kept.
async fn blind(reader: &Reader<'_>, place: PlaceId) -> Result<Option<CountId>, ReadError> {
    let mut found = None;
    blind_counts(reader, |count| {
        found = count.places.contains(&place).then_some(count.id);
        found.is_none()
    })
    .await?;
    Ok(found)
}

/// Goes through the open counts of everything in which the reader takes part or could, until `on` says that it is enough.
async fn blind_counts(
    reader: &Reader<'_>,
    mut on: impl FnMut(&Count) -> bool,
) -> Result<(), ReadError> {
    let viewer = reader.viewer();
    let Some(me) = viewer.id() else {
        return Ok(());
    };
    let may_count = viewer.may(Action::Keep);
    let mut part = Part::default();
    for _ in 0..MOST_PARTS {
        let page = reader.counts(Some(true), &part).await?;
        let mut blind = page.rows.iter().filter(|c| {
            c.ended.is_none() && c.sample.is_none() && (may_count || c.counters.contains(&me))
        });
        if !blind.all(&mut on) {
            break;
        }
        match page.next {
            Some(next) => part.after = Some(next),
            None => break,
        }
    }
    Ok(())
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
