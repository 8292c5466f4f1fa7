//! A drawing surface in millimetres, origin at the top left corner.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use lopdf::{Object, StringFormat};
use printpdf::{
    Color, FontId, Line, LineCapStyle, LineDashPattern, LinePoint, OffsetDateTime, Op, PaintMode,
    PdfDocument, PdfFontHandle, PdfPage, PdfSaveOptions, Point, Polygon, PolygonRing, Pt, RawImage,
    RawImageData, RawImageFormat, Rgb, TextItem, XObject, XObjectId, XObjectTransform,
};
use sha2::{Digest as _, Sha256};

use super::ReportError;
use super::barcode::Symbol;
use super::font::{self, Face, MM_PER_PT};
use super::paper::Size;

/// A colour: red, green, blue.
pub type Rgb8 = (u8, u8, u8);
/// Text.
pub const INK: Rgb8 = (0x1b, 0x25, 0x30);
/// Labels of fields.
pub const FAINT: Rgb8 = (0x56, 0x61, 0x6d);
/// Thin lines.
pub const RULE: Rgb8 = (0xd9, 0xd3, 0xc3);
/// The thread.
pub const THREAD: Rgb8 = (0x1d, 0x4f, 0x7a);
/// A break or a refusal, and its ground.
pub const BREAK: Rgb8 = (0x9b, 0x1c, 0x1f);
/// Ground beneath attention.
pub const ATTENTION_GROUND: Rgb8 = (0xff, 0xf3, 0xd6);
/// Bars of codes.
pub const BLACK: Rgb8 = (0, 0, 0);
/// Bare paper.
pub const WHITE: Rgb8 = (255, 255, 255);

/// Height of a line of text at a size in points, mm.
#[must_use]
pub fn line_height(size: f64) -> f64 {
    size * MM_PER_PT * 1.22
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stroke {
    /// Unbroken.
    Solid,
    /// Dashes.
    Dashed,
    /// Dots.
    Dotted,
    /// Two thin lines side by side.
    Double,
}

/// A box, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Area {
    /// Left.
    pub x: f64,
    /// Top.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
}

struct Leaf {
    size: Size,
    ops: Vec<Op>,
}

/// The pages of one PDF while they are drawn.
#[derive(Default)]
pub struct Canvas {
    leaves: Vec<Leaf>,
    current: usize,
    origin: (f64, f64),
    used: BTreeMap<Face, BTreeSet<char>>,
    pictures: Vec<RawImage>,
    print: Option<String>,
}

impl Canvas {
    /// Adds a page and draws on it from now on.
    pub fn add_page(&mut self, size: Size) {
        self.leaves.push(Leaf {
            size,
            ops: Vec::new(),
        });
        self.current = self.leaves.len() - 1;
        self.origin = (0.0, 0.0);
    }

    /// How many pages there are.
    #[must_use]
    pub fn pages(&self) -> usize {
        self.leaves.len()
    }

    /// Draws on an earlier page from now on, counted from 0.
    pub fn select(&mut self, page: usize) {
        self.current = page;
        self.origin = (0.0, 0.0);
    }

    /// Puts the origin elsewhere on the page, for a card on a sheet.
    pub fn set_origin(&mut self, x: f64, y: f64) {
        self.origin = (x, y);
    }

    fn push(&mut self, ops: impl IntoIterator<Item = Op>) {
        if let Some(leaf) = self.leaves.get_mut(self.current) {
            leaf.ops.extend(ops);
        }
    }

    fn at(&self, x: f64, y: f64) -> Point {
        let height = self.leaves.get(self.current).map_or(0.0, |l| l.size.h);
        Point {
            x: pt(x + self.origin.0),
            y: pt(height - y - self.origin.1),
        }
    }

    /// One line of text; `y` is its base line, `size` is in points.
    ///
    /// # Errors
    /// [`ReportError::Glyph`].
    #[expect(
        clippy::too_many_arguments,
        reason = "a line of text has that many sides"
    )]
    pub fn text(
        &mut self,
        x: f64,
        y: f64,
        face: Face,
        size: f64,
        colour: Rgb8,
        text: &str,
        field: &str,
    ) -> Result<(), ReportError> {
        if text.is_empty() {
            return Ok(());
        }
        font::check(face, text, field)?;
        self.used.entry(face).or_default().extend(text.chars());
        let pos = self.at(x, y);
        self.push([
            Op::StartTextSection,
            Op::SetFillColor { col: rgb(colour) },
            Op::SetFont {
                font: PdfFontHandle::External(FontId(face.id().to_owned())),
                size: Pt(size as f32),
            },
            Op::SetTextCursor { pos },
            Op::ShowText {
                items: vec![TextItem::Text(text.to_owned())],
            },
            Op::EndTextSection,
        ]);
        Ok(())
    }

    /// Text wrapped inside a box, in the largest size between `most` and 6 pt (or `most`, if that is less) that fits.
    /// Gives back the height used.
    ///
    /// # Errors
    /// [`ReportError::TooLong`] if it doesn't fit at the least size.
    pub fn fit(
        &mut self,
        area: Area,
        face: Face,
        most: f64,
        colour: Rgb8,
        text: &str,
        field: &str,
    ) -> Result<f64, ReportError> {
        let mut size = most;
        loop {
            let lines = font::wrap(face, size, area.w, text, field)?;
            let height = lines.len() as f64 * line_height(size);
            if height <= area.h + 0.01 {
                for (i, line) in lines.iter().enumerate() {
                    let y = area.y + i as f64 * line_height(size) + size * MM_PER_PT * 0.95;
                    self.text(area.x, y, face, size, colour, line, field)?;
                }
                return Ok(height);
            }
            if size <= 6.0 {
                return Err(ReportError::TooLong {
                    field: field.to_owned(),
                });
            }
            size = (size - 0.5).max(6.0);
        }
    }

    /// A line, `thick` mm.
    pub fn line(
        &mut self,
        from: (f64, f64),
        to: (f64, f64),
        thick: f64,
        colour: Rgb8,
        how: Stroke,
    ) {
        if how == Stroke::Double {
            let (dx, dy) = (to.0 - from.0, to.1 - from.1);
            let long = dx.hypot(dy).max(1e-9);
            let (nx, ny) = (-dy / long * thick, dx / long * thick);
            for s in [-1.0, 1.0] {
                let shift = |p: (f64, f64)| (p.0 + s * nx, p.1 + s * ny);
                self.line(shift(from), shift(to), thick * 0.6, colour, Stroke::Solid);
            }
            return;
        }
        let t = (thick / MM_PER_PT) as f32;
        let (dash, cap) = match how {
            Stroke::Dashed => (
                LineDashPattern::new(0.0, &[t * 6.0, t * 4.0]),
                LineCapStyle::Butt,
            ),
            Stroke::Dotted => (
                LineDashPattern::new(0.0, &[0.0, t * 2.5]),
                LineCapStyle::Round,
            ),
            Stroke::Solid | Stroke::Double => (LineDashPattern::solid(), LineCapStyle::Butt),
        };
        let points = [from, to]
            .map(|(x, y)| LinePoint {
                p: self.at(x, y),
                bezier: false,
            })
            .to_vec();
        self.push([
            Op::SetOutlineColor { col: rgb(colour) },
            Op::SetOutlineThickness { pt: Pt(t) },
            Op::SetLineCapStyle { cap },
            Op::SetLineDashPattern { dash },
            Op::DrawLine {
                line: Line {
                    points,
                    is_closed: false,
                },
            },
        ]);
    }

    /// A filled shape.
    pub fn polygon(&mut self, points: &[(f64, f64)], colour: Rgb8) {
        let points = points
            .iter()
            .map(|&(x, y)| LinePoint {
                p: self.at(x, y),
                bezier: false,
            })
            .collect();
        self.push([
            Op::SetFillColor { col: rgb(colour) },
            Op::DrawPolygon {
                polygon: Polygon {
                    rings: vec![PolygonRing { points }],
                    mode: PaintMode::Fill,
                    ..Polygon::default()
                },
            },
        ]);
    }

    /// A filled box.
    pub fn fill(&mut self, a: Area, colour: Rgb8) {
        self.polygon(
            &[
                (a.x, a.y),
                (a.x + a.w, a.y),
                (a.x + a.w, a.y + a.h),
                (a.x, a.y + a.h),
            ],
            colour,
        );
    }

    /// The outline of a box.
    pub fn frame(&mut self, a: Area, thick: f64, colour: Rgb8, how: Stroke) {
        let (r, b) = (a.x + a.w, a.y + a.h);
        self.line((a.x, a.y), (r, a.y), thick, colour, how);
        self.line((r, a.y), (r, b), thick, colour, how);
        self.line((a.x, b), (r, b), thick, colour, how);
        self.line((a.x, a.y), (a.x, b), thick, colour, how);
    }

    /// A disc, or a ring on bare paper if `open`.
    pub fn disc(&mut self, centre: (f64, f64), radius: f64, colour: Rgb8, open: bool) {
        let round = |r: f64| -> Vec<(f64, f64)> {
            (0..32)
                .map(|i| {
                    let a = f64::from(i) * std::f64::consts::TAU / 32.0;
                    (centre.0 + r * a.cos(), centre.1 + r * a.sin())
                })
                .collect()
        };
        self.polygon(&round(radius), colour);
        if open {
            self.polygon(&round(radius * 0.62), WHITE);
        }
    }

    /// An arrow that points up, its foot at `x`, `y`.
    pub fn arrow_up(&mut self, x: f64, y: f64, long: f64, colour: Rgb8) {
        let head = (long * 0.4).min(4.0);
        self.line(
            (x, y),
            (x, y - long + head * 0.8),
            long * 0.09,
            colour,
            Stroke::Solid,
        );
        self.polygon(
            &[
                (x, y - long),
                (x + head * 0.55, y - long + head),
                (x - head * 0.55, y - long + head),
            ],
            colour,
        );
    }

    /// A triangle with its tip up: the shape that stands with a warning.
    pub fn warning(&mut self, x: f64, y: f64, side: f64, colour: Rgb8) {
        self.polygon(
            &[(x + side / 2.0, y), (x + side, y + side), (x, y + side)],
            colour,
        );
    }

    /// A barcode with its quiet zone cleared, top left corner at `x`, `y`.
    pub fn symbol(&mut self, x: f64, y: f64, symbol: &Symbol) {
        self.fill(
            Area {
                x,
                y,
                w: symbol.w,
                h: symbol.h,
            },
            WHITE,
        );
        for bar in &symbol.bars {
            self.fill(
                Area {
                    x: x + bar.x,
                    y: y + bar.y,
                    w: bar.w,
                    h: bar.h,
                },
                BLACK,
            );
        }
    }

    /// A PNG or JPEG drawn inside a box, in its own proportion. Gives back the box it fills.
    ///
    /// # Errors
    /// [`ReportError::Picture`] for other formats or more than 2000 pixels on a side.
    pub fn picture(&mut self, area: Area, bytes: &[u8], field: &str) -> Result<Area, ReportError> {
        let refuse = || ReportError::Picture {
            field: field.to_owned(),
        };
        let mut reader = image::ImageReader::new(std::io::Cursor::new(bytes))
            .with_guessed_format()
            .map_err(|_| refuse())?;
        let mut limits = image::Limits::default();
        limits.max_image_width = Some(2000);
        limits.max_image_height = Some(2000);
        reader.limits(limits);
        let picture = reader.decode().map_err(|_| refuse())?.to_rgb8();
        let (w, h) = (picture.width(), picture.height());
        // A third of the bytes where there is no colour.
        let grey = picture.pixels().all(|p| p[0] == p[1] && p[1] == p[2]);
        let (pixels, data_format) = if grey {
            let one = picture.pixels().map(|p| p[0]).collect();
            (one, RawImageFormat::R8)
        } else {
            (picture.into_raw(), RawImageFormat::RGB8)
        };
        let id = XObjectId(format!("P{}", self.pictures.len()));
        let scale = (area.w / f64::from(w)).min(area.h / f64::from(h));
        let shown = Area {
            w: f64::from(w) * scale,
            h: f64::from(h) * scale,
            ..area
        };
        self.pictures.push(RawImage {
            pixels: RawImageData::U8(pixels),
            width: w as usize,
            height: h as usize,
            data_format,
            tag: Vec::new(),
        });
        let corner = self.at(shown.x, shown.y + shown.h);
        self.push([Op::UseXobject {
            id,
            transform: XObjectTransform {
                translate_x: Some(corner.x),
                translate_y: Some(corner.y),
                // One pixel is one point at 72 dpi; the scale makes millimetres of it.
                dpi: Some(72.0),
                scale_x: Some((scale / MM_PER_PT) as f32),
                scale_y: Some((scale / MM_PER_PT) as f32),
                ..XObjectTransform::default()
            },
        }]);
        Ok(shown)
    }

    /// Puts the print's identifier into the PDF's properties as well, where a program finds it: see
    /// [`crate::disclosure::paper`]. An empty one puts nothing there.
    pub fn marked(&mut self, print_id: &str) {
        self.print =
            (!print_id.is_empty()).then(|| format!("{}{print_id}", crate::disclosure::paper::MARK));
    }

    /// The PDF. `title` and `at` stand in its properties; the identifier in its trailer is made from its contents.
    ///
    /// # Errors
    /// [`ReportError::Inner`].
    pub fn finish(self, title: &str, at: DateTime<Utc>) -> Result<Vec<u8>, ReportError> {
        let mut pdf = PdfDocument::new(title);
        let date = OffsetDateTime::from_unix_timestamp(at.timestamp())
            .map_err(|e| ReportError::Inner(e.to_string()))?;
        let info = &mut pdf.metadata.info;
        info.creation_date = date;
        info.modification_date = date;
        info.metadata_date = date;
        info.creator = "liftledger".into();
        info.producer = "liftledger".into();
        for (face, chars) in &self.used {
            pdf.resources.fonts.map.insert(
                FontId(face.id().to_owned()),
                printpdf::PdfFont::new(font::reduced(*face, chars)?),
            );
        }
        for (i, picture) in self.pictures.into_iter().enumerate() {
            pdf.resources
                .xobjects
                .map
                .insert(XObjectId(format!("P{i}")), XObject::Image(picture));
        }
        pdf.pages = self
            .leaves
            .into_iter()
            .map(|leaf| {
                PdfPage::new(
                    printpdf::Mm(leaf.size.w as f32),
                    printpdf::Mm(leaf.size.h as f32),
                    leaf.ops,
                )
            })
            .collect();
        let options = PdfSaveOptions {
            optimize: true,
            // Reduced already, with its own table of characters.
            subset_fonts: false,
            secure: true,
            image_optimization: None,
        };
        let mut document = pdf.to_lopdf_document(&options, &mut Vec::new());
        if let Ok(catalog) = document.catalog_mut() {
            catalog.set("Lang", Object::string_literal("en"));
        }
        if let Some(print) = self.print {
            let info = document.trailer.get(b"Info").and_then(Object::as_reference);
            let info = info.and_then(|id| document.get_object_mut(id));
            info.and_then(Object::as_dict_mut)
                .map_err(|e| ReportError::Inner(e.to_string()))?
                .set("Keywords", Object::string_literal(print));
        }
        // Pictures come as bare pixels; everything else is compressed already.
        for object in document.objects.values_mut() {
            if let Ok(stream) = object.as_stream_mut() {
                stream.allows_compression = true;
            }
        }
        document.compress();
        document.trailer.remove(b"ID");
        let mut bytes = Vec::new();
        let inner = |e: std::io::Error| ReportError::Inner(e.to_string());
        document.save_to(&mut bytes).map_err(inner)?;
        let digest = Sha256::digest(&bytes);
        let id = Object::String(digest[..16].to_vec(), StringFormat::Hexadecimal);
        document
            .trailer
            .set("ID", Object::Array(vec![id.clone(), id]));
        bytes.clear();
        document.save_to(&mut bytes).map_err(inner)?;
        Ok(bytes)
    }
}

fn pt(mm: f64) -> Pt {
    Pt((mm / MM_PER_PT) as f32)
}

fn rgb((r, g, b): Rgb8) -> Color {
    Color::Rgb(Rgb {
        r: f32::from(r) / 255.0,
        g: f32::from(g) / 255.0,
        b: f32::from(b) / 255.0,
        icc_profile: None,
    })
}
