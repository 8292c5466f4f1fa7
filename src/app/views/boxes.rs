//! Which box to take from stock for measured things: the smallest that takes them, and why not the next smaller one.

use schemars::JsonSchema;
use serde::Serialize;

use super::line::container;
use crate::app::reader::{Part, ReadError, Reader};
use crate::custody::state::Place;
use crate::ids::PlaceId;
use crate::keeping::fitting::{self, Passed, Sides};
use crate::keeping::packaging::allows_kind;
use crate::keeping::{KeepNeeds, StockLine};
use crate::trade::TradeRules;

/// How many parts of the list of places are looked through for stock.
pub(super) const MOST_PARTS: usize = 10;

/// A box in stock.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct StockBox {
    /// Where it lies.
    pub place: PlaceId,
    /// The same by name.
    pub place_name: String,
    /// What the office calls the kind.
    pub kind: String,
    /// Kind of container, by the trade rules' identifier.
    pub container: String,
    /// Its name.
    pub container_name: String,
    /// Inside length, width and height in millimetres.
    pub inner_mm: Sides,
    /// The same in words.
    pub inner_words: String,
    /// How many there are.
    pub count: u32,
    /// Why it will not do; empty where it will.
    pub against: String,
    /// How the thing lies in it, where one was measured and it is not as it was measured; empty otherwise.
    pub turned: String,
}

/// Which box to take.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Boxes {
    /// The smallest that takes it; none where none does, or nothing was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smallest: Option<StockBox>,
    /// What was found, in a sentence.
    pub sentence: String,
    /// Why the next smaller one does not do, in a sentence; empty where there is none.
    pub next_smaller: String,
    /// Every box of a container that the rules allow, the smallest first.
    pub all: Vec<StockBox>,
}

/// The places that have boxes in stock.
///
/// # Errors
/// See [`ReadError`].
pub async fn stocked(reader: &Reader<'_>) -> Result<Vec<Place>, ReadError> {
    let mut out = Vec::new();
    let mut part = Part::default();
    for _ in 0..MOST_PARTS {
        let page = reader.places(&part).await?;
        out.extend(page.rows.into_iter().filter(|p| !p.stock.is_empty()));
        match page.next {
            Some(next) => part.after = Some(next),
            None => break,
        }
    }
    Ok(out)
}

/// Where a line of the stock stands, so that two offices may call different boxes the same.
struct At<'a> {
    place: &'a Place,
    line: &'a StockLine,
}

fn against(needs: &KeepNeeds, sizes: &[Sides], line: &StockLine) -> String {
    if let Err(why) = fitting::goes_in(sizes, line.inner_mm, needs.packing.clearance_mm()) {
        why.sentence
    } else if line.count == 0 {
        "None of it is left.".into()
    } else {
        String::new()
    }
}

fn told(rules: &TradeRules, needs: &KeepNeeds, sizes: &[Sides], at: &At<'_>) -> StockBox {
    let line = at.line;
    let turn = match sizes {
        [one] => fitting::turned(*one, line.inner_mm, needs.packing.clearance_mm()),
        _ => None,
    };
    let side = |n: usize| ["length", "width", "height"].get(n).copied().unwrap_or("");
    StockBox {
        place: at.place.id,
        place_name: at.place.added.name.clone(),
        kind: line.kind.clone(),
        container_name: container(rules, &line.container),
        container: line.container.clone(),
        inner_mm: line.inner_mm,
        inner_words: fitting::words(line.inner_mm),
        count: line.count,
        against: against(needs, sizes, line),
        turned: match turn {
            Some(t) if t != [0, 1, 2] => format!(
                "turned: its {} along the box's length, its {} across, its {} upright",
                side(t[0]),
                side(t[1]),
                side(t[2])
            ),
            _ => String::new(),
        },
    }
}

/// Which box to take for things of these needs and sizes.
#[must_use]
pub fn boxes(rules: &TradeRules, needs: &KeepNeeds, sizes: &[Sides], places: &[Place]) -> Boxes {
    // One line for each kind of each office, named so that it is found again.
    let lines: Vec<(At<'_>, StockLine)> = places
        .iter()
        .flat_map(|place| place.stock.iter().map(move |line| At { place, line }))
        .enumerate()
        .map(|(i, at)| {
            let named = StockLine {
                kind: i.to_string(),
                ..at.line.clone()
            };
            (at, named)
        })
        .collect();
    let find = |line: &StockLine| {
        let at = line.kind.parse::<usize>().ok().and_then(|i| lines.get(i));
        at.map(|(at, _)| at)
    };
    let allowed = |line: &StockLine| allows_kind(&needs.packing, &line.container);
    let mut all: Vec<&StockLine> = lines
        .iter()
        .map(|(_, line)| line)
        .filter(|l| allowed(l).is_ok())
        .collect();
    all.sort_by_key(|l| {
        (
            fitting::volume(l.inner_mm),
            l.inner_mm.iter().max().copied(),
        )
    });
    let all: Vec<StockBox> = all
        .into_iter()
        .filter_map(find)
        .map(|at| told(rules, needs, sizes, at))
        .collect();
    if sizes.is_empty() {
        return Boxes {
            sentence: if all.is_empty() {
                String::new()
            } else {
                "Nothing of it was measured, so no box is proposed by size.".into()
            },
            all,
            ..Boxes::default()
        };
    }
    let clearance = needs.packing.clearance_mm();
    let found = fitting::smallest(lines.iter().map(|(_, l)| l), sizes, clearance, allowed);
    let smallest = found
        .smallest
        .and_then(find)
        .map(|at| told(rules, needs, sizes, at));
    let next_smaller = found.next_smaller.as_ref().and_then(|(line, why)| {
        let at = find(line)?;
        let why = match why {
            Passed::NoneLeft => "none of it is left.".to_owned(),
            Passed::Rule(reason) => reason.sentence.clone(),
        };
        let which = if smallest.is_some() {
            "The next smaller one"
        } else {
            "The largest one"
        };
        Some(format!(
            "{which}, {} at {}: {why}",
            at.line.kind, at.place.added.name
        ))
    });
    let measured: Vec<String> = sizes.iter().map(|s| fitting::words(*s)).collect();
    let room = if clearance == 0 {
        String::new()
    } else {
        format!(", {clearance} mm free on every side")
    };
    let sentence = match &smallest {
        Some(b) => format!(
            "The smallest box in stock that takes {}{room}: {} ({}, {} inside), {} left at {}.{}",
            measured.join(" and "),
            b.kind,
            b.container_name,
            b.inner_words,
            b.count,
            b.place_name,
            if b.turned.is_empty() {
                String::new()
            } else {
                format!(" It lies {}.", b.turned)
            }
        ),
        None if all.is_empty() => {
            "There is no box in stock of a container that the rules allow for it.".into()
        }
        None => format!("No box in stock takes {}{room}.", measured.join(" and ")),
    };
    let several = if sizes.len() > 1 {
        " Whether several things fit beside one another is not worked out: each was tried by itself, and all by volume."
    } else {
        ""
    };
    Boxes {
        smallest,
        sentence: format!("{sentence} Turned by right angles only.{several}"),
        next_smaller: next_smaller.unwrap_or_default(),
        all,
    }
}
