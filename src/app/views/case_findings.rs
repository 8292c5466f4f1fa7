//! The findings of a case: those of its pieces, each told once.

use std::collections::BTreeSet;

use chrono::{DateTime, FixedOffset, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::findings::{Asked, Finding, Severity, Tally, findings};
use super::trail::{Known, load_with, named};
use super::words;
use crate::app::reader::{Part, ReadError, Reader};
use crate::ids::{CaseId, Piece, Subject};

/// How many items of a case are looked through at the most.
pub const MOST_ITEMS: u32 = 300;

/// A finding and the pieces that it concerns.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CaseFinding {
    /// The finding, as told of the first of the pieces.
    pub finding: Finding,
    /// The pieces.
    pub pieces: Vec<Piece>,
    /// The same in words: `item 3 and item 4`.
    pub about: String,
}

/// The findings of a case.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct CaseFindings {
    /// The gravest first.
    pub findings: Vec<CaseFinding>,
    /// How many of each severity.
    pub tally: Tally,
    /// The same in words.
    pub words: String,
    /// Whether there are more items than were looked through.
    pub more: bool,
}

/// The findings of a case that the viewer may see, over its first [`MOST_ITEMS`] items.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(
    reader: &Reader<'_>,
    case: CaseId,
    zone: FixedOffset,
    now: DateTime<Utc>,
) -> Result<CaseFindings, ReadError> {
    let page = reader.items_of(case, &Part::first(MOST_ITEMS)).await?;
    let mut known = Known::new();
    let mut trails = Vec::with_capacity(page.rows.len());
    let mut asked: BTreeSet<Subject> = BTreeSet::new();
    for item in &page.rows {
        let piece = Piece::Item(item.id);
        let steps = load_with(reader, piece, &mut known).await?;
        asked.insert(piece.into());
        asked.extend(named(&steps));
        trails.push((piece, steps));
    }
    let asked: Vec<Subject> = asked.into_iter().collect();
    let state = reader.around(&asked).await?;
    let mut out: Vec<CaseFinding> = Vec::new();
    for (piece, steps) in &trails {
        let told = findings(&Asked {
            piece: *piece,
            steps,
            state: &state,
            zone,
            now,
        });
        for finding in told {
            // What a package went through is told of everything in it; here it is told once.
            let same = out.iter_mut().find(|f| {
                f.finding.code == finding.code
                    && f.finding.seq == finding.seq
                    && (finding.seq.is_some()
                        || f.pieces
                            .first()
                            .is_some_and(|p| state.outermost(*p) == state.outermost(*piece)))
                    && f.finding.sentence == finding.sentence
            });
            match same {
                Some(same) => {
                    if same.pieces.last() != Some(piece) {
                        same.pieces.push(*piece);
                    }
                }
                None => out.push(CaseFinding {
                    finding,
                    pieces: vec![*piece],
                    about: String::new(),
                }),
            }
        }
    }
    for f in &mut out {
        let names: Vec<String> = f.pieces.iter().map(|p| state.name(*p)).collect();
        f.about = words::listed(&names);
        // Rows are counted in one piece's table and mean nothing here.
        f.finding.row = None;
    }
    out.sort_by_key(|f| {
        (
            std::cmp::Reverse(f.finding.severity),
            f.finding.seq.unwrap_or(u64::MAX),
        )
    });
    let tally = Tally::of(out.iter().map(|f| &f.finding));
    Ok(CaseFindings {
        words: tally.words(),
        tally,
        findings: out,
        more: page.next.is_some(),
    })
}

impl CaseFindings {
    /// Whether something in it calls for somebody to look.
    #[must_use]
    pub fn calls(&self) -> bool {
        self.findings
            .iter()
            .any(|f| f.finding.severity > Severity::Note)
    }
}
