//! The item file: everything that the item's page, its label, the custody report and the interface for programs show.

use chrono::{DateTime, FixedOffset, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::advice::shown_words;
use super::amendments::{Amendment, amendments};
use super::boxes::{Boxes, boxes, stocked};
use super::case_ref::CaseRef;
use super::counts::{Count, counts};
use super::custody_rows::CustodyRow;
use super::findings::{Continuity, Finding, Tally};
use super::images::{Image, images};
use super::keeping::{self, CautionWords, Keeping, keeping};
use super::mark_words::{MarkWords, mark_words};
use super::next_acts::{NextAct, next_acts};
use super::orientation::{Orientation, orientation};
use super::seals::{SealWords, seals};
use super::standing::{Standing, standing};
use super::times::{TimeWords, times};
use super::told::{Told, told_at};
use super::words;
use crate::app::knowledge;
use crate::app::reader::{ReadError, Reader};
use crate::custody::advice::AdviceShown;
use crate::custody::import::NOT_ON_RECORD;
use crate::custody::state::{Item, Mark, Thing};
use crate::custody::thread::Thread;
use crate::ids::{Code, ItemId, PersonId, Piece, Subject};
use crate::lifting::Thickness;
use crate::trade::TradeRules;
use crate::zone::Zone;

/// The recovery in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RecoveryWords {
    /// Medium, by the trade rules' identifier.
    pub medium: String,
    /// Its name, as recorded.
    pub medium_name: String,
    /// What it yields, by the trade rules' word.
    pub form: String,
    /// The same in words.
    pub form_words: String,
    /// Lot of the medium; empty where nobody said.
    pub lot: String,
    /// Put on.
    pub started_at: DateTime<FixedOffset>,
    /// The same in words.
    pub started: String,
    /// Set.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set_at: Option<DateTime<FixedOffset>>,
    /// The same in words; empty where it does not set or nobody said.
    pub set: String,
    /// Air temperature in °C, as measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air_c: Option<i16>,
    /// How thick the medium was laid on.
    pub thickness: Option<Thickness>,
    /// How long it sets, as the rules in force at the recovery said; empty where it does not, or for an older record.
    pub set_window: String,
    /// Colour of the backing card; empty for none.
    pub card: String,
    /// Description, as amended.
    pub description: String,
    /// When it was recovered.
    pub at: DateTime<FixedOffset>,
    /// The same in words.
    pub when: String,
    /// Who recovered it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<PersonId>,
    /// The same with number.
    pub by_name: String,
    /// Name alone, for a label.
    pub lifter: String,
    /// Number alone, for a label.
    pub lifter_number: String,
    /// What it is: wet, biological, fragile, sharp.
    pub facts: Vec<String>,
    /// Warnings that went on the record.
    pub warnings: Vec<String>,
    /// The advice that was shown; none where nobody asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advice: Option<AdviceShown>,
    /// The same in words; empty where nobody asked.
    pub advice_words: String,
    /// What it must be packed in, as the rules in force at the recovery said.
    pub packing_as_recorded: Vec<String>,
}

/// An item that another was taken from, or that was taken from another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Kin {
    /// Which.
    pub id: ItemId,
    /// Number in the case.
    pub number: u32,
    /// Description, as amended.
    pub description: String,
}

/// Items of the same case, in their order.
async fn kin(reader: &Reader<'_>, ids: &[ItemId]) -> Result<Vec<Kin>, ReadError> {
    let asked: Vec<Subject> = ids.iter().copied().map(Subject::Item).collect();
    let state = if asked.is_empty() {
        return Ok(Vec::new());
    } else {
        reader.around(&asked).await?
    };
    let known = ids.iter().filter_map(|id| state.items.get(id));
    Ok(known
        .map(|item| Kin {
            id: item.id,
            number: item.number,
            description: item.recovered.description.clone(),
        })
        .collect())
}

/// Everything about an item.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ItemFile {
    /// Which.
    pub id: ItemId,
    /// Number in the case.
    pub number: u32,
    /// `Item 3`.
    pub name: String,
    /// The code on its label.
    pub code: Code,
    /// The same in groups.
    pub code_grouped: String,
    /// Its case.
    pub case: CaseRef,
    /// The mark it was recovered from.
    pub mark: MarkWords,
    /// The item that it was taken from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<Kin>,
    /// What was taken from it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub samples: Vec<Kin>,
    /// The recovery.
    pub recovery: RecoveryWords,
    /// Which way round its usual picture reads.
    pub orientation: Orientation,
    /// Pictures of the item.
    pub images: Vec<Image>,
    /// What it must be packed in and where it may be put.
    pub keeping: Keeping,
    /// How its times stand: drying, and what is to be done at once.
    pub times: Vec<TimeWords>,
    /// Which box of the stock to take, while it is in no package.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub boxes: Option<Boxes>,
    /// Cautions of its medium, its developments and its packing.
    pub cautions: Vec<CautionWords>,
    /// Where it is now.
    pub now: Standing,
    /// The seals of the packages it is or was in.
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
    /// Corrections of the item and of its mark.
    pub amendments: Vec<Amendment>,
    /// How many events each subject has.
    pub counts: Vec<Count>,
    /// What the viewer can do next.
    pub next_acts: Vec<NextAct>,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

/// Everything about an item that the viewer may see. Reading a restricted case goes on the record by
/// [`Reader::note_reading`], which the caller calls first.
///
/// # Errors
/// See [`ReadError`].
pub async fn load(reader: &Reader<'_>, id: ItemId) -> Result<ItemFile, ReadError> {
    load_at(reader, id, Utc::now()).await
}

/// The same as of a moment.
///
/// # Errors
/// See [`ReadError`].
pub async fn load_at(
    reader: &Reader<'_>,
    id: ItemId,
    now: DateTime<Utc>,
) -> Result<ItemFile, ReadError> {
    let item = reader.item(id).await?;
    let case = reader.case(item.case).await?;
    let mark = reader.mark(item.mark).await?;
    let piece = Piece::Item(id);
    let told = told_at(reader, piece, now).await?;
    let Told {
        mark: of_mark,
        steps,
        state,
        rows,
        findings,
        continuity,
        thread,
        zone,
        now,
    } = told;
    let own: Vec<_> = steps
        .iter()
        .filter(|s| s.through.is_none())
        .map(|s| s.past.clone())
        .collect();
    let of_mark: Vec<_> = of_mark.into_iter().map(|s| s.past).collect();
    let mut corrected = amendments(Subject::Mark(mark.id), &of_mark, zone);
    corrected.extend(amendments(Subject::Item(id), &own, zone));
    corrected.sort_by_key(|a| a.seq);
    let now_standing = standing(&state, piece, &steps, zone, now)
        .ok_or_else(|| ReadError::Corrupt(format!("where item:{id} is")))?;
    let mut counted = vec![
        (Subject::Item(id), state.name(piece)),
        (Subject::Mark(mark.id), format!("mark M{}", mark.number)),
    ];
    let mut packages: Vec<_> = steps.iter().filter_map(|s| s.through).collect();
    packages.extend(now_standing.inside.iter().map(|p| p.id));
    packages.sort_unstable();
    packages.dedup();
    counted.extend(
        packages
            .into_iter()
            .map(|p| (Subject::Package(p), state.name(Piece::Package(p)))),
    );
    counted.push((Subject::Case(case.id), format!("case {}", case.number)));
    let rules = &reader.house().rules;
    let needs = knowledge::needs(rules, &Thing::Item(&item)).unwrap_or_default();
    let boxes = if item.custody.inside.is_none() && item.recovered.form != "image" {
        let sizes: Vec<_> = item.recovered.size_mm.into_iter().collect();
        let found = boxes(rules, &needs, &sizes, &stocked(reader).await?);
        Some(found).filter(|b| !b.sentence.is_empty())
    } else {
        None
    };
    let tally = Tally::of(&findings);
    Ok(ItemFile {
        id,
        number: item.number,
        name: words::title(&state, piece),
        code: item.code.clone(),
        code_grouped: item.code.grouped(),
        case: CaseRef::from(&case),
        mark: mark_words(&mark, Some(&case), &state, rules, zone),
        from: kin(reader, item.recovered.from_item.as_slice())
            .await?
            .pop(),
        samples: kin(reader, &item.samples).await?,
        recovery: recovery(&item, &state, zone),
        orientation: orientation(
            &item.recovered.view,
            &item.recovered.reads,
            &item.recovered.because,
        ),
        images: images(Subject::Item(id), &item.images, zone),
        keeping: keeping(rules, &needs),
        times: times(rules, &item, zone, now.fixed_offset()),
        boxes,
        cautions: cautions(&item, &mark, rules),
        seals: seals(&steps, &state, zone),
        next_acts: next_acts(reader.viewer(), &state, piece),
        now: now_standing,
        rows,
        findings_words: tally.words(),
        tally,
        findings,
        continuity,
        thread,
        amendments: corrected,
        counts: counts(reader, counted).await?,
        as_of: now,
        as_of_words: words::when(&now, zone),
    })
}

fn recovery(item: &Item, state: &crate::custody::State, zone: Zone) -> RecoveryWords {
    let r = &item.recovered;
    let person = item.recovered_by.and_then(|p| state.people.get(&p));
    let facts = [
        (item.is_wet(), "wet"),
        (r.wet && item.dried.is_some(), "recovered wet, dry since"),
        (r.biological, "bears or may bear biological material"),
        (r.fragile, "fragile"),
        (r.sharp, "sharp"),
    ];
    RecoveryWords {
        medium: r.medium.clone(),
        medium_name: r.medium_name.clone(),
        form: r.form.clone(),
        form_words: words::form(&r.form).to_owned(),
        lot: r.lot.clone(),
        started_at: r.started_at,
        started: match item.came() {
            Some(_) => NOT_ON_RECORD.into(),
            None => words::minute(&r.started_at, zone),
        },
        set_at: r.set_at,
        set: r
            .set_at
            .map(|t| words::minute(&t, zone))
            .unwrap_or_default(),
        air_c: r.air_c,
        thickness: r.thickness,
        set_window: r.set_window.clone(),
        card: r.card.clone(),
        description: r.description.clone(),
        at: item.recovered_at,
        when: match item.came() {
            Some(how) => format!("{how} {}", words::minute(&item.recovered_at, zone)),
            None => words::minute(&item.recovered_at, zone),
        },
        by: item.recovered_by,
        by_name: match item.came() {
            Some(_) => format!("recovery {NOT_ON_RECORD}"),
            None => person.map(words::person).unwrap_or_default(),
        },
        lifter: person.map(|p| p.name.clone()).unwrap_or_default(),
        lifter_number: person.map(|p| p.number.clone()).unwrap_or_default(),
        facts: facts
            .into_iter()
            .filter(|(is, _)| *is)
            .map(|(_, word)| word.to_owned())
            .collect(),
        warnings: r.warnings.clone(),
        advice: r.advice.clone(),
        advice_words: r.advice.as_ref().map(shown_words).unwrap_or_default(),
        packing_as_recorded: r.packing.clone(),
    }
}

fn cautions(item: &Item, mark: &Mark, rules: &TradeRules) -> Vec<CautionWords> {
    let mut list = Vec::new();
    if let Some(medium) = rules.medium_ever(&item.recovered.medium) {
        list.extend(rules.cautions_of(&medium.cautions));
    }
    for development in &mark.developments {
        if let Some(method) = rules.method_ever(&development.method) {
            list.extend(rules.cautions_of(&method.cautions));
        }
    }
    if let Some(needs) = item.needs() {
        list.extend(&needs.packing.cautions);
    }
    keeping::cautions(list)
}
