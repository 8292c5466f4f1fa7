//! The card: an item as the backing card or the box it is, in true proportion, front and back.

use std::fmt::Write as _;

use super::{escape, shorten, steps::reading_words};

/// An item's card.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// Card or box.
    pub kind: CardKind,
    /// Width in millimetres.
    pub width_mm: f64,
    /// Height in millimetres.
    pub height_mm: f64,
    /// Whether the card is black.
    pub black: bool,
    /// The picture on the front.
    pub picture: Option<CardPicture>,
    /// Whether the direction of up is marked.
    pub up_marked: bool,
    /// Item number, as people say it.
    pub number: String,
    /// Code on the label, in groups.
    pub code: String,
    /// The back, line by line: place, object, method, who, when.
    pub back: Vec<(String, String)>,
}

/// What the item is mounted on or packed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CardKind {
    /// A backing card.
    Card,
    /// A box.
    Box,
}

/// The picture on the front of a card.
#[derive(Clone, Debug, PartialEq)]
pub struct CardPicture {
    /// Its address.
    pub href: String,
    /// What it shows.
    pub alt: String,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Resolution at 1:1, where it is known: the picture is then drawn at its true size.
    pub px_per_mm: Option<f64>,
    /// Whether the file reads reversed. It is then shown turned, with a banner; the file stays as it is.
    pub reversed: Option<bool>,
    /// Whether it is a working copy and not the original.
    pub copy: bool,
}

/// Long side of every drawing, in its own units.
const LONG: f64 = 1270.0;
/// Height of a line on the back.
const LINE: f64 = 46.0;

/// Draws both sides. They stand one under another until the script folds them into one that turns over.
#[must_use]
pub fn draw(card: &Card) -> String {
    let (width_mm, height_mm) = (
        card.width_mm.clamp(10.0, 2000.0),
        card.height_mm.clamp(10.0, 2000.0),
    );
    let unit = LONG / width_mm.max(height_mm);
    // A very narrow thing is still wide enough to be written on.
    let (width, height) = ((width_mm * unit).max(320.0), (height_mm * unit).max(320.0));
    let mut out = format!(
        "<div class=\"card{}{}\" data-card><p class=\"card-turn\" data-card-turn hidden>\
         <button type=\"button\" class=\"quiet\">Turn over (T)</button></p>",
        if card.black { " black" } else { "" },
        if card.kind == CardKind::Box {
            " box"
        } else {
            ""
        },
    );
    front(&mut out, card, unit, width, height);
    back(&mut out, card, width, height);
    out.push_str("</div>");
    out
}

fn side(out: &mut String, class: &str, title: &str, card: &Card, width: f64, height: f64) {
    let kind = if card.kind == CardKind::Box {
        "box"
    } else {
        "card"
    };
    let _ = write!(
        out,
        "<figure class=\"side {class}\" data-side=\"{class}\"><svg viewBox=\"0 0 {width:.0} {height:.0}\" \
         width=\"{width:.0}\" height=\"{height:.0}\" role=\"img\" aria-label=\"{} of the {kind} of {}, {:.0} by {:.0} mm\">\
         <rect class=\"stock\" x=\"2\" y=\"2\" width=\"{:.0}\" height=\"{:.0}\" rx=\"10\"/>\
         <path class=\"corner\" d=\"M{:.0} 2L{:.0} 72\"/>",
        title,
        escape(&card.number),
        card.width_mm,
        card.height_mm,
        width - 4.0,
        height - 4.0,
        width - 72.0,
        width - 2.0,
    );
}

fn front(out: &mut String, card: &Card, unit: f64, width: f64, height: f64) {
    side(out, "front", "Front", card, width, height);
    if let Some(picture) = &card.picture {
        let (room_w, room_h) = (width - 200.0, height - 170.0);
        let (pw, ph) = (
            f64::from(picture.width.max(1)),
            f64::from(picture.height.max(1)),
        );
        let fit = (room_w / pw).min(room_h / ph);
        let scale = picture
            .px_per_mm
            .filter(|v| *v > 0.0)
            .map_or(fit, |ppm| (unit / ppm).min(fit));
        let (w, h) = (pw * scale, ph * scale);
        let (x, y) = ((width - w) / 2.0, (height - 100.0 - h) / 2.0);
        // Turned about its own middle, for display only.
        let turn = if picture.reversed == Some(true) {
            format!(" transform=\"matrix(-1 0 0 1 {:.1} 0)\"", 2.0 * x + w)
        } else {
            String::new()
        };
        let _ = write!(
            out,
            "<image href=\"{}\" x=\"{x:.1}\" y=\"{y:.1}\" width=\"{w:.1}\" height=\"{h:.1}\"{turn}><title>{}</title></image>",
            escape(&picture.href),
            escape(&picture.alt)
        );
    } else {
        let _ = write!(
            out,
            "<text class=\"c-faint mid\" x=\"{:.0}\" y=\"{:.0}\">no picture yet</text>",
            width / 2.0,
            height / 2.0
        );
    }
    if card.up_marked {
        out.push_str("<path class=\"up\" d=\"M56 150V42M32 76L56 40L80 76\"/><text class=\"c-text mid\" x=\"56\" y=\"192\">up</text>");
    } else {
        out.push_str("<text class=\"c-faint\" x=\"28\" y=\"60\">up not marked</text>");
    }
    scale_bar(out, unit, width, height);
    out.push_str("</svg><figcaption>");
    let copy = card.picture.as_ref().is_some_and(|p| p.copy);
    match card.picture.as_ref().map(|p| p.reversed) {
        Some(Some(true)) => out.push_str(
            "<p class=\"banner\"><b>Reads reversed.</b> Shown turned the right way round; the original stays as it is.</p>",
        ),
        Some(None) => out.push_str(
            "<p class=\"banner\"><b>Not known which way round it reads.</b> Shown as it is; record how it was made.</p>",
        ),
        Some(Some(false)) => {
            let what = if copy {
                "The working copy shown"
            } else {
                "The picture"
            };
            let _ = write!(out, "<p>{what} {}.</p>", reading_words(Some(false)));
        }
        None => {}
    }
    out.push_str("</figcaption></figure>");
}

/// Ticks every 5 or 50 mm of the real thing, with numbers.
fn scale_bar(out: &mut String, unit: f64, width: f64, height: f64) {
    let step = [5.0, 10.0, 50.0, 100.0, 500.0]
        .into_iter()
        .find(|mm| mm * unit >= 50.0)
        .unwrap_or(500.0);
    let (x, y) = (90.0, height - 70.0);
    let mut d = format!("M{x:.1} {y:.1}");
    let mut i = 0.0;
    while i <= 10.0 && x + i * step * unit < width - 120.0 {
        let at = x + i * step * unit;
        let even = i % 2.0 == 0.0;
        let _ = write!(
            d,
            "M{at:.1} {y:.1}v{}M{at:.1} {y:.1}",
            if even { 20 } else { 12 }
        );
        if even {
            let _ = write!(
                out,
                "<text class=\"c-small mid\" x=\"{at:.1}\" y=\"{:.1}\">{:.0}</text>",
                y + 50.0,
                i * step
            );
        }
        i += 1.0;
    }
    let end = x + (i - 1.0).max(0.0) * step * unit;
    let _ = write!(
        out,
        "<path class=\"scale\" d=\"M{x:.1} {y:.1}H{end:.1}{d}\"/><text class=\"c-small\" x=\"{:.1}\" y=\"{:.1}\">mm</text>",
        end + 26.0,
        y + 14.0
    );
}

fn back(out: &mut String, card: &Card, width: f64, height: f64) {
    side(out, "back", "Back", card, width, height);
    let _ = write!(
        out,
        "<text class=\"c-number\" x=\"40\" y=\"78\">{}</text><text class=\"c-code\" x=\"40\" y=\"130\">{}</text>\
         <path class=\"c-rule\" d=\"M40 152H{:.0}\"/>",
        escape(&shorten(&card.number, letters(width - 130.0, 27.0))),
        escape(&card.code),
        width - 40.0
    );
    let mut y = 200.0;
    let most = letters(width - 80.0 - 240.0, 18.5);
    'facts: for (name, value) in &card.back {
        let _ = write!(
            out,
            "<text class=\"c-faint\" x=\"40\" y=\"{y:.0}\">{}</text>",
            escape(&shorten(name, 13))
        );
        for part in wrap(value, most, 3) {
            let _ = write!(
                out,
                "<text class=\"c-text\" x=\"280\" y=\"{y:.0}\">{}</text>",
                escape(&part)
            );
            y += LINE;
            if y > height - 20.0 {
                break 'facts;
            }
        }
    }
    out.push_str("</svg></figure>");
}

/// How many letters of a width fit.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "cards are a few hundred letters wide at most"
)]
fn letters(room: f64, letter: f64) -> usize {
    (room / letter).clamp(6.0, 400.0) as usize
}

/// Breaks a text into at most `lines` lines of at most `most` letters, at spaces where it can.
fn wrap(text: &str, most: usize, lines: usize) -> Vec<String> {
    let mut out: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        let fits = out
            .last()
            .is_some_and(|l| l.is_empty() || l.chars().count() + 1 + word.chars().count() <= most);
        if !fits {
            out.push(String::new());
        }
        if let Some(last) = out.last_mut() {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    if out.len() > lines {
        out.truncate(lines);
        if let Some(last) = out.last_mut() {
            last.push_str(" \u{2026}");
        }
    }
    out.iter().map(|l| shorten(l, most + 2)).collect()
}
