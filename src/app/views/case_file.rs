//! The case file: scenes, marks with their items, items and packages in one line each, people, counts.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::case_findings::{self, CaseFindings};
use super::case_ref::CaseRef;
use super::counts::{Count, counts};
use super::line::{PieceLine, piece_line};
use super::words;
use crate::app::reader::{Page, Part, ReadError, Reader};
use crate::custody::state::{Mark, Scene};
use crate::ids::{CaseId, ItemId, MarkId, PersonId, Piece, Subject};

/// A person on a case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct PersonRef {
    /// Who.
    pub id: PersonId,
    /// Name with number.
    pub name: String,
    /// Roles in words.
    pub roles: Vec<String>,
    /// Whether the account is switched on.
    pub active: bool,
}

/// A mark in one line.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MarkLine {
    /// Which.
    pub id: MarkId,
    /// Number in the case.
    pub number: u32,
    /// `Mark M4`.
    pub name: String,
    /// What kind of mark.
    pub kind_words: String,
    /// The object that bears it.
    pub object: String,
    /// The exact place on it.
    pub exact_place: String,
    /// The scene's short name.
    pub scene_name: String,
    /// Names of its developments.
    pub developments: Vec<String>,
    /// How many photographs.
    pub images: usize,
    /// Items recovered from it.
    pub items: Vec<ItemRef>,
    /// When it was noted, in words.
    pub noted: String,
}

/// An item by number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ItemRef {
    /// Which.
    pub id: ItemId,
    /// `item 3`.
    pub name: String,
}

/// Everything about a case, its lists in parts.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CaseFile {
    /// The case.
    pub case: CaseRef,
    /// When it was opened.
    pub opened_at: DateTime<FixedOffset>,
    /// The same in words.
    pub opened: String,
    /// By whom.
    pub opened_by: String,
    /// Scenes.
    pub scenes: Vec<Scene>,
    /// How many marks.
    pub mark_count: u32,
    /// How many items.
    pub item_count: u32,
    /// How many packages.
    pub package_count: u32,
    /// Marks by number.
    pub marks: Page<MarkLine>,
    /// Items by number.
    pub items: Page<PieceLine>,
    /// Packages by number.
    pub packages: Page<PieceLine>,
    /// Who is assigned.
    pub assigned: Vec<PersonRef>,
    /// The findings of its items and packages.
    pub findings: CaseFindings,
    /// Whether it is ready for court by these, in a sentence.
    pub ready: String,
    /// How many events the case has.
    pub counts: Vec<Count>,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

/// Where each list of a case begins.
#[derive(Clone, Debug, Default)]
pub struct Parts {
    /// Marks.
    pub marks: Part,
    /// Items.
    pub items: Part,
    /// Packages.
    pub packages: Part,
}

/// Everything about a case that the viewer may see.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(reader: &Reader<'_>, id: CaseId, parts: &Parts) -> Result<CaseFile, ReadError> {
    let case = reader.case(id).await?;
    let zone = reader.house().zone().await?;
    let now = Utc::now();
    let marks = reader.marks_of(id, &parts.marks).await?;
    let items = reader.items_of(id, &parts.items).await?;
    let packages = reader.packages_of(id, &parts.packages).await?;
    let mut asked = vec![Subject::Case(id)];
    asked.extend(items.rows.iter().map(|i| Subject::Item(i.id)));
    asked.extend(packages.rows.iter().map(|p| Subject::Package(p.id)));
    asked.extend(
        marks
            .rows
            .iter()
            .flat_map(|m| m.items.iter().map(|i| Subject::Item(*i))),
    );
    let state = reader.around(&asked).await?;
    let rules = &reader.house().rules;
    let scenes: BTreeMap<_, _> = case.scenes.iter().map(|s| (s.id, &s.name)).collect();
    let mark_line = |m: &Mark| MarkLine {
        id: m.id,
        number: m.number,
        name: format!("Mark M{}", m.number),
        kind_words: words::mark_kind(m.noted.mark_kind).into(),
        object: m.noted.object.clone(),
        exact_place: m.noted.exact_place.clone(),
        scene_name: scenes
            .get(&m.noted.scene)
            .map(|n| (*n).clone())
            .unwrap_or_default(),
        developments: m
            .developments
            .iter()
            .map(|d| {
                rules
                    .method_ever(&d.method)
                    .map_or_else(|| d.method.clone(), |x| x.name.clone())
            })
            .collect(),
        images: m.images.len(),
        items: m
            .items
            .iter()
            .map(|i| ItemRef {
                id: *i,
                name: state.name(Piece::Item(*i)),
            })
            .collect(),
        noted: words::minute(&m.noted_at, zone),
    };
    let line = |piece| piece_line(&state, rules, piece, zone, now);
    let assigned = case
        .assigned
        .iter()
        .filter_map(|p| state.people.get(p))
        .map(|p| PersonRef {
            id: p.id,
            name: words::person(p),
            roles: p.roles.iter().map(|r| r.title().to_owned()).collect(),
            active: p.active,
        })
        .collect();
    let findings = case_findings::load(reader, id, zone, now, case_findings::MOST_HERE).await?;
    Ok(CaseFile {
        opened_at: case.opened_at,
        opened: words::minute(&case.opened_at, zone),
        opened_by: case
            .opened_by
            .map(|p| words::person_in(&state, p))
            .unwrap_or_default(),
        mark_count: case.marks,
        item_count: case.items,
        package_count: case.packages,
        marks: Page {
            rows: marks.rows.iter().map(mark_line).collect(),
            next: marks.next,
        },
        items: Page {
            rows: items
                .rows
                .iter()
                .filter_map(|i| line(Piece::Item(i.id)))
                .collect(),
            next: items.next,
        },
        packages: Page {
            rows: packages
                .rows
                .iter()
                .filter_map(|p| line(Piece::Package(p.id)))
                .collect(),
            next: packages.next,
        },
        assigned,
        ready: super::ready::sentence(
            findings.ready(),
            findings.more,
            case_findings::MOST_HERE,
            findings.tally.all(),
            findings.tally.answered,
        ),
        findings,
        counts: counts(
            reader,
            [(Subject::Case(id), format!("case {}", case.number))],
        )
        .await?,
        case: CaseRef::from(&case),
        scenes: case.scenes,
        as_of: now,
        as_of_words: words::when(&now, zone),
    })
}
