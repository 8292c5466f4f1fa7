//! Which papers of a case were printed: when, by whom, with which digest. Read from the events of the case, its items and its
//! packages.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::PaperError;
use crate::app::reader::{Part, Past, ReadError, Reader};
use crate::app::views::custody_rows::is_late;
use crate::app::views::words;
use crate::custody::Fact;
use crate::custody::paper::PaperKind;
use crate::custody::state::Case;
use crate::ids::{CommandId, Digest, Subject};
use crate::ledger::event::Attested;
use crate::ledger::times;
use crate::zone::Zone;

/// How many items and packages are looked through at the most.
const MOST_LOOKED: usize = 1_000;
/// How many prints are told at the most, the newest.
pub const MOST_PRINTS: usize = 500;

/// A paper that was printed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct PrintRow {
    /// The event that records it.
    pub seq: u64,
    /// `Exhibit list`, `Label: card`.
    pub paper: String,
    /// Of what: `case HC-26-0117`, `item 3`.
    pub of: String,
    /// When, in the agency's zone.
    pub when: String,
    /// By whom.
    pub by: String,
    /// SHA-256 of the PDF.
    pub digest: Digest,
    /// The print identifier that it bears; none for old labels.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub print: Option<CommandId>,
    /// For whom it was printed; empty where nobody said.
    pub made_for: String,
}

/// The papers of a case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Prints {
    /// The newest first.
    pub rows: Vec<PrintRow>,
    /// Whether there are more items, or more prints, than were looked through.
    pub more: bool,
}

/// The case, its items and its packages, with what people call them.
async fn subjects(
    reader: &Reader<'_>,
    case: &Case,
) -> Result<(Vec<(Subject, String)>, bool), ReadError> {
    let mut out = vec![(Subject::Case(case.id), format!("case {}", case.number))];
    let mut part = Part::default();
    loop {
        let page = reader.items_of(case.id, &part).await?;
        out.extend(
            page.rows
                .iter()
                .map(|i| (Subject::Item(i.id), format!("item {}", i.number))),
        );
        part.after = page.next;
        if part.after.is_none() || out.len() > MOST_LOOKED {
            break;
        }
    }
    let mut part = Part::default();
    while out.len() <= MOST_LOOKED {
        let page = reader.packages_of(case.id, &part).await?;
        out.extend(
            page.rows
                .iter()
                .map(|p| (Subject::Package(p.id), format!("package P{}", p.number))),
        );
        part.after = page.next;
        if part.after.is_none() {
            break;
        }
    }
    let more = out.len() > MOST_LOOKED;
    out.truncate(MOST_LOOKED);
    Ok((out, more))
}

fn row(past: &Past, of: &str, zone: Zone) -> Option<PrintRow> {
    let (paper, digest, print, made_for) = match &past.fact {
        Some(Fact::ReportPrinted(x)) => {
            let kind = x.paper.unwrap_or(PaperKind::CustodyReport);
            let paper = match x.paper {
                Some(_) => kind.title().to_owned(),
                // Before papers said which they are.
                None => "Report or certificate".to_owned(),
            };
            (paper, x.digest, x.print, x.made_for.clone())
        }
        Some(Fact::LabelPrinted(x)) => {
            let paper = format!("Label: {}", x.label.replace('-', " "));
            (paper, x.digest, x.print, None)
        }
        Some(Fact::CaseDisclosed(x)) => (
            "Disclosure bundle".to_owned(),
            x.digest,
            None,
            Some(x.to.clone()),
        ),
        _ => return None,
    };
    let header = &past.event.header;
    let recorded = times::parse_recorded(&header.recorded_at);
    Some(PrintRow {
        seq: header.seq,
        paper,
        of: of.to_owned(),
        when: recorded.map_or_else(|_| header.recorded_at.clone(), |t| words::when(&t, zone)),
        by: past
            .event
            .field_str("by")
            .filter(|by| !by.is_empty())
            .map_or_else(|| "the server's operator".to_owned(), words::signed_by),
        digest,
        print,
        made_for: made_for.unwrap_or_default(),
    })
}

/// The papers of a case that were printed, the newest first. The reading of a restricted case the caller puts on the record.
///
/// # Errors
/// [`PaperError::Read`].
pub async fn of_case(reader: &Reader<'_>, case: &Case) -> Result<Prints, PaperError> {
    reader.case(case.id).await?;
    let zone = reader.house().zone().await?;
    let (subjects, mut more) = subjects(reader, case).await?;
    let mut rows: BTreeMap<u64, PrintRow> = BTreeMap::new();
    for (subject, name) in &subjects {
        for past in reader.history(*subject).await? {
            rows.extend(row(&past, name, zone).map(|r| (r.seq, r)));
        }
        while rows.len() > MOST_PRINTS {
            rows.pop_first();
            more = true;
        }
    }
    Ok(Prints {
        rows: rows.into_values().rev().collect(),
        more,
    })
}

/// What the entries of a case say of how they were made.
pub(super) struct Tally {
    /// The case, its marks, items and packages.
    pub(super) subjects: Vec<Subject>,
    /// How many there are, how many late, how signed, in sentences.
    pub(super) times: String,
}

/// Counts the entries of a case.
pub(super) async fn tally(reader: &Reader<'_>, case: &Case) -> Result<Tally, PaperError> {
    let (found, more) = subjects(reader, case).await?;
    let mut subjects: Vec<Subject> = found.into_iter().map(|(s, _)| s).collect();
    let mut part = Part::default();
    loop {
        let page = reader.marks_of(case.id, &part).await?;
        subjects.extend(page.rows.iter().map(|m| Subject::Mark(m.id)));
        part.after = page.next;
        if part.after.is_none() || subjects.len() > 2 * MOST_LOOKED {
            break;
        }
    }
    let mut events: BTreeMap<u64, (bool, Attested)> = BTreeMap::new();
    for subject in &subjects {
        for past in reader.history(*subject).await? {
            let header = &past.event.header;
            events.insert(header.seq, (is_late(&past), header.attested));
        }
    }
    let late = events.values().filter(|(late, _)| *late).count();
    let on_paper = events
        .values()
        .filter(|(_, how)| *how == Attested::Paper)
        .count();
    let mut times = format!(
        "{} entries of this case; {late} of them entered late by the ledger's own measure (an hour after a custody act, a day \
         after a scene record), each with the reason on record; {on_paper} entered from a sheet signed in ink. Each entry has \
         the time that was claimed and the time at which the server recorded it.",
        events.len()
    );
    if more {
        times.push_str(" There are more items than were counted.");
    }
    Ok(Tally { subjects, times })
}
