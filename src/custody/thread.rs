//! The thread: custody drawn to time scale, as a model and as positions along one axis.
//!
//! The model says who had the thing and when; [`layout`] says where each part of it lies between 0 and 1. Pages and
//! papers draw from the same positions, so they can't tell two stories.

use crate::zone::Zone;
use chrono::{DateTime, Datelike, Days, TimeDelta, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Custody of one piece between two instants.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Thread {
    /// What it is the thread of: `Item 3, footwear impression`.
    pub title: String,
    /// Where the axis begins.
    pub from: DateTime<Utc>,
    /// Where the axis ends: the disposition, or now.
    pub to: DateTime<Utc>,
    /// Who had it, in order of time.
    pub stretches: Vec<Stretch>,
    /// What happened, in order of time.
    pub knots: Vec<Knot>,
    /// The seals that were on it.
    pub seals: Vec<SealMark>,
}

/// One holder from one instant to another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Stretch {
    /// The holder, as people call him or it: `N. Brandt`, `Shelf D-12`.
    pub holder: String,
    /// What kind of holder it is; decides the line.
    pub kind: StretchKind,
    /// Since when.
    pub from: DateTime<Utc>,
    /// Until when.
    pub to: DateTime<Utc>,
}

/// What kind of holder a stretch has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum StretchKind {
    /// A person: a solid line.
    Person,
    /// A place in the storeroom: a double line.
    Place,
    /// Somebody outside the agency: a dashed line.
    Outside,
    /// On its way: a dotted line.
    Transit,
    /// Nobody is on the record: no line, ragged ends, the length in words.
    Break,
}

impl StretchKind {
    /// The kind in words, for those who can't see the line.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Person => "held by a person",
            Self::Place => "in the storeroom",
            Self::Outside => "outside the agency",
            Self::Transit => "in transit",
            Self::Break => "not accounted for",
        }
    }

    /// The kind as one word of lower-case letters: the class of the line in pictures.
    #[must_use]
    pub fn slug(self) -> &'static str {
        match self {
            Self::Person => "person",
            Self::Place => "place",
            Self::Outside => "outside",
            Self::Transit => "transit",
            Self::Break => "break",
        }
    }
}

/// One act on the thread.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Knot {
    /// When it happened.
    pub at: DateTime<Utc>,
    /// What it was.
    pub kind: KnotKind,
    /// Filled when it is complete; open while a hand-over is only offered.
    pub filled: bool,
    /// Short text beside the knot: `Received by T. Amsel`.
    pub label: String,
    /// Row of the custody table beneath, counted from 1.
    pub row: usize,
    /// Position of the event in the ledger.
    pub seq: u64,
    /// Whether something about it wants attention: a broken seal, a late entry.
    pub flagged: bool,
}

/// What a knot stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum KnotKind {
    /// Recovery, or the first time it came into custody.
    Start,
    /// A hand-over is offered; nothing has moved.
    Offer,
    /// A hand-over is received: the holder changes here.
    Receipt,
    /// An offer was refused.
    Refused,
    /// An offer was taken back.
    Withdrawn,
    /// Put into a package.
    Packed,
    /// Taken out of a package.
    Unpacked,
    /// Sealed.
    Sealed,
    /// Put on a shelf or into a cabinet.
    Stored,
    /// Moved from one place to another.
    Moved,
    /// Taken out of the storeroom.
    CheckedOut,
    /// Brought back.
    Returned,
    /// A seal was cut.
    Opened,
    /// Counted on its shelf.
    Counted,
    /// A correction of an earlier entry.
    Corrected,
    /// Disposition: the end of custody.
    End,
}

impl KnotKind {
    /// One or two words of the trade.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Start => "recovered",
            Self::Offer => "offered",
            Self::Receipt => "received",
            Self::Refused => "refused",
            Self::Withdrawn => "withdrawn",
            Self::Packed => "packed",
            Self::Unpacked => "taken out",
            Self::Sealed => "sealed",
            Self::Stored => "stored",
            Self::Moved => "moved",
            Self::CheckedOut => "checked out",
            Self::Returned => "returned",
            Self::Opened => "opened",
            Self::Counted => "counted",
            Self::Corrected => "corrected",
            Self::End => "end of custody",
        }
    }

    /// Whether the holder changes at this knot.
    #[must_use]
    pub fn hands_over(self) -> bool {
        matches!(
            self,
            Self::Start
                | Self::Receipt
                | Self::Stored
                | Self::Moved
                | Self::CheckedOut
                | Self::Returned
                | Self::End
        )
    }
}

/// A seal: a small bar across the line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SealMark {
    /// Number on the seal.
    pub number: String,
    /// When it was applied.
    pub at: DateTime<Utc>,
    /// When it was cut, if it was.
    pub cut_at: Option<DateTime<Utc>>,
    /// Whether the number that was found is another one than the number on the record.
    pub mismatch: bool,
}

/// How a thread is laid out. Distances are parts of the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LayoutOptions {
    /// Least distance between two knots. Kept between 0 and 0.5.
    pub min_gap: f64,
    /// A stretch without any act in it that is longer than this is folded.
    pub fold_longer_than: TimeDelta,
    /// Length of a folded stretch. Kept between `min_gap` and 0.5.
    pub fold_length: f64,
    /// Least distance between two day ticks.
    pub tick_gap: f64,
    /// Zone of the days on the ticks.
    pub zone: Zone,
}

impl Default for LayoutOptions {
    /// Twenty knots on the axis, stretches of more than a day and a half folded, days in UTC.
    fn default() -> Self {
        Self {
            min_gap: 0.05,
            fold_longer_than: TimeDelta::hours(36),
            fold_length: 0.1,
            tick_gap: 0.06,
            zone: Zone::default(),
        }
    }
}

/// Positions of a thread's parts, each between 0 and 1, in order of time.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Layout {
    /// How many axes long the drawing has to be so that `min_gap` holds: 1 unless the thread is crowded. Positions are
    /// parts of the longer axis.
    pub length: f64,
    /// Stretches, one for each of the model that has any length on the axis.
    pub stretches: Vec<PlacedStretch>,
    /// Folded parts. A break is shortened too, but is marked by its own words instead of a fold.
    pub folds: Vec<Fold>,
    /// Knots, one for each of the model.
    pub knots: Vec<PlacedKnot>,
    /// Seals, one for each of the model.
    pub seals: Vec<PlacedSeal>,
    /// Midnights outside folds.
    pub ticks: Vec<Tick>,
}

/// Where a stretch lies.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedStretch {
    /// Its place in [`Thread::stretches`].
    pub index: usize,
    /// Where it begins.
    pub start: f64,
    /// Where it ends.
    pub end: f64,
    /// Its length in words; for a break with what it means: `3 h 12 min not accounted for`.
    pub words: String,
}

/// A quiet part of the axis, drawn short.
#[derive(Clone, Debug, PartialEq)]
pub struct Fold {
    /// Where it begins.
    pub start: f64,
    /// Where it ends.
    pub end: f64,
    /// Its length in words.
    pub words: String,
}

/// Where a knot lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlacedKnot {
    /// Its place in [`Thread::knots`].
    pub index: usize,
    /// Its position.
    pub at: f64,
}

/// Where a seal lies, and where it was cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlacedSeal {
    /// Its place in [`Thread::seals`].
    pub index: usize,
    /// Where it was applied.
    pub at: f64,
    /// Where it was cut.
    pub cut_at: Option<f64>,
}

/// A midnight.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Its position.
    pub at: f64,
    /// `14 Mar`, with the year on the first tick and when it changes.
    pub label: String,
}

/// What lies at a point of the axis. The order is the order of things at the same instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Mark {
    Knot(usize),
    Cut(usize),
    Seal(usize),
    /// An end of the axis or of a stretch at which no knot stands.
    Bare,
}

struct Point {
    at: DateTime<Utc>,
    mark: Mark,
    position: f64,
}

/// The axis between two neighbouring points.
struct Span {
    seconds: f64,
    least: f64,
    folded: bool,
    length: f64,
}

/// Lays a thread out along one axis.
///
/// Time scale holds for everything that is neither folded nor pressed apart: a part of the axis that would be shorter
/// than `min_gap` is drawn with `min_gap`, and the rest shares one scale. What lies outside `from..=to` is put at the
/// nearer end. A crowded thread asks for a longer axis ([`Layout::length`]) rather than let knots touch.
#[must_use]
pub fn layout(thread: &Thread, options: &LayoutOptions) -> Layout {
    let (from, to) = (thread.from, thread.to.max(thread.from));
    let gap = options.min_gap.clamp(0.0, 0.5);
    let fold_length = options.fold_length.clamp(gap, 0.5);
    let mut points = points(thread, from, to);
    let mut spans: Vec<Span> = points
        .windows(2)
        .map(|w| {
            let quiet = w[1].at - w[0].at;
            let folded = quiet > options.fold_longer_than;
            let knots = matches!((w[0].mark, w[1].mark), (Mark::Knot(_), Mark::Knot(_)));
            let least = if knots { gap } else { gap / 2.0 };
            Span {
                seconds: seconds(quiet),
                least: if folded { fold_length } else { least },
                folded,
                length: 0.0,
            }
        })
        .collect();
    // Where every part is long, folding would hide the scale and win nothing.
    if spans.iter().all(|s| s.folded || s.seconds == 0.0) {
        for span in &mut spans {
            if span.folded {
                span.folded = false;
                span.least = gap;
            }
        }
    }
    let length = share(&mut spans);
    let mut position = 0.0;
    for (i, point) in points.iter_mut().enumerate() {
        point.position = (position / length).min(1.0);
        position += spans.get(i).map_or(0.0, |s| s.length);
    }

    Layout {
        length,
        stretches: stretches(thread, &points, from, to),
        folds: folds(thread, &points, &spans),
        knots: knots(&points),
        seals: seals(thread, &points),
        ticks: ticks(&points, &spans, options),
    }
}

/// All points of the axis in order of time: every knot, seal and cut, and both ends and the ends of stretches where no
/// knot stands.
fn points(thread: &Thread, from: DateTime<Utc>, to: DateTime<Utc>) -> Vec<Point> {
    let mut marks: Vec<(DateTime<Utc>, Mark)> = Vec::new();
    for (i, knot) in thread.knots.iter().enumerate() {
        marks.push((knot.at.clamp(from, to), Mark::Knot(i)));
    }
    let mut taken: Vec<_> = marks.iter().map(|m| m.0).collect();
    taken.sort_unstable();
    let mut bare = vec![from, to];
    for stretch in &thread.stretches {
        bare.extend([stretch.from.clamp(from, to), stretch.to.clamp(from, to)]);
    }
    bare.sort_unstable();
    bare.dedup();
    bare.retain(|at| taken.binary_search(at).is_err());
    marks.extend(bare.into_iter().map(|at| (at, Mark::Bare)));
    for (i, seal) in thread.seals.iter().enumerate() {
        marks.push((seal.at.clamp(from, to), Mark::Seal(i)));
        if let Some(cut) = seal.cut_at {
            marks.push((cut.clamp(from, to), Mark::Cut(i)));
        }
    }
    marks.sort_unstable();
    marks
        .into_iter()
        .map(|(at, mark)| Point {
            at,
            mark,
            position: 0.0,
        })
        .collect()
}

/// Gives every span its length and returns the length of the whole, at least 1.
fn share(spans: &mut [Span]) -> f64 {
    let least: f64 = spans.iter().map(|s| s.least).sum();
    let length = least.max(1.0);
    // One scale for all that is not held at its least length; holding one changes the scale, so look again until
    // nothing changes. Each round holds at least one more, so it ends.
    let mut held: Vec<bool> = spans.iter().map(|s| s.folded || s.seconds == 0.0).collect();
    loop {
        let mut rest = length;
        let mut time = 0.0;
        for (span, held) in spans.iter().zip(&held) {
            if *held {
                rest -= span.least;
            } else {
                time += span.seconds;
            }
        }
        let scale = if time > 0.0 {
            rest.max(0.0) / time
        } else {
            0.0
        };
        let mut changed = false;
        for (span, held) in spans.iter_mut().zip(held.iter_mut()) {
            if !*held && span.seconds * scale < span.least {
                *held = true;
                changed = true;
            }
            span.length = if *held {
                span.least
            } else {
                span.seconds * scale
            };
        }
        if !changed {
            break;
        }
    }
    // Nothing left that could take up the rest: all grow alike.
    let sum: f64 = spans.iter().map(|s| s.length).sum();
    if sum > 0.0 {
        for span in spans.iter_mut() {
            span.length *= length / sum;
        }
    }
    length
}

/// Where a holder begins or ends at `at`: at the knot that hands over, or else at the first thing at that instant.
fn edge(thread: &Thread, points: &[Point], at: DateTime<Utc>) -> f64 {
    let first = points.partition_point(|p| p.at < at);
    let here = points.iter().skip(first).take_while(|p| p.at == at);
    let handing = here.clone().find(|p| match p.mark {
        Mark::Knot(i) => thread.knots.get(i).is_some_and(|k| k.kind.hands_over()),
        _ => false,
    });
    handing
        .or_else(|| here.clone().next())
        .map_or(1.0, |p| p.position)
}

fn stretches(
    thread: &Thread,
    points: &[Point],
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Vec<PlacedStretch> {
    let mut out = Vec::with_capacity(thread.stretches.len());
    for (index, stretch) in thread.stretches.iter().enumerate() {
        let mut end = edge(thread, points, stretch.to.clamp(from, to));
        let start = edge(thread, points, stretch.from.clamp(from, to));
        // The last holder's line runs on to whatever else stands at the last instant.
        if stretch.to >= to {
            end = 1.0;
        }
        if end > start {
            let words = match stretch.kind {
                StretchKind::Break => format!(
                    "{} not accounted for",
                    duration_words(stretch.to - stretch.from)
                ),
                _ => duration_words(stretch.to - stretch.from),
            };
            out.push(PlacedStretch {
                index,
                start,
                end,
                words,
            });
        }
    }
    out
}

fn folds(thread: &Thread, points: &[Point], spans: &[Span]) -> Vec<Fold> {
    let in_break = |a: DateTime<Utc>, b: DateTime<Utc>| {
        thread
            .stretches
            .iter()
            .any(|s| s.kind == StretchKind::Break && s.from < b && s.to > a)
    };
    points
        .windows(2)
        .zip(spans)
        .filter(|(w, span)| span.folded && !in_break(w[0].at, w[1].at))
        .map(|(w, _)| Fold {
            start: w[0].position,
            end: w[1].position,
            words: duration_words(w[1].at - w[0].at),
        })
        .collect()
}

fn knots(points: &[Point]) -> Vec<PlacedKnot> {
    points
        .iter()
        .filter_map(|p| match p.mark {
            Mark::Knot(index) => Some(PlacedKnot {
                index,
                at: p.position,
            }),
            _ => None,
        })
        .collect()
}

fn seals(thread: &Thread, points: &[Point]) -> Vec<PlacedSeal> {
    let mut out: Vec<_> = (0..thread.seals.len())
        .map(|index| PlacedSeal {
            index,
            at: 0.0,
            cut_at: None,
        })
        .collect();
    for point in points {
        match point.mark {
            Mark::Seal(i) => {
                if let Some(seal) = out.get_mut(i) {
                    seal.at = point.position;
                }
            }
            Mark::Cut(i) => {
                if let Some(seal) = out.get_mut(i) {
                    seal.cut_at = Some(point.position);
                }
            }
            Mark::Knot(_) | Mark::Bare => {}
        }
    }
    out
}

/// Days that are looked at for ticks in one part of the axis, at most.
const MOST_DAYS: u64 = 400;

fn ticks(points: &[Point], spans: &[Span], options: &LayoutOptions) -> Vec<Tick> {
    let mut out: Vec<Tick> = Vec::new();
    let mut year = None;
    let gap = options.tick_gap.max(0.01);
    for (w, span) in points.windows(2).zip(spans) {
        if span.folded || span.seconds <= 0.0 {
            continue;
        }
        let days = (w[1].at - w[0].at).num_days().unsigned_abs() + 1;
        let step = days.div_ceil(MOST_DAYS);
        let mut day = w[0].at.with_timezone(&options.zone).date_naive();
        for _ in 0..=MOST_DAYS {
            let Some(midnight) = options.zone.begin_of(day) else {
                break;
            };
            let midnight = midnight.to_utc();
            if midnight > w[1].at {
                break;
            }
            if midnight >= w[0].at {
                let part = seconds(midnight - w[0].at) / span.seconds;
                let at = w[0].position + (w[1].position - w[0].position) * part;
                if out.last().is_none_or(|last| at - last.at >= gap) {
                    let label = if year == Some(day.year()) {
                        day.format("%-d %b")
                    } else {
                        day.format("%-d %b %Y")
                    };
                    year = Some(day.year());
                    out.push(Tick {
                        at,
                        label: label.to_string(),
                    });
                }
            }
            let Some(next) = day.checked_add_days(Days::new(step)) else {
                break;
            };
            day = next;
        }
    }
    out
}

fn seconds(d: TimeDelta) -> f64 {
    d.as_seconds_f64().max(0.0)
}

/// A length of time in words, rounded down: `20 s`, `45 min`, `3 h 12 min`, `2 days 4 h`, `84 days`. A negative length
/// is `0 s`.
#[must_use]
pub fn duration_words(length: TimeDelta) -> String {
    let all = length.num_seconds().max(0);
    let (days, hours, minutes) = (all / 86_400, all / 3_600 % 24, all / 60 % 60);
    let day_word = if days == 1 { "day" } else { "days" };
    match (days, hours, minutes) {
        (0, 0, 0) => format!("{all} s"),
        (0, 0, m) => format!("{m} min"),
        (0, h, 0) => format!("{h} h"),
        (0, h, m) => format!("{h} h {m} min"),
        (d, h, _) if d < 10 && h > 0 => format!("{d} {day_word} {h} h"),
        (d, _, _) => format!("{d} {day_word}"),
    }
}

/// Puts texts in lanes so that none touches another: for each text (its centre and its width, in any one unit) the
/// number of its lane, 0 nearest to the thread. Texts must come in order of their centres; `space` is kept between two
/// in one lane.
#[must_use]
pub fn lanes(texts: &[(f64, f64)], space: f64) -> Vec<usize> {
    let mut ends: Vec<f64> = Vec::new();
    texts
        .iter()
        .map(|&(centre, width)| {
            let (start, end) = (centre - width / 2.0, centre + width / 2.0);
            let lane = ends
                .iter()
                .position(|&e| e + space <= start)
                .unwrap_or(ends.len());
            if lane == ends.len() {
                ends.push(end);
            } else {
                ends[lane] = end;
            }
            lane
        })
        .collect()
}
