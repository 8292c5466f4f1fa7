//! The findings of a case: those of its items and packages, each told once.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::findings::{Asked, Finding, Severity, Tally, findings};
use super::told::{mark_of, recoveries};
use super::trail::{Known, Step, load_all, named, of_marks};
use super::words;
use crate::app::past::{HISTORY_MAX, around};
use crate::app::reader::{Part, ReadError, Reader};
use crate::custody::State;
use crate::custody::finding::FindingKey;
use crate::ids::{CaseId, MarkId, Piece, Subject};
use crate::store::Store;
use crate::zone::Zone;

/// How many items, and how many packages, of a case a page or a desk looks through at the most.
pub const MOST_HERE: usize = 300;
/// How many pieces are read together: what is around them stays far below what [`around`] reads at the most.
const TOGETHER: u32 = 50;

/// A finding and the pieces that it concerns.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CaseFinding {
    /// The finding, as told of the first of the pieces.
    pub finding: Finding,
    /// The items; packages only where it concerns no item.
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
    /// How many items were looked through.
    pub items: usize,
    /// How many packages were looked through.
    pub packages: usize,
    /// Whether there is more than was looked through: more pieces, or one with too long a history.
    pub more: bool,
}

impl CaseFindings {
    /// Whether something in it calls for somebody to look: what nobody has answered, notes aside.
    #[must_use]
    pub fn calls(&self) -> bool {
        self.findings
            .iter()
            .any(|f| f.finding.severity > Severity::Note && f.finding.answer.is_none())
    }

    /// Whether a break has no answer.
    #[must_use]
    pub fn open_breaks(&self) -> bool {
        self.findings
            .iter()
            .any(|f| f.finding.severity == Severity::Break && f.finding.answer.is_none())
    }

    /// How many have no answer.
    #[must_use]
    pub fn left(&self) -> usize {
        self.tally.all() - self.tally.answered
    }

    /// Whether everything was looked through and every finding has an answer.
    #[must_use]
    pub fn ready(&self) -> bool {
        !self.more && self.left() == 0
    }
}

/// What is gathered on the way.
struct Gathered<'a> {
    store: &'a dyn Store,
    zone: Zone,
    now: DateTime<Utc>,
    /// By key: what a package went through is told of everything in it; here it is told once.
    found: BTreeMap<FindingKey, (Finding, Vec<Piece>, Vec<String>)>,
    packages: Known,
    marks: BTreeMap<MarkId, Vec<Step>>,
    more: bool,
}

/// The findings of a case that the viewer may see, over at most so many of its items and as many of its packages.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(
    reader: &Reader<'_>,
    case: CaseId,
    zone: Zone,
    now: DateTime<Utc>,
    most: usize,
) -> Result<CaseFindings, ReadError> {
    let mut all = Gathered {
        store: reader.house().store.as_ref(),
        zone,
        now,
        found: BTreeMap::new(),
        packages: Known::new(),
        marks: BTreeMap::new(),
        more: false,
    };
    let (mut items, mut packages) = (0, 0);
    let mut part = Part::first(TOGETHER);
    loop {
        let page = reader.items_of(case, &part).await?;
        items += page.rows.len();
        let pieces: Vec<Piece> = page.rows.iter().map(|i| Piece::Item(i.id)).collect();
        all.take(&pieces).await?;
        part.after = page.next;
        if part.after.is_none() || items >= most {
            break;
        }
    }
    all.more |= part.after.is_some();
    let mut part = Part::first(TOGETHER);
    loop {
        let page = reader.packages_of(case, &part).await?;
        packages += page.rows.len();
        let pieces: Vec<Piece> = page.rows.iter().map(|p| Piece::Package(p.id)).collect();
        all.take(&pieces).await?;
        part.after = page.next;
        if part.after.is_none() || packages >= most {
            break;
        }
    }
    all.more |= part.after.is_some();
    Ok(all.told(items, packages))
}

impl Gathered<'_> {
    async fn take(&mut self, pieces: &[Piece]) -> Result<(), ReadError> {
        let mut asked: BTreeSet<Subject> = BTreeSet::new();
        let trails = load_all(self.store, pieces, &mut self.packages).await?;
        for (piece, steps) in &trails {
            asked.insert((*piece).into());
            asked.extend(named(steps));
        }
        let list: Vec<Subject> = asked.iter().copied().collect();
        let state = around(self.store, &list).await?;
        self.more |= asked.iter().any(|s| !is_here(&state, *s));
        let marks = pieces.iter().filter_map(|p| mark_of(&state, *p));
        let new = marks.filter(|m| !self.marks.contains_key(m)).collect();
        self.marks.extend(of_marks(self.store, &new).await?);
        for piece in pieces {
            let steps = trails.get(piece).map_or(&[][..], Vec::as_slice);
            self.one(*piece, steps, &state).await?;
        }
        Ok(())
    }

    async fn one(&mut self, piece: Piece, steps: &[Step], state: &State) -> Result<(), ReadError> {
        let whole = is_here(state, state.outermost(piece).into());
        let most = usize::try_from(HISTORY_MAX).unwrap_or(usize::MAX);
        self.more |= !whole || steps.len() >= most;
        let recoveries = recoveries(self.store, piece, state, self.now).await?;
        let of_mark = mark_of(state, piece).and_then(|m| self.marks.get(&m));
        self.more |= of_mark.is_some_and(|steps| steps.len() >= most);
        let told = findings(&Asked {
            piece,
            steps,
            mark: of_mark.map_or(&[][..], Vec::as_slice),
            recoveries: &recoveries,
            state,
            zone: self.zone,
            now: self.now,
        });
        for finding in told {
            let (_, pieces, names) = self
                .found
                .entry(finding.key.clone())
                .or_insert_with(|| (finding, Vec::new(), Vec::new()));
            // Items come first; the package through which they went says nothing more.
            let said = matches!(piece, Piece::Package(_)) && !pieces.is_empty();
            if !said && pieces.last() != Some(&piece) {
                pieces.push(piece);
                names.push(state.name(piece));
            }
        }
        Ok(())
    }

    fn told(self, items: usize, packages: usize) -> CaseFindings {
        let mut out: Vec<CaseFinding> = self
            .found
            .into_values()
            .map(|(mut finding, pieces, names)| {
                // Rows are counted in one piece's table and mean nothing here.
                finding.row = None;
                CaseFinding {
                    finding,
                    pieces,
                    about: words::listed(&names),
                }
            })
            .collect();
        out.sort_by(|a, b| {
            let rank = |f: &CaseFinding| {
                (
                    std::cmp::Reverse(f.finding.severity),
                    f.finding.seq.unwrap_or(u64::MAX),
                )
            };
            rank(a)
                .cmp(&rank(b))
                .then_with(|| a.finding.key.cmp(&b.finding.key))
        });
        let tally = Tally::of(out.iter().map(|f| &f.finding));
        CaseFindings {
            words: tally.words(),
            tally,
            findings: out,
            items,
            packages,
            more: self.more,
        }
    }
}

/// Whether the record of an item, a package or a mark was read; of others nothing depends on it.
fn is_here(state: &State, subject: Subject) -> bool {
    match subject {
        Subject::Item(id) => state.items.contains_key(&id),
        Subject::Package(id) => state.packages.contains_key(&id),
        Subject::Mark(id) => state.marks.contains_key(&id),
        _ => true,
    }
}
