//! The package file: what is in it, what it must be, its seals and its custody.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::case_ref::CaseRef;
use super::counts::{Count, counts};
use super::custody_rows::CustodyRow;
use super::findings::{Continuity, Finding, Tally};
use super::keeping::{Keeping, keeping};
use super::line::{self, PieceLine, piece_line};
use super::next_acts::{NextAct, next_acts};
use super::seals::{SealWords, seals};
use super::standing::{Standing, standing};
use super::told::{Told, told};
use super::words;
use crate::app::knowledge;
use crate::app::reader::{ReadError, Reader};
use crate::custody::thread::Thread;
use crate::ids::{Code, PackageId, Piece, Subject};

/// Everything about a package.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PackageFile {
    /// Which.
    pub id: PackageId,
    /// Number in the case.
    pub number: u32,
    /// `Package P2`.
    pub name: String,
    /// The code on its label.
    pub code: Code,
    /// The same in groups.
    pub code_grouped: String,
    /// Its case.
    pub case: CaseRef,
    /// Kind of container, by the trade rules' identifier.
    pub container: String,
    /// Its name.
    pub container_name: String,
    /// What is in it now.
    pub contents: Vec<PieceLine>,
    /// The packages whose contents it was made of by packing anew.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repacked_from: Vec<PackageKin>,
    /// The packages into which its contents went by packing anew.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repacked_into: Vec<PackageKin>,
    /// Since when it is empty and closed, in words; empty while it is not.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub closed_since: String,
    /// The seal that is on it; empty for none.
    pub seal: String,
    /// What the contents ask for together.
    pub keeping: Keeping,
    /// What the closed package asks of its place and of a package around it.
    pub closed: Keeping,
    /// Where it is now.
    pub now: Standing,
    /// Its seals, and those of the packages around it.
    pub seals: Vec<SealWords>,
    /// The custody table.
    pub rows: Vec<CustodyRow>,
    /// The findings.
    pub findings: Vec<Finding>,
    /// How many of each severity.
    pub tally: Tally,
    /// The same in words.
    pub findings_words: String,
    /// How much of the time is accounted for.
    pub continuity: Continuity,
    /// The thread.
    pub thread: Thread,
    /// How many events each subject has.
    pub counts: Vec<Count>,
    /// What the viewer can do next.
    pub next_acts: Vec<NextAct>,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

/// A package that another one was made of, or that was made of it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PackageKin {
    /// Which.
    pub id: PackageId,
    /// `package P2`.
    pub name: String,
}

/// The packages, as far as they are read: at most as many as one package can be made of or go into.
async fn kin(reader: &Reader<'_>, ids: &[PackageId]) -> Result<Vec<PackageKin>, ReadError> {
    let mut out = Vec::new();
    for id in ids {
        let package = reader.package(*id).await?;
        out.push(PackageKin {
            id: *id,
            name: format!("package P{}", package.number),
        });
    }
    Ok(out)
}

/// Everything about a package that the viewer may see.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(reader: &Reader<'_>, id: PackageId) -> Result<PackageFile, ReadError> {
    let package = reader.package(id).await?;
    let case = reader.case(package.case).await?;
    let piece = Piece::Package(id);
    let Told {
        mark: _,
        steps,
        state,
        rows,
        findings,
        continuity,
        thread,
        zone,
        now,
    } = told(reader, piece).await?;
    let rules = &reader.house().rules;
    let stands = standing(&state, piece, &steps, zone, now)
        .ok_or_else(|| ReadError::Corrupt(format!("where package:{id} is")))?;
    let inside: Vec<_> = package
        .contents
        .iter()
        .filter_map(|p| state.thing(*p))
        .collect();
    let closed = state
        .thing(piece)
        .and_then(|t| knowledge::needs(rules, &t))
        .unwrap_or_default();
    let mut counted = vec![(Subject::Package(id), state.name(piece))];
    counted.extend(
        package
            .contents
            .iter()
            .map(|p| (Subject::from(*p), state.name(*p))),
    );
    counted.push((Subject::Case(case.id), format!("case {}", case.number)));
    let tally = Tally::of(&findings);
    Ok(PackageFile {
        id,
        number: package.number,
        name: words::title(&state, piece),
        code: package.code.clone(),
        code_grouped: package.code.grouped(),
        case: CaseRef::from(&case),
        container_name: line::container(rules, &package.container),
        container: package.container.clone(),
        contents: package
            .contents
            .iter()
            .filter_map(|p| piece_line(&state, rules, *p, zone, now))
            .collect(),
        repacked_from: kin(reader, &package.repacked_from).await?,
        repacked_into: kin(reader, &package.repacked_into).await?,
        closed_since: package
            .closed_at
            .map(|at| words::minute(&at, zone))
            .unwrap_or_default(),
        seal: package.seal().map(|s| s.number.clone()).unwrap_or_default(),
        keeping: keeping(rules, &knowledge::joined(rules, &inside)),
        closed: keeping(rules, &closed),
        seals: seals(&steps, &state, zone),
        next_acts: next_acts(reader.viewer(), &state, piece),
        now: stands,
        rows,
        findings_words: tally.words(),
        tally,
        findings,
        continuity,
        thread,
        counts: counts(reader, counted).await?,
        as_of: now,
        as_of_words: words::when(&now, zone),
    })
}
