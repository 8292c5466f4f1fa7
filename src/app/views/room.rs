//! The custodian's room in figures: how full it is, how long things take to a shelf, what is overdue, which findings are open.
//!
//! Every figure is read within a bound that it says: places sum up what stands in them as it comes and goes, so their figures
//! are exact at any size; the others look at the newest or the most urgent so many, and say whether there are more.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::{case_findings, count_file, place_file, words};
use crate::app::reader::{Part, ReadError, Reader, Thing};
use crate::app::rows;
use crate::custody::state::{Case, Place};
use crate::ids::{CaseId, Piece, PlaceId, Subject};
use crate::ledger::times;
use crate::people::Action;
use crate::store::{DocFilter, DocOrder, LIST_MAX};
use crate::zone::Zone;

/// How many items, the newest, the time to the shelf is taken from; and how many of what is overdue are listed.
pub const MOST_ITEMS: usize = LIST_MAX as usize;
/// How many items, and how many packages, are looked through for findings: those of the newest cases.
pub const MOST_PIECES: usize = 100;
/// How many cases are looked through for findings at the most.
const MOST_CASES: u32 = 20;

/// How full a place is, with everything in it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct PlaceFill {
    /// Which.
    pub id: PlaceId,
    /// Its name.
    pub name: String,
    /// What kind of place, in words.
    pub kind: String,
    /// Whether there are places in it.
    pub has_places: bool,
    /// Packages and loose items in it; none while a blind count that the reader may take part in covers it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub things: Option<u32>,
    /// Of them, those in places that have a capacity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub counted: Option<u32>,
    /// How many the places with a capacity take together; 0 where none has one.
    pub room: u32,
    /// The same in words.
    pub words: String,
}

/// The occupancy of the places in one place, or of the outermost.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Occupancy {
    /// Of which place; none for the outermost places.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub of: Option<place_file::PlaceRef>,
    /// The place itself, then those in it, by name; so too where there is only one outermost place.
    pub places: Vec<PlaceFill>,
    /// Whether there are more places than are listed.
    pub more: bool,
}

/// A thing that a figure counts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Counted {
    /// What.
    pub subject: Subject,
    /// How people call it, with its case.
    pub name: String,
    /// Why it is counted; empty in a restricted case.
    pub why: String,
    /// How long, in minutes.
    pub minutes: i64,
    /// The same in words.
    pub words: String,
}

/// One column of a figure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Column {
    /// What it counts: `under 1 hour`.
    pub label: String,
    /// How many.
    pub count: usize,
    /// Which, the longest first.
    pub things: Vec<Counted>,
}

/// A figure by time.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Figure {
    /// The columns, the shortest time first.
    pub columns: Vec<Column>,
    /// How many in all.
    pub count: usize,
    /// The middle of all, in words; empty where there is none.
    pub median: String,
    /// The longest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub longest: Option<Counted>,
    /// What was looked at, and what not.
    pub bound: String,
    /// Whether there is more than was looked at.
    pub more: bool,
}

/// The room.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Room {
    /// How full it is.
    pub occupancy: Occupancy,
    /// From recovery to the first shelf.
    pub to_shelf: Figure,
    /// Recovered and not on a shelf yet, by the time since then.
    pub waiting: Figure,
    /// Out and overdue, by how long.
    pub overdue: Figure,
    /// Findings that nobody has answered and differences of counts that nobody has resolved, by age.
    pub findings: Figure,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

/// The figures by time: the word of each in addresses, and its title.
pub const FIGURES: [(&str, &str); 4] = [
    ("to-shelf", "From recovery to the shelf"),
    ("waiting", "Not on a shelf yet"),
    ("overdue", "Overdue"),
    ("findings", "Open findings"),
];

/// One figure by itself.
pub struct Alone {
    /// Its title.
    pub title: &'static str,
    /// The figure.
    pub figure: Figure,
    /// When this was read, in words.
    pub as_of_words: String,
}

const HOUR: i64 = 60;
const DAY: i64 = 24 * HOUR;
/// Where the columns of each figure end, in minutes, with what they are called; what is longer goes into the last.
const TO_SHELF: [(i64, &str); 6] = [
    (HOUR, "under 1 hour"),
    (4 * HOUR, "1 to 4 hours"),
    (12 * HOUR, "4 to 12 hours"),
    (DAY, "12 to 24 hours"),
    (3 * DAY, "1 to 3 days"),
    (7 * DAY, "3 to 7 days"),
];
const AGES: [(i64, &str); 4] = [
    (DAY, "under 1 day"),
    (7 * DAY, "1 to 7 days"),
    (30 * DAY, "7 to 30 days"),
    (90 * DAY, "30 to 90 days"),
];

fn figure(
    mut things: Vec<Counted>,
    ends: &[(i64, &str)],
    beyond: &str,
    bound: String,
    more: bool,
) -> Figure {
    things.sort_by(|a, b| b.minutes.cmp(&a.minutes).then_with(|| a.name.cmp(&b.name)));
    let count = things.len();
    let longest = things.first().cloned();
    // Of an even number the longer of the two in the middle: a time that was really taken.
    let median = things
        .get(count.saturating_sub(1) / 2)
        .map_or_else(String::new, |t| t.words.clone());
    let mut columns: Vec<Column> = ends
        .iter()
        .map(|(_, label)| *label)
        .chain([beyond])
        .map(|label| Column {
            label: label.to_owned(),
            count: 0,
            things: Vec::new(),
        })
        .collect();
    for thing in things {
        let at = ends
            .iter()
            .position(|(end, _)| thing.minutes < *end)
            .unwrap_or(ends.len());
        if let Some(column) = columns.get_mut(at) {
            column.count += 1;
            column.things.push(thing);
        }
    }
    Figure {
        columns,
        count,
        median,
        longest,
        bound,
        more,
    }
}

/// Somebody who looks at the room, at one moment.
struct Look<'a> {
    cases: Cases<'a>,
    zone: Zone,
    now: DateTime<Utc>,
}

impl<'a> Look<'a> {
    async fn begin(reader: &'a Reader<'a>) -> Result<Self, ReadError> {
        reader.must(Action::ReadEvidence)?;
        Ok(Self {
            cases: Cases {
                reader,
                known: BTreeMap::new(),
            },
            zone: reader.house().zone().await?,
            now: Utc::now(),
        })
    }

    fn as_of_words(&self) -> String {
        words::when(&self.now, self.zone)
    }
}

/// The room as it is now; the occupancy of the places in `of`, or of the outermost.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(reader: &Reader<'_>, of: Option<PlaceId>) -> Result<Room, ReadError> {
    let mut look = Look::begin(reader).await?;
    let occupancy = occupancy(reader, of).await?;
    let (zone, now) = (look.zone, look.now);
    let (to_shelf, waiting) = shelving(reader, &mut look.cases, now).await?;
    Ok(Room {
        occupancy,
        to_shelf,
        waiting,
        overdue: overdue(reader, &mut look.cases, now).await?,
        findings: open(reader, &mut look.cases, zone, now).await?,
        as_of: now,
        as_of_words: look.as_of_words(),
    })
}

/// The occupancy alone, and when it was read, in words.
///
/// # Errors
/// As [`load`].
pub async fn occupied(
    reader: &Reader<'_>,
    of: Option<PlaceId>,
) -> Result<(Occupancy, String), ReadError> {
    let look = Look::begin(reader).await?;
    Ok((occupancy(reader, of).await?, look.as_of_words()))
}

/// One of the [`FIGURES`] alone.
///
/// # Errors
/// As [`load`], and where there is no such figure.
pub async fn figure_of(reader: &Reader<'_>, word: &str) -> Result<Alone, ReadError> {
    let mut look = Look::begin(reader).await?;
    let (_, title) = *FIGURES
        .iter()
        .find(|(w, _)| *w == word)
        .ok_or(ReadError::NotFound("figure"))?;
    let (zone, now, cases) = (look.zone, look.now, &mut look.cases);
    let figure = match word {
        "to-shelf" => shelving(reader, cases, now).await?.0,
        "waiting" => shelving(reader, cases, now).await?.1,
        "overdue" => overdue(reader, cases, now).await?,
        _ => open(reader, cases, zone, now).await?,
    };
    Ok(Alone {
        title,
        figure,
        as_of_words: look.as_of_words(),
    })
}

async fn occupancy(reader: &Reader<'_>, of: Option<PlaceId>) -> Result<Occupancy, ReadError> {
    let blind = place_file::blind_places(reader).await?;
    let mut places = Vec::new();
    let mut this = None;
    if let Some(id) = of {
        let place = reader.place(id).await?;
        this = Some(place_file::PlaceRef {
            id,
            name: place.added.name.clone(),
        });
        places.push(place);
    }
    let (within, mut more) = places_in(reader, of, MOST_PLACES).await?;
    places.extend(within);
    // One building around everything says little by itself.
    let mut opened = of;
    if let (None, [only]) = (of, places.as_slice()) {
        let id = only.id;
        let (within, rest) = places_in(reader, Some(id), MOST_PLACES).await?;
        places.extend(within);
        more |= rest;
        opened = Some(id);
    }
    let mut out = Vec::with_capacity(places.len());
    for place in &places {
        let has_places =
            Some(place.id) != opened && !places_in(reader, Some(place.id), 1).await?.0.is_empty();
        out.push(fill(place, has_places, blind.contains(&place.id)));
    }
    Ok(Occupancy {
        of: this,
        places: out,
        more,
    })
}

/// How many places a picture shows.
const MOST_PLACES: u32 = 60;

async fn places_in(
    reader: &Reader<'_>,
    of: Option<PlaceId>,
    most: u32,
) -> Result<(Vec<Place>, bool), ReadError> {
    let filter = DocFilter {
        kind: Some("place".into()),
        inside: Some(rows::around_place(of)),
        order: DocOrder::Name,
        ..DocFilter::default()
    };
    let page = reader.list(filter, &Part::first(most)).await?;
    Ok((page.rows, page.next.is_some()))
}

fn fill(place: &Place, has_places: bool, hidden: bool) -> PlaceFill {
    let fill = place.fill;
    let words = if hidden {
        "being counted".to_owned()
    } else if fill.room == 0 {
        format!(
            "{}, no capacity on record",
            words::counted(fill.things, "thing")
        )
    } else {
        let uncounted = fill.things - fill.counted.min(fill.things);
        let beside = if uncounted > 0 {
            format!(", and {uncounted} where no capacity is on record")
        } else {
            String::new()
        };
        let over = fill.counted.saturating_sub(fill.room);
        let over = if over > 0 {
            format!(", {over} too many")
        } else {
            String::new()
        };
        format!("{} of {}{over}{beside}", fill.counted, fill.room)
    };
    PlaceFill {
        id: place.id,
        name: place.added.name.clone(),
        kind: words::place_kind(place.added.place_kind).to_owned(),
        has_places,
        things: (!hidden).then_some(fill.things),
        counted: (!hidden).then_some(fill.counted),
        room: fill.room,
        words,
    }
}

/// Cases by number, read once each.
struct Cases<'a> {
    reader: &'a Reader<'a>,
    known: BTreeMap<CaseId, Case>,
}

impl Cases<'_> {
    async fn get(&mut self, id: CaseId) -> Result<&Case, ReadError> {
        if !self.known.contains_key(&id) {
            let case = self.reader.case(id).await?;
            self.known.insert(id, case);
        }
        self.known.get(&id).ok_or(ReadError::NotFound("case"))
    }

    async fn counted(
        &mut self,
        piece: Piece,
        name: &str,
        case: CaseId,
        why: &str,
        length: TimeDelta,
    ) -> Result<Counted, ReadError> {
        let case = self.get(case).await?;
        let why = if case.restricted { "" } else { why };
        Ok(Counted {
            subject: piece.into(),
            name: format!("{name}, {}", case.number),
            why: why.to_owned(),
            minutes: length.num_minutes().max(0),
            words: words::duration_words(length.max(TimeDelta::zero())),
        })
    }
}

async fn shelving(
    reader: &Reader<'_>,
    cases: &mut Cases<'_>,
    now: DateTime<Utc>,
) -> Result<(Figure, Figure), ReadError> {
    let filter = DocFilter {
        kind: Some("item".into()),
        order: DocOrder::Newest,
        ..DocFilter::default()
    };
    let page = reader.things(filter, &Part::default()).await?;
    let (mut shelved, mut waiting) = (Vec::new(), Vec::new());
    for thing in &page.rows {
        let Thing::Item(item) = thing else { continue };
        // What was imported was recovered before this ledger, and what is gone waits for no shelf.
        if item.imported.is_some() || item.expunged.is_some() {
            continue;
        }
        let piece = thing.piece();
        let recovered = item.recovered_at.to_utc();
        if let Some(at) = item.shelved_at {
            let took = at.to_utc() - recovered;
            let of = cases
                .counted(piece, &thing.name(), item.case, "", took)
                .await?;
            shelved.push(of);
        } else if !matches!(
            item.custody.holder,
            crate::custody::state::Holder::Disposed { .. }
        ) {
            let since = now - recovered;
            let of = cases
                .counted(piece, &thing.name(), item.case, "", since)
                .await?;
            waiting.push(of);
        }
    }
    let more = page.next.is_some();
    let bound = if more {
        format!("Of the {MOST_ITEMS} items recovered last that you may see; there are more.")
    } else {
        "Of every item that you may see; what was imported is left out.".to_owned()
    };
    Ok((
        figure(shelved, &TO_SHELF, "7 days and more", bound.clone(), more),
        figure(waiting, &TO_SHELF, "7 days and more", bound, more),
    ))
}

async fn overdue(
    reader: &Reader<'_>,
    cases: &mut Cases<'_>,
    now: DateTime<Utc>,
) -> Result<Figure, ReadError> {
    let page = reader
        .due_before(&times::recorded(now), &Part::default())
        .await?;
    let mut out = Vec::new();
    for thing in &page.rows {
        let Some(loan) = &thing.custody().loan else {
            continue;
        };
        let Some(due) = loan.due_at else { continue };
        let late = now - due.to_utc();
        let of = cases
            .counted(
                thing.piece(),
                &thing.name(),
                thing.case(),
                &loan.purpose,
                late,
            )
            .await?;
        out.push(of);
    }
    let more = page.next.is_some();
    let bound = if more {
        format!("Of the {MOST_ITEMS} that are overdue longest; there are more.")
    } else {
        "Of everything that is out and that you may see.".to_owned()
    };
    Ok(figure(out, &AGES, "90 days and more", bound, more))
}

async fn open(
    reader: &Reader<'_>,
    cases: &mut Cases<'_>,
    zone: Zone,
    now: DateTime<Utc>,
) -> Result<Figure, ReadError> {
    let page = reader.cases(&Part::first(MOST_CASES)).await?;
    let (mut left, mut looked, mut more) = (MOST_PIECES, 0_usize, page.next.is_some());
    let mut out = Vec::new();
    let mut said: BTreeSet<String> = BTreeSet::new();
    for case in &page.rows {
        if left == 0 {
            more = true;
            break;
        }
        let found = case_findings::load(reader, case.id, zone, now, left).await?;
        left = left.saturating_sub(found.items.max(found.packages).max(1));
        more |= found.more;
        looked += 1;
        for one in found.findings {
            let finding = one.finding;
            if finding.answer.is_some() || !said.insert(finding.key.to_string()) {
                continue;
            }
            let since = match (
                finding.from,
                finding.seq.or(finding.events.first().copied()),
            ) {
                (Some(from), _) => from.to_utc(),
                (None, Some(seq)) => {
                    let event = reader.event(seq).await?;
                    times::parse_claimed(&event.header.claimed_at).map_or(now, |at| at.to_utc())
                }
                (None, None) => now,
            };
            let Some(piece) = one.pieces.first() else {
                continue;
            };
            let of = cases
                .counted(*piece, &one.about, case.id, &finding.title, now - since)
                .await?;
            out.push(of);
        }
    }
    for difference in count_file::unresolved(reader).await? {
        let age = now - difference.at.to_utc();
        out.push(Counted {
            subject: Subject::Count(difference.count),
            name: difference.name,
            why: "Difference of a count".into(),
            minutes: age.num_minutes().max(0),
            words: words::duration_words(age.max(TimeDelta::zero())),
        });
    }
    let bound = if more {
        format!(
            "Of {} begun last, at most {MOST_PIECES} items and as many packages, and of every count; a case's own page looks further.",
            words::counted(looked, "case")
        )
    } else {
        "Of every case that you may see, and of every count.".to_owned()
    };
    Ok(figure(out, &AGES, "90 days and more", bound, more))
}
