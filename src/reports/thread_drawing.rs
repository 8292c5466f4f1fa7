//! The thread of custody as a drawing: to time scale, from the same positions as the page shows.

use super::ReportError;
use super::font::{self, Face};
use super::page::{BREAK, FAINT, INK, Rgb8, Stroke, THREAD};
use super::table::Flow;
use crate::custody::thread::{LayoutOptions, StretchKind, Thread, layout};
use crate::zone::Zone;

/// Height of one strip of the thread, mm.
const HIGH: f64 = 25.0;
/// Lanes of names over the line.
const LANES: usize = 3;

/// Draws a thread on the page, over as many strips as its length asks for.
///
/// # Errors
/// A character without a shape, or too many pages.
pub fn draw(flow: &mut Flow, thread: &Thread, zone: Zone) -> Result<(), ReportError> {
    let options = LayoutOptions {
        zone,
        ..LayoutOptions::default()
    };
    let placed = layout(thread, &options);
    let strips = placed.length.max(1.0).ceil().min(500.0) as usize;
    let total = strips as f64;
    let wide = flow.width - 4.0;
    for strip in 0..strips {
        flow.need(HIGH)?;
        let (from, to) = (strip as f64 / total, (strip as f64 + 1.0) / total);
        let left = flow.left + 2.0;
        let x = |at: f64| left + (at - from) / (to - from) * wide;
        // A thing at the very border belongs to the strip that begins there; the last strip also has its end.
        let here = |at: f64| at >= from && (at < to || strip + 1 == strips);
        let y = flow.y + 12.0;
        // Names: lanes over the line, one after another. A break's words come first: they are never left out for a name.
        let mut taken: Vec<(usize, f64, f64)> = Vec::new();
        let mut names: Vec<(bool, f64, String, Rgb8)> = Vec::new();
        for s in &placed.stretches {
            let (a, b) = (s.start.max(from), s.end.min(to));
            let Some(stretch) = thread.stretches.get(s.index).filter(|_| b > a) else {
                continue;
            };
            let (a, b) = (x(a), x(b));
            let colour = match stretch.kind {
                StretchKind::Break => BREAK,
                _ => THREAD,
            };
            match stretch.kind {
                StretchKind::Person => flow.canvas.line((a, y), (b, y), 0.7, colour, Stroke::Solid),
                StretchKind::Place => flow
                    .canvas
                    .line((a, y), (b, y), 0.7, colour, Stroke::Double),
                StretchKind::Outside => {
                    flow.canvas
                        .line((a, y), (b, y), 0.7, colour, Stroke::Dashed);
                }
                StretchKind::Transit => {
                    flow.canvas
                        .line((a, y), (b, y), 0.7, colour, Stroke::Dotted);
                }
                StretchKind::Break => {
                    // Torn where the break begins and ends, not where the strip does.
                    let edges = [(a, 1.0, s.start >= from), (b, -1.0, s.end <= to)];
                    for (edge, dir, _) in edges.into_iter().filter(|e| e.2) {
                        for (dy, long) in [(-1.2, 2.0), (-0.4, 1.0), (0.4, 2.4), (1.2, 1.4)] {
                            let end = (edge + dir * long, y + dy);
                            flow.canvas
                                .line((edge, y), end, 0.35, colour, Stroke::Solid);
                        }
                    }
                }
            }
            let words = if stretch.kind == StretchKind::Break {
                s.words.clone()
            } else {
                format!("{}, {}", stretch.holder, s.words)
            };
            let is_name = stretch.kind != StretchKind::Break;
            names.push((is_name, (a + b) / 2.0, words, colour));
        }
        names.sort_by_key(|n| n.0);
        for (is_name, middle, words, colour) in names {
            let size = 6.5;
            let text = shortened(&words, wide, size)?;
            let long = font::width(Face::Sans, size, &text)?;
            let start = (middle - long / 2.0).clamp(left, left + wide - long);
            let end = start + long;
            let clear = |lane: usize| {
                let here = taken.iter().filter(|t| t.0 == lane);
                here.clone().all(|t| end + 1.5 <= t.1 || t.2 + 1.5 <= start)
            };
            // Where even the lanes are full of breaks, a break's words stand over another's rather than nowhere.
            let lane = (0..LANES).find(|l| clear(*l));
            if let Some(lane) = lane.or((!is_name).then_some(LANES - 1)) {
                taken.push((lane, start, end));
                let at = y - 3.0 - lane as f64 * 2.9;
                flow.canvas.text(
                    start,
                    at,
                    Face::Sans,
                    size,
                    ink(colour),
                    &text,
                    "Thread, holder",
                )?;
            }
        }
        for f in placed.folds.iter().filter(|f| here(f.start)) {
            let middle = x((f.start + f.end) / 2.0).min(left + wide - 1.0);
            for d in [-0.7, 0.7] {
                flow.canvas.line(
                    (middle + d - 0.5, y + 1.6),
                    (middle + d + 0.5, y - 1.6),
                    0.3,
                    INK,
                    Stroke::Solid,
                );
            }
            centred(
                flow,
                middle,
                y + 4.6,
                5.5,
                FAINT,
                &format!("folded, {}", f.words),
            )?;
        }
        for s in &placed.seals {
            let Some(seal) = thread.seals.get(s.index) else {
                continue;
            };
            let colour = if seal.mismatch { BREAK } else { INK };
            if here(s.at) {
                let at = x(s.at);
                flow.canvas
                    .line((at, y - 2.2), (at, y + 2.2), 0.8, colour, Stroke::Solid);
                centred(
                    flow,
                    at,
                    y + 7.2,
                    5.5,
                    colour,
                    &format!("seal {}", seal.number),
                )?;
            }
            if let Some(cut) = s.cut_at.filter(|&c| here(c)) {
                let at = x(cut);
                for (top, end) in [(-2.4, -0.8), (0.8, 2.4)] {
                    flow.canvas.line(
                        (at + top * 0.2, y + top),
                        (at + end * 0.2, y + end),
                        0.8,
                        colour,
                        Stroke::Solid,
                    );
                }
                centred(flow, at, y + 7.2, 5.5, colour, "cut")?;
            }
        }
        for k in placed.knots.iter().filter(|k| here(k.at)) {
            let Some(knot) = thread.knots.get(k.index) else {
                continue;
            };
            let colour = if knot.flagged { BREAK } else { THREAD };
            flow.canvas.disc((x(k.at), y), 1.3, colour, !knot.filled);
            if knot.flagged {
                flow.canvas.warning(x(k.at) - 0.9, y + 1.7, 1.8, BREAK);
            }
            centred(flow, x(k.at), y + 9.8, 6.0, INK, &knot.row.to_string())?;
        }
        for t in placed.ticks.iter().filter(|t| here(t.at)) {
            let at = x(t.at);
            flow.canvas
                .line((at, y + 2.6), (at, y + 3.6), 0.15, FAINT, Stroke::Solid);
            centred(flow, at, y + 12.4, 5.5, FAINT, &t.label)?;
        }
        flow.y += HIGH;
    }
    Ok(())
}

fn ink(colour: Rgb8) -> Rgb8 {
    if colour == BREAK { BREAK } else { INK }
}

/// The table beneath carries every name whole; on the drawing a longer one than a strip ends in dots.
fn shortened(text: &str, room: f64, size: f64) -> Result<String, ReportError> {
    let mut short = text.to_owned();
    while font::width(Face::Sans, size, &short)? > room {
        short.pop();
        short.pop();
        if short.is_empty() {
            break;
        }
        short.push('…');
    }
    Ok(short)
}

fn centred(
    flow: &mut Flow,
    middle: f64,
    y: f64,
    size: f64,
    colour: Rgb8,
    text: &str,
) -> Result<(), ReportError> {
    let half = font::width(Face::Sans, size, text)? / 2.0;
    let most = (flow.left + flow.width - half).max(flow.left + half);
    let middle = middle.clamp(flow.left + half, most);
    flow.canvas
        .text(middle - half, y, Face::Sans, size, colour, text, "Thread")
}
