//! The certificate of a disposition: what was disposed of, how, by whose authority, and the three people, each with the
//! event that says so.

use chrono::{DateTime, Utc};

use super::ReportError;
use super::font::Face;
use super::page::{FAINT, INK};
use super::paper::Paper;
use super::table::{Column, Flow, Row};

/// Most items on one certificate.
pub const MOST_ITEMS: usize = 1000;

/// A step of the disposition.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Step {
    /// `Authorised`, `Carried out`, `Witnessed`.
    pub what: String,
    /// Who, with number.
    pub who: String,
    /// When it happened, as claimed, with zone.
    pub claimed: String,
    /// When the server recorded it, with zone.
    pub recorded: String,
    /// How it was signed.
    pub attested: String,
    /// Position in the ledger.
    pub seq: u64,
}

/// An item that was disposed of.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Item {
    /// Number in the case.
    pub number: String,
    /// Code in groups.
    pub code: String,
    /// Description.
    pub description: String,
}

/// What is printed. Texts come formatted; an empty fact is left out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DispositionCertificate {
    /// Agency.
    pub agency: String,
    /// Case number.
    pub case_number: String,
    /// Title of the case.
    pub case_title: String,
    /// What was disposed of: `Package P2`.
    pub thing: String,
    /// Its code in groups.
    pub code: String,
    /// How it ended: `destroyed`.
    pub method: String,
    /// Authority, reason, schedule, who received it, how it was done, seal and condition: name and value.
    pub facts: Vec<(String, String)>,
    /// The three steps.
    pub steps: Vec<Step>,
    /// The items.
    pub items: Vec<Item>,
    /// How many events the ledger had, and the head of its tree.
    pub ledger: Vec<(String, String)>,
    /// Who printed it.
    pub printed_by: String,
    /// When, with zone.
    pub printed_when: String,
    /// The same instant; goes into the properties of the PDF.
    pub printed_at: DateTime<Utc>,
    /// Identifier of this print; stands at the foot of each page.
    pub print_id: String,
    /// Letter or A4.
    pub paper: Paper,
}

fn col(head: &'static str, part: f64, mono: bool) -> Column {
    Column { head, part, mono }
}

/// The certificate as a PDF.
///
/// # Errors
/// A character without a shape, or more than [`MOST_ITEMS`] items; each names the field.
pub fn disposition_certificate(c: &DispositionCertificate) -> Result<Vec<u8>, ReportError> {
    if c.items.len() > MOST_ITEMS {
        return Err(ReportError::TooMany {
            field: "Items".into(),
            most: MOST_ITEMS,
        });
    }
    let size = c.paper.size();
    let mut flow = Flow::new(size);
    flow.text(Face::Sans, 9.0, FAINT, &c.agency, "Agency")?;
    flow.skip(1.0);
    flow.text(Face::Bold, 16.0, INK, "Certificate of disposition", "Title")?;
    flow.skip(1.5);
    let said = format!("{} of case {} was {}.", c.thing, c.case_number, c.method);
    flow.text(Face::Bold, 11.0, INK, &said, "What")?;
    flow.skip(2.5);
    let mut facts = vec![
        (
            "Case".to_owned(),
            format!("{}, {}", c.case_number, c.case_title),
        ),
        ("What".to_owned(), format!("{}, code {}", c.thing, c.code)),
    ];
    facts.extend(c.facts.iter().cloned());
    flow.facts(&facts)?;
    flow.heading(10.0, "By three people", "Heading")?;
    let rows: Vec<Row> = c
        .steps
        .iter()
        .map(|s| Row {
            cells: vec![
                s.what.clone(),
                s.who.clone(),
                s.claimed.clone(),
                s.recorded.clone(),
                s.attested.clone(),
                s.seq.to_string(),
            ],
            flagged: false,
        })
        .collect();
    let columns = [
        col("Step", 1.6, false),
        col("Who", 3.0, false),
        col("When, as claimed", 2.3, false),
        col("Recorded", 2.3, false),
        col("Signed", 1.4, false),
        col("Event", 0.9, true),
    ];
    flow.table("Steps", &columns, &rows, 8.0)?;
    flow.heading(10.0, "Items", "Heading")?;
    let rows: Vec<Row> = c
        .items
        .iter()
        .map(|i| Row {
            cells: vec![i.number.clone(), i.code.clone(), i.description.clone()],
            flagged: false,
        })
        .collect();
    let columns = [
        col("Item", 0.8, false),
        col("Code", 2.0, true),
        col("Description", 5.0, false),
    ];
    flow.table("Items", &columns, &rows, 8.0)?;
    flow.heading(10.0, "The record", "Heading")?;
    let mut printed = c.ledger.clone();
    printed.push((
        "Printed".into(),
        format!("{} by {}", c.printed_when, c.printed_by),
    ));
    flow.facts(&printed)?;
    flow.text(
        Face::Sans,
        8.0,
        FAINT,
        "This paper repeats what the ledger has on record; its SHA-256 is on the record too. What it is worth, and what else the \
         law asks for, local law decides.",
        "Note",
    )?;
    let pages = flow.canvas.pages();
    for page in 0..pages {
        let foot = format!("Print {}, page {} of {pages}", c.print_id, page + 1);
        flow.canvas.select(page);
        flow.canvas.text(
            flow.left,
            size.h - 9.0,
            Face::Mono,
            7.0,
            FAINT,
            &foot,
            "Print",
        )?;
    }
    let title = format!("Certificate of disposition, {}, {}", c.case_number, c.thing);
    flow.canvas.marked(&c.print_id);
    flow.canvas.finish(&title, c.printed_at)
}
