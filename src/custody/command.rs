//! What somebody asks for: the act, who asks, how they signed, and when they say it happened.

use std::collections::BTreeSet;

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{
    afis, amendment, brought, case, climate_log, consumed, copy, disclosure, drying, exhibit,
    finding, hand_over, image, import, intake, item, kit, mark, package, paper, person, place,
    repack, seal_stock, shelving, stock, two_person, value,
};
use super::{capacity, count, disposition, expungement, hold, retention};
use crate::ids::{
    CaseId, CommandId, CountId, ItemId, MarkId, PackageId, PersonId, Piece, PlaceId, Subject,
};
use crate::people::{Action, Role};

/// How the actor signed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Signed {
    /// Signed in, nothing more.
    Session,
    /// A personal access token, nothing more.
    Token,
    /// Signed in again for this act with the password.
    Password,
    /// The ledger itself acts (first administrator, records of reading and printing).
    System,
}

/// Who acts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actor {
    /// The person; none when the ledger itself acts.
    pub id: Option<PersonId>,
    /// Their roles at this moment.
    pub roles: BTreeSet<Role>,
    /// How they signed.
    pub signed: Signed,
    /// Who else is there and gave their own password for this act.
    pub beside: Option<PersonId>,
}

impl Actor {
    /// The ledger itself, for the first administrator.
    #[must_use]
    pub fn system() -> Self {
        Self {
            id: None,
            roles: BTreeSet::new(),
            signed: Signed::System,
            beside: None,
        }
    }
}

/// A command: an act with what comes with every act.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Command {
    /// Made by the client. The same command sent twice is carried out once. What the command creates (a case, a mark,
    /// an item, a package, a place, a person) bears this identifier, so it must be a version 4 or 7 UUID.
    #[serde(default = "CommandId::new")]
    pub id: CommandId,
    /// When it happened, if not now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub claimed_at: Option<DateTime<FixedOffset>>,
    /// Why it is entered late.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late_reason: Option<String>,
    /// The print identifier of the hand-over sheet from which it is entered: it was signed there in ink.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub paper_sheet: Option<CommandId>,
    /// What is to happen.
    pub act: Act,
}

impl Command {
    /// A new command for what happens at the moment at which it is recorded.
    #[must_use]
    pub fn now(act: Act) -> Self {
        Self {
            id: CommandId::new(),
            claimed_at: None,
            late_reason: None,
            paper_sheet: None,
            act,
        }
    }
}

macro_rules! acts {
    ($($(#[$doc:meta])* $name:ident($module:ident::$body:ident) = $word:literal, $action:ident, signed: $signed:literal;)*) => {
        /// What is to happen.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(tag = "do")]
        pub enum Act {
            $($(#[$doc])* #[serde(rename = $word)] $name($module::$body),)*
        }

        impl Act {
            /// Each act: its word, who may do it, and whether it must be signed.
            pub const TABLE: &'static [(&'static str, Action, bool)] = &[$(($word, Action::$action, $signed),)*];

            /// Of an act by its word: who may do it, and whether it must be signed; none for an unknown one.
            #[must_use]
            pub fn find(word: &str) -> Option<(Action, bool)> {
                match word {
                    $($word => Some((Action::$action, $signed)),)*
                    _ => None,
                }
            }

            /// The word of the act.
            #[must_use]
            pub fn word(&self) -> &'static str {
                match self { $(Self::$name(_) => $word,)* }
            }

            /// Who may do it.
            #[must_use]
            pub fn action(&self) -> Action {
                match self { $(Self::$name(_) => Action::$action,)* }
            }

            /// Whether it must be signed by signing in again.
            #[must_use]
            pub fn must_be_signed(&self) -> bool {
                match self { $(Self::$name(_) => $signed,)* }
            }
        }
    };
}

acts! {
    /// Add a person.
    AddPerson(person::AddPerson) = "add-person", ManagePeople, signed: false;
    /// Give and take roles.
    SetRoles(person::SetRoles) = "set-roles", ManagePeople, signed: false;
    /// Switch an account off or on.
    SetActive(person::SetActive) = "set-active", ManagePeople, signed: false;
    /// Open a case.
    OpenCase(case::OpenCase) = "open-case", OpenCase, signed: false;
    /// Open a scene.
    OpenScene(case::OpenScene) = "open-scene", OpenCase, signed: false;
    /// Assign a person to a case, or end it.
    Assign(case::Assign) = "assign", AssignCase, signed: false;
    /// Restrict a case, or lift the restriction.
    Restrict(case::Restrict) = "restrict", AssignCase, signed: false;
    /// Note a mark on a surface.
    NoteMark(mark::NoteMark) = "note-mark", RecordScene, signed: false;
    /// Record how a mark was developed.
    DevelopMark(mark::DevelopMark) = "develop-mark", RecordScene, signed: false;
    /// Add a photograph whose bytes are already kept.
    AddImage(image::AddImage) = "add-image", RecordScene, signed: false;
    /// Set how a picture was taken.
    SetView(image::SetView) = "set-view", WorkImages, signed: false;
    /// Set the scale of a picture.
    SetScale(image::SetScale) = "set-scale", WorkImages, signed: false;
    /// Add a working copy whose bytes are already kept.
    AddCopy(copy::AddCopy) = "add-copy", WorkImages, signed: false;
    /// Say what a picture is worth for comparison.
    AssessValue(value::AssessValue) = "assess-value", AssessValue, signed: false;
    /// Record a recovery: it yields an item.
    Recover(item::Recover) = "recover", RecordScene, signed: false;
    /// Take rows of another record over.
    Import(import::Import) = "import", Keep, signed: true;
    /// Take in something that has no record.
    BringIn(brought::BringIn) = "bring-in", Keep, signed: true;
    /// Put a lot into one's own kit.
    KitAdd(kit::KitAdd) = "kit-add", RecordScene, signed: false;
    /// Take a lot out of one's own kit.
    KitRemove(kit::KitRemove) = "kit-remove", RecordScene, signed: false;
    /// Use an item up in an examination.
    Consume(consumed::Consume) = "consume", Consume, signed: true;
    /// Make a package of pieces.
    Pack(package::Pack) = "pack", Pack, signed: false;
    /// Put a piece into an open package.
    PutIn(package::PutIn) = "put-in", Pack, signed: false;
    /// Take a piece out of an open package.
    TakeOut(package::TakeOut) = "take-out", Pack, signed: false;
    /// Seal a package.
    Seal(package::Seal) = "seal", Pack, signed: false;
    /// Open a sealed package.
    Open(package::Open) = "open", Pack, signed: true;
    /// Split, merge or pack anew.
    Repack(repack::Repack) = "repack", Pack, signed: true;
    /// Record that something recovered wet is dry.
    NoteDry(drying::NoteDry) = "note-dry", Pack, signed: false;
    /// Release to a person: an offer until they receive it.
    Release(hand_over::Release) = "release", HandOver, signed: true;
    /// Withdraw an offer.
    Withdraw(hand_over::Withdraw) = "withdraw", HandOver, signed: false;
    /// Receive what is offered.
    Receive(hand_over::Receive) = "receive", HandOver, signed: true;
    /// Refuse what is offered.
    Refuse(hand_over::Refuse) = "refuse", HandOver, signed: false;
    /// Receive many things under one signing, or refuse some of them.
    Intake(intake::Intake) = "intake", HandOver, signed: true;
    /// Hand to somebody without an account.
    HandOut(hand_over::HandOut) = "hand-out", HandOutside, signed: true;
    /// Take back from somebody without an account.
    TakeBack(hand_over::TakeBack) = "take-back", HandOutside, signed: true;
    /// Take charge of something that nobody released.
    TakeCharge(hand_over::TakeCharge) = "take-charge", TakeCharge, signed: true;
    /// Add a place in the storeroom.
    AddPlace(place::AddPlace) = "add-place", Keep, signed: false;
    /// Say how much a place takes.
    SetCapacity(capacity::SetCapacity) = "set-capacity", Keep, signed: false;
    /// Mark a place for two people, or take the mark off.
    MarkTwoPerson(two_person::MarkTwoPerson) = "mark-two-person", MarkTwoPerson, signed: true;
    /// Store on a shelf, or move to another.
    Store(place::Store) = "store", Keep, signed: false;
    /// Put many things onto one place.
    StoreMany(shelving::StoreMany) = "store-many", Keep, signed: false;
    /// Take from a shelf into one's own hands.
    Fetch(place::Fetch) = "fetch", Keep, signed: false;
    /// Say what a place has in stock of a kind of box.
    StockSet(stock::StockSet) = "stock-set", Keep, signed: false;
    /// Take boxes from stock without packing.
    StockTake(stock::StockTake) = "stock-take", Pack, signed: false;
    /// Put delivered seals on the record.
    SealsDeliver(seal_stock::SealsDeliver) = "seals-deliver", Keep, signed: false;
    /// Issue seals to a person.
    SealsIssue(seal_stock::SealsIssue) = "seals-issue", Keep, signed: false;
    /// Write off seals that will not be used.
    SealsSpoil(seal_stock::SealsSpoil) = "seals-spoil", Keep, signed: false;
    /// Put the readings of a place's logger on the record.
    LogClimate(climate_log::LogClimate) = "log-climate", Keep, signed: false;
    /// Begin a count of places.
    BeginCount(count::BeginCount) = "begin-count", Keep, signed: false;
    /// Scan codes into a count.
    ScanCodes(count::ScanCodes) = "scan-codes", Keep, signed: false;
    /// End a count: what differs goes on the record.
    EndCount(count::EndCount) = "end-count", Keep, signed: false;
    /// Resolve a difference of a count.
    ResolveDifference(count::ResolveDifference) = "resolve-difference", ResolveCount, signed: false;
    /// Place a hold on an item or a case.
    PlaceHold(hold::PlaceHold) = "place-hold", Hold, signed: false;
    /// Lift a hold.
    LiftHold(hold::LiftHold) = "lift-hold", Hold, signed: true;
    /// Give an item its exhibit number.
    SetExhibit(exhibit::SetExhibit) = "set-exhibit", SetExhibit, signed: false;
    /// Say how long the evidence of a case is kept.
    SetRetention(retention::SetRetention) = "set-retention", AuthoriseDisposition, signed: false;
    /// Authorise a disposition.
    AuthoriseDisposition(disposition::AuthoriseDisposition) = "authorise-disposition", AuthoriseDisposition, signed: true;
    /// Take an authorisation back.
    RevokeDisposition(disposition::RevokeDisposition) = "revoke-disposition", AuthoriseDisposition, signed: false;
    /// Carry a disposition out, before a witness.
    Dispose(disposition::Dispose) = "dispose", Dispose, signed: true;
    /// Confirm a disposition as its witness.
    WitnessDisposition(disposition::WitnessDisposition) = "witness-disposition", Witness, signed: true;
    /// Say that a disposition was not done as recorded.
    DeclineDisposition(disposition::DeclineDisposition) = "decline-disposition", Witness, signed: false;
    /// Correct a record by a new event.
    Amend(amendment::Amend) = "amend", Amend, signed: false;
    /// Answer a finding.
    AnswerFinding(finding::AnswerFinding) = "answer-finding", AnswerFindings, signed: false;
    /// A label was printed.
    LabelPrinted(paper::LabelPrinted) = "label-printed", PrintLabel, signed: false;
    /// A report was printed.
    ReportPrinted(paper::ReportPrinted) = "report-printed", PrintReport, signed: false;
    /// A receipt, a submission or a sheet was printed.
    FormPrinted(paper::ReportPrinted) = "form-printed", PrintForm, signed: false;
    /// A bundle of a case was made.
    Disclose(disclosure::Disclose) = "disclose", Disclose, signed: false;
    /// A latent print was handed off.
    AfisExported(afis::AfisExported) = "afis-exported", HandOff, signed: false;
    /// A restricted case was read.
    CaseRead(paper::CaseRead) = "case-read", ReadEvidence, signed: false;
    /// Put a court's order to expunge on the record.
    OrderExpungement(expungement::OrderExpungement) = "order-expungement", OrderExpungement, signed: true;
    /// Take such an order back.
    WithdrawExpungement(expungement::WithdrawExpungement) = "withdraw-expungement", OrderExpungement, signed: false;
    /// Confirm such an order and carry it out.
    CarryOutExpungement(expungement::CarryOutExpungement) = "carry-out-expungement", CarryOutExpungement, signed: true;
}

impl Act {
    /// The items and packages whose custody the act is about.
    #[must_use]
    pub fn pieces(&self) -> Vec<Piece> {
        match self {
            Self::Recover(x) => x.from_item.map(Piece::Item).into_iter().collect(),
            Self::Pack(x) => x.contents.clone(),
            Self::PutIn(x) => vec![Piece::Package(x.package), x.piece],
            Self::TakeOut(x) => vec![Piece::Package(x.package), x.piece],
            Self::Seal(x) => vec![Piece::Package(x.package)],
            Self::Open(x) => vec![Piece::Package(x.package)],
            Self::Repack(x) => {
                let sources = x.sources.iter().take(repack::MAX_SOURCES);
                sources.map(|s| Piece::Package(s.package)).collect()
            }
            Self::Consume(x) => vec![Piece::Item(x.item)],
            Self::NoteDry(x) => vec![Piece::Item(x.item)],
            Self::Release(x) => vec![x.piece],
            Self::Withdraw(x) => vec![x.piece],
            Self::Receive(x) => vec![x.piece],
            Self::Refuse(x) => vec![x.piece],
            Self::HandOut(x) => vec![x.piece],
            Self::TakeBack(x) => vec![x.piece],
            Self::TakeCharge(x) => vec![x.piece],
            Self::Store(x) => vec![x.piece],
            Self::Fetch(x) => vec![x.piece],
            Self::AuthoriseDisposition(x) => vec![x.piece],
            Self::RevokeDisposition(x) => vec![x.piece],
            Self::Dispose(x) => vec![x.piece],
            Self::WitnessDisposition(x) => vec![x.piece],
            Self::DeclineDisposition(x) => vec![x.piece],
            _ => Vec::new(),
        }
    }
}

impl Act {
    /// What the act is about beside the pieces of [`Act::pieces`].
    #[must_use]
    pub fn about(&self) -> Vec<Subject> {
        match self {
            Self::OpenScene(x) => vec![Subject::Case(x.case)],
            Self::NoteMark(x) => vec![Subject::Case(x.case)],
            Self::DevelopMark(x) => vec![Subject::Mark(x.mark)],
            Self::AddImage(x) => vec![x.of],
            Self::SetView(x) => vec![x.of],
            Self::SetScale(x) => vec![x.of],
            Self::AddCopy(x) => vec![x.of],
            Self::AssessValue(x) => vec![x.of],
            Self::AfisExported(x) => vec![x.of, x.shown],
            Self::Recover(x) => vec![Subject::Mark(x.mark)],
            Self::Pack(x) => vec![Subject::Case(x.case)],
            Self::PlaceHold(x) => vec![x.of],
            Self::LiftHold(x) => vec![x.of],
            Self::SetRetention(x) => vec![Subject::Case(x.case)],
            Self::AnswerFinding(x) => vec![x.finding.of],
            _ => Vec::new(),
        }
    }
}

impl Command {
    /// The subject that the command creates, which bears the command's identifier.
    #[must_use]
    pub fn creates(&self) -> Option<Subject> {
        let id = self.id.0;
        match &self.act {
            Act::AddPerson(_) => Some(Subject::Person(PersonId(id))),
            Act::OpenCase(_) => Some(Subject::Case(CaseId(id))),
            Act::NoteMark(_) => Some(Subject::Mark(MarkId(id))),
            Act::Recover(_) | Act::BringIn(_) => Some(Subject::Item(ItemId(id))),
            Act::Pack(_) | Act::Repack(_) => Some(Subject::Package(PackageId(id))),
            Act::AddPlace(_) => Some(Subject::Place(PlaceId(id))),
            Act::BeginCount(_) => Some(Subject::Count(CountId(id))),
            _ => None,
        }
    }
}
