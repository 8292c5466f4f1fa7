//! Prints and readings that go on the record: each label, each report, each reading of a restricted case.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::disclosure::MAX_WITHHELD;
use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, not_found};
use super::sheet;
use crate::ids::{CaseId, CommandId, Digest, PersonId, Subject};

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $word:literal, $title:literal;)*) => {
        /// Which paper a print is.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
        pub enum PaperKind { $($(#[$doc])* #[serde(rename = $word)] $name,)* }

        impl PaperKind {
            /// Every kind.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// Its word, as events and addresses have it.
            #[must_use]
            pub fn word(self) -> &'static str {
                match self { $(Self::$name => $word,)* }
            }

            /// What stands at its top.
            #[must_use]
            pub fn title(self) -> &'static str {
                match self { $(Self::$name => $title,)* }
            }
        }
    };
}

kinds! {
    /// The custody report of an item, a package or a case.
    CustodyReport = "custody-report", "Custody report";
    /// The certificate of a disposition.
    DispositionCertificate = "disposition-certificate", "Certificate of disposition";
    /// The exhibit list of a case.
    ExhibitList = "exhibit-list", "Exhibit list";
    /// The receipt for whoever something was taken from.
    OwnerReceipt = "owner-receipt", "Receipt for evidence taken";
    /// What goes to a laboratory or an examiner, and what is asked of them.
    LaboratorySubmission = "laboratory-submission", "Submission for examination";
    /// A hand-over on paper, to be entered afterwards.
    HandOverSheet = "hand-over-sheet", "Hand-over sheet";
    /// What one person handled in a case.
    WitnessSheet = "witness-sheet", "Witness sheet";
    /// The blanks of a records custodian's certification.
    Certification = "certification", "Certification of records";
}

impl PaperKind {
    /// Whether whoever handles evidence prints it, not only who reports on it.
    #[must_use]
    pub fn is_form(self) -> bool {
        matches!(
            self,
            Self::OwnerReceipt | Self::LaboratorySubmission | Self::HandOverSheet
        )
    }

    /// The kind of this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|k| k.word() == word)
    }
}

/// A label was printed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LabelPrinted {
    /// An item, a package or a place.
    pub of: Subject,
    /// Which label: card-front, box, envelope …
    pub label: String,
    /// SHA-256 of the PDF.
    pub digest: Digest,
    /// The print identifier in its properties; none on old records. The things on one sheet share it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print: Option<CommandId>,
    /// SHA-256 of the certificate that it is signed with; none where it is unsigned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<Digest>,
    /// The time in its timestamp, RFC 3339; none where there is no timestamp.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub timestamp: Option<String>,
    /// What it lacks that the server's settings ask for, and why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warning: Option<String>,
}

/// A report was printed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReportPrinted {
    /// A case, an item or a package.
    pub of: Subject,
    /// SHA-256 of the PDF.
    pub digest: Digest,
    /// The size of the ledger that it speaks of.
    pub ledger_size: u64,
    /// How many events of each subject it shows, as `subject=count`.
    pub counts: Vec<String>,
    /// The print identifier that stands on it and in its properties.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print: Option<CommandId>,
    /// Which paper; none on old records, which are custody reports and certificates.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub paper: Option<PaperKind>,
    /// Whose doings it tells, on a witness sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<PersonId>,
    /// For whom it was printed, in words: an owner, a laboratory.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_for: Option<String>,
    /// Fields whose words the paper leaves out, as `event.field: reason`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub withheld: Vec<String>,
    /// SHA-256 of the certificate that it is signed with; none where it is unsigned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<Digest>,
    /// The time in its timestamp, RFC 3339; none where there is no timestamp.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub timestamp: Option<String>,
    /// What it lacks that the server's settings ask for, and why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warning: Option<String>,
}

/// A restricted case was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CaseRead {
    /// Case.
    pub case: CaseId,
    /// Which page or answer.
    pub what: String,
}

fn signing(timestamp: Option<&String>, warning: Option<&String>) -> Result<(), Refusal> {
    text("timestamp", timestamp.map_or("", String::as_str), 40, false)?;
    text("warning", warning.map_or("", String::as_str), 400, false)
}

fn about(ctx: &Context<'_>, of: Subject) -> Result<Option<CaseId>, Refusal> {
    match of {
        Subject::Place(id) if ctx.state.places.contains_key(&id) => Ok(None),
        Subject::Case(_) | Subject::Item(_) | Subject::Package(_) => {
            let case = ctx
                .state
                .case_of(of)
                .ok_or_else(|| not_found("item, package or case"))?;
            ctx.case(case)?;
            Ok(Some(case))
        }
        _ => Err(not_found("item, package or case").on("of")),
    }
}

pub(super) fn label(ctx: &Context<'_>, x: &LabelPrinted) -> Result<Vec<Draft>, Refusal> {
    let case = about(ctx, x.of)?;
    text("label", &x.label, 40, true)?;
    signing(x.timestamp.as_ref(), x.warning.as_ref())?;
    Ok(ctx.draft(case, vec![x.of], Fact::LabelPrinted(x.clone())))
}

pub(super) fn report(ctx: &Context<'_>, x: &ReportPrinted) -> Result<Vec<Draft>, Refusal> {
    let case = about(ctx, x.of)?;
    if let Some(words) = &x.made_for {
        text("made_for", words, 300, true)?;
    }
    for words in &x.withheld {
        text("withheld", words, 500, true)?;
    }
    if x.counts.len() > 10_000 || x.withheld.len() > MAX_WITHHELD {
        return Err(Refusal::new(
            Rule::BadValue,
            "The report covers too many subjects.",
            "Print it item by item.",
        ));
    }
    sheet::fits(ctx, x)?;
    signing(x.timestamp.as_ref(), x.warning.as_ref())?;
    Ok(ctx.draft(case, vec![x.of], Fact::ReportPrinted(x.clone())))
}

/// The papers of whoever handles evidence: receipts, submissions, hand-over sheets, and what oneself did in a case.
pub(super) fn form(ctx: &Context<'_>, x: &ReportPrinted) -> Result<Vec<Draft>, Refusal> {
    let own = x.paper == Some(PaperKind::WitnessSheet)
        && (ctx.actor.id.is_none() || x.person == ctx.actor.id);
    if own || x.paper.is_some_and(PaperKind::is_form) {
        return report(ctx, x);
    }
    Err(Refusal::new(
        Rule::BadValue,
        "This paper is no receipt, submission or hand-over sheet, and tells what somebody else did.",
        "Have a custodian, the court liaison or a supervisor print it.",
    )
    .on("paper"))
}

pub(super) fn read(ctx: &Context<'_>, x: &CaseRead) -> Result<Vec<Draft>, Refusal> {
    let case = ctx.case(x.case)?;
    text("what", &x.what, 100, true)?;
    if !case.restricted {
        return Err(Refusal::new(
            Rule::BadValue,
            "Only the reading of a restricted case goes on the record.",
            "Nothing is left to do.",
        ));
    }
    Ok(ctx.draft(
        Some(x.case),
        vec![Subject::Case(x.case)],
        Fact::CaseRead(x.clone()),
    ))
}
