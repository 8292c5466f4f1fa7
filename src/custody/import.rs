//! Import of a room that is there already: what another record says of things, taken over row by row.
//!
//! A row becomes one event, `item.imported`, which makes the item with the mark that it must have come from and, where the
//! row names a container or a seal, its package. It says who took the row over and from which file, and names nobody who
//! recovered, packed or sealed: this ledger saw none of it. Keep rules are not asked, since nothing is moved. Custody
//! begins with the event, where the row says that the thing is, else with whoever imports.
//!
//! All rows of a command or none.

mod applied;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::case::{CaseOpened, SceneOpened};
use super::fact::{Draft, Fact};
use super::item::MAX_ITEMS;
use super::package::seal_number;
use super::refusal::{LineRefusal, Refusal, Rule, text};
use super::rules::{Context, not_found};
use super::state::{Case, State};
use crate::ids::{
    CaseId, Code, Digest, ItemId, MarkId, PackageId, PersonId, PlaceId, SceneId, Subject,
};
use crate::ledger::times;
pub(super) use applied::imported;

/// How many rows one command may hold.
pub const MAX_ROWS: usize = 200;
/// What stands where the former record says nothing.
pub const NOT_ON_RECORD: &str = "not on record";
/// What every page says of what was before.
pub const NOT_WITNESSED: &str =
    "What happened to it before the import is not witnessed by this ledger";
/// What kinds of thing a row may be, as the trade rules call what a recovery yields.
pub const FORMS: [&str; 6] = ["card-lift", "gel", "film", "cast", "object", "image"];
/// Identifiers made for an import bear this time, so that what was there before stands before what the ledger saw begin:
/// the first second of 2000, in milliseconds.
const BEFORE_MS: u64 = 946_684_800_000;

/// Take rows of another record over.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Import {
    /// The file's name.
    pub file: String,
    /// SHA-256 of the file.
    pub digest: Digest,
    /// The rows, at most [`MAX_ROWS`].
    pub rows: Vec<ImportRow>,
}

/// One row: one item.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ImportRow {
    /// Which row of the file, 1 for the first behind the heading.
    pub row: u64,
    /// The item's identifier; the same for the same thing whenever it is sent, so that nothing is taken over twice.
    pub item: ItemId,
    /// Case number; a case that is not there is opened.
    pub case: String,
    /// Title, for a case that is opened.
    #[serde(default)]
    pub case_title: String,
    /// The thing's number in the former record.
    pub former: String,
    /// What it is.
    pub description: String,
    /// One of [`FORMS`]; empty for an object.
    #[serde(default)]
    pub form: String,
    /// Medium, in the former record's words.
    #[serde(default)]
    pub medium: String,
    /// How the mark was developed, in the former record's words.
    #[serde(default)]
    pub method: String,
    /// The object that bore the mark.
    #[serde(default)]
    pub object: String,
    /// The place that it stands in, by name.
    #[serde(default)]
    pub place: String,
    /// Who has it, where that is somebody without an account.
    #[serde(default)]
    pub holder: String,
    /// What it is packed in, in the former record's words.
    #[serde(default)]
    pub container: String,
    /// The number of the seal on it.
    #[serde(default)]
    pub seal: String,
    /// When it was received, by the former record.
    #[serde(default)]
    pub received_on: Option<NaiveDate>,
    /// Anything else that the former record says.
    #[serde(default)]
    pub note: String,
}

/// An item was taken over from another record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ItemImported {
    /// Item.
    pub item: ItemId,
    /// Case.
    pub case: CaseId,
    /// Number in the case.
    pub number: u32,
    /// The code for its label.
    pub code: Code,
    /// Its mark.
    pub mark: MarkId,
    /// The mark's number in the case.
    pub mark_number: u32,
    /// Scene of the mark.
    pub scene: SceneId,
    /// Its number in the former record.
    pub former: String,
    /// What it is.
    pub description: String,
    /// What kind of thing.
    pub form: String,
    /// Medium, in the former record's words; empty where it says nothing, as all that follow.
    pub medium: String,
    /// Method.
    pub method: String,
    /// The object that bore the mark.
    pub object: String,
    /// The place that it stands in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<PlaceId>,
    /// That place's name.
    pub place_name: String,
    /// Who has it outside the agency.
    pub holder: String,
    /// The package around it, where a container or a seal is named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub package: Option<PackageId>,
    /// The package's number in the case.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub package_number: Option<u32>,
    /// The code for the package's label.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub package_code: Option<Code>,
    /// The container, in the former record's words.
    pub container: String,
    /// The number of the seal on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seal: Option<String>,
    /// When it was received, by the former record: `2019-05-02`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub received_on: Option<NaiveDate>,
    /// Anything else.
    pub note: String,
    /// The file.
    pub file: String,
    /// SHA-256 of the file.
    pub file_digest: Digest,
    /// The row of the file.
    pub row: u64,
}

/// An identifier that follows from a text: the same text gives the same one.
#[must_use]
pub fn derived(text: &str) -> Uuid {
    let digest = Digest::of(text.as_bytes()).0;
    let mut tail = [0_u8; 10];
    tail.copy_from_slice(&digest[..10]);
    uuid::Builder::from_unix_timestamp_millis(BEFORE_MS, &tail).into_uuid()
}

/// What was named by the rows before, so that nothing is named twice.
#[derive(Debug, Default)]
pub struct Before {
    items: BTreeSet<ItemId>,
    seals: BTreeSet<String>,
    places: BTreeMap<PlaceId, u32>,
}

impl Before {
    /// Forgets which places the rows so far would fill: the record says so by now.
    pub fn next_batch(&mut self) {
        self.places.clear();
    }

    /// Takes note of an item that is left out since it is on the record; whether no row named it before.
    pub fn first(&mut self, item: ItemId) -> bool {
        self.items.insert(item)
    }
}

/// Everything that is wrong with a row, by the state: its cases, places, seals and item were loaded.
#[must_use]
pub fn problems(
    state: &State,
    me: Option<PersonId>,
    now: DateTime<Utc>,
    row: &ImportRow,
    before: &mut Before,
) -> Vec<Refusal> {
    let mut found = texts(row);
    if !row.form.is_empty() && !FORMS.contains(&row.form.as_str()) {
        found.push(wrong(
            "form",
            format!("{} is no kind of thing.", row.form),
            format!("Use one of {}.", FORMS.join(", ")),
        ));
    }
    if row
        .received_on
        .is_some_and(|day| times::is_to_come(day, now))
    {
        found.push(wrong(
            "received_on",
            "The day of receipt lies in the future.".into(),
            "Give the day on which it was received, or leave the cell empty.".into(),
        ));
    }
    if !row.place.is_empty() && !row.holder.is_empty() {
        found.push(wrong(
            "holder",
            "It cannot stand in a place and be with somebody outside.".into(),
            "Leave one of the two empty.".into(),
        ));
    }
    if !row.place.is_empty() && !state.place_names.contains_key(&row.place) {
        found.push(wrong(
            "place",
            format!("There is no place {}.", row.place),
            "Add the place first, or name it as the ledger does.".into(),
        ));
    }
    if let Some(place) = state
        .place_names
        .get(&row.place)
        .and_then(|id| state.places.get(id))
    {
        let more = before.places.entry(place.id).or_default();
        *more += 1;
        if !place.takes(*more) {
            let refusal = Refusal::new(
                Rule::PlaceFull,
                format!(
                    "{} takes {}, and with the rows before there is no room left.",
                    place.added.name,
                    place.capacity.unwrap_or(0)
                ),
                "Give the row another place, or leave the place empty and store it afterwards.",
            );
            found.push(refusal.on("place"));
        }
        if let Some(marked) = state.two_person(place.id) {
            let refusal = Refusal::new(
                Rule::SecondMissing,
                format!(
                    "{} is for two people, and an import has one.",
                    marked.added.name
                ),
                "Leave the place empty and store it there with a second person, or mark the place when all is imported.",
            );
            found.push(refusal.on("place"));
        }
    }
    if is_hidden(state, me, row) {
        let refusal = Refusal::new(
            Rule::Restricted,
            "This case is restricted and you are not assigned to it.",
            "Ask a supervisor to assign you.",
        );
        found.push(refusal.on("case"));
        // Whether it has this item or this seal is not said.
        return found;
    }
    if case_of(state, &row.case).is_some_and(|c| c.items >= MAX_ITEMS) {
        found.push(wrong(
            "case",
            "No more items fit into this case.".into(),
            "Give the row another case number.".into(),
        ));
    }
    if !before.items.insert(row.item) {
        found.push(
            Refusal::new(
                Rule::NamedTwice,
                format!(
                    "Item {} of case {} stands on a row before.",
                    row.former, row.case
                ),
                "Take one of the two rows out, or correct its number.",
            )
            .on("former"),
        );
    } else if state.items.contains_key(&row.item) {
        found.push(
            Refusal::new(
                Rule::Taken,
                "This item was taken over before.",
                "Leave the row out.",
            )
            .on("former"),
        );
    }
    let seal = seal_number(&row.seal);
    if !seal.is_empty() && (state.seals.contains_key(&seal) || !before.seals.insert(seal)) {
        found.push(
            Refusal::new(
                Rule::Taken,
                "A seal with this number is on record already, or on a row before.",
                "Look at the seal and correct the number.",
            )
            .on("seal"),
        );
    }
    found
}

/// Whether the row belongs to a case that this person may not see.
#[must_use]
pub fn is_hidden(state: &State, me: Option<PersonId>, row: &ImportRow) -> bool {
    case_of(state, &row.case).is_some_and(|c| !c.seen_by(me))
}

fn wrong(field: &str, sentence: String, next: String) -> Refusal {
    Refusal::new(Rule::BadValue, sentence, next).on(field)
}

fn texts(row: &ImportRow) -> Vec<Refusal> {
    [
        ("case", &row.case, 40, true),
        ("case_title", &row.case_title, 200, false),
        ("former", &row.former, 60, true),
        ("description", &row.description, 500, true),
        ("medium", &row.medium, 100, false),
        ("method", &row.method, 200, false),
        ("object", &row.object, 200, false),
        ("place", &row.place, 100, false),
        ("holder", &row.holder, 200, false),
        ("container", &row.container, 100, false),
        ("seal", &row.seal, 40, false),
        ("note", &row.note, 1000, false),
    ]
    .into_iter()
    .filter_map(|(field, value, most, required)| {
        let found = text(field, value, most, required).err()?;
        Some(if field == "former" {
            Refusal {
                sentence: found.sentence.replace("former", "item's number"),
                next: found.next.replace("former", "item's number"),
                ..found
            }
        } else {
            found
        })
    })
    .collect()
}

pub(super) fn case_of<'a>(state: &'a State, number: &str) -> Option<&'a Case> {
    state.cases.get(state.case_numbers.get(number)?)
}

/// What a command has numbered so far in a case.
pub(super) struct Counted {
    pub(super) case: CaseId,
    pub(super) scene: SceneId,
    pub(super) items: u32,
    pub(super) marks: u32,
    packages: u32,
}

pub(super) fn import(ctx: &Context<'_>, x: &Import) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    if x.rows.is_empty() || x.rows.len() > MAX_ROWS {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("One command holds 1 to {MAX_ROWS} rows."),
            "Send the others after these.",
        )
        .on("rows"));
    }
    text("file", &x.file, 200, true)?;
    let mut lines = Vec::new();
    let mut before = Before::default();
    for (i, row) in x.rows.iter().enumerate() {
        let found = problems(ctx.state, Some(me), ctx.now, row, &mut before);
        lines.extend(found.iter().map(|r| LineRefusal::new(i + 1, r)));
        if !matches!(row.item.0.get_version_num(), 4 | 7) {
            let bad = wrong(
                "item",
                "The item's identifier is not a version 4 or version 7 UUID.".into(),
                "Send it with another identifier.".into(),
            );
            lines.push(LineRefusal::new(i + 1, &bad));
        }
    }
    if !lines.is_empty() {
        let rows: BTreeSet<usize> = lines.iter().map(|l| l.line).collect();
        let mut whole = Refusal::new(
            Rule::LinesRefused,
            format!(
                "{} of {} rows cannot be recorded, so none was.",
                rows.len(),
                x.rows.len()
            ),
            "Mend the rows that are named, or leave them out, and send the others again.",
        )
        .on("rows");
        whole.lines = lines.into_boxed_slice();
        return Err(whole);
    }
    let mut drafts = Vec::new();
    let mut cases: BTreeMap<&str, Counted> = BTreeMap::new();
    for row in &x.rows {
        let counted = match cases.remove(row.case.as_str()) {
            Some(counted) => counted,
            None => begin(ctx, row, &mut drafts),
        };
        let counted = cases.entry(row.case.as_str()).or_insert(counted);
        drafts.extend(one(ctx, x, row, counted)?);
    }
    Ok(drafts)
}

/// The case of a row, opened where it is not there, with the scene that imported marks are noted at.
fn begin(ctx: &Context<'_>, row: &ImportRow, drafts: &mut Vec<Draft>) -> Counted {
    let scene = ("scene", "Scene of imported marks");
    opened(ctx, &row.case, row.item, &row.case_title, scene, drafts)
}

/// The same for what is brought to the counter.
pub(super) fn started(
    ctx: &Context<'_>,
    number: &str,
    item: ItemId,
    title: &str,
    drafts: &mut Vec<Draft>,
) -> Counted {
    opened(
        ctx,
        number,
        item,
        title,
        ("counter", "Intake counter"),
        drafts,
    )
}

/// The case of that number, opened where it is not there, with a scene of that kind and name.
fn opened(
    ctx: &Context<'_>,
    number: &str,
    item: ItemId,
    title: &str,
    (kind, name): (&str, &str),
    drafts: &mut Vec<Draft>,
) -> Counted {
    let there = case_of(ctx.state, number);
    let case = there.map_or_else(|| CaseId(derived(&format!("case of {item}"))), |c| c.id);
    let scene = SceneId(derived(&format!("{kind} of {case}")));
    if there.is_none() {
        let title = title.trim();
        let fact = Fact::CaseOpened(CaseOpened {
            case,
            number: number.to_owned(),
            title: if title.is_empty() {
                format!("Imported case {number}")
            } else {
                title.to_owned()
            },
            offence: String::new(),
        });
        drafts.extend(ctx.draft(Some(case), vec![Subject::Case(case)], fact));
    }
    if there.is_none_or(|c| c.scenes.iter().all(|s| s.id != scene)) {
        let fact = Fact::SceneOpened(SceneOpened {
            case,
            scene,
            name: name.into(),
            address: NOT_ON_RECORD.into(),
        });
        drafts.extend(ctx.draft(Some(case), vec![Subject::Case(case)], fact));
    }
    Counted {
        case,
        scene,
        items: there.map_or(0, |c| c.items),
        marks: there.map_or(0, |c| c.marks),
        packages: there.map_or(0, |c| c.packages),
    }
}

fn one(
    ctx: &Context<'_>,
    x: &Import,
    row: &ImportRow,
    counted: &mut Counted,
) -> Result<Vec<Draft>, Refusal> {
    let code = |of| Code::of(of).ok_or_else(|| not_found("code"));
    let mark = MarkId(derived(&format!("mark of {}", row.item)));
    let seal = Some(seal_number(&row.seal)).filter(|s| !s.is_empty());
    let packed = seal.is_some() || !row.container.trim().is_empty();
    let package = packed.then(|| PackageId(derived(&format!("package of {}", row.item))));
    counted.items += 1;
    counted.marks += 1;
    counted.packages += u32::from(packed);
    let form = if row.form.is_empty() {
        "object"
    } else {
        &row.form
    };
    let fact = ItemImported {
        item: row.item,
        case: counted.case,
        number: counted.items,
        code: code(Subject::Item(row.item))?,
        mark,
        mark_number: counted.marks,
        scene: counted.scene,
        former: row.former.clone(),
        description: row.description.clone(),
        form: form.to_owned(),
        medium: row.medium.clone(),
        method: row.method.clone(),
        object: row.object.clone(),
        place: ctx.state.place_names.get(&row.place).copied(),
        place_name: row.place.clone(),
        holder: row.holder.clone(),
        package,
        package_number: packed.then_some(counted.packages),
        package_code: package.map(|p| code(Subject::Package(p))).transpose()?,
        container: row.container.clone(),
        seal,
        received_on: row.received_on,
        note: row.note.clone(),
        file: x.file.clone(),
        file_digest: x.digest,
        row: row.row,
    };
    let mut subjects = vec![
        Subject::Case(fact.case),
        Subject::Mark(mark),
        Subject::Item(row.item),
    ];
    subjects.extend(package.map(Subject::Package));
    Ok(ctx.draft(Some(fact.case), subjects, Fact::ItemImported(fact)))
}
