//! Labels and papers as PDF: a model of plain texts in, the bytes of a PDF out.
//!
//! - [`font`] the embedded fonts: coverage, measuring, subsets
//! - [`page`] a drawing surface in millimetres
//! - [`table`] text that flows over pages, and tables that break across them
//! - [`barcode`] Code 128 and QR as rectangles
//! - [`paper`] sizes of papers, cards and labels
//! - [`label`] lift cards, box and envelope labels, seal strips
//! - [`place_label`] labels of places in the storeroom
//! - [`custody_report`] the custody report of a case
//! - [`finding_table`] findings with their answers, as a table of it
//! - [`disposition_certificate`] the certificate of a disposition
//! - [`parts`] papers made of parts: texts, tables, lines to write on, places to sign
//! - [`texts`] every text of a paper, for whoever leaves some out
//! - [`thread_drawing`] the thread of custody as a drawing
//!
//! The same model gives the same bytes. A text that can't be set whole is refused by the name of its field; nothing is
//! cut or dropped.

pub mod barcode;
pub mod custody_report;
pub mod disposition_certificate;
pub mod finding_table;
pub mod font;
pub mod label;
pub mod page;
pub mod paper;
pub mod parts;
pub mod place_label;
pub mod table;
pub mod texts;
pub mod thread_drawing;

/// Why a paper can't be made. Each names the field, so that the person can mend it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReportError {
    /// The embedded font has no shape for a character.
    #[error("{field}: the character {ch:?} can't be printed. Write it in other letters")]
    Glyph {
        /// The character.
        ch: char,
        /// Where it stands.
        field: String,
    },
    /// The text doesn't fit, even in the smallest size.
    #[error("{field}: the text is too long for this paper. Shorten it or choose a larger paper")]
    TooLong {
        /// The longest text of the block that doesn't fit.
        field: String,
    },
    /// The text can't be a barcode.
    #[error("{field}: this can't be written as a barcode")]
    Barcode {
        /// Which text.
        field: String,
    },
    /// A picture that can't be read.
    #[error("{field}: the picture can't be read as PNG or JPEG, or is too large for a report")]
    Picture {
        /// Which picture.
        field: String,
    },
    /// More entries than a paper may have.
    #[error("{field}: more than {most}. Print it in parts")]
    TooMany {
        /// Of what.
        field: String,
        /// The bound.
        most: usize,
    },
    /// The embedded font or the PDF could not be made; a fault of the program.
    #[error("the paper could not be set: {0}")]
    Inner(String),
}
