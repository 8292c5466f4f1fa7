//! What the rules ask of the knowledge of the trade.

use chrono::{DateTime, FixedOffset};

use crate::custody::state::Thing;
use crate::custody::{item, mark, place, retention};
use crate::keeping::fitting::Sides;
use crate::keeping::{Climate, KeepNeeds};
use crate::lifting::advise::{Advice, Question};

/// A reason given by the trade rules.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TradeReason {
    /// The rule's identifier in the data.
    pub rule: String,
    /// The reason in a sentence.
    pub sentence: String,
    /// The next step; empty where the rule names none.
    pub next: String,
    /// Where it comes from.
    pub source: String,
}

/// What the trade rules say of a recovery.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recovery {
    /// The medium's name.
    pub medium_name: String,
    /// What it yields: lift, cast, object, photograph …
    pub form: String,
    /// View steps of its picture, by name.
    pub view: Vec<String>,
    /// `direct`, `reversed` or `unknown`.
    pub reads: String,
    /// Why.
    pub because: String,
    /// What it must be packed in, and why: one sentence a rule.
    pub packing: Vec<String>,
    /// What it asks of its container and its place; goes on the record, and later decisions keep to it.
    pub needs: KeepNeeds,
    /// How long the medium sets, in words; empty where it does not set.
    pub set_window: String,
    /// Warnings that go on the record: card against powder, set time.
    pub warnings: Vec<String>,
}

/// A medium, as a kit asks for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MediumWords {
    /// Its name.
    pub name: String,
    /// Whether something of it is carried; a photograph and the thing itself need nothing.
    pub carried: bool,
}

/// What custody asks the knowledge of the trade. Core knows the questions; the data answers.
pub trait Trade {
    /// Whether the processing code is one of the open standard.
    fn knows_method(&self, code: &str) -> bool;
    /// Whether the substrate code is one of the open standard.
    fn knows_substrate(&self, code: &str) -> bool;
    /// Whether a medium is looked at in this way, by the identifier of the view; false for an unknown medium.
    fn knows_view(&self, medium: &str, view: &str) -> bool;
    /// Whether there is such a container.
    fn knows_container(&self, id: &str) -> bool;
    /// Whether there is such a climate class.
    fn knows_climate(&self, id: &str) -> bool;
    /// A climate class with its figures; none for an unknown one.
    fn climate(&self, _id: &str) -> Option<Climate> {
        None
    }
    /// What follows from a recovery of this mark after these developments; none for an unknown medium.
    fn recovery(
        &self,
        asked: &item::Recover,
        noted: &mark::MarkNoted,
        methods: &[String],
    ) -> Option<Recovery>;
    /// What an item that was recovered wet asks for now that it is dry; none for a medium that the rules do not have.
    fn dried(&self, recovered: &item::ItemRecovered, noted: &mark::MarkNoted) -> Option<KeepNeeds>;
    /// A medium; none for an unknown one.
    fn medium_words(&self, id: &str) -> Option<MediumWords>;
    /// Advice. What the question names and there is not is passed over.
    fn advise(&self, question: &Question) -> Advice;
    /// The version of the rules in force.
    fn rules_version(&self) -> &str;
    /// How an image reads that was taken by these view steps; none for an unknown step.
    fn reading(&self, view: &[String]) -> Option<(String, String)>;
    /// Whether these things may go together into this container, of this inside where it is known.
    ///
    /// # Errors
    /// The rule that forbids it; [`crate::keeping::fitting::TOO_SMALL`] where it is too small.
    fn container(
        &self,
        things: &[Thing<'_>],
        container: &str,
        inner_mm: Option<Sides>,
    ) -> Result<(), TradeReason>;
    /// Whether these things are dry enough at this moment to be closed up in this container.
    ///
    /// # Errors
    /// The rule whose time is still running.
    fn dry_enough(
        &self,
        things: &[Thing<'_>],
        container: &str,
        at: DateTime<FixedOffset>,
    ) -> Result<(), TradeReason>;
    /// Whether this thing may be kept at a place of these facts.
    ///
    /// # Errors
    /// Every rule that forbids it.
    fn place(&self, thing: &Thing<'_>, place: &place::PlaceAdded) -> Result<(), Vec<TradeReason>>;
    /// A class of the agency's retention schedule; none for an unknown one, and none where it has given no schedule.
    fn retention(&self, _class: &str) -> Option<retention::RetentionClass> {
        None
    }
}
