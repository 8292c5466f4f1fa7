//! Lift cards (front and back), sheets of cards, box and envelope labels, and the strip for a seal.
//!
//! What stands on a card: the elements of a tag by ASTM E1459-92(2005) 4.1.4 (item number, case number, who collected
//! it, date, brief description), and those a state laboratory asks of a lift card (date lifted, name of the lifter,
//! diagram of where on the item, direction arrow, case number).

use chrono::{DateTime, Utc};

use super::ReportError;
use super::barcode;
use super::font::{self, Face, MM_PER_PT};
use super::page::{Area, BLACK, BREAK, Canvas, FAINT, INK, RULE, Stroke, line_height};
use super::paper::{BOX_LABEL, Card, ENVELOPE_LABEL, Paper, SEAL_STRIP, Size};

/// Most cards in one print.
pub const MOST_CARDS: usize = 400;

/// Which way round the mark on the card reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Orientation {
    /// Reads as the mark does on the surface.
    Direct,
    /// Reads mirrored.
    Mirrored,
    /// Not known.
    #[default]
    Unknown,
}

impl Orientation {
    /// The statement that is printed.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Direct => "Reads direct",
            Self::Mirrored => "MIRRORED IMAGE: flip before comparison",
            Self::Unknown => "Orientation not established: do not compare yet",
        }
    }
}

/// What is printed on a card or a label. Texts come formatted; an empty text is left out, or leaves a line to write on
/// where a card must have it.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Label {
    /// Agency.
    pub agency: String,
    /// Case number.
    pub case_number: String,
    /// Item number.
    pub item_number: String,
    /// `2 of 5`, if it is one of several lifts.
    pub part: String,
    /// The code of the item or package, twelve characters, as it goes into the barcodes.
    pub code: String,
    /// The code in groups, for people.
    pub code_grouped: String,
    /// When lifted or collected, with zone.
    pub when: String,
    /// Place or address of the scene.
    pub place: String,
    /// The object the mark was on.
    pub object: String,
    /// Exactly where on the object.
    pub spot: String,
    /// Which way is up on the object.
    pub up: String,
    /// Who lifted it.
    pub lifter: String,
    /// His or her badge or number.
    pub badge: String,
    /// How it was developed.
    pub development: String,
    /// What it was lifted with.
    pub medium: String,
    /// Kind of mark.
    pub mark: String,
    /// Dark or light powder.
    pub tone: String,
    /// Brief description.
    pub description: String,
    /// Which way round it reads.
    pub orientation: Orientation,
    /// Words for the packaging: `do not open: latent prints`.
    pub packing: Vec<String>,
    /// Cautions.
    pub cautions: Vec<String>,
    /// Number of the package.
    pub package_number: String,
    /// What kind of container.
    pub container: String,
    /// What is inside, one line each.
    pub contents: Vec<String>,
    /// Number of the seal.
    pub seal_number: String,
    /// When it was printed; goes into the properties of the PDF.
    pub printed_at: DateTime<Utc>,
    /// Identifier of the print; goes into the properties of the PDF, there is no room for it on the label.
    pub print_id: String,
}

/// The front of one card as a PDF of exactly that size.
///
/// # Errors
/// A character without a shape, a text that doesn't fit, a code that can't be a barcode; each names the field.
pub fn card_front(label: &Label, card: Card) -> Result<Vec<u8>, ReportError> {
    single(label, card.size(), "Lift card, front", |c| {
        front(c, label, card.size())
    })
}

/// The back of one card as a PDF of exactly that size.
///
/// # Errors
/// As [`card_front`].
pub fn card_back(label: &Label, card: Card) -> Result<Vec<u8>, ReportError> {
    single(label, card.size(), "Lift card, back", |c| {
        back(c, label, card.size())
    })
}

/// Front and back of one card as two pages of exactly that size, for a printer that turns the card over.
///
/// # Errors
/// As [`card_front`].
pub fn card(label: &Label, card: Card) -> Result<Vec<u8>, ReportError> {
    let mut c = Canvas::default();
    c.add_page(card.size());
    front(&mut c, label, card.size())?;
    c.add_page(card.size());
    back(&mut c, label, card.size())?;
    c.marked(&label.print_id);
    c.finish(
        &format!("Lift card {} {}", label.case_number, label.item_number),
        label.printed_at,
    )
}

/// The label of a box.
///
/// # Errors
/// As [`card_front`].
pub fn box_label(label: &Label) -> Result<Vec<u8>, ReportError> {
    single(label, BOX_LABEL, "Box label", |c| {
        package(c, label, BOX_LABEL)
    })
}

/// The label of an envelope.
///
/// # Errors
/// As [`card_front`].
pub fn envelope_label(label: &Label) -> Result<Vec<u8>, ReportError> {
    single(label, ENVELOPE_LABEL, "Envelope label", |c| {
        package(c, label, ENVELOPE_LABEL)
    })
}

/// A strip that is laid across a closure: number, initials and date on both sides of the edge.
///
/// # Errors
/// As [`card_front`].
pub fn seal_strip(label: &Label) -> Result<Vec<u8>, ReportError> {
    single(label, SEAL_STRIP, "Seal strip", |c| strip(c, label))
}

/// Several cards on sheets, with cut marks: fronts, then backs, sheet by sheet, so that printing on both sides along
/// the long edge puts each back behind its front.
///
/// # Errors
/// As [`card_front`]; [`ReportError::TooMany`] over [`MOST_CARDS`].
pub fn sheet(labels: &[Label], card: Card, paper: Paper) -> Result<Vec<u8>, ReportError> {
    if labels.len() > MOST_CARDS || labels.is_empty() {
        return Err(ReportError::TooMany {
            field: "Cards".into(),
            most: MOST_CARDS,
        });
    }
    let plan = Imposition::best(card.size(), paper.size());
    let mut c = Canvas::default();
    for some in labels.chunks(plan.per_sheet()) {
        for is_back in [false, true] {
            c.add_page(plan.page);
            for (i, label) in some.iter().enumerate() {
                let at = plan.place(i, is_back);
                cut_marks(&mut c, at, plan.card);
                c.set_origin(at.0, at.1);
                if is_back {
                    back(&mut c, label, plan.card)?;
                } else {
                    front(&mut c, label, plan.card)?;
                }
                c.set_origin(0.0, 0.0);
            }
        }
    }
    c.marked(&labels[0].print_id);
    c.finish("Lift cards", labels[0].printed_at)
}

/// How cards lie on a sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Imposition {
    /// The page, upright or across.
    pub page: Size,
    /// The card.
    pub card: Size,
    /// Cards side by side.
    pub columns: usize,
    /// Cards one above the other.
    pub rows: usize,
}

impl Imposition {
    /// The way that holds most cards with 5 mm of margin; upright if both hold the same.
    #[must_use]
    pub fn best(card: Size, paper: Size) -> Self {
        let on = |page: Size| Self {
            page,
            card,
            columns: ((page.w - 10.0) / card.w).floor().max(1.0) as usize,
            rows: ((page.h - 10.0) / card.h).floor().max(1.0) as usize,
        };
        let (upright, across) = (on(paper), on(paper.turned()));
        if across.per_sheet() > upright.per_sheet() {
            across
        } else {
            upright
        }
    }

    /// Cards on one sheet.
    #[must_use]
    pub fn per_sheet(self) -> usize {
        self.columns * self.rows
    }

    /// Top left corner of a card, mm. On the back the page is turned over its long edge: columns change sides on an
    /// upright page, rows on a page that lies across.
    #[must_use]
    pub fn place(self, index: usize, is_back: bool) -> (f64, f64) {
        let (mut column, mut row) = (index % self.columns, index / self.columns);
        if is_back {
            if self.page.h >= self.page.w {
                column = self.columns - 1 - column;
            } else {
                row = self.rows - 1 - row;
            }
        }
        let left = (self.page.w - self.columns as f64 * self.card.w) / 2.0;
        let top = (self.page.h - self.rows as f64 * self.card.h) / 2.0;
        (
            left + column as f64 * self.card.w,
            top + row as f64 * self.card.h,
        )
    }
}

fn cut_marks(c: &mut Canvas, (x, y): (f64, f64), card: Size) {
    for (px, sx) in [(x, -1.0), (x + card.w, 1.0)] {
        for (py, sy) in [(y, -1.0), (y + card.h, 1.0)] {
            // Short, so that a mark that falls on a neighbour stays inside its margin.
            c.line(
                (px + sx * 0.8, py),
                (px + sx * 3.0, py),
                0.1,
                FAINT,
                Stroke::Solid,
            );
            c.line(
                (px, py + sy * 0.8),
                (px, py + sy * 3.0),
                0.1,
                FAINT,
                Stroke::Solid,
            );
        }
    }
}

fn single(
    label: &Label,
    size: Size,
    what: &str,
    draw: impl FnOnce(&mut Canvas) -> Result<(), ReportError>,
) -> Result<Vec<u8>, ReportError> {
    let mut c = Canvas::default();
    c.add_page(size);
    draw(&mut c)?;
    c.marked(&label.print_id);
    c.finish(
        &format!("{what} {} {}", label.case_number, label.item_number),
        label.printed_at,
    )
}

const M: f64 = 4.0;

fn item_words(label: &Label) -> String {
    let mut text = if label.item_number.is_empty() {
        format!("Package {}", label.package_number)
    } else {
        format!("Item {}", label.item_number)
    };
    if !label.part.is_empty() {
        text.push_str(&format!(", {}", label.part));
    }
    text
}

fn banner(c: &mut Canvas, o: Orientation, area: Area) -> Result<(), ReportError> {
    match o {
        Orientation::Direct => {
            c.fit(area, Face::Bold, 8.0, INK, o.words(), "Orientation")?;
        }
        Orientation::Mirrored | Orientation::Unknown => {
            c.frame(area, 0.7, BREAK, Stroke::Solid);
            c.warning(area.x + 2.0, area.y + 1.6, area.h - 3.2, BREAK);
            let most = if o == Orientation::Mirrored {
                12.0
            } else {
                9.0
            };
            let text = Area {
                x: area.x + area.h + 1.5,
                y: area.y + (area.h - line_height(most)) / 2.0,
                w: area.w - area.h - 3.0,
                h: line_height(most),
            };
            c.fit(text, Face::Bold, most, BREAK, o.words(), "Orientation")?;
        }
    }
    Ok(())
}

fn front(c: &mut Canvas, label: &Label, s: Size) -> Result<(), ReportError> {
    let qr = barcode::qr(&label.code, "Code")?;
    let bars = barcode::code128(&label.code, "Code")?;
    let right = s.w - M - qr.w;
    let head = Area {
        x: M,
        y: M - 0.6,
        w: s.w - 2.0 * M,
        h: 4.6,
    };
    c.fit(
        head,
        Face::Bold,
        9.0,
        INK,
        &format!("Case {} · {}", label.case_number, item_words(label)),
        "Case and item number",
    )?;
    banner(
        c,
        label.orientation,
        Area {
            x: M,
            y: 8.2,
            w: s.w - 2.0 * M,
            h: 7.4,
        },
    )?;
    let foot = s.h - M - bars.h;
    let lift = Area {
        x: M,
        y: 17.2,
        w: right - M - 2.0,
        h: foot - 17.2 - 1.8,
    };
    c.frame(lift, 0.25, FAINT, Stroke::Dashed);
    c.text(
        lift.x + 1.5,
        lift.y + 3.2,
        Face::Sans,
        6.0,
        FAINT,
        "Lift goes here",
        "Lift area",
    )?;
    let middle = right + qr.w / 2.0;
    c.text(
        middle - 3.0,
        lift.y + 4.2,
        Face::Bold,
        10.0,
        INK,
        "UP",
        "Up arrow",
    )?;
    c.arrow_up(middle, lift.y + 19.5, 14.0, INK);
    c.symbol(right, s.h - M - qr.h, &qr);
    c.symbol(M, foot, &bars);
    let beside = Area {
        x: M + bars.w + 1.0,
        y: foot + 0.2,
        w: right - M - bars.w - 2.0,
        h: bars.h - 0.2,
    };
    c.fit(
        Area { h: 3.4, ..beside },
        Face::Mono,
        7.5,
        INK,
        &label.code_grouped,
        "Code",
    )?;
    c.fit(
        Area {
            y: beside.y + 3.2,
            h: 3.4,
            ..beside
        },
        Face::Sans,
        6.5,
        FAINT,
        &label.medium,
        "Medium",
    )?;
    Ok(())
}

/// Facts under one another in one common size, the largest that fits.
fn facts(c: &mut Canvas, area: Area, most: f64, list: &[(&str, &str)]) -> Result<(), ReportError> {
    let list: Vec<_> = list.iter().filter(|f| !f.1.is_empty()).collect();
    let label_part = 0.27;
    let mut size = most;
    loop {
        let mut rows = Vec::new();
        let mut y = 0.0;
        for (name, value) in &list {
            let names = font::wrap(
                Face::Sans,
                size * 0.88,
                area.w * label_part - 1.0,
                name,
                name,
            )?;
            let values = font::wrap(Face::Bold, size, area.w * (1.0 - label_part), value, name)?;
            let high = names.len().max(values.len()) as f64 * line_height(size) + 0.3;
            rows.push((y, names, values, *name));
            y += high;
        }
        if y <= area.h + 0.01 {
            for (top, names, values, name) in rows {
                for (i, line) in names.iter().enumerate() {
                    let at = area.y + top + i as f64 * line_height(size) + size * MM_PER_PT * 0.95;
                    c.text(area.x, at, Face::Sans, size * 0.88, FAINT, line, name)?;
                }
                for (i, line) in values.iter().enumerate() {
                    let at = area.y + top + i as f64 * line_height(size) + size * MM_PER_PT * 0.95;
                    c.text(
                        area.x + area.w * label_part,
                        at,
                        Face::Bold,
                        size,
                        INK,
                        line,
                        name,
                    )?;
                }
            }
            return Ok(());
        }
        if size <= 6.0 {
            let longest = list.iter().max_by_key(|f| f.1.len());
            return Err(ReportError::TooLong {
                field: longest.map_or_else(String::new, |f| f.0.to_owned()),
            });
        }
        size = (size - 0.5).max(6.0);
    }
}

fn to_write(c: &mut Canvas, x: f64, y: f64, to: f64, word: &str) -> Result<(), ReportError> {
    c.text(x, y, Face::Sans, 6.5, FAINT, word, word)?;
    let from = x + font::width(Face::Sans, 6.5, word)? + 1.0;
    c.line((from, y + 0.4), (to, y + 0.4), 0.2, INK, Stroke::Solid);
    Ok(())
}

fn back(c: &mut Canvas, label: &Label, s: Size) -> Result<(), ReportError> {
    let qr = barcode::qr(&label.code, "Code")?;
    let side = s.w * 0.34;
    let left = Area {
        x: M,
        y: M + 5.0,
        w: s.w - 3.0 * M - side,
        h: s.h - 2.0 * M - 5.0 - 6.0,
    };
    c.fit(
        Area {
            x: M,
            y: M - 0.8,
            w: s.w - 2.0 * M,
            h: 4.6,
        },
        Face::Bold,
        8.5,
        INK,
        &label.agency,
        "Agency",
    )?;
    c.line((M, M + 4.0), (s.w - M, M + 4.0), 0.25, INK, Stroke::Solid);
    let lifter = joined(&label.lifter, &label.badge);
    let cautions = label.cautions.join("; ");
    let notice = label.packing.join(", ");
    let item = item_words(label);
    facts(
        c,
        left,
        8.5,
        &[
            ("Case number", &label.case_number),
            ("Item number", &item),
            ("Code", &label.code_grouped),
            ("Date lifted", &label.when),
            ("Lifted by", &lifter),
            ("Description", &label.description),
            ("Mark", &label.mark),
            ("Object", &label.object),
            ("Where on it", &label.spot),
            ("Up is", &label.up),
            ("Scene", &label.place),
            ("Developed", &label.development),
            ("Medium", &label.medium),
            ("Tone", &label.tone),
            ("Orientation", label.orientation.words()),
            ("Notice", &notice),
            ("Caution", &cautions),
        ],
    )?;
    let x = s.w - M - side;
    let sketch = Area {
        x,
        y: M + 6.0,
        w: side,
        h: s.h - 2.0 * M - 8.0 - qr.h,
    };
    c.frame(sketch, 0.25, FAINT, Stroke::Solid);
    c.text(
        x + 1.5,
        sketch.y + 3.2,
        Face::Sans,
        6.0,
        FAINT,
        "Sketch: where on the object",
        "Sketch",
    )?;
    c.arrow_up(x + side - 4.0, sketch.y + sketch.h - 2.0, 9.0, INK);
    c.text(
        x + side - 11.0,
        sketch.y + sketch.h - 2.2,
        Face::Bold,
        7.0,
        INK,
        "up",
        "Sketch",
    )?;
    c.symbol(s.w - M - qr.w, s.h - M - qr.h, &qr);
    let foot = s.h - M - 0.8;
    to_write(c, M, foot, M + left.w * 0.55, "Initials")?;
    to_write(c, M + left.w * 0.58, foot, M + left.w, "Date")?;
    Ok(())
}

fn joined(name: &str, number: &str) -> String {
    if number.is_empty() {
        name.to_owned()
    } else {
        format!("{name}, no. {number}")
    }
}

fn package(c: &mut Canvas, label: &Label, s: Size) -> Result<(), ReportError> {
    let qr = barcode::qr(&label.code, "Code")?;
    let bars = barcode::code128(&label.code, "Code")?;
    c.frame(
        Area {
            x: 1.5,
            y: 1.5,
            w: s.w - 3.0,
            h: s.h - 3.0,
        },
        0.4,
        INK,
        Stroke::Solid,
    );
    let right = s.w - 3.0 - qr.w;
    c.symbol(right, 3.0, &qr);
    c.fit(
        Area {
            x: M,
            y: 2.8,
            w: right - M - 1.0,
            h: 4.0,
        },
        Face::Sans,
        7.5,
        FAINT,
        &label.agency,
        "Agency",
    )?;
    let package = joined_words(&[("Package", &label.package_number), ("", &label.container)]);
    c.fit(
        Area {
            x: M,
            y: 6.6,
            w: right - M - 1.0,
            h: 5.6,
        },
        Face::Bold,
        11.0,
        INK,
        &format!("Case {} · {}", label.case_number, item_words(label)),
        "Case and item number",
    )?;
    // Packing words: a box each, a triangle and the word, one beside the other.
    let mut y = 13.4;
    let mut x = M;
    // Nothing stands in the code's quiet zone, which ends here.
    let below = 3.0 + qr.h;
    let room = |y: f64| if y < below { right - 1.0 } else { s.w - M };
    let field = "Packing words";
    for text in &label.packing {
        let long = font::width(Face::Bold, 7.0, text)? + 6.5;
        if x > M && x + long > room(y) {
            x = M;
            y += 5.4;
        }
        if x + long > room(y) {
            return Err(ReportError::TooLong {
                field: field.into(),
            });
        }
        c.frame(
            Area {
                x,
                y,
                w: long,
                h: 4.6,
            },
            0.4,
            BLACK,
            Stroke::Solid,
        );
        c.warning(x + 1.0, y + 1.1, 2.4, BLACK);
        c.text(x + 4.4, y + 3.25, Face::Bold, 7.0, BLACK, text, field)?;
        x += long + 1.5;
    }
    if x > M {
        y += 6.0;
    }
    let y = y.max(below);
    let foot = s.h - 3.2 - bars.h;
    let contents = label.contents.join("; ");
    let cautions = label.cautions.join("; ");
    let collected = joined_words(&[
        ("", &label.when),
        ("", &joined(&label.lifter, &label.badge)),
    ]);
    facts(
        c,
        Area {
            x: M,
            y,
            w: s.w - 2.0 * M,
            h: foot - 6.6 - y,
        },
        8.0,
        &[
            ("Description", &label.description),
            ("Package", &package),
            ("Contents", &contents),
            ("Collected", &collected),
            ("Scene", &label.place),
            ("Seal number", &label.seal_number),
            ("Caution", &cautions),
        ],
    )?;
    c.line(
        (M, foot - 5.8),
        (s.w - M, foot - 5.8),
        0.2,
        RULE,
        Stroke::Solid,
    );
    let line = foot - 1.6;
    to_write(c, M, line, s.w * 0.66, "Initials across the seal")?;
    to_write(c, s.w * 0.68, line, s.w - M, "Date")?;
    c.symbol(M - 2.0, foot, &bars);
    c.fit(
        Area {
            x: M + bars.w,
            y: foot + 1.6,
            w: s.w - 2.0 * M - bars.w,
            h: 4.0,
        },
        Face::Mono,
        8.0,
        INK,
        &label.code_grouped,
        "Code",
    )?;
    Ok(())
}

fn joined_words(parts: &[(&str, &str)]) -> String {
    let mut out = String::new();
    for (word, value) in parts.iter().filter(|p| !p.1.is_empty()) {
        if !out.is_empty() {
            out.push_str(", ");
        }
        if !word.is_empty() {
            out.push_str(word);
            out.push(' ');
        }
        out.push_str(value);
    }
    out
}

fn strip(c: &mut Canvas, label: &Label) -> Result<(), ReportError> {
    let s = SEAL_STRIP;
    let middle = s.h / 2.0;
    c.line((2.0, middle), (s.w - 2.0, middle), 0.3, INK, Stroke::Dashed);
    for (top, side) in [(2.0, "on the flap"), (middle + 1.0, "on the package")] {
        c.fit(
            Area {
                x: M,
                y: top,
                w: s.w - 2.0 * M,
                h: 4.4,
            },
            Face::Bold,
            9.0,
            INK,
            &format!(
                "Seal {} · Case {} · {} · {side}",
                if label.seal_number.is_empty() {
                    "________"
                } else {
                    &label.seal_number
                },
                label.case_number,
                item_words(label)
            ),
            "Seal, case and item number",
        )?;
        to_write(
            c,
            M,
            top + 10.0,
            s.w * 0.6,
            "Initials, half on each side of the edge",
        )?;
        to_write(c, s.w * 0.63, top + 10.0, s.w - M, "Date")?;
    }
    Ok(())
}
