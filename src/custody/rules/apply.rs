//! Facts put on the state.

use chrono::{DateTime, FixedOffset};

use crate::custody::fact::Fact;
use crate::custody::state::State;
use crate::custody::{
    amendment, brought, capacity, case, climate_log, consumed, copy, count, disposition, drying,
    exhibit, expungement, finding, hand_over, hold, image, import, item, kit, mark, package,
    person, place, repack, retention, seal_stock, sheet, stock, two_person, value,
};
use crate::ids::{PersonId, Seq};

/// What an event says beside its payload.
#[derive(Clone, Debug)]
pub struct Meta {
    /// Position in the ledger.
    pub seq: Seq,
    /// Who acted.
    pub actor: Option<PersonId>,
    /// When, as the actor says.
    pub at: DateTime<FixedOffset>,
}

/// An event does not fit the state before it: the ledger and the state do not belong together.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("event {seq} does not fit what was before it: {why}")]
pub struct Misfit {
    /// Position in the ledger.
    pub seq: Seq,
    /// Why.
    pub why: String,
}

impl Meta {
    /// A misfit at this event.
    pub fn misfit(&self, why: impl Into<String>) -> Misfit {
        Misfit {
            seq: self.seq,
            why: why.into(),
        }
    }
}

/// Brings the state to where it is after the event. Recording and the verifier use the same function.
///
/// # Errors
/// [`Misfit`] where the event names something that the state does not hold.
pub fn apply(state: &mut State, fact: &Fact, meta: &Meta) -> Result<(), Misfit> {
    match fact {
        Fact::PersonAdded(x) => person::added(state, x),
        Fact::RolesSet(x) => person::roles_set(state, x, meta),
        Fact::ActiveSet(x) => person::active_set(state, x, meta),
        Fact::CaseOpened(x) => case::opened(state, x, meta),
        Fact::SceneOpened(x) => case::scene_opened(state, x, meta),
        Fact::Assigned(x) => case::assigned(state, x, meta),
        Fact::Restricted(x) => case::restricted(state, x, meta),
        Fact::MarkNoted(x) => mark::noted(state, x, meta),
        Fact::MarkDeveloped(x) => mark::developed(state, x, meta),
        Fact::ImageAdded(x) => image::added(state, x, meta),
        Fact::ViewSet(x) => image::view_set(state, x, meta),
        Fact::ScaleSet(x) => image::scale_set(state, x, meta),
        Fact::CopyMade(x) => copy::made(state, x, meta),
        Fact::ItemRecovered(x) => item::recovered(state, x, meta),
        Fact::ItemSampled(x) => item::sampled(state, x, meta),
        Fact::ItemImported(x) => import::imported(state, x, meta),
        Fact::BroughtIn(x) => brought::brought_in(state, x, meta),
        Fact::KitAdded(x) => kit::added(state, x, meta),
        Fact::KitRemoved(x) => kit::removed(state, x, meta),
        Fact::PackageMade(x) => package::made(state, x, meta),
        Fact::PiecePutIn(x) => package::was_put_in(state, x, meta),
        Fact::PieceTakenOut(x) => package::was_taken_out(state, x, meta),
        Fact::PackageSealed(x) => package::sealed(state, x, meta),
        Fact::PackageOpened(x) => package::opened(state, x, meta),
        Fact::PackageRepacked(x) => repack::repacked(state, x, meta),
        Fact::ItemConsumed(x) => consumed::was_consumed(state, x, meta),
        Fact::Released(x) => hand_over::released(state, x, meta),
        Fact::Withdrawn(x) => hand_over::offer_ended(state, x.piece, meta),
        Fact::Refused(x) => hand_over::offer_ended(state, x.piece, meta),
        Fact::Received(x) => hand_over::received(state, x, meta),
        Fact::HandedOut(x) => hand_over::handed_out(state, x, meta),
        Fact::TakenBack(x) => hand_over::taken_back(state, x.piece, x.ends_loan, meta),
        Fact::ChargeTaken(x) => hand_over::taken_back(state, x.piece, false, meta),
        Fact::PlaceAdded(x) => place::added(state, x),
        Fact::CapacitySet(x) => capacity::was_set(state, x, meta),
        Fact::TwoPersonMarked(x) => two_person::marked(state, x, meta),
        Fact::Stored(x) => place::stored(state, x, meta),
        Fact::Fetched(x) => place::fetched(state, x, meta),
        Fact::ItemDried(x) => drying::dried(state, x, meta),
        Fact::StockCounted(x) => stock::counted(state, x, meta),
        Fact::ClimateLogged(x) => climate_log::logged(state, x, meta),
        Fact::SealsDelivered(x) => seal_stock::delivered(state, x, meta),
        Fact::SealsIssued(x) => seal_stock::was_issued(state, x, meta),
        Fact::SealsSpoiled(x) => seal_stock::was_spoiled(state, x, meta),
        Fact::StockTaken(x) => stock::taken(state, (x.place, &x.kind, x.count), meta),
        Fact::CountBegun(x) => count::begun(state, x, meta),
        Fact::CodesScanned(x) => count::scanned(state, x, meta),
        Fact::CountEnded(x) => count::ended(state, x, meta),
        Fact::CountDiffers(x) => count::differs(state, x, meta),
        Fact::DifferenceResolved(x) => count::resolved(state, x, meta),
        Fact::HoldPlaced(x) => hold::placed(state, x, meta),
        Fact::HoldLifted(x) => hold::lifted(state, x, meta),
        Fact::ExhibitSet(x) => exhibit::was_set(state, x, meta),
        Fact::ReportPrinted(x) => sheet::printed(state, x, meta),
        Fact::RetentionSet(x) => retention::was_set(state, x, meta),
        Fact::DispositionAuthorised(x) => disposition::authorised(state, x, meta),
        Fact::DispositionRevoked(x) => disposition::revoked(state, x.piece, meta),
        Fact::DispositionExecuted(x) => disposition::was_executed(state, x, meta),
        Fact::DispositionWitnessed(x) => disposition::witnessed(state, x, meta),
        Fact::DispositionDeclined(x) => disposition::declined(state, x.piece, meta),
        Fact::Amended(x) => amendment::amended(state, x, meta),
        Fact::ValueAssessed(x) => value::assessed(state, x, meta),
        Fact::FindingAnswered(x) => finding::answered(state, x, meta),
        Fact::ExpungementOrdered(x) => expungement::ordered(state, x, meta),
        Fact::ExpungementWithdrawn(x) => expungement::withdrawn(state, x, meta),
        Fact::ExpungementCarriedOut(x) => expungement::carried_out(state, x, meta),
        Fact::LabelPrinted(_)
        | Fact::AfisExported(_)
        | Fact::CaseDisclosed(_)
        | Fact::CaseRead(_) => Ok(()),
    }
}
