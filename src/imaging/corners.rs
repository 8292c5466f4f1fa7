//! Where on a picture a QR code may be: three corner patterns at a right angle (ISO/IEC 18004).
//!
//! Printed text has rings that look like a corner pattern here and there, a picture can be made to have thousands. So a
//! pattern counts only if its stone lies in the middle of its ring, three only if they are alike and as far apart as those
//! of a code, and of each only so many.

/// How many corner patterns of one picture are looked at.
const MOST_CORNERS: usize = 400;
/// With how many of its neighbours each is put together.
const MOST_NEIGHBOURS: usize = 24;
/// How many places of one picture are told.
pub(super) const MOST_PLACES: usize = 16;
/// How many modules the middles of two corner patterns are apart: from the smallest code to one of 50 modules or so.
const APART: std::ops::RangeInclusive<f64> = 10.0..=56.0;

/// A dark area: how many pixels, and from where to where. Neighbours are those at the sides.
#[derive(Clone, Copy)]
struct Area {
    size: usize,
    left: usize,
    right: usize,
    top: usize,
    bottom: usize,
}

impl Area {
    fn grow(&mut self, x: usize, y: usize) {
        self.size += 1;
        self.left = self.left.min(x);
        self.right = self.right.max(x);
        self.top = self.top.min(y);
        self.bottom = self.bottom.max(y);
    }

    fn sides(&self) -> (f64, f64) {
        (
            (self.right - self.left + 1) as f64,
            (self.bottom - self.top + 1) as f64,
        )
    }

    fn middle(&self) -> (f64, f64) {
        (
            (self.left + self.right + 1) as f64 / 2.0,
            (self.top + self.bottom + 1) as f64 / 2.0,
        )
    }
}

/// Dark areas: which one each pixel belongs to, and each.
struct Areas {
    of: Vec<u32>,
    all: Vec<Area>,
}

impl Areas {
    fn of(dark: &[bool], width: usize) -> Self {
        // Each pixel first gets the area of its neighbour above or before; where two meet, one becomes the other's.
        let mut parents: Vec<u32> = vec![0];
        let mut of = vec![0_u32; dark.len()];
        for at in 0..dark.len() {
            if !dark[at] {
                continue;
            }
            let before = if at % width > 0 { of[at - 1] } else { 0 };
            let above = if at >= width { of[at - width] } else { 0 };
            of[at] = match (before, above) {
                (0, 0) => {
                    let new = u32::try_from(parents.len()).unwrap_or(u32::MAX);
                    parents.push(new);
                    new
                }
                (0, one) | (one, 0) => one,
                (one, other) => {
                    let (one, other) = (root(&mut parents, one), root(&mut parents, other));
                    let (low, high) = (one.min(other), one.max(other));
                    parents[high as usize] = low;
                    low
                }
            };
        }
        let none = Area {
            size: 0,
            left: usize::MAX,
            right: 0,
            top: usize::MAX,
            bottom: 0,
        };
        let mut all = vec![none; parents.len()];
        for (y, row) in of.chunks_exact_mut(width).enumerate() {
            for (x, area) in row.iter_mut().enumerate() {
                if *area > 0 {
                    *area = root(&mut parents, *area);
                    all[*area as usize].grow(x, y);
                }
            }
        }
        Self { of, all }
    }
}

fn root(parents: &mut [u32], of: u32) -> u32 {
    let mut at = of;
    while parents[at as usize] != at {
        parents[at as usize] = parents[parents[at as usize] as usize];
        at = parents[at as usize];
    }
    at
}

/// Whether five runs are those across a corner pattern: dark, light, dark, light, dark, as 1 : 1 : 3 : 1 : 1, within half
/// of what the reader allows more than it does.
fn is_across(runs: [usize; 5]) -> bool {
    let one = (runs[0] + runs[1] + runs[3] + runs[4]) / 4;
    let slack = one * 3 / 4 + 1;
    [1, 1, 3, 1, 1].iter().zip(runs).all(|(times, run)| {
        let meant = times * one;
        run + slack >= meant && run <= meant + slack
    })
}

/// A corner pattern: where its middle is and how large a module, in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Corner {
    at: (f64, f64),
    module: f64,
}

impl Corner {
    /// A ring of 24 modules around a stone of 9, if these two are that.
    fn of(ring: &Area, stone: &Area) -> Option<Self> {
        let ((ring_w, ring_h), (stone_w, stone_h)) = (ring.sides(), stone.sides());
        let (a, b) = (ring.middle(), stone.middle());
        let slack = ring_w.max(ring_h) * 0.12 + 1.0;
        let is_alike = |ring: f64, stone: f64| stone * 7.0 > ring * 1.6 && stone * 7.0 < ring * 5.2;
        let fits = stone.size * 12 > ring.size
            && stone.size * 4 < ring.size * 3
            && ring_w < ring_h * 2.0
            && ring_h < ring_w * 2.0
            && is_alike(ring_w, stone_w)
            && is_alike(ring_h, stone_h)
            && (a.0 - b.0).abs() < slack
            && (a.1 - b.1).abs() < slack;
        fits.then(|| Self {
            at: ((a.0 + b.0) / 2.0, (a.1 + b.1) / 2.0),
            module: ((ring.size + stone.size) as f64 / 33.0).sqrt(),
        })
    }
}

/// The corner patterns among these pixels, at most so many of them, and whether there are more.
fn corners(dark: &[bool], width: usize, most: usize) -> (Vec<Corner>, bool) {
    let areas = Areas::of(dark, width);
    let mut seen = std::collections::BTreeSet::new();
    let mut found = Vec::new();
    for (y, line) in dark.chunks_exact(width).enumerate() {
        let of = &areas.of[y * width..(y + 1) * width];
        let mut runs = [0_usize; 5];
        let mut from = 0;
        while from < width {
            let here = line[from];
            let len = line[from..].iter().take_while(|&&d| d == here).count();
            runs.rotate_left(1);
            runs[4] = len;
            let end = from + len;
            if here && runs[0] > 0 && is_across(runs) {
                let (ring, stone) = (of[from], of[from - runs[3] - 1]);
                let before = of[end - runs.iter().sum::<usize>()];
                let is_new = ring == before && ring != stone && seen.insert((ring, stone));
                let (ring, stone) = (&areas.all[ring as usize], &areas.all[stone as usize]);
                if let Some(corner) = Corner::of(ring, stone).filter(|_| is_new) {
                    if found.len() == most {
                        return (found, true);
                    }
                    found.push(corner);
                }
            }
            from = end;
        }
    }
    (found, false)
}

/// Whether there are corner patterns among these pixels, and at most so many.
pub(super) fn are_few(dark: &[bool], width: usize, most: usize) -> bool {
    let (found, more) = corners(dark, width, most);
    !more && !found.is_empty()
}

/// A place where a code may be: the middle of the corner pattern at its right angle, the way to that on its right and to
/// that below, all in pixels, and how many modules the two are away.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub at: (f64, f64),
    pub right: (f64, f64),
    pub down: (f64, f64),
    pub modules: f64,
    /// How far from a square of three like corners; 0 for one.
    odd: f64,
}

impl Place {
    fn of(corner: Corner, one: Corner, other: Corner) -> Option<Self> {
        let way = |to: Corner| (to.at.0 - corner.at.0, to.at.1 - corner.at.1);
        let (mut right, mut down) = (way(one), way(other));
        let cross = right.0 * down.1 - right.1 * down.0;
        if cross < 0.0 {
            (right, down) = (down, right);
        }
        let (a, b) = (right.0.hypot(right.1), down.0.hypot(down.1));
        let module = (corner.module + one.module + other.module) / 3.0;
        let modules = (a + b) / 2.0 / module;
        let slant = (right.0 * down.0 + right.1 * down.1).abs() / (a * b);
        let legs = a.max(b) / a.min(b);
        let sizes = [corner.module, one.module, other.module];
        let unlike = sizes.iter().fold(0.0_f64, |most, s| most.max(*s))
            / sizes.iter().fold(f64::MAX, |least, s| least.min(*s));
        let fits = slant < 0.4 && legs < 1.5 && unlike < 1.7 && APART.contains(&modules);
        fits.then_some(Self {
            at: corner.at,
            right,
            down,
            modules,
            odd: slant + (legs - 1.0) + (unlike - 1.0),
        })
    }

    /// The middle of the code.
    pub(super) fn middle(&self) -> (f64, f64) {
        (
            self.at.0 + (self.right.0 + self.down.0) / 2.0,
            self.at.1 + (self.right.1 + self.down.1) / 2.0,
        )
    }

    /// Half of a side.
    pub(super) fn reach(&self) -> f64 {
        self.right.0.hypot(self.right.1) / 2.0
    }

    /// The same place on a picture that is so many times as large.
    pub(super) fn times(&self, by: f64) -> Self {
        let times = |(x, y): (f64, f64)| (x * by, y * by);
        Self {
            at: times(self.at),
            right: times(self.right),
            down: times(self.down),
            ..*self
        }
    }
}

/// Where a code may be among these pixels: the likeliest first, at most [`MOST_PLACES`].
pub(super) fn places(dark: &[bool], width: usize) -> Vec<Place> {
    let (corners, _) = corners(dark, width, MOST_CORNERS);
    let mut places = Vec::new();
    for corner in &corners {
        let mut near: Vec<(f64, Corner)> = corners
            .iter()
            .map(|other| {
                let away = (other.at.0 - corner.at.0).hypot(other.at.1 - corner.at.1);
                (away / corner.module, *other)
            })
            .filter(|(away, other)| {
                APART.contains(away)
                    && other.module < corner.module * 1.7
                    && corner.module < other.module * 1.7
            })
            .collect();
        near.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        near.truncate(MOST_NEIGHBOURS);
        for (i, (_, one)) in near.iter().enumerate() {
            places.extend(
                near[i + 1..]
                    .iter()
                    .filter_map(|(_, other)| Place::of(*corner, *one, *other)),
            );
        }
    }
    places.sort_by(|a, b| a.odd.total_cmp(&b.odd));
    places.truncate(MOST_PLACES);
    places
}
