//! How long a medium sets at this temperature and this thickness: figures from a sheet, in between by interpolation, and
//! nothing where the sheet is too far away.
//!
//! Where figures are given for two temperatures or thicknesses, what lies between is drawn straight: **our assumption**, and
//! said so each time. A little beyond the outermost ([`BEYOND_C`], half as thin, half as thick again) the line is carried on,
//! but never to an earlier earliest nor to a later limit; further out there is no answer.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::medium::{Medium, SetFigure};
use super::thickness::{THICK_FROM, THIN_TO, Thickness, tenths_words};

/// How far beyond the outermost temperature of a sheet its line is carried on, °C (our assumption).
pub const BEYOND_C: i16 = 5;
/// The most rows of a sheet.
pub const MAX_ROWS: usize = 60;
/// The longest time in a row, seconds: 30 days (our assumption, to catch a wrong unit).
const MAX_SECONDS: u32 = 30 * 24 * 3600;

/// Figures for one temperature and one thickness, in seconds from the moment the medium was laid on.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetRow {
    /// Air temperature, °C; left out in every row of a sheet that does not go by it.
    #[serde(default)]
    pub air_c: Option<i16>,
    /// Thickness; left out in every row of a sheet that does not go by it.
    #[serde(default)]
    pub thickness: Option<Thickness>,
    /// Not before.
    #[serde(default)]
    pub earliest_s: Option<u32>,
    /// Usually by then.
    #[serde(default)]
    pub usual_s: Option<u32>,
    /// Not left on longer.
    #[serde(default)]
    pub limit_s: Option<u32>,
    /// Figures that are our assumption.
    #[serde(default)]
    pub assumed: Vec<SetFigure>,
}

/// A maker's sheet for a medium, entered by the agency; it goes before the figures that came with the program.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    /// Stable identifier, kebab-case.
    pub id: String,
    /// Which sheet, of when, and where it is kept.
    pub source: String,
    /// The medium.
    pub medium: String,
    /// What else it says of the time.
    #[serde(default)]
    pub note: String,
    /// Its figures.
    #[serde(rename = "row")]
    pub rows: Vec<SetRow>,
}

/// One figure of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Figure {
    /// Seconds from the moment the medium was laid on.
    pub seconds: u32,
    /// Whether the figure is our assumption.
    pub assumed: bool,
}

/// How long a medium sets under these circumstances.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Window {
    /// Not before.
    pub earliest: Option<Figure>,
    /// Usually by then.
    pub usual: Option<Figure>,
    /// Not left on longer.
    pub limit: Option<Figure>,
    /// True where there are figures, but none for what is this cold, warm, thin or thick.
    pub unknown: bool,
    /// How the figures were found, each in a sentence.
    pub how: Vec<String>,
    /// What the time depends on besides.
    pub note: String,
    /// Where the figures come from.
    pub source: String,
}

impl Window {
    /// The figures in words: `not before 5 min, usually 7 min 30 s (our assumption)`. Empty where there are none.
    #[must_use]
    pub fn figures(&self) -> String {
        let said = [
            ("not before", self.earliest),
            ("usually", self.usual),
            ("not longer than", self.limit),
        ];
        let said: Vec<String> = said
            .into_iter()
            .filter_map(|(words, figure)| figure.map(|f| format!("{words} {}", f.words())))
            .collect();
        said.join(", ")
    }

    /// All of it in sentences, the source last.
    #[must_use]
    pub fn sentence(&self) -> String {
        let mut out = Vec::new();
        let figures = self.figures();
        if !figures.is_empty() {
            let mut letters = figures.chars();
            let first = letters.next().map(|c| c.to_ascii_uppercase());
            out.push(format!(
                "{}{}.",
                first.into_iter().collect::<String>(),
                letters.as_str()
            ));
        }
        out.extend(self.how.iter().cloned());
        if !self.note.is_empty() {
            out.push(self.note.clone());
        }
        if !self.source.is_empty() {
            out.push(format!("Source: {}.", self.source.trim_end_matches('.')));
        }
        out.join(" ")
    }
}

impl Figure {
    /// It in words, with "our assumption" where it is ours.
    #[must_use]
    pub fn words(self) -> String {
        let ours = if self.assumed {
            " (our assumption)"
        } else {
            ""
        };
        format!("{}{ours}", time_words(self.seconds))
    }
}

/// Seconds in words: `90` is `1 min 30 s`, `7200` is `2 h`.
#[must_use]
pub fn time_words(seconds: u32) -> String {
    let (minutes, rest) = (seconds / 60, seconds % 60);
    match (minutes, rest) {
        (m, 0) if m >= 120 && m.is_multiple_of(60) => format!("{} h", m / 60),
        (0, s) => format!("{s} s"),
        (m, 0) => format!("{m} min"),
        (m, s) => format!("{m} min {s} s"),
    }
}

/// Three figures, in the order earliest, usual, limit.
type Triple = [Option<Figure>; 3];

fn triple(row: &SetRow) -> Triple {
    let figure = |seconds: Option<u32>, which: SetFigure| {
        seconds.map(|seconds| Figure {
            seconds,
            assumed: row.assumed.contains(&which),
        })
    };
    [
        figure(row.earliest_s, SetFigure::Earliest),
        figure(row.usual_s, SetFigure::Usual),
        figure(row.limit_s, SetFigure::Limit),
    ]
}

/// What all of them allow together: the earliest earliest, the latest usual and limit.
fn together(of: &[Triple]) -> Triple {
    let pick = |at: usize, later: bool| {
        let figures: Option<Vec<Figure>> = of.iter().map(|t| t[at]).collect();
        let figures = figures?;
        if later {
            figures.into_iter().max_by_key(|f| f.seconds)
        } else {
            figures.into_iter().min_by_key(|f| f.seconds)
        }
    };
    [pick(0, false), pick(1, true), pick(2, true)]
}

/// The line through two points, at `x`; integers all along, rounded to the nearest second.
fn line(x: i64, (x0, a): (i64, Triple), (x1, b): (i64, Triple)) -> Triple {
    let inside = (x0..=x1).contains(&x);
    let near = if x < x0 { a } else { b };
    let at = |i: usize| {
        let (a, b) = (a[i]?, b[i]?);
        let (ya, yb) = (i64::from(a.seconds), i64::from(b.seconds));
        let width = (x1 - x0).max(1);
        let y = ya + ((yb - ya) * (x - x0) * 2 + width).div_euclid(2 * width);
        let mut seconds = u32::try_from(y.max(0)).unwrap_or(u32::MAX);
        if let (false, Some(near)) = (inside, near[i]) {
            // Beyond what is given: taken off too early, or left on too long, is what does harm.
            seconds = match i {
                0 => seconds.max(near.seconds),
                2 => seconds.min(near.seconds),
                _ => seconds,
            };
        }
        Some(Figure {
            seconds,
            assumed: true,
        })
    };
    sorted([at(0), at(1), at(2)])
}

/// Usual not before earliest, limit not before either.
fn sorted([earliest, usual, limit]: Triple) -> Triple {
    let least = |f: Option<Figure>, by: Option<Figure>| {
        f.map(|f| Figure {
            seconds: f.seconds.max(by.map_or(0, |b| b.seconds)),
            ..f
        })
    };
    let usual = least(usual, earliest);
    let limit = least(limit, usual.or(earliest));
    [earliest, usual, limit]
}

fn assumed(of: Triple) -> Triple {
    of.map(|f| f.map(|f| Figure { assumed: true, ..f }))
}

/// A point of an axis: from where to where it reaches, and its figures.
type Point = (i64, i64, Triple);

/// How a figure was found on an axis.
enum Found {
    Given(Triple),
    Between(Triple, i64, i64),
    Beyond(Triple, i64),
    Far(i64, i64),
}

/// The figures at `x`, from points in order that do not overlap. `near` says how far beyond `edge` the line is carried on.
fn on_axis(points: &[Point], x: i64, near: impl Fn(i64) -> i64) -> Option<Found> {
    let (first, last) = (points.first()?, points.last()?);
    if let Some(hit) = points
        .iter()
        .find(|(from, to, _)| (*from..=*to).contains(&x))
    {
        return Some(Found::Given(hit.2));
    }
    if let Some(pair) = points.windows(2).find(|p| p[0].1 < x && x < p[1].0) {
        let (low, high) = (pair[0].1, pair[1].0);
        let between = line(x, (low, pair[0].2), (high, pair[1].2));
        return Some(Found::Between(between, low, high));
    }
    let below = x < first.0;
    let edge = if below { first.0 } else { last.1 };
    if (x - edge).abs() > near(edge) {
        return Some(Found::Far(first.0, last.1));
    }
    let beyond = match points {
        [only] => assumed(only.2),
        [a, b, ..] if below => line(x, (a.0, a.2), (b.0, b.2)),
        [.., a, b] => line(x, (a.1, a.2), (b.1, b.2)),
        [] => return None,
    };
    Some(Found::Beyond(beyond, edge))
}

/// How long the medium sets, by the agency's sheet if there is one, else by the medium's own figures. None for a medium
/// that has no setting time to keep.
#[must_use]
pub fn window(
    medium: &Medium,
    sheet: Option<&Sheet>,
    air_c: Option<i16>,
    thickness: Option<Thickness>,
) -> Option<Window> {
    let own = medium.set.as_ref();
    let (rows, source) = match (sheet, own) {
        (Some(sheet), _) => (sheet.rows.as_slice(), sheet.source.clone()),
        (None, Some(own)) => (own.rows.as_slice(), own.source.clone()),
        (None, None) => return None,
    };
    let notes = [
        sheet.map_or("", |s| s.note.as_str()),
        own.map_or("", |o| o.note.as_str()),
    ];
    let notes: Vec<&str> = notes.into_iter().filter(|n| !n.is_empty()).collect();
    let mut out = Window {
        note: notes.join(" "),
        source,
        ..Window::default()
    };
    let by_air = rows.iter().any(|r| r.air_c.is_some());
    let by_thickness = rows.iter().any(|r| r.thickness.is_some());
    let told = (by_air && air_c.is_some()) || (by_thickness && thickness.is_some());
    let figures = match own {
        // Nothing is known that the rows go by: the medium's own summary of them.
        Some(own) if sheet.is_none() && !told => {
            let minutes = |m: Option<u32>, which: SetFigure| {
                m.map(|m| Figure {
                    seconds: m.saturating_mul(60),
                    assumed: own.assumed.contains(&which),
                })
            };
            missing(by_air, by_thickness, &mut out.how);
            Some([
                minutes(own.earliest, SetFigure::Earliest),
                minutes(own.usual, SetFigure::Usual),
                minutes(own.limit, SetFigure::Limit),
            ])
        }
        _ => {
            missing(
                by_air && air_c.is_none(),
                by_thickness && thickness.is_none(),
                &mut out.how,
            );
            of_rows(rows, air_c, thickness, &mut out.how)
        }
    };
    match figures {
        Some([earliest, usual, limit]) => {
            (out.earliest, out.usual, out.limit) = (earliest, usual, limit);
        }
        None => out.unknown = true,
    }
    Some(out)
}

fn missing(air: bool, thickness: bool, how: &mut Vec<String>) {
    let what = match (air, thickness) {
        (true, true) => "Air temperature and thickness are",
        (true, false) => "The air temperature is",
        (false, true) => "The thickness is",
        (false, false) => return,
    };
    how.push(format!(
        "{what} not recorded, so the window takes in all that the figures are given for."
    ));
}

/// The figures at this temperature and thickness; none where the rows are too far away, and then `how` says so.
fn of_rows(
    rows: &[SetRow],
    air_c: Option<i16>,
    thickness: Option<Thickness>,
    how: &mut Vec<String>,
) -> Option<Triple> {
    let mut layers: Vec<Option<Thickness>> = rows.iter().map(|r| r.thickness).collect();
    layers.sort_by_key(|t| t.map(Thickness::span));
    layers.dedup();
    let mut points: Vec<Point> = Vec::with_capacity(layers.len());
    // What the temperature does is said once: the sentence is the same for each thickness, figures apart.
    let mut said: Vec<String> = Vec::new();
    let mut far = None;
    for layer in layers {
        let of: Vec<&SetRow> = rows.iter().filter(|r| r.thickness == layer).collect();
        let (from, to) = layer.map_or((0, i64::MAX), |t| {
            let (from, to) = t.span();
            (i64::from(from), i64::from(to))
        });
        match at_air(&of, air_c, &mut said) {
            Some(figures) => points.push((from, to, figures)),
            None => far = said.last().cloned(),
        }
    }
    said.sort();
    said.dedup();
    how.extend(said);
    if far.is_some() {
        return None;
    }
    let Some(thickness) = thickness.filter(|_| rows.iter().any(|r| r.thickness.is_some())) else {
        return Some(together(&points.iter().map(|p| p.2).collect::<Vec<_>>()));
    };
    let x = i64::from(match thickness {
        Thickness::Thin => THIN_TO,
        Thickness::Thick => THICK_FROM,
        Thickness::Tenths(t) => t,
    });
    // A layer called by the same word as in the sheet needs no millimetres.
    let same = rows.iter().any(|r| r.thickness == Some(thickness));
    if !same && matches!(thickness, Thickness::Thin | Thickness::Thick) {
        how.push(format!(
            "A {thickness} layer is taken as {} mm: our assumption.",
            words(x)
        ));
    }
    // Thinner down to half of the thinnest, thicker up to half as much again: our assumption.
    match on_axis(&points, x, |edge| edge / 2)? {
        Found::Given(figures) => Some(figures),
        Found::Between(figures, low, high) => {
            how.push(format!(
                "Between {} and {} mm a straight line is drawn: our assumption.",
                words(low),
                words(high)
            ));
            Some(figures)
        }
        Found::Beyond(figures, edge) => {
            how.push(format!(
                "The figures end at {} mm and are carried on to {} mm: our assumption.",
                words(edge),
                words(x)
            ));
            Some(figures)
        }
        Found::Far(low, high) => {
            how.push(format!(
                "Figures are given for {} to {} mm. For {} mm the set time is not known: try a scrap of it first.",
                words(low),
                words(high),
                words(x)
            ));
            None
        }
    }
}

fn words(tenths: i64) -> String {
    tenths_words(u32::try_from(tenths).unwrap_or(0))
}

/// The figures of rows of one thickness at this temperature.
fn at_air(rows: &[&SetRow], air_c: Option<i16>, how: &mut Vec<String>) -> Option<Triple> {
    let all = || together(&rows.iter().map(|r| triple(r)).collect::<Vec<_>>());
    let Some(air) = air_c else {
        return Some(all());
    };
    let mut points: Vec<Point> = rows
        .iter()
        .filter_map(|r| r.air_c.map(|c| (i64::from(c), i64::from(c), triple(r))))
        .collect();
    if points.is_empty() {
        return Some(all());
    }
    points.sort_by_key(|p| p.0);
    match on_axis(&points, i64::from(air), |_| i64::from(BEYOND_C))? {
        Found::Given(figures) => Some(figures),
        Found::Between(figures, low, high) => {
            how.push(format!(
                "Between {low} and {high} °C a straight line is drawn: our assumption."
            ));
            Some(figures)
        }
        Found::Beyond(figures, edge) => {
            how.push(format!(
                "The figures end at {edge} °C and are carried on to {air} °C: our assumption."
            ));
            Some(figures)
        }
        Found::Far(low, high) => {
            how.push(format!(
                "Figures are given for {low} to {high} °C. At {air} °C the set time is not known: try a scrap of it first."
            ));
            None
        }
    }
}

/// What does not agree in the rows of a sheet, each in a sentence.
#[must_use]
pub fn row_problems(rows: &[SetRow]) -> Vec<String> {
    let mut out = Vec::new();
    if rows.len() > MAX_ROWS {
        out.push(format!("there are more than {MAX_ROWS} rows of set times"));
        return out;
    }
    let some = |f: fn(&SetRow) -> bool| rows.iter().any(f) && !rows.iter().all(f);
    if some(|r| r.air_c.is_some()) {
        out.push("either every row of set times gives air_c, or none does".to_owned());
    }
    if some(|r| r.thickness.is_some()) {
        out.push("either every row of set times gives a thickness, or none does".into());
    }
    for (i, row) in rows.iter().enumerate() {
        let name = format!("row {} of set times", i + 1);
        let figures: Vec<u32> = triple(row)
            .into_iter()
            .flatten()
            .map(|f| f.seconds)
            .collect();
        if figures.is_empty() {
            out.push(format!("{name} gives no figure"));
        }
        if !figures.is_sorted() {
            out.push(format!(
                "{name}: earliest, usual and limit are out of order"
            ));
        }
        if figures.iter().any(|s| *s > MAX_SECONDS) {
            out.push(format!(
                "{name} gives more than 30 days; figures are seconds"
            ));
        }
        if row.air_c.is_some_and(|c| !(-60..=70).contains(&c)) {
            out.push(format!(
                "{name}: the air temperature lies between -60 and 70 °C"
            ));
        }
        let there = |figure: &SetFigure| match figure {
            SetFigure::Earliest => row.earliest_s.is_some(),
            SetFigure::Usual => row.usual_s.is_some(),
            SetFigure::Limit => row.limit_s.is_some(),
        };
        if !row.assumed.iter().all(there) {
            out.push(format!(
                "{name}: a figure is said to be assumed and is not there"
            ));
        }
        let clash = rows[..i].iter().any(|other| {
            let apart = match (row.thickness, other.thickness) {
                (Some(a), Some(b)) => {
                    let (a, b) = (a.span(), b.span());
                    // The same thickness at another temperature is what rows are for.
                    a == b && row.air_c != other.air_c || a.1 < b.0 || b.1 < a.0
                }
                _ => row.air_c != other.air_c,
            };
            !apart
        });
        if clash {
            out.push(format!(
                "{name} says again what another says, or overlaps it"
            ));
        }
    }
    out
}
