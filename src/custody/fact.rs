//! Facts: what an event says happened. A fact is a flat map of named fields, as the ledger commits to them.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::{
    afis, amendment, brought, case, climate_log, consumed, copy, disclosure, drying, exhibit,
    finding, hand_over, image, import, item, kit, mark, package, paper, person, place, repack,
    seal_stock, stock, two_person, value,
};
use super::{capacity, count, disposition, expungement, hold, retention};
use crate::ids::{CaseId, CommandId, Subject};

macro_rules! facts {
    ($($(#[$doc:meta])* $name:ident($module:ident::$body:ident) = $kind:literal,)*) => {
        /// What happened.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
        #[serde(tag = "kind", content = "fields")]
        pub enum Fact { $($(#[$doc])* #[serde(rename = $kind)] $name($module::$body),)* }

        impl Fact {
            /// Every kind.
            pub const KINDS: &'static [&'static str] = &[$($kind,)*];

            /// The kind, as the event header names it.
            #[must_use]
            pub fn kind(&self) -> &'static str {
                match self { $(Self::$name(_) => $kind,)* }
            }
        }
    };
}

facts! {
    /// A person was added.
    PersonAdded(person::PersonAdded) = "person.added",
    /// Roles were set.
    RolesSet(person::RolesSet) = "person.roles-set",
    /// An account was switched off or on.
    ActiveSet(person::ActiveSet) = "person.active-set",
    /// A case was opened.
    CaseOpened(case::CaseOpened) = "case.opened",
    /// A scene was opened.
    SceneOpened(case::SceneOpened) = "case.scene-opened",
    /// An assignment was made or ended.
    Assigned(case::Assigned) = "case.assigned",
    /// A restriction was set or lifted.
    Restricted(case::Restricted) = "case.restricted",
    /// A mark was noted.
    MarkNoted(mark::MarkNoted) = "mark.noted",
    /// A mark was developed.
    MarkDeveloped(mark::MarkDeveloped) = "mark.developed",
    /// An image was added.
    ImageAdded(image::ImageAdded) = "image.added",
    /// It was set how a picture was taken.
    ViewSet(image::ViewSet) = "image.view-set",
    /// The scale of a picture was set.
    ScaleSet(image::ScaleSet) = "image.scale-set",
    /// A working copy was made.
    CopyMade(copy::CopyMade) = "image.copy-made",
    /// It was said what a picture is worth.
    ValueAssessed(value::ValueAssessed) = "image.value-assessed",
    /// A recovery yielded an item.
    ItemRecovered(item::ItemRecovered) = "item.recovered",
    /// Something was taken from an item.
    ItemSampled(item::ItemSampled) = "item.sampled",
    /// An item was taken over from another record.
    ItemImported(import::ItemImported) = "item.imported",
    /// Something was brought to the counter without a record.
    BroughtIn(brought::BroughtIn) = "item.brought-in",
    /// A lot was put into a kit.
    KitAdded(kit::KitAdded) = "kit.added",
    /// A lot was taken out of a kit.
    KitRemoved(kit::KitRemoved) = "kit.removed",
    /// A package was made.
    PackageMade(package::PackageMade) = "package.made",
    /// A piece was put in.
    PiecePutIn(package::PiecePutIn) = "package.put-in",
    /// A piece was taken out.
    PieceTakenOut(package::PieceTakenOut) = "package.taken-out",
    /// A package was sealed.
    PackageSealed(package::PackageSealed) = "package.sealed",
    /// A package was opened.
    PackageOpened(package::PackageOpened) = "package.opened",
    /// Contents went from packages into a new one.
    PackageRepacked(repack::PackageRepacked) = "package.repacked",
    /// Something recovered wet is dry.
    ItemDried(drying::ItemDried) = "item.dried",
    /// An examination used an item up, or part of it.
    ItemConsumed(consumed::ItemConsumed) = "item.consumed",
    /// A piece was released.
    Released(hand_over::Released) = "custody.released",
    /// An offer was withdrawn.
    Withdrawn(hand_over::Withdrawn) = "custody.withdrawn",
    /// A piece was received.
    Received(hand_over::Received) = "custody.received",
    /// An offer was refused.
    Refused(hand_over::Refused) = "custody.refused",
    /// A piece was handed to an outside party.
    HandedOut(hand_over::HandedOut) = "custody.handed-out",
    /// A piece was taken back from an outside party.
    TakenBack(hand_over::TakenBack) = "custody.taken-back",
    /// Somebody took charge of a piece that nobody released.
    ChargeTaken(hand_over::ChargeTaken) = "custody.charge-taken",
    /// A place was added.
    PlaceAdded(place::PlaceAdded) = "place.added",
    /// It was said how much a place takes.
    CapacitySet(capacity::CapacitySet) = "place.capacity-set",
    /// A place was marked for two people, or the mark was taken off.
    TwoPersonMarked(two_person::TwoPersonMarked) = "place.two-person-marked",
    /// A piece was stored.
    Stored(place::Stored) = "custody.stored",
    /// A piece was taken from a shelf.
    Fetched(place::Fetched) = "custody.fetched",
    /// The stock of a kind of box was counted.
    StockCounted(stock::StockCounted) = "place.stock-counted",
    /// Boxes were taken from stock.
    StockTaken(stock::StockTaken) = "place.stock-taken",
    /// Seals were delivered.
    SealsDelivered(seal_stock::SealsDelivered) = "place.seals-delivered",
    /// Seals were issued to a person.
    SealsIssued(seal_stock::SealsIssued) = "place.seals-issued",
    /// Seals were written off.
    SealsSpoiled(seal_stock::SealsSpoiled) = "place.seals-spoiled",
    /// The readings of a place's logger were put on the record.
    ClimateLogged(climate_log::ClimateLogged) = "place.climate-logged",
    /// A count was begun.
    CountBegun(count::CountBegun) = "count.begun",
    /// Codes were scanned into a count.
    CodesScanned(count::CodesScanned) = "count.scanned",
    /// A count was ended.
    CountEnded(count::CountEnded) = "count.ended",
    /// A difference was found by a count.
    CountDiffers(count::CountDiffers) = "count.differs",
    /// A difference was resolved.
    DifferenceResolved(count::DifferenceResolved) = "count.resolved",
    /// A hold was placed.
    HoldPlaced(hold::HoldPlaced) = "hold.placed",
    /// A hold was lifted.
    HoldLifted(hold::HoldLifted) = "hold.lifted",
    /// An item got its exhibit number.
    ExhibitSet(exhibit::ExhibitSet) = "item.exhibit-set",
    /// How long the evidence of a case is kept was said.
    RetentionSet(retention::RetentionSet) = "case.retention-set",
    /// A disposition was authorised.
    DispositionAuthorised(disposition::DispositionAuthorised) = "disposition.authorised",
    /// An authorisation was taken back.
    DispositionRevoked(disposition::DispositionRevoked) = "disposition.revoked",
    /// A disposition was carried out.
    DispositionExecuted(disposition::DispositionExecuted) = "disposition.executed",
    /// A disposition was witnessed: custody has ended.
    DispositionWitnessed(disposition::DispositionWitnessed) = "disposition.witnessed",
    /// A disposition was said not to have been done as recorded.
    DispositionDeclined(disposition::DispositionDeclined) = "disposition.declined",
    /// A record was amended.
    Amended(amendment::Amended) = "record.amended",
    /// A finding was answered.
    FindingAnswered(finding::FindingAnswered) = "finding.answered",
    /// A label was printed.
    LabelPrinted(paper::LabelPrinted) = "paper.label-printed",
    /// A report was printed.
    ReportPrinted(paper::ReportPrinted) = "paper.report-printed",
    /// A bundle of a case was made.
    CaseDisclosed(disclosure::CaseDisclosed) = "case.disclosed",
    /// A latent print was handed off.
    AfisExported(afis::AfisExported) = "paper.afis-exported",
    /// A restricted case was read.
    CaseRead(paper::CaseRead) = "case.read",
    /// A court's order to expunge was put on the record.
    ExpungementOrdered(expungement::ExpungementOrdered) = "expungement.ordered",
    /// Such an order was taken back.
    ExpungementWithdrawn(expungement::ExpungementWithdrawn) = "expungement.withdrawn",
    /// Such an order was carried out.
    ExpungementCarriedOut(expungement::ExpungementCarriedOut) = "expungement.carried-out",
}

/// The fields do not make this kind of fact.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the payload does not make a {kind}: {why}")]
pub struct BadFact {
    /// Kind.
    pub kind: String,
    /// Why.
    pub why: String,
}

/// Fields that the record adds to every payload, beside the fact's own.
pub const COMMON_FIELDS: [&str; 4] = ["by", "command", "late_reason", "paper_sheet"];

impl Fact {
    /// The flat map of named fields.
    ///
    /// # Errors
    /// Never for the facts of this crate; the type says so because serialisation may fail.
    pub fn to_fields(&self) -> Result<BTreeMap<String, Value>, BadFact> {
        let bad = |why: &str| BadFact {
            kind: self.kind().into(),
            why: why.into(),
        };
        match serde_json::to_value(self).map_err(|e| bad(&e.to_string()))? {
            Value::Object(mut map) => match map.remove("fields") {
                Some(Value::Object(fields)) => Ok(fields.into_iter().collect()),
                _ => Err(bad("not a map")),
            },
            _ => Err(bad("not a map")),
        }
    }

    /// The fact from an event's kind and fields.
    ///
    /// # Errors
    /// [`BadFact`] where the kind is unknown or a field is missing.
    pub fn from_fields(kind: &str, fields: &BTreeMap<String, Value>) -> Result<Self, BadFact> {
        let own: serde_json::Map<String, Value> = fields
            .iter()
            .filter(|(name, _)| !COMMON_FIELDS.contains(&name.as_str()))
            .map(|(name, value)| (name.clone(), value.clone()))
            .collect();
        let whole = serde_json::json!({"kind": kind, "fields": own});
        serde_json::from_value(whole).map_err(|e| BadFact {
            kind: kind.into(),
            why: e.to_string(),
        })
    }
}

/// An event before it has its place in the ledger.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    /// The case it belongs to.
    pub case: Option<CaseId>,
    /// What it is about; each counts it.
    pub subjects: Vec<Subject>,
    /// What happened.
    pub fact: Fact,
    /// When, as the actor says.
    pub claimed_at: DateTime<FixedOffset>,
    /// Why it was entered late.
    pub late_reason: Option<String>,
    /// The hand-over sheet on which it was signed.
    pub paper_sheet: Option<CommandId>,
}
