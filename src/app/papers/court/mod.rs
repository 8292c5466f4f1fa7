//! The papers of the court file, but for the custody report: each a file that says what is asked and which parts the
//! paper has. Composed as of a moment, and only then recorded, so that the same ledger gives the same bytes.
//!
//! - [`exhibits`] the exhibit list
//! - [`receipt`] the receipt for whoever something was taken from
//! - [`submission`] what goes to a laboratory or an examiner
//! - [`sheet`] a hand-over on paper, to be entered afterwards
//! - [`witness`] what one person handled
//! - [`certification`] the blanks of a records custodian's certification

pub mod certification;
pub mod exhibits;
mod pieces;
pub mod receipt;
pub mod sheet;
pub mod submission;
pub mod witness;

use chrono::{DateTime, Utc};

use super::export::{Head, latest};
use super::redact::Redaction;
use super::{
    About, By, Composed, Layout, PaperError, Printed, agency, aside, file_name, printed_by,
    put_on_record,
};
use crate::app::agency::Agency;
use crate::app::reader::Reader;
use crate::app::views::words;
use crate::custody::paper::PaperKind;
use crate::custody::state::Case;
use crate::ids::{CaseId, CommandId, PersonId, Subject};
use crate::people::Action;
use crate::reports::parts::{Frame, Part, draw};
use crate::reports::texts;
use crate::zone::Zone;

/// How often a case is read again when it changes while it is read.
const ROUNDS: usize = 5;
/// Most pieces of one paper.
pub const MOST_PIECES: usize = 1_000;
/// The longest text that is typed for a paper, in characters.
pub const MAX_TEXT: usize = 2_000;

/// What is asked for, with what only whoever prints knows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Asked {
    /// The exhibit list.
    ExhibitList,
    /// A receipt for whoever something was taken from.
    OwnerReceipt(receipt::Receipt),
    /// A submission to a laboratory or an examiner.
    LaboratorySubmission(submission::Submission),
    /// A hand-over sheet.
    HandOverSheet(sheet::Sheet),
    /// What this person handled.
    WitnessSheet(PersonId),
    /// The blanks of a certification.
    Certification,
}

impl Asked {
    /// Which paper.
    #[must_use]
    pub fn kind(&self) -> PaperKind {
        match self {
            Self::ExhibitList => PaperKind::ExhibitList,
            Self::OwnerReceipt(_) => PaperKind::OwnerReceipt,
            Self::LaboratorySubmission(_) => PaperKind::LaboratorySubmission,
            Self::HandOverSheet(_) => PaperKind::HandOverSheet,
            Self::WitnessSheet(_) => PaperKind::WitnessSheet,
            Self::Certification => PaperKind::Certification,
        }
    }

    fn person(&self) -> Option<PersonId> {
        match self {
            Self::WitnessSheet(person) => Some(*person),
            _ => None,
        }
    }

    fn made_for(&self) -> Option<String> {
        let words = match self {
            Self::OwnerReceipt(x) => &x.from,
            Self::LaboratorySubmission(x) => &x.to,
            _ => return None,
        };
        Some(words.trim().chars().take(300).collect()).filter(|w: &String| !w.is_empty())
    }
}

/// Prints a paper of a case.
///
/// # Errors
/// [`PaperError::Read`] where the viewer may not print or see it, [`PaperError::Count`] where there is nothing to print,
/// [`PaperError::Report`] for a text that cannot be printed, [`PaperError::Busy`], [`PaperError::Record`].
pub async fn print(
    reader: &Reader<'_>,
    by: By,
    case: CaseId,
    asked: &Asked,
    layout: &Layout,
) -> Result<Printed, PaperError> {
    redacted(reader, by, case, asked, layout, &Redaction::default()).await
}

/// Prints a paper of a case without what is withheld.
///
/// # Errors
/// As [`print()`].
pub async fn redacted(
    reader: &Reader<'_>,
    by: By,
    case: CaseId,
    asked: &Asked,
    layout: &Layout,
    redaction: &Redaction,
) -> Result<Printed, PaperError> {
    let id = CommandId::new();
    let now = Utc::now();
    let composed = compose_without(reader, case, asked, layout, (id, now), redaction).await?;
    let about = About {
        person: asked.person(),
        made_for: asked.made_for(),
        withheld: redaction.withheld.clone(),
        ..About::new(Subject::Case(case), asked.kind())
    };
    put_on_record(reader, by, id, about, composed).await
}

/// In which zone the times are that are written on the paper by hand.
fn in_ink(zone: Zone) -> Part {
    Part::Small(format!(
        "Times in ink are in the zone {zone}, unless another is written beside them."
    ))
}

/// What the parts of a paper are made from.
struct Setting {
    case: Case,
    agency: Agency,
    head: Head,
    now: DateTime<Utc>,
}

/// What a paper says, before it is drawn.
struct Told {
    lead: String,
    note: String,
    /// Facts about the paper itself, beside the ledger's size and tree.
    facts: Vec<(String, String)>,
    parts: Vec<Part>,
    /// Whom the paper speaks of.
    subjects: Vec<Subject>,
    /// Which of the case's things it is about, for the file's name; empty for all.
    name: String,
}

/// Whether the viewer may print it: what oneself handled, everybody who handles evidence may.
///
/// # Errors
/// [`PaperError::Read`].
fn may(reader: &Reader<'_>, asked: &Asked) -> Result<(), PaperError> {
    let own = asked.person().is_some() && asked.person() == reader.viewer().id();
    let action = if asked.kind().is_form() || own {
        Action::PrintForm
    } else {
        Action::PrintReport
    };
    Ok(reader.must(action)?)
}

/// Draws the paper that is to be recorded as `id`, as of `now`: the same ledger gives the same bytes.
///
/// # Errors
/// As [`print()`].
pub async fn compose(
    reader: &Reader<'_>,
    case: CaseId,
    asked: &Asked,
    layout: &Layout,
    id: CommandId,
    now: DateTime<Utc>,
) -> Result<Composed, PaperError> {
    compose_without(
        reader,
        case,
        asked,
        layout,
        (id, now),
        &Redaction::default(),
    )
    .await
}

/// The same without what is withheld.
///
/// # Errors
/// As [`print()`].
pub async fn compose_without(
    reader: &Reader<'_>,
    case: CaseId,
    asked: &Asked,
    layout: &Layout,
    (id, now): (CommandId, DateTime<Utc>),
    redaction: &Redaction,
) -> Result<Composed, PaperError> {
    may(reader, asked)?;
    let agency = agency(reader, layout).await?;
    for _ in 0..ROUNDS {
        let before = reader.house().store.head().await?.size;
        let setting = Setting {
            case: reader.case(case).await?,
            agency: agency.clone(),
            head: latest(reader).await?,
            now,
        };
        let told = match asked {
            Asked::ExhibitList => exhibits::told(reader, &setting).await?,
            Asked::OwnerReceipt(x) => receipt::told(reader, &setting, x).await?,
            Asked::LaboratorySubmission(x) => submission::told(reader, &setting, x).await?,
            Asked::HandOverSheet(x) => sheet::told(reader, &setting, x).await?,
            Asked::WitnessSheet(x) => witness::told(reader, &setting, *x).await?,
            Asked::Certification => certification::told(reader, &setting).await?,
        };
        // The paper names the ledger's size: nothing that it tells may have come after that.
        let Some(counts) = counted(reader, &told.subjects, before.min(setting.head.size)).await?
        else {
            continue;
        };
        let kind = asked.kind();
        let mut frame = Frame {
            agency: setting.agency.name.clone(),
            title: kind.title().to_owned(),
            case_number: setting.case.number.clone(),
            case_title: setting.case.title.clone(),
            lead: told.lead,
            ledger: told
                .facts
                .into_iter()
                .chain([
                    ("Events in the ledger".into(), setting.head.size.to_string()),
                    ("Head of its tree".into(), setting.head.root.to_string()),
                ])
                .collect(),
            note: told.note,
            printed_by: printed_by(reader),
            printed_when: words::when(&now, setting.agency.zone),
            printed_at: now,
            print_id: id.to_string(),
            scanned: kind == PaperKind::HandOverSheet,
            paper: setting.agency.paper,
        };
        let mut parts = told.parts;
        let hidden = redaction.clone();
        let bytes = aside(move || {
            if !hidden.is_empty() {
                texts::of_parts(&mut frame, &mut parts, &mut |text| hidden.clear(text));
                let sentence = hidden.sentence();
                if !sentence.is_empty() {
                    parts.insert(0, Part::Notice(sentence));
                }
            }
            draw(&frame, &parts)
        })
        .await?;
        return Ok(Composed {
            bytes,
            ledger_size: setting.head.size,
            counts,
            file_name: file_name(&[&setting.case.number, &told.name, kind.word()]),
        });
    }
    Err(PaperError::Busy(format!("case {case}")))
}

/// How many events each subject has; none where one of them came after the ledger had this size.
async fn counted(
    reader: &Reader<'_>,
    subjects: &[Subject],
    size: u64,
) -> Result<Option<Vec<String>>, PaperError> {
    let store = &reader.house().store;
    let mut out = Vec::with_capacity(subjects.len());
    for subject in subjects {
        let text = subject.to_string();
        let n = store.subject_count(&text).await?;
        let last = store.events_of(&text, n.saturating_sub(1), 1).await?;
        let late = |seq: i64| u64::try_from(seq).is_ok_and(|seq| seq > size);
        if last.iter().any(|t| late(t.event.seq)) {
            return Ok(None);
        }
        out.push(format!("{text}={n}"));
    }
    Ok(Some(out))
}

/// A text that was typed for a paper, without outer spaces.
///
/// # Errors
/// [`PaperError::Count`] where it is missing or too long.
fn typed(what: &str, text: &str, required: bool) -> Result<String, PaperError> {
    let text = text.trim();
    if required && text.is_empty() {
        return Err(PaperError::Count(format!("{what} is not said")));
    }
    if text.chars().count() > MAX_TEXT {
        return Err(PaperError::Count(format!(
            "{what} is longer than {MAX_TEXT} characters"
        )));
    }
    if text.chars().any(|c| c.is_control() && c != '\n') {
        return Err(PaperError::Count(format!(
            "{what} holds characters that cannot be printed"
        )));
    }
    Ok(text.replace('\r', ""))
}
