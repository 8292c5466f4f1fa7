//! The thread as SVG: left to right for a desk, top to bottom for a phone. The style sheet shows one of the two.

use std::fmt::Write as _;

use super::{escape, shorten};
use crate::app::views::words;
use crate::custody::thread::{
    Knot, Layout, LayoutOptions, SealMark, Stretch, StretchKind, Thread, lanes, layout,
};
use crate::zone::Zone;

/// Width of one letter of the labels, on average, in pixels.
const LETTER: f64 = 7.0;
/// Height of a line of labels, in pixels.
const LINE: f64 = 18.0;
/// The longest label, in letters.
const LONGEST: usize = 34;

/// Both drawings of a thread, as one piece of HTML. Each knot links to `#row-N` of the table beneath it, which the page
/// has to bring; `prefix` keeps identifiers apart where a page has several threads.
#[must_use]
pub fn draw(thread: &Thread, options: &LayoutOptions, prefix: &str) -> String {
    let placed = layout(thread, options);
    let mut out = String::from("<div class=\"thread\">");
    across(&mut out, thread, &placed, prefix, options.zone);
    down(&mut out, thread, &placed, prefix, options.zone);
    out.push_str("</div>");
    out
}

/// One text beside the thread.
struct Label {
    at: f64,
    class: &'static str,
    text: String,
}

impl Label {
    fn width(&self) -> f64 {
        count(&self.text) * LETTER
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "labels have a few dozen letters"
)]
fn count(text: &str) -> f64 {
    text.chars().count() as f64
}

fn head(
    out: &mut String,
    thread: &Thread,
    zone: Zone,
    id: &str,
    class: &str,
    width: f64,
    height: f64,
) {
    let (title, said) = (escape(&thread.title), escape(&summary(thread, zone)));
    let _ = write!(
        out,
        "<svg class=\"{class}\" viewBox=\"0 0 {width:.0} {height:.0}\" width=\"{width:.0}\" height=\"{height:.0}\" \
         role=\"group\" aria-labelledby=\"{id}-t {id}-d\"><title id=\"{id}-t\">Thread of {title}</title>\
         <desc id=\"{id}-d\">{said}</desc>"
    );
}

/// The thread in words, for those who can't see it.
#[must_use]
pub fn summary(thread: &Thread, zone: Zone) -> String {
    let mut out = format!(
        "Custody from {} to {}: {} holders, {} acts. ",
        words::minute(&thread.from, zone),
        words::minute(&thread.to, zone),
        thread
            .stretches
            .iter()
            .filter(|s| s.kind != StretchKind::Break)
            .count(),
        thread.knots.len(),
    );
    let breaks = thread
        .stretches
        .iter()
        .filter(|s| s.kind == StretchKind::Break)
        .count();
    match breaks {
        0 => out.push_str("No break."),
        1 => out.push_str("One break, not accounted for."),
        n => {
            let _ = write!(out, "{n} breaks, not accounted for.");
        }
    }
    out.push_str(" The table beneath has every act.");
    out
}

/// Texts of holders, breaks, folds and seals, in order of position.
fn beneath(thread: &Thread, placed: &Layout) -> Vec<Label> {
    let mut out = Vec::new();
    for s in &placed.stretches {
        let Some(stretch) = thread.stretches.get(s.index) else {
            continue;
        };
        let (class, text) = match stretch.kind {
            StretchKind::Break => ("t-break", s.words.clone()),
            _ => (
                "t-holder",
                format!("{}, {}", shorten(&stretch.holder, 22), s.words),
            ),
        };
        out.push(Label {
            at: f64::midpoint(s.start, s.end),
            class,
            text,
        });
    }
    for f in &placed.folds {
        out.push(Label {
            at: f64::midpoint(f.start, f.end),
            class: "t-fold",
            text: format!("folded: {}", f.words),
        });
    }
    for s in &placed.seals {
        let Some(seal) = thread.seals.get(s.index) else {
            continue;
        };
        out.push(Label {
            at: s.at,
            class: seal_class(seal),
            text: seal_words(seal),
        });
        if let Some(at) = s.cut_at {
            out.push(Label {
                at,
                class: "t-seal",
                text: format!("{} cut", seal.number),
            });
        }
    }
    out.sort_by(|a, b| a.at.total_cmp(&b.at));
    out
}

fn seal_class(seal: &SealMark) -> &'static str {
    if seal.mismatch { "t-break" } else { "t-seal" }
}

fn seal_words(seal: &SealMark) -> String {
    if seal.mismatch {
        format!("seal {}, number differs", seal.number)
    } else {
        format!("seal {}", seal.number)
    }
}

fn knot_words(knot: &Knot) -> String {
    if knot.flagged {
        shorten(&format!("attention: {}", knot.label), LONGEST)
    } else {
        shorten(&knot.label, LONGEST)
    }
}

fn knot(out: &mut String, knot: &Knot, zone: Zone, x: f64, y: f64) {
    let mut class = String::from(if knot.filled {
        "knot filled"
    } else {
        "knot open"
    });
    if knot.flagged {
        class.push_str(" flagged");
    }
    let said = escape(&format!(
        "{}: {}{}, {}, entry {}",
        knot.kind.words(),
        knot.label,
        if knot.filled { "" } else { " (open)" },
        words::minute(&knot.at, zone),
        knot.seq
    ));
    let _ = write!(
        out,
        "<a href=\"#row-{}\" class=\"{class}\" aria-label=\"{said}\"><title>{said}</title>\
         <circle class=\"hit\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"22\"/><circle class=\"dot\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"7\"/>",
        knot.row
    );
    if knot.flagged {
        let (a, b, c, d) = (x - 12.0, x + 12.0, y - 12.0, y + 12.0);
        let _ = write!(
            out,
            "<path class=\"flag\" d=\"M{a:.1} {c:.1}H{b:.1}V{d:.1}H{a:.1}Z\"/>"
        );
    }
    out.push_str("</a>");
}

/// A line from `a` to `b` along the axis at `c` across it.
fn line(out: &mut String, class: &str, upright: bool, a: f64, b: f64, c: f64) {
    let (x1, y1, x2, y2) = if upright { (c, a, c, b) } else { (a, c, b, c) };
    let _ = write!(
        out,
        "<path class=\"{class}\" d=\"M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}\"/>"
    );
}

/// A jagged stroke across the axis: the torn end of a thread.
fn ragged(out: &mut String, upright: bool, at: f64, c: f64, side: f64) {
    let mut d = String::new();
    for (i, step) in [-11.0, -6.0, -2.0, 3.0, 7.0, 11.0].into_iter().enumerate() {
        let along = at + if i % 2 == 0 { 0.0 } else { side * 6.0 };
        let (x, y) = if upright {
            (c + step, along)
        } else {
            (along, c + step)
        };
        let _ = write!(d, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
    }
    let _ = write!(out, "<path class=\"ragged\" d=\"{d}\"/>");
}

fn stretch(out: &mut String, stretch: &Stretch, upright: bool, a: f64, b: f64, c: f64) {
    match stretch.kind {
        StretchKind::Place => {
            line(out, "held place", upright, a, b, c - 3.5);
            line(out, "held place", upright, a, b, c + 3.5);
        }
        StretchKind::Break => {
            // Clear of the knots at both ends, where there is room.
            let clear = ((b - a) / 4.0).clamp(1.0, 12.0);
            line(out, "stub", upright, a, a + clear, c);
            line(out, "stub", upright, b - clear, b, c);
            ragged(out, upright, a + clear, c, 1.0);
            ragged(out, upright, b - clear, c, -1.0);
        }
        kind => line(out, &format!("held {}", kind.slug()), upright, a, b, c),
    }
}

/// Two slanting strokes over a gap in the line.
fn fold(out: &mut String, upright: bool, at: f64, c: f64) {
    line(out, "fold-gap", upright, at - 5.0, at + 5.0, c);
    for shift in [-5.0, 5.0] {
        let (x1, y1, x2, y2) = if upright {
            (c - 11.0, at + shift + 4.0, c + 11.0, at + shift - 4.0)
        } else {
            (at + shift - 4.0, c + 11.0, at + shift + 4.0, c - 11.0)
        };
        let _ = write!(
            out,
            "<path class=\"fold\" d=\"M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}\"/>"
        );
    }
}

/// A bar across the line; in two halves, apart, where the seal was cut.
fn seal(out: &mut String, upright: bool, at: f64, c: f64, cut: bool) {
    let halves: &[(f64, f64)] = if cut {
        &[(-15.0, -4.0), (4.0, 15.0)]
    } else {
        &[(-15.0, 15.0)]
    };
    for (from, to) in halves {
        // The axis of a bar is the other one.
        line(
            out,
            if cut { "seal cut" } else { "seal" },
            !upright,
            c + from,
            c + to,
            at,
        );
    }
}

fn across(out: &mut String, thread: &Thread, placed: &Layout, prefix: &str, zone: Zone) {
    let (pad, axis) = (28.0, 1020.0 * placed.length);
    let width = axis + 2.0 * pad;
    let x = |at: f64| pad + at * axis;
    let fit =
        |at: f64, w: f64| x(at).clamp(w / 2.0 + 2.0, (width - w / 2.0 - 2.0).max(w / 2.0 + 2.0));

    let above: Vec<Label> = placed
        .knots
        .iter()
        .filter_map(|k| thread.knots.get(k.index).map(|knot| (k.at, knot)))
        .map(|(at, knot)| Label {
            at,
            class: "t-knot",
            text: knot_words(knot),
        })
        .collect();
    let below = beneath(thread, placed);
    let place = |labels: &[Label]| -> Vec<(f64, f64)> {
        labels
            .iter()
            .map(|l| (fit(l.at, l.width()), l.width()))
            .collect()
    };
    let (above_at, below_at) = (place(&above), place(&below));
    let (above_lanes, below_lanes) = (lanes(&above_at, 14.0), lanes(&below_at, 14.0));
    let y = 34.0 + LINE * deepest(&above_lanes);
    let bottom = y + 40.0 + LINE * deepest(&below_lanes);
    let height = bottom + 26.0;

    let class = if placed.length > 1.0 {
        "across long"
    } else {
        "across"
    };
    head(
        out,
        thread,
        zone,
        &format!("{prefix}-across"),
        class,
        width,
        height,
    );
    for tick in &placed.ticks {
        let at = x(tick.at);
        let _ = write!(
            out,
            "<path class=\"tick\" d=\"M{at:.1} {:.1}V{bottom:.1}\"/><text class=\"t-tick\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            y + 10.0,
            fit(tick.at, count(&tick.label) * LETTER),
            bottom + 16.0,
            escape(&tick.label)
        );
    }
    let text_y = |lane: usize| y - 22.0 - LINE * lane_height(lane);
    for (label, lane) in above.iter().zip(&above_lanes) {
        let foot = x(label.at);
        let _ = write!(
            out,
            "<path class=\"leader\" d=\"M{foot:.1} {:.1}V{:.1}\"/>",
            text_y(*lane) + 3.0,
            y - 8.0
        );
    }
    // Texts after all leaders, so that none is struck through.
    for (label, ((at, _), lane)) in above.iter().zip(above_at.iter().zip(&above_lanes)) {
        text(out, label, *at, text_y(*lane));
    }
    for (label, ((at, _), lane)) in below.iter().zip(below_at.iter().zip(&below_lanes)) {
        text(out, label, *at, y + 34.0 + LINE * lane_height(*lane));
    }
    parts(out, thread, placed, zone, false, y, &x);
    out.push_str("</svg>");
}

fn text(out: &mut String, label: &Label, x: f64, y: f64) {
    let _ = write!(
        out,
        "<text class=\"{}\" x=\"{x:.1}\" y=\"{y:.1}\">{}</text>",
        label.class,
        escape(&label.text)
    );
}

/// The lines, folds, seals and knots themselves.
fn parts(
    out: &mut String,
    thread: &Thread,
    placed: &Layout,
    zone: Zone,
    upright: bool,
    c: f64,
    at: &impl Fn(f64) -> f64,
) {
    for s in &placed.stretches {
        if let Some(model) = thread.stretches.get(s.index) {
            stretch(out, model, upright, at(s.start), at(s.end), c);
        }
    }
    for f in &placed.folds {
        fold(out, upright, at(f64::midpoint(f.start, f.end)), c);
    }
    for s in &placed.seals {
        seal(out, upright, at(s.at), c, false);
        if let Some(cut) = s.cut_at {
            seal(out, upright, at(cut), c, true);
        }
    }
    for k in &placed.knots {
        if let Some(model) = thread.knots.get(k.index) {
            let (x, y) = if upright {
                (c, at(k.at))
            } else {
                (at(k.at), c)
            };
            knot(out, model, zone, x, y);
        }
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "there are a few dozen lanes at most"
)]
fn lane_height(lane: usize) -> f64 {
    lane as f64
}

fn deepest(lanes: &[usize]) -> f64 {
    lanes.iter().max().map_or(0.0, |l| lane_height(*l))
}

fn down(out: &mut String, thread: &Thread, placed: &Layout, prefix: &str, zone: Zone) {
    let (pad, axis, c, width) = (24.0, 920.0 * placed.length, 30.0, 330.0);
    let y = |at: f64| pad + at * axis;
    let mut labels = beneath(thread, placed);
    for k in &placed.knots {
        if let Some(knot) = thread.knots.get(k.index) {
            labels.push(Label {
                at: k.at,
                class: "t-knot",
                text: knot_words(knot),
            });
        }
    }
    for tick in &placed.ticks {
        labels.push(Label {
            at: tick.at,
            class: "t-tick",
            text: tick.label.clone(),
        });
    }
    labels.sort_by(|a, b| a.at.total_cmp(&b.at));
    // Texts that would touch move down; a thin line leads back.
    let mut free = 0.0_f64;
    let ys: Vec<f64> = labels
        .iter()
        .map(|l| {
            let own = y(l.at).max(free);
            free = own + LINE;
            own
        })
        .collect();
    let height = (axis + 2.0 * pad).max(free + pad);
    head(
        out,
        thread,
        zone,
        &format!("{prefix}-down"),
        "down",
        width,
        height,
    );
    for (label, own) in labels.iter().zip(&ys) {
        let foot = y(label.at);
        let _ = write!(
            out,
            "<path class=\"leader\" d=\"M{:.1} {foot:.1}L60 {own:.1}\"/>",
            c + 8.0
        );
        text(out, label, 64.0, own + 4.5);
    }
    parts(out, thread, placed, zone, true, c, &y);
    out.push_str("</svg>");
}
