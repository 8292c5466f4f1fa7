//! Findings with their answers, as a table of a report.

use super::ReportError;
use super::custody_report::col;
use super::table::{Flow, Row};

/// A finding with its answer.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct FindingRow {
    /// How grave: `break`, `attention`, `note`.
    pub severity: String,
    /// Whether somebody should look into it.
    pub grave: bool,
    /// What it is called.
    pub title: String,
    /// In a sentence.
    pub sentence: String,
    /// The row of the custody table, where it has one.
    pub row: Option<usize>,
    /// The events that it rests on.
    pub events: Vec<u64>,
    /// The answer; empty where there is none.
    pub answer: String,
    /// Who answered, when, and by which events; empty where nobody did.
    pub answered: String,
    /// What would answer it.
    pub would_answer: String,
}

/// The findings of an item, each with its answer or with what would answer it.
///
/// # Errors
/// A character without a shape, or too many pages.
pub(super) fn draw(flow: &mut Flow, findings: &[FindingRow]) -> Result<(), ReportError> {
    if findings.is_empty() {
        return Ok(());
    }
    flow.heading(10.0, "Findings and answers", "Heading")?;
    let rows: Vec<Row> = findings
        .iter()
        .map(|f| {
            let events: Vec<String> = f.events.iter().map(ToString::to_string).collect();
            let row = f.row.map_or_else(String::new, |n| format!("\nrow {n}"));
            let answer = if f.answer.is_empty() {
                format!("NO ANSWER. What would answer it: {}", f.would_answer)
            } else {
                format!("{}\n{}", f.answer, f.answered)
            };
            Row {
                cells: vec![
                    f.severity.clone(),
                    format!("{}. {}", f.title, f.sentence),
                    format!("event {}{row}", events.join(", ")),
                    answer,
                ],
                flagged: f.grave,
            }
        })
        .collect();
    let columns = [
        col("", 1.2, false),
        col("Finding", 4.2, false),
        col("Rests on", 1.6, false),
        col("Answer", 4.2, false),
    ];
    flow.table("Findings", &columns, &rows, 7.5)
}
