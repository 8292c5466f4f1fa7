//! Papers made of parts: a head, then texts, tables, lines to write on and places to sign, and a foot with the print's
//! identifier on each page. Each paper of the court file says which parts it has; how they look stands here once.

use chrono::{DateTime, Utc};

use super::ReportError;
use super::barcode;
use super::font::{self, Face, MM_PER_PT};
use super::page::{Area, FAINT, INK, RULE, Stroke, line_height};
use super::paper::Paper;
use super::table::{Column, Flow, Row};

/// Most rows of one table, lines to write on or pieces of one paper.
pub const MOST_ROWS: usize = 5_000;
/// Height of a line that is written on by hand, mm.
const WRITTEN: f64 = 8.0;
/// Height of a piece on a hand-over sheet, mm.
const PIECE: f64 = 29.0;

/// What all papers have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Agency.
    pub agency: String,
    /// What the paper is called.
    pub title: String,
    /// Case number.
    pub case_number: String,
    /// Title of the case.
    pub case_title: String,
    /// A sentence under the title; empty for none.
    pub lead: String,
    /// What the record says of itself: size of the ledger, head of its tree.
    pub ledger: Vec<(String, String)>,
    /// What the paper is worth, and what it is not.
    pub note: String,
    /// Who printed it.
    pub printed_by: String,
    /// When, with zone.
    pub printed_when: String,
    /// The same instant; goes into the properties of the PDF.
    pub printed_at: DateTime<Utc>,
    /// Identifier of this print; stands at the foot of each page.
    pub print_id: String,
    /// The same as a code to scan, at the top.
    pub scanned: bool,
    /// Letter or A4.
    pub paper: Paper,
}

/// A line to write on, or what stands on it already.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Blank {
    /// What goes there.
    pub label: String,
    /// What stands there already; empty for a line to write on.
    pub filled: String,
    /// How many lines.
    pub lines: usize,
}

impl Blank {
    /// One empty line.
    #[must_use]
    pub fn line(label: &str) -> Self {
        Self::filled(label, "")
    }

    /// One line with something on it.
    #[must_use]
    pub fn filled(label: &str, filled: &str) -> Self {
        Self {
            label: label.to_owned(),
            filled: filled.to_owned(),
            lines: 1,
        }
    }

    /// Several empty lines.
    #[must_use]
    pub fn lines(label: &str, lines: usize) -> Self {
        Self {
            lines,
            ..Self::line(label)
        }
    }
}

/// Somebody who signs in ink.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Signer {
    /// As what: `Released by`.
    pub role: String,
    /// The lines: name, number, signature, date and time.
    pub lines: Vec<Blank>,
}

/// A piece on a hand-over sheet, or an empty place for one that is not listed.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Piece {
    /// Number of the line.
    pub line: usize,
    /// The code on its label; empty for an empty place.
    pub code: String,
    /// The same in groups.
    pub code_grouped: String,
    /// `Package P2`.
    pub name: String,
    /// What it is.
    pub description: String,
    /// Whether the record has a seal on it.
    pub sealed: bool,
}

/// A part of a paper.
#[derive(Clone, Debug, PartialEq)]
pub enum Part {
    /// A heading.
    Heading(String),
    /// A paragraph.
    Text(String),
    /// A paragraph of what is less important.
    Small(String),
    /// What is read letter by letter: a signed note.
    Letters(String),
    /// What follows stays together: a new page begins unless so many millimetres are left.
    Together(f64),
    /// Something that must be seen.
    Notice(String),
    /// Names and values.
    Facts(Vec<(String, String)>),
    /// A table.
    Table {
        /// Name, for errors.
        name: &'static str,
        /// Columns.
        columns: Vec<Column>,
        /// Rows.
        rows: Vec<Row>,
    },
    /// Lines to write on, one under another.
    Blanks(Vec<Blank>),
    /// A box to tick with its words.
    Tick(String),
    /// People who sign, two beside each other.
    Signatures(Vec<Signer>),
    /// Pieces to hand over.
    Pieces(Vec<Piece>),
}

/// A column.
#[must_use]
pub const fn col(head: &'static str, part: f64, mono: bool) -> Column {
    Column { head, part, mono }
}

/// A row of texts.
#[must_use]
pub fn row(cells: &[&str]) -> Row {
    Row {
        cells: cells.iter().map(|&c| c.to_owned()).collect(),
        flagged: false,
    }
}

/// The paper as a PDF.
///
/// # Errors
/// A character without a shape, or more rows than a paper holds; each names the field.
pub fn draw(frame: &Frame, parts: &[Part]) -> Result<Vec<u8>, ReportError> {
    let mut flow = Flow::new(frame.paper.size());
    head(&mut flow, frame)?;
    for part in parts {
        bounded(part)?;
        match part {
            Part::Heading(text) => {
                flow.skip(1.5);
                flow.heading(10.5, text, "Heading")?;
            }
            Part::Text(text) => {
                flow.text(Face::Sans, 9.0, INK, text, "Text")?;
                flow.skip(1.5);
            }
            Part::Small(text) => {
                flow.text(Face::Sans, 7.5, FAINT, text, "Text")?;
                flow.skip(1.5);
            }
            Part::Letters(text) => {
                flow.text(Face::Mono, 7.5, INK, text, "Text")?;
                flow.skip(2.0);
            }
            Part::Together(high) => flow.need(*high)?,
            Part::Notice(text) => flow.notice(text, "Notice")?,
            Part::Facts(facts) => flow.facts(facts)?,
            Part::Table {
                name,
                columns,
                rows,
            } => flow.table(name, columns, rows, 8.0)?,
            Part::Blanks(blanks) => {
                let (left, width) = (flow.left, flow.width);
                for blank in blanks {
                    flow.need(blank.lines.max(1) as f64 * WRITTEN + 2.0)?;
                    flow.y += written(&mut flow, blank, left, width, 46.0)?;
                }
                flow.skip(1.5);
            }
            Part::Tick(text) => tick(&mut flow, text)?,
            Part::Signatures(signers) => signatures(&mut flow, signers)?,
            Part::Pieces(pieces) => {
                for piece in pieces {
                    one_piece(&mut flow, piece)?;
                }
                flow.skip(2.0);
            }
        }
    }
    foot(&mut flow, frame)?;
    let title = format!("{}, case {}", frame.title, frame.case_number);
    flow.canvas.marked(&frame.print_id);
    flow.canvas.finish(&title, frame.printed_at)
}

fn bounded(part: &Part) -> Result<(), ReportError> {
    let (field, have) = match part {
        Part::Table { name, rows, .. } => (*name, rows.len()),
        Part::Blanks(blanks) => ("Lines", blanks.iter().map(|b| b.lines).sum()),
        Part::Pieces(pieces) => ("Pieces", pieces.len()),
        Part::Signatures(signers) => ("Signatures", signers.len()),
        Part::Facts(facts) => ("Facts", facts.len()),
        _ => return Ok(()),
    };
    if have > MOST_ROWS {
        return Err(ReportError::TooMany {
            field: field.into(),
            most: MOST_ROWS,
        });
    }
    Ok(())
}

fn head(flow: &mut Flow, f: &Frame) -> Result<(), ReportError> {
    let width = flow.width;
    let top = flow.y;
    if f.scanned {
        let code = barcode::qr(&f.print_id, "Print")?;
        let x = flow.left + flow.width - code.w;
        flow.canvas.symbol(x, top - 4.0, &code);
        // What stands beside it does not run into it.
        flow.width -= code.w + 2.0;
    }
    flow.text(Face::Sans, 9.0, FAINT, &f.agency, "Agency")?;
    flow.skip(1.0);
    flow.text(Face::Bold, 17.0, INK, &f.title, "Title")?;
    let case = if f.case_title.is_empty() {
        format!("Case {}", f.case_number)
    } else {
        format!("Case {}: {}", f.case_number, f.case_title)
    };
    flow.text(Face::Sans, 12.0, INK, &case, "Case")?;
    flow.skip(1.5);
    if f.scanned {
        flow.width = width;
        let code = barcode::qr(&f.print_id, "Print")?;
        flow.y = flow.y.max(top - 4.0 + code.h);
    }
    let to = flow.left + flow.width;
    flow.canvas
        .line((flow.left, flow.y), (to, flow.y), 0.5, INK, Stroke::Solid);
    flow.skip(2.5);
    if !f.lead.is_empty() {
        flow.text(Face::Sans, 9.0, INK, &f.lead, "Text")?;
        flow.skip(2.0);
    }
    Ok(())
}

fn foot(flow: &mut Flow, f: &Frame) -> Result<(), ReportError> {
    flow.heading(10.0, "The record", "Heading")?;
    let mut facts = f.ledger.clone();
    facts.push((
        "Printed".into(),
        format!("{} by {}", f.printed_when, f.printed_by),
    ));
    facts.push(("Print".into(), f.print_id.clone()));
    flow.facts(&facts)?;
    flow.text(Face::Sans, 7.5, FAINT, &f.note, "Note")?;
    let high = f.paper.size().h;
    let pages = flow.canvas.pages();
    for page in 0..pages {
        flow.canvas.select(page);
        let words = format!(
            "Print {}   case {}   page {} of {pages}",
            f.print_id,
            f.case_number,
            page + 1
        );
        let line = high - 13.0;
        flow.canvas.line(
            (flow.left, line),
            (flow.left + flow.width, line),
            0.15,
            RULE,
            Stroke::Solid,
        );
        let area = Area {
            x: flow.left,
            y: line + 1.4,
            w: flow.width,
            h: 7.5,
        };
        flow.canvas
            .fit(area, Face::Mono, 7.0, FAINT, &words, "Print")?;
    }
    Ok(())
}

/// A label, and lines to write on or what stands there. Gives back its height.
fn written(
    flow: &mut Flow,
    blank: &Blank,
    x: f64,
    width: f64,
    indent: f64,
) -> Result<f64, ReportError> {
    let size = 8.5;
    let labels = font::wrap(Face::Sans, size, indent - 2.0, &blank.label, &blank.label)?;
    let base = |n: f64| n * line_height(size) + size * MM_PER_PT * 0.95;
    // The words of the label end where the first line is written.
    let first = WRITTEN.max(labels.len() as f64 * line_height(size) + 1.5);
    let over = first - 1.2 - labels.len() as f64 * line_height(size);
    for (n, line) in labels.iter().enumerate() {
        let y = flow.y + over + base(n as f64);
        flow.canvas
            .text(x, y, Face::Sans, size, FAINT, line, &blank.label)?;
    }
    let mut high = first;
    if blank.filled.is_empty() {
        for n in 0..blank.lines.max(1) {
            let y = flow.y + first + n as f64 * WRITTEN;
            flow.canvas
                .line((x + indent, y), (x + width, y), 0.25, FAINT, Stroke::Solid);
        }
        high += (blank.lines.max(1) - 1) as f64 * WRITTEN;
    } else {
        let lines = font::wrap(
            Face::Sans,
            size,
            width - indent,
            &blank.filled,
            &blank.label,
        )?;
        high = high.max(lines.len() as f64 * line_height(size) + 3.0);
        let over = high - 1.2 - lines.len() as f64 * line_height(size);
        for (n, line) in lines.iter().enumerate() {
            let y = flow.y + over + base(n as f64);
            flow.canvas
                .text(x + indent, y, Face::Sans, size, INK, line, &blank.label)?;
        }
        let y = flow.y + high;
        flow.canvas
            .line((x + indent, y), (x + width, y), 0.15, RULE, Stroke::Solid);
    }
    Ok(high)
}

fn square(flow: &mut Flow, x: f64, y: f64) {
    let area = Area {
        x,
        y,
        w: 3.2,
        h: 3.2,
    };
    flow.canvas.frame(area, 0.3, INK, Stroke::Solid);
}

fn tick(flow: &mut Flow, text: &str) -> Result<(), ReportError> {
    let size = 9.0;
    let lines = font::wrap(Face::Sans, size, flow.width - 7.0, text, "Text")?;
    flow.need(lines.len() as f64 * line_height(size) + 1.5)?;
    square(flow, flow.left, flow.y + 0.2);
    for line in &lines {
        let y = flow.y + size * MM_PER_PT * 0.95;
        flow.canvas
            .text(flow.left + 7.0, y, Face::Sans, size, INK, line, "Text")?;
        flow.y += line_height(size);
    }
    flow.skip(1.5);
    Ok(())
}

fn signatures(flow: &mut Flow, signers: &[Signer]) -> Result<(), ReportError> {
    let gap = 8.0;
    let wide = (flow.width - gap) / 2.0;
    for pair in signers.chunks(2) {
        let most = pair.iter().map(|s| s.lines.len()).max().unwrap_or(0);
        flow.need(6.0 + most as f64 * (WRITTEN + 1.0) + 3.0)?;
        let top = flow.y;
        let mut bottom = top;
        for (n, signer) in pair.iter().enumerate() {
            let x = flow.left + n as f64 * (wide + gap);
            flow.y = top;
            let y = flow.y + 9.0 * MM_PER_PT * 0.95;
            flow.canvas
                .text(x, y, Face::Bold, 9.0, INK, &signer.role, "Signature")?;
            flow.y += 5.0;
            for blank in &signer.lines {
                flow.y += written(flow, blank, x, wide, 27.0)? + 0.6;
            }
            bottom = bottom.max(flow.y);
        }
        flow.y = bottom + 4.0;
    }
    Ok(())
}

/// What can be ticked of what is seen, as on the record's own list of conditions.
const SEEN: [&str; 6] = [
    "intact",
    "damaged",
    "open",
    "wet",
    "leaking",
    "seal differs",
];

fn one_piece(flow: &mut Flow, piece: &Piece) -> Result<(), ReportError> {
    flow.need(PIECE)?;
    let (x, top) = (flow.left, flow.y);
    let size = 8.0;
    let number = piece.line.to_string();
    let base = |n: f64| top + 2.2 + n * line_height(size) + size * MM_PER_PT * 0.95;
    flow.canvas
        .text(x, base(0.0), Face::Bold, size, INK, &number, "Line")?;
    let codes = x + 5.0;
    let what = x + 62.0;
    let right = x + flow.width;
    let write = |flow: &mut Flow, label: &str, from: f64, to: f64, y: f64| {
        flow.canvas
            .text(from, y, Face::Sans, 7.5, FAINT, label, label)?;
        let wide = font::width(Face::Sans, 7.5, label)?;
        flow.canvas.line(
            (from + wide + 1.5, y + 0.8),
            (to, y + 0.8),
            0.25,
            FAINT,
            Stroke::Solid,
        );
        Ok::<(), ReportError>(())
    };
    if piece.code.is_empty() {
        write(flow, "Code", codes, what - 4.0, top + 10.0)?;
        write(flow, "What", codes, what - 4.0, top + 19.0)?;
    } else {
        let bars = barcode::code128(&piece.code, "Code")?;
        flow.canvas.symbol(codes, top + 2.0, &bars);
        let y = top + 2.0 + bars.h + 3.6;
        flow.canvas.text(
            codes + 2.6,
            y,
            Face::Mono,
            9.0,
            INK,
            &piece.code_grouped,
            "Code",
        )?;
        let name = Area {
            x: codes + 2.6,
            y: y + 1.2,
            w: what - codes - 6.0,
            h: 12.0,
        };
        let words = format!("{}: {}", piece.name, piece.description);
        flow.canvas
            .fit(name, Face::Sans, 8.0, INK, &words, "Description")?;
    }
    let seal = if piece.code.is_empty() {
        "Seal number read off it, or none"
    } else if piece.sealed {
        "Sealed by the record. Number read off it"
    } else {
        "No seal by the record. If there is one"
    };
    write(flow, seal, what, right, top + 6.5)?;
    let mut at = what;
    for word in SEEN {
        square(flow, at, top + 10.0);
        flow.canvas.text(
            at + 4.2,
            top + 12.6,
            Face::Sans,
            7.5,
            INK,
            word,
            "Condition",
        )?;
        at += 4.2 + font::width(Face::Sans, 7.5, word)? + 3.0;
    }
    write(flow, "Note", what, right, top + 19.5)?;
    flow.canvas.line(
        (what, top + PIECE - 2.2),
        (right, top + PIECE - 2.2),
        0.25,
        FAINT,
        Stroke::Solid,
    );
    flow.y = top + PIECE;
    flow.canvas
        .line((x, flow.y), (right, flow.y), 0.2, INK, Stroke::Solid);
    Ok(())
}
