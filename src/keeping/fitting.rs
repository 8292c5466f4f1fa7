//! Boxes and what goes into them: a thing is turned by right angles only, and a rule may ask for room around it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Reason;

/// Length, width and height in millimetres.
pub type Sides = [u32; 3];

/// A kind of box that an office has in stock.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StockLine {
    /// What the office calls it; unique there.
    pub kind: String,
    /// Kind of container, by the trade rules' identifier.
    pub container: String,
    /// Inside length, width and height in millimetres.
    pub inner_mm: Sides,
    /// How many there are.
    pub count: u32,
}

/// The six ways in which a thing can lie along the sides of a box, the way in which it was measured first.
const TURNS: [[usize; 3]; 6] = [
    [0, 1, 2],
    [1, 0, 2],
    [0, 2, 1],
    [2, 1, 0],
    [1, 2, 0],
    [2, 0, 1],
];

/// How a thing lies in a box: which of its sides (0 length, 1 width, 2 height) lies along the box's length, width and
/// height. None where it does not go in by any turn of right angles with this much room on every side. A thing laid
/// slantwise might still go in; nothing here says so.
#[must_use]
pub fn turned(size: Sides, inner: Sides, clearance_mm: u32) -> Option<[usize; 3]> {
    let room = 2 * u64::from(clearance_mm);
    TURNS.into_iter().find(|turn| {
        turn.iter()
            .zip(inner)
            .all(|(side, inside)| u64::from(size[*side]) + room <= u64::from(inside))
    })
}

/// The volume of a box in cubic millimetres.
#[must_use]
pub fn volume(sides: Sides) -> u128 {
    sides.into_iter().map(u128::from).product()
}

/// By how many millimetres a box is too small for a thing at its best turn: the side that lacks most. 0 where it fits.
#[must_use]
pub fn lacking(size: Sides, inner: Sides, clearance_mm: u32) -> u64 {
    let (mut size, mut inner) = (size, inner);
    // Longest along longest is the best that turning by right angles can do.
    size.sort_unstable();
    inner.sort_unstable();
    let room = 2 * u64::from(clearance_mm);
    size.iter()
        .zip(inner)
        .map(|(s, i)| (u64::from(*s) + room).saturating_sub(u64::from(i)))
        .max()
        .unwrap_or(0)
}

/// `100 by 75 by 40 mm`.
#[must_use]
pub fn words([l, w, h]: Sides) -> String {
    format!("{l} by {w} by {h} mm")
}

/// The rule that names a container too small.
pub const TOO_SMALL: &str = "container-too-small";

/// Whether measured things go into a box: each by itself in some turn, and all of them by volume. Whether several of
/// them can be arranged beside one another is not worked out.
///
/// # Errors
/// The first that does not go in, with what it lacks.
pub fn goes_in(sizes: &[Sides], inner: Sides, clearance_mm: u32) -> Result<(), Reason> {
    let reason = |sentence: String| Reason {
        rule: TOO_SMALL.into(),
        sentence,
        next: "Take a larger container.".into(),
        source: "geometry, turned by right angles only".into(),
    };
    let around = if clearance_mm == 0 {
        String::new()
    } else {
        format!(" with {clearance_mm} mm free on every side")
    };
    for size in sizes {
        if turned(*size, inner, clearance_mm).is_none() {
            return Err(reason(format!(
                "The thing measures {}; inside it is {}, which is {} mm too little{around}, however it is turned.",
                words(*size),
                words(inner),
                lacking(*size, inner, clearance_mm)
            )));
        }
    }
    let all: u128 = sizes
        .iter()
        .map(|s| volume(s.map(|side| side.saturating_add(clearance_mm.saturating_mul(2)))))
        .sum();
    if sizes.len() > 1 && all > volume(inner) {
        return Err(reason(format!(
            "Together the {} things need more room than {}{around}.",
            sizes.len(),
            words(inner)
        )));
    }
    Ok(())
}

/// Why a box is not the one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Passed {
    /// None of it is left.
    NoneLeft,
    /// A rule shuts it out, or it is too small.
    Rule(Reason),
}

/// What was found in stock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found<'a> {
    /// The smallest that takes it; none where none does.
    pub smallest: Option<&'a StockLine>,
    /// The next smaller one of a container that the rules allow, and why it is not the one.
    pub next_smaller: Option<(&'a StockLine, Passed)>,
}

/// The smallest box in stock, by the volume inside, that the rules allow and that takes these things. Of two of one
/// volume the one with the shorter longest side, then the one named first.
#[must_use]
pub fn smallest<'a>(
    stock: impl IntoIterator<Item = &'a StockLine>,
    sizes: &[Sides],
    clearance_mm: u32,
    allowed: impl Fn(&StockLine) -> Result<(), Reason>,
) -> Found<'a> {
    let mut lines: Vec<&StockLine> = stock.into_iter().filter(|l| allowed(l).is_ok()).collect();
    lines.sort_by_key(|l| {
        let longest = l.inner_mm.iter().max().copied();
        (volume(l.inner_mm), longest, l.kind.as_str())
    });
    let takes = |l: &StockLine| goes_in(sizes, l.inner_mm, clearance_mm);
    let at = lines.iter().position(|l| l.count > 0 && takes(l).is_ok());
    let before = at.unwrap_or(lines.len());
    let next_smaller = before
        .checked_sub(1)
        .and_then(|i| lines.get(i))
        .map(|line| {
            let why = match takes(line) {
                Err(reason) => Passed::Rule(reason),
                Ok(()) => Passed::NoneLeft,
            };
            (*line, why)
        });
    Found {
        smallest: at.and_then(|i| lines.get(i)).copied(),
        next_smaller,
    }
}
