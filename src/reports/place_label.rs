//! The label of a place in the storeroom: its name large, what it is in, what climate it keeps, and its code.

use chrono::{DateTime, Utc};

use super::ReportError;
use super::barcode;
use super::font::Face;
use super::page::{Area, Canvas, FAINT, INK, Stroke};
use super::paper::BOX_LABEL;

/// What is printed. Texts come formatted; an empty one is left out.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct PlaceLabel {
    /// Agency.
    pub agency: String,
    /// Name of the place.
    pub name: String,
    /// What kind of place.
    pub kind: String,
    /// What it is in, outermost first.
    pub within: String,
    /// Climate, and whether it is damp or lit.
    pub keeps: String,
    /// The code, twelve characters.
    pub code: String,
    /// The code in groups, for people.
    pub code_grouped: String,
    /// When it was printed; goes into the properties of the PDF.
    pub printed_at: DateTime<Utc>,
    /// Identifier of the print; goes into the properties of the PDF.
    pub print_id: String,
}

/// The label as a PDF of the size of a box label.
///
/// # Errors
/// A character without a shape, a text that doesn't fit, a code that can't be a barcode; each names the field.
pub fn place_label(label: &PlaceLabel) -> Result<Vec<u8>, ReportError> {
    let s = BOX_LABEL;
    let (qr, bars) = (
        barcode::qr(&label.code, "Code")?,
        barcode::code128(&label.code, "Code")?,
    );
    let mut c = Canvas::default();
    c.add_page(s);
    let frame = Area {
        x: 1.5,
        y: 1.5,
        w: s.w - 3.0,
        h: s.h - 3.0,
    };
    c.frame(frame, 0.4, INK, Stroke::Solid);
    let left = 4.0;
    let wide = s.w - 2.0 * left - qr.w - 1.0;
    let mut line = |y, h, face, most, colour, text: &str, field| {
        c.fit(
            Area {
                x: left,
                y,
                w: wide,
                h,
            },
            face,
            most,
            colour,
            text,
            field,
        )
    };
    line(3.0, 4.4, Face::Sans, 8.0, FAINT, &label.agency, "Agency")?;
    line(8.0, 4.4, Face::Sans, 9.0, INK, &label.kind, "Kind of place")?;
    line(12.4, 15.0, Face::Bold, 24.0, INK, &label.name, "Name")?;
    line(28.4, 7.0, Face::Sans, 8.5, INK, &label.within, "Within")?;
    line(36.0, 7.0, Face::Bold, 8.5, INK, &label.keeps, "Climate")?;
    c.symbol(s.w - 3.0 - qr.w, 3.0, &qr);
    let foot = s.h - 3.2 - bars.h;
    c.symbol(left - 2.0, foot, &bars);
    let code = Area {
        x: left + bars.w,
        y: foot + 1.6,
        w: s.w - 2.0 * left - bars.w,
        h: 4.0,
    };
    c.fit(code, Face::Mono, 8.0, INK, &label.code_grouped, "Code")?;
    c.marked(&label.print_id);
    c.finish(&format!("Label of place {}", label.name), label.printed_at)
}
