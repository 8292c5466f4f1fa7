//! The one permission table: role by action.
//!
//! Pages, the API and the decision function all ask here. That a person may do an act does not mean that the act is
//! right now possible: the custody rules decide that. Restricted cases are a second question, see
//! [`crate::custody::state::Case::seen_by`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Role;

/// What can be done.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Action {
    /// Add people, give and take roles, switch accounts off and on, set a first password.
    ManagePeople,
    /// Read cases, marks, items, packages, places and custody threads.
    ReadEvidence,
    /// Open a case, open a scene.
    OpenCase,
    /// Assign people to a case, restrict it, lift the restriction.
    AssignCase,
    /// Note a mark, record its development, add photographs, record a recovery.
    RecordScene,
    /// Set how a picture was taken and its scale, make working copies.
    WorkImages,
    /// Say what a picture is worth for comparison.
    AssessValue,
    /// Hand an image off to an AFIS or another laboratory.
    HandOff,
    /// Pack, put in, take out, seal, open.
    Pack,
    /// Release, withdraw, receive, refuse.
    HandOver,
    /// Hand to and take back from somebody without an account.
    HandOutside,
    /// Record what an examination used up.
    Consume,
    /// Store, move, take from a shelf, add a place.
    Keep,
    /// Be the second person in a place for two people.
    StandBeside,
    /// Mark a place for two people, take the mark off.
    MarkTwoPerson,
    /// Take charge of something that nobody released.
    TakeCharge,
    /// Answer for storing against a keep rule.
    OverrideKeeping,
    /// Resolve what a count found to differ.
    ResolveCount,
    /// Place a hold, lift it.
    Hold,
    /// Give items their exhibit numbers.
    SetExhibit,
    /// Say how long evidence is kept, authorise a disposition, take that back.
    AuthoriseDisposition,
    /// Carry a disposition out.
    Dispose,
    /// Witness a disposition.
    Witness,
    /// Correct a record by a new event.
    Amend,
    /// Print a label.
    PrintLabel,
    /// Print a custody report.
    PrintReport,
    /// Print a receipt, a submission to a laboratory, a hand-over sheet, what oneself handled.
    PrintForm,
    /// Export the events of a case or of the ledger, read checkpoints and proofs, run the verifier.
    Prove,
    /// Make a bundle of a case for somebody outside.
    Disclose,
    /// Answer a finding on continuity.
    AnswerFindings,
    /// Put a court's order to expunge on the record, take it back.
    OrderExpungement,
    /// Confirm a court's order and expunge what it names.
    CarryOutExpungement,
}

impl Action {
    /// Every action, in order.
    pub const ALL: [Self; 32] = [
        Self::ManagePeople,
        Self::ReadEvidence,
        Self::OpenCase,
        Self::AssignCase,
        Self::RecordScene,
        Self::WorkImages,
        Self::AssessValue,
        Self::HandOff,
        Self::Pack,
        Self::HandOver,
        Self::HandOutside,
        Self::Consume,
        Self::Keep,
        Self::StandBeside,
        Self::MarkTwoPerson,
        Self::TakeCharge,
        Self::OverrideKeeping,
        Self::ResolveCount,
        Self::Hold,
        Self::SetExhibit,
        Self::AuthoriseDisposition,
        Self::Dispose,
        Self::Witness,
        Self::Amend,
        Self::PrintLabel,
        Self::PrintReport,
        Self::PrintForm,
        Self::Prove,
        Self::Disclose,
        Self::AnswerFindings,
        Self::OrderExpungement,
        Self::CarryOutExpungement,
    ];

    /// In words, for a refusal: "may not …".
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::ManagePeople => "manage people",
            Self::ReadEvidence => "read evidence records",
            Self::OpenCase => "open cases and scenes",
            Self::AssignCase => "assign or restrict cases",
            Self::RecordScene => "record marks, photographs and recoveries",
            Self::WorkImages => "say how pictures were taken, set scales or make working copies",
            Self::AssessValue => "say what pictures are worth for comparison",
            Self::HandOff => "hand images off to an AFIS",
            Self::Pack => "pack, seal or open packages",
            Self::HandOver => "release or receive evidence",
            Self::HandOutside => "hand evidence to people without an account",
            Self::Consume => "record what an examination used up",
            Self::Keep => "store evidence or manage places",
            Self::StandBeside => "be the second person in a place for two people",
            Self::MarkTwoPerson => "mark places for two people",
            Self::TakeCharge => "take charge of evidence that was not released",
            Self::OverrideKeeping => "answer for storing against a keep rule",
            Self::ResolveCount => "resolve what a count found to differ",
            Self::Hold => "place or lift holds",
            Self::SetExhibit => "give exhibit numbers",
            Self::AuthoriseDisposition => "authorise dispositions",
            Self::Dispose => "carry out dispositions",
            Self::Witness => "witness dispositions",
            Self::Amend => "amend records",
            Self::PrintLabel => "print labels",
            Self::PrintReport => "print custody reports",
            Self::PrintForm => "print receipts, submissions or hand-over sheets",
            Self::Prove => "export or verify the ledger",
            Self::Disclose => "disclose cases",
            Self::AnswerFindings => "answer findings",
            Self::OrderExpungement => "put orders to expunge on the record",
            Self::CarryOutExpungement => "carry orders to expunge out",
        }
    }

    /// The roles that may do it.
    #[must_use]
    pub fn roles(self) -> &'static [Role] {
        use Role::{
            Administrator, Auditor, CourtLiaison, Custodian, Examiner, Supervisor, Technician,
        };
        match self {
            Self::ManagePeople => &[Administrator],
            Self::ReadEvidence => &[
                Technician,
                Custodian,
                Examiner,
                CourtLiaison,
                Supervisor,
                Auditor,
            ],
            Self::OpenCase => &[Technician, Supervisor],
            Self::AssignCase
            | Self::OverrideKeeping
            | Self::AuthoriseDisposition
            | Self::MarkTwoPerson => &[Supervisor],
            Self::ResolveCount | Self::StandBeside => &[Custodian, Supervisor],
            Self::Hold | Self::SetExhibit => &[CourtLiaison, Supervisor],
            Self::RecordScene => &[Technician, Examiner],
            Self::WorkImages => &[Technician, Examiner, Supervisor],
            Self::AssessValue => &[Examiner],
            Self::HandOff => &[Examiner, CourtLiaison, Supervisor],
            Self::Pack => &[Technician, Custodian, Examiner],
            Self::HandOver => &[Technician, Custodian, Examiner, CourtLiaison],
            Self::HandOutside => &[Technician, Custodian, CourtLiaison],
            Self::Consume => &[Custodian, Examiner],
            Self::Keep => &[Custodian],
            Self::TakeCharge | Self::Dispose => &[Custodian],
            Self::Amend | Self::Witness | Self::PrintForm => {
                &[Technician, Custodian, Examiner, CourtLiaison, Supervisor]
            }
            Self::PrintLabel => &[Technician, Custodian, Examiner, CourtLiaison],
            Self::PrintReport => &[Custodian, CourtLiaison, Supervisor],
            Self::Prove => &[CourtLiaison, Supervisor, Auditor],
            Self::Disclose | Self::OrderExpungement => &[CourtLiaison, Supervisor],
            Self::CarryOutExpungement => &[Supervisor, Administrator],
            // Not those through whose hands it goes every day: nobody explains away what they did themselves.
            Self::AnswerFindings => &[Examiner, CourtLiaison, Supervisor],
        }
    }
}

/// Whether somebody with these roles may do it.
#[must_use]
pub fn allows<'a>(roles: impl IntoIterator<Item = &'a Role>, action: Action) -> bool {
    let may = action.roles();
    roles.into_iter().any(|r| may.contains(r))
}
