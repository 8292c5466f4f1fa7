//! What is brought to the counter without any record: by a member of the public, by another agency, or found.
//!
//! One event, `item.brought-in`, makes the item with the mark that it stands for, as an import does (see
//! [`super::import`]), and nobody is named as having recovered it. Custody begins with whoever takes it in. What was before
//! is what somebody said at the counter; this ledger saw none of it, and every page, thread, report and finding says so.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::import::{FORMS, ItemImported, case_of, derived, imported, started};
use super::item::MAX_ITEMS;
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::State;
use crate::ids::{CaseId, Code, Digest, ItemId, MarkId, PersonId, SceneId, Subject};

/// What every page says of what was before.
pub const NOT_WITNESSED: &str =
    "What happened to it before it was brought to the counter is not witnessed by this ledger";
/// What is written for a person whose name nobody knows.
pub const UNKNOWN: &str = "unknown";

/// From whom something comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// A member of the public brought it.
    Public,
    /// Another agency brought or sent it.
    Agency,
    /// It was found, by whoever brings it or by nobody known.
    Found,
}

impl Origin {
    /// In words: `brought by a member of the public`.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Public => "brought by a member of the public",
            Self::Agency => "brought or sent by another agency",
            Self::Found => "found property",
        }
    }
}

/// Take in something that has no record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BringIn {
    /// Case number. A case that is not there is opened, where a title is given.
    pub case: String,
    /// Title, for a case that is opened.
    #[serde(default)]
    pub case_title: String,
    /// From whom it comes.
    pub origin: Origin,
    /// Who brought it: a name, or `unknown`.
    pub brought_by: String,
    /// Their agency or organisation.
    #[serde(default)]
    pub agency: String,
    /// Which identification was seen, without more of it than is needed; empty where none was.
    #[serde(default)]
    pub identification: String,
    /// How they can be reached.
    #[serde(default)]
    pub contact: String,
    /// What it is.
    pub description: String,
    /// One of [`FORMS`]; empty for an object.
    #[serde(default)]
    pub form: String,
    /// Where it was found or kept before, as they say.
    #[serde(default)]
    pub found_where: String,
    /// When, as they say.
    #[serde(default)]
    pub found_when: String,
    /// In which condition it is.
    pub condition: String,
    /// How it was packed as it came, with the numbers of others' seals; empty where it was not.
    #[serde(default)]
    pub packaging: String,
    /// Whether it is wet.
    #[serde(default)]
    pub wet: bool,
    /// Whether it bears or may bear biological material.
    #[serde(default)]
    pub biological: bool,
    /// Whether it breaks easily.
    #[serde(default)]
    pub fragile: bool,
    /// Whether it is sharp.
    #[serde(default)]
    pub sharp: bool,
    /// Anything else that was said.
    #[serde(default)]
    pub note: String,
}

/// Something was brought to the counter without a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct BroughtIn {
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
    /// Scene of the mark: the counter.
    pub scene: SceneId,
    /// From whom it comes.
    pub origin: Origin,
    /// Who brought it; empty texts, here and below, for what nobody knows.
    pub brought_by: String,
    /// Their agency.
    pub agency: String,
    /// Identification seen.
    pub identification: String,
    /// How they can be reached.
    pub contact: String,
    /// What it is.
    pub description: String,
    /// What kind of thing.
    pub form: String,
    /// Where it was before, as they say.
    pub found_where: String,
    /// When, as they say.
    pub found_when: String,
    /// Condition.
    pub condition: String,
    /// Packaging as it came.
    pub packaging: String,
    /// Whether it is wet.
    pub wet: bool,
    /// Whether it bears or may bear biological material.
    pub biological: bool,
    /// Whether it breaks easily.
    pub fragile: bool,
    /// Whether it is sharp.
    pub sharp: bool,
    /// Anything else.
    pub note: String,
}

/// What an item's record keeps of how it came.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Brought {
    /// Who took it in.
    pub taken_in_by: PersonId,
    /// What was said.
    pub told: BroughtIn,
}

impl BroughtIn {
    /// Who brought it, with the agency: `Ole Brandt, Port Office`.
    #[must_use]
    pub fn who(&self) -> String {
        let name = self.brought_by.trim();
        let name = if name.is_empty() { UNKNOWN } else { name };
        if self.agency.is_empty() {
            name.to_owned()
        } else {
            format!("{name}, {}", self.agency)
        }
    }

    /// What was before, as far as somebody said: the sentence of the finding.
    #[must_use]
    pub fn before(&self) -> String {
        let seen = if self.identification.is_empty() {
            "no identification seen".to_owned()
        } else {
            format!("identification seen: {}", self.identification)
        };
        let mut said = String::new();
        for (lead, text) in [("where", &self.found_where), ("when", &self.found_when)] {
            said.push_str(&if text.is_empty() {
                format!("; nobody says {lead} it was found or kept")
            } else {
                format!("; {lead}, as said there: {text}")
            });
        }
        format!(
            "{NOT_WITNESSED}. It is {}; by {} ({seen}){said}.",
            self.origin.words(),
            self.who()
        )
    }
}

/// The case exists and may be seen, or does not exist yet.
pub(super) fn seen(ctx: &Context<'_>, x: &BringIn) -> Result<(), Refusal> {
    match case_of(ctx.state, x.case.trim()) {
        Some(case) => ctx.case(case.id).map(drop).map_err(|r| r.on("case")),
        None => Ok(()),
    }
}

pub(super) fn bring_in(ctx: &Context<'_>, x: &BringIn) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    for (field, value, most, required) in [
        ("case", &x.case, 40, true),
        ("case_title", &x.case_title, 200, false),
        ("brought_by", &x.brought_by, 200, true),
        ("agency", &x.agency, 200, false),
        ("identification", &x.identification, 200, false),
        ("contact", &x.contact, 200, false),
        ("description", &x.description, 500, true),
        ("found_where", &x.found_where, 300, false),
        ("found_when", &x.found_when, 200, false),
        ("condition", &x.condition, 500, true),
        ("packaging", &x.packaging, 500, false),
        ("note", &x.note, 1000, false),
    ] {
        text(field, value, most, required)?;
    }
    let number = x.case.trim();
    let there = case_of(ctx.state, number);
    if there.is_none() && x.case_title.trim().is_empty() {
        return Err(Refusal::new(
            Rule::BadText,
            format!("There is no case {number}, and no title to open one with."),
            "Correct the case number, or give a title for a new case.",
        )
        .on("case_title"));
    }
    if !x.form.is_empty() && !FORMS.contains(&x.form.as_str()) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("{} is no kind of thing.", x.form),
            format!("Use one of {}.", FORMS.join(", ")),
        )
        .on("form"));
    }
    if there.is_some_and(|c| c.items >= MAX_ITEMS) {
        return Err(Refusal::new(
            Rule::BadValue,
            "No more items fit into this case.",
            "Take it in under another case number.",
        )
        .on("case"));
    }
    let item = ItemId(ctx.command.id.0);
    let mut drafts = Vec::new();
    let begun = started(ctx, number, item, &x.case_title, &mut drafts);
    let said = |text: &str| text.trim().to_owned();
    let fact = BroughtIn {
        item,
        case: begun.case,
        number: begun.items + 1,
        code: Code::of(Subject::Item(item)).ok_or_else(|| not_found("code"))?,
        mark: MarkId(derived(&format!("mark of {item}"))),
        mark_number: begun.marks + 1,
        scene: begun.scene,
        origin: x.origin,
        brought_by: said(&x.brought_by),
        agency: said(&x.agency),
        identification: said(&x.identification),
        contact: said(&x.contact),
        description: said(&x.description),
        form: if x.form.is_empty() {
            "object".to_owned()
        } else {
            x.form.clone()
        },
        found_where: said(&x.found_where),
        found_when: said(&x.found_when),
        condition: said(&x.condition),
        packaging: said(&x.packaging),
        wet: x.wet,
        biological: x.biological,
        fragile: x.fragile,
        sharp: x.sharp,
        note: said(&x.note),
    };
    let subjects = vec![
        Subject::Case(fact.case),
        Subject::Mark(fact.mark),
        Subject::Item(item),
    ];
    drafts.extend(ctx.draft(Some(fact.case), subjects, Fact::BroughtIn(fact)));
    Ok(drafts)
}

/// What the event leaves is what a row of an import leaves, but for where it comes from.
pub(super) fn brought_in(state: &mut State, x: &BroughtIn, meta: &Meta) -> Result<(), Misfit> {
    let taken_in_by = meta
        .actor
        .ok_or_else(|| meta.misfit("what is taken in is taken in by somebody"))?;
    let as_imported = ItemImported {
        item: x.item,
        case: x.case,
        number: x.number,
        code: x.code.clone(),
        mark: x.mark,
        mark_number: x.mark_number,
        scene: x.scene,
        former: String::new(),
        description: x.description.clone(),
        form: x.form.clone(),
        medium: String::new(),
        method: String::new(),
        object: x.description.chars().take(200).collect(),
        place: None,
        place_name: String::new(),
        holder: String::new(),
        package: None,
        package_number: None,
        package_code: None,
        container: String::new(),
        seal: None,
        received_on: None,
        note: String::new(),
        file: String::new(),
        file_digest: Digest([0; 32]),
        row: 0,
    };
    imported(state, &as_imported, meta)?;
    if let Some(mark) = state.marks.get_mut(&x.mark) {
        mark.noted.note = format!("Brought in as item {}. {NOT_WITNESSED}.", x.number);
        if !x.found_where.is_empty() {
            mark.noted.exact_place = format!("as said at the counter: {}", x.found_where);
        }
    }
    if let Some(item) = state.items.get_mut(&x.item) {
        let recovered = &mut item.recovered;
        recovered.wet = x.wet;
        recovered.biological = x.biological;
        recovered.fragile = x.fragile;
        recovered.sharp = x.sharp;
        recovered.because =
            "it was brought to the counter, and it is not on record how it was made".into();
        recovered.warnings = vec![format!("{NOT_WITNESSED}.")];
        item.imported = None;
        item.brought = Some(Box::new(Brought {
            taken_in_by,
            told: x.clone(),
        }));
    }
    Ok(())
}
