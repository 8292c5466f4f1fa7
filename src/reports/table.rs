//! Text that flows over pages, and tables that break across them with their heads repeated.

use super::ReportError;
use super::font::{self, Face, MM_PER_PT};
use super::page::{
    ATTENTION_GROUND, Area, BREAK, Canvas, FAINT, INK, RULE, Rgb8, Stroke, line_height,
};
use super::paper::Size;

/// Most pages of one paper.
pub const MOST_PAGES: usize = 2000;

/// A column of a table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// Its head.
    pub head: &'static str,
    /// Its part of the width; the parts of all columns are added up.
    pub part: f64,
    /// Set in the fixed-width face.
    pub mono: bool,
}

/// A row of a table.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Row {
    /// One text for each column.
    pub cells: Vec<String>,
    /// Whether it is marked: a triangle in the margin and a tinted ground, beside the word in one of its cells.
    pub flagged: bool,
}

/// A place on a page from which text runs on.
pub struct Flow {
    /// The pages.
    pub canvas: Canvas,
    size: Size,
    /// Left edge of the text, mm.
    pub left: f64,
    /// Width of the text, mm.
    pub width: f64,
    /// Where the next thing goes, mm from the top.
    pub y: f64,
    bottom: f64,
}

const TOP: f64 = 16.0;
const FOOT: f64 = 18.0;
const SIDE: f64 = 16.0;

impl Flow {
    /// An empty first page.
    #[must_use]
    pub fn new(size: Size) -> Self {
        let mut canvas = Canvas::default();
        canvas.add_page(size);
        Self {
            canvas,
            size,
            left: SIDE,
            width: size.w - 2.0 * SIDE,
            y: TOP,
            bottom: size.h - FOOT,
        }
    }

    /// Begins a new page.
    ///
    /// # Errors
    /// [`ReportError::TooMany`].
    pub fn new_page(&mut self) -> Result<(), ReportError> {
        if self.canvas.pages() >= MOST_PAGES {
            return Err(ReportError::TooMany {
                field: "Pages".into(),
                most: MOST_PAGES,
            });
        }
        self.canvas.add_page(self.size);
        self.y = TOP;
        Ok(())
    }

    /// Begins a new page unless `high` mm are left on this one.
    ///
    /// # Errors
    /// As [`Flow::new_page`].
    pub fn need(&mut self, high: f64) -> Result<(), ReportError> {
        if self.y + high > self.bottom && self.y > TOP {
            self.new_page()?;
        }
        Ok(())
    }

    /// Leaves some space.
    pub fn skip(&mut self, high: f64) {
        self.y += high;
    }

    /// A heading, never alone at the foot of a page.
    ///
    /// # Errors
    /// As [`Flow::text`].
    pub fn heading(&mut self, size: f64, text: &str, field: &str) -> Result<(), ReportError> {
        self.need(line_height(size) + 22.0)?;
        self.text(Face::Bold, size, INK, text, field)?;
        self.skip(1.2);
        Ok(())
    }

    /// A paragraph over the whole width.
    ///
    /// # Errors
    /// A character without a shape, or too many pages.
    pub fn text(
        &mut self,
        face: Face,
        size: f64,
        colour: Rgb8,
        text: &str,
        field: &str,
    ) -> Result<(), ReportError> {
        for line in font::wrap(face, size, self.width, text, field)? {
            self.need(line_height(size))?;
            let y = self.y + size * MM_PER_PT * 0.95;
            self.canvas
                .text(self.left, y, face, size, colour, &line, field)?;
            self.y += line_height(size);
        }
        Ok(())
    }

    /// A paragraph in a frame, with a triangle: something that must be seen.
    ///
    /// # Errors
    /// As [`Flow::text`].
    pub fn notice(&mut self, text: &str, field: &str) -> Result<(), ReportError> {
        let size = 9.0;
        let lines = font::wrap(Face::Bold, size, self.width - 11.0, text, field)?;
        let high = lines.len() as f64 * line_height(size) + 3.0;
        self.need(high + 1.0)?;
        let area = Area {
            x: self.left,
            y: self.y,
            w: self.width,
            h: high,
        };
        self.canvas.frame(area, 0.5, BREAK, Stroke::Solid);
        self.canvas
            .warning(self.left + 2.2, self.y + 1.9, 3.4, BREAK);
        for (i, line) in lines.iter().enumerate() {
            let y = self.y + 1.5 + i as f64 * line_height(size) + size * MM_PER_PT * 0.95;
            self.canvas
                .text(self.left + 8.0, y, Face::Bold, size, BREAK, line, field)?;
        }
        self.y += high + 1.5;
        Ok(())
    }

    /// Names and values under one another; an empty value is left out.
    ///
    /// # Errors
    /// As [`Flow::text`].
    pub fn facts(&mut self, list: &[(String, String)]) -> Result<(), ReportError> {
        let size = 8.5;
        let indent = 42.0;
        for (name, value) in list.iter().filter(|f| !f.1.is_empty()) {
            let names = font::wrap(Face::Sans, size, indent - 2.0, name, name)?;
            let values = font::wrap(Face::Sans, size, self.width - indent, value, name)?;
            for i in 0..names.len().max(values.len()) {
                self.need(line_height(size))?;
                let y = self.y + size * MM_PER_PT * 0.95;
                if let Some(line) = names.get(i) {
                    self.canvas
                        .text(self.left, y, Face::Sans, size, FAINT, line, name)?;
                }
                if let Some(line) = values.get(i) {
                    self.canvas
                        .text(self.left + indent, y, Face::Sans, size, INK, line, name)?;
                }
                self.y += line_height(size);
            }
            self.y += 0.5;
        }
        self.y += 1.0;
        Ok(())
    }

    /// A table. A row that doesn't fit goes to the next page; one that is higher than a page is broken by lines.
    ///
    /// # Errors
    /// As [`Flow::text`]; a cell is named by the table's name and the head of its column.
    pub fn table(
        &mut self,
        name: &str,
        columns: &[Column],
        rows: &[Row],
        size: f64,
    ) -> Result<(), ReportError> {
        let sum: f64 = columns.iter().map(|c| c.part).sum();
        let mut x = self.left;
        let places: Vec<(f64, f64)> = columns
            .iter()
            .map(|c| {
                let wide = c.part / sum * self.width;
                let place = (x, wide - 1.6);
                x += wide;
                place
            })
            .collect();
        let high = line_height(size);
        let pad = 0.9;
        let heads: Vec<Vec<String>> = columns
            .iter()
            .zip(&places)
            .map(|(c, p)| font::wrap(Face::Bold, size, p.1, c.head, c.head))
            .collect::<Result<_, _>>()?;
        let head_high = heads.iter().map(Vec::len).max().unwrap_or(1) as f64 * high + 2.0 * pad;
        self.need(head_high + 3.0 * high)?;
        self.table_head(&heads, &places, size, head_high)?;
        for row in rows {
            let cells: Vec<Vec<String>> = columns
                .iter()
                .zip(&places)
                .enumerate()
                .map(|(i, (c, p))| {
                    let text = row.cells.get(i).map_or("", String::as_str);
                    font::wrap(face_of(*c), size, p.1, text, &format!("{name}, {}", c.head))
                })
                .collect::<Result<_, _>>()?;
            let lines = cells.iter().map(Vec::len).max().unwrap_or(1);
            let mut done = 0;
            while done < lines {
                let room = ((self.bottom - self.y - 2.0 * pad) / high).floor().max(0.0) as usize;
                let page = ((self.bottom - TOP - head_high - 2.0 * pad) / high).floor() as usize;
                let left = lines - done;
                if room == 0 || (left > room && left <= page) {
                    self.new_page()?;
                    self.table_head(&heads, &places, size, head_high)?;
                    continue;
                }
                let now = left.min(room);
                let area = Area {
                    x: self.left,
                    y: self.y,
                    w: self.width,
                    h: now as f64 * high + 2.0 * pad,
                };
                if row.flagged {
                    self.canvas.fill(area, ATTENTION_GROUND);
                    self.canvas
                        .warning(self.left - 4.0, self.y + pad + 0.2, 2.6, BREAK);
                }
                for (i, (cell, place)) in cells.iter().zip(&places).enumerate() {
                    for (n, line) in cell.iter().skip(done).take(now).enumerate() {
                        let y = self.y + pad + n as f64 * high + size * MM_PER_PT * 0.95;
                        let field = format!("{name}, {}", columns[i].head);
                        self.canvas.text(
                            place.0,
                            y,
                            face_of(columns[i]),
                            size,
                            INK,
                            line,
                            &field,
                        )?;
                    }
                }
                self.y += area.h;
                self.canvas.line(
                    (self.left, self.y),
                    (self.left + self.width, self.y),
                    0.15,
                    RULE,
                    Stroke::Solid,
                );
                done += now;
            }
        }
        self.y += 2.5;
        Ok(())
    }

    fn table_head(
        &mut self,
        heads: &[Vec<String>],
        places: &[(f64, f64)],
        size: f64,
        high: f64,
    ) -> Result<(), ReportError> {
        for (head, place) in heads.iter().zip(places) {
            for (n, line) in head.iter().enumerate() {
                let y = self.y + 0.9 + n as f64 * line_height(size) + size * MM_PER_PT * 0.95;
                self.canvas
                    .text(place.0, y, Face::Bold, size, FAINT, line, line)?;
            }
        }
        self.y += high;
        self.canvas.line(
            (self.left, self.y),
            (self.left + self.width, self.y),
            0.35,
            INK,
            Stroke::Solid,
        );
        Ok(())
    }
}

fn face_of(column: Column) -> Face {
    if column.mono { Face::Mono } else { Face::Sans }
}
