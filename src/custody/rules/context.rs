//! What a rule decides on: the state, who acts, when, and what they send.

use chrono::{DateTime, FixedOffset, Utc};

use super::trade::Trade;
use super::{capital, not_found};
use crate::custody::command::{Actor, Command};
use crate::custody::fact::{Draft, Fact};
use crate::custody::refusal::{Refusal, Rule};
use crate::custody::state::{Case, Custody, Holder, Place, State};
use crate::ids::{CaseId, PersonId, Piece, PlaceId, Subject};

/// What every decision has at hand.
pub struct Context<'a> {
    /// What was loaded.
    pub state: &'a State,
    /// The knowledge of the trade.
    pub trade: &'a dyn Trade,
    /// Who acts.
    pub actor: &'a Actor,
    /// What they ask.
    pub command: &'a Command,
    /// When it happened, as the actor says.
    pub at: DateTime<FixedOffset>,
    /// The server's clock.
    pub now: DateTime<Utc>,
}

impl Context<'_> {
    /// The person who acts.
    ///
    /// # Errors
    /// [`Rule::Forbidden`] when the ledger itself acts.
    pub fn me(&self) -> Result<PersonId, Refusal> {
        self.actor.id.ok_or_else(|| {
            Refusal::new(
                Rule::Forbidden,
                "Only a person can do this.",
                "Sign in and do it in your own name.",
            )
        })
    }

    /// The case, if it exists and may be seen.
    ///
    /// # Errors
    /// [`Rule::NotFound`], [`Rule::Restricted`].
    pub fn case(&self, id: CaseId) -> Result<&Case, Refusal> {
        let case = self.state.cases.get(&id).ok_or_else(|| not_found("case"))?;
        if case.seen_by(self.actor.id) {
            Ok(case)
        } else {
            Err(Refusal::new(
                Rule::Restricted,
                "This case is restricted and you are not assigned to it.",
                "Ask a supervisor to assign you.",
            ))
        }
    }

    /// The place that the field `place` names.
    ///
    /// # Errors
    /// [`Rule::NotFound`].
    pub fn place(&self, id: PlaceId) -> Result<&Place, Refusal> {
        let place = self.state.places.get(&id);
        place.ok_or_else(|| not_found("place").on("place"))
    }

    /// Custody of a piece, and its case.
    ///
    /// # Errors
    /// [`Rule::NotFound`], [`Rule::Restricted`].
    pub fn piece(&self, piece: Piece) -> Result<(&Custody, CaseId), Refusal> {
        let custody = self
            .state
            .custody(piece)
            .ok_or_else(|| not_found("item or package"))?;
        let case = self
            .state
            .case_of(piece.into())
            .ok_or_else(|| not_found("case"))?;
        self.case(case)?;
        Ok((custody, case))
    }

    /// The time must not lie before the last custody event of the piece or of the package around it.
    ///
    /// # Errors
    /// [`Rule::BeforeLast`].
    pub(super) fn after_last(&self, piece: Piece) -> Result<(), Refusal> {
        let Some(custody) = self.state.custody(piece) else {
            return Ok(());
        };
        let outer = self
            .state
            .custody(self.state.outermost(piece))
            .unwrap_or(custody);
        let last = custody.last_at.max(outer.last_at);
        if self.at < last {
            return Err(Refusal::new(
                Rule::BeforeLast,
                format!(
                    "The time you gave lies before the last custody event of {}, {}.",
                    self.state.name(piece),
                    last.format("%Y-%m-%d %H:%M:%S %:z")
                ),
                "Give the time at which this happened, after that event.",
            )
            .on("claimed_at"));
        }
        Ok(())
    }

    /// The piece must be outermost and held by the actor, with no open offer.
    ///
    /// # Errors
    /// [`Rule::InsidePackage`], [`Rule::OfferOpen`], [`Rule::NotHolder`] and those of [`Self::piece`].
    pub fn in_hand(&self, piece: Piece) -> Result<(&Custody, CaseId), Refusal> {
        let (custody, case) = self.piece(piece)?;
        self.loose(piece, custody)?;
        self.no_offer(piece, custody)?;
        self.held(piece)?;
        Ok((custody, case))
    }

    /// The piece must not be in a package.
    ///
    /// # Errors
    /// [`Rule::InsidePackage`].
    pub fn loose(&self, piece: Piece, custody: &Custody) -> Result<(), Refusal> {
        match custody.inside {
            None => Ok(()),
            Some(package) => Err(Refusal::new(
                Rule::InsidePackage,
                format!(
                    "{} is in {}.",
                    capital(&self.state.name(piece)),
                    self.state.name(Piece::Package(package))
                ),
                "Do it with the package, or take it out first.",
            )),
        }
    }

    /// There must be no open offer.
    ///
    /// # Errors
    /// [`Rule::OfferOpen`].
    pub fn no_offer(&self, piece: Piece, custody: &Custody) -> Result<(), Refusal> {
        match &custody.offer {
            None => Ok(()),
            Some(offer) => Err(Refusal::new(
                Rule::OfferOpen,
                format!(
                    "{} is on offer to {} since {}.",
                    capital(&self.state.name(piece)),
                    self.state.person_name(offer.to),
                    offer.at.format("%Y-%m-%d %H:%M %:z")
                ),
                "It must be received, refused or withdrawn first.",
            )),
        }
    }

    /// The actor must hold the piece (or the package around it).
    ///
    /// # Errors
    /// [`Rule::NotHolder`].
    pub fn held(&self, piece: Piece) -> Result<(), Refusal> {
        let me = self.me()?;
        let holder = self.state.holder(piece);
        if holder == Some(&Holder::Person { person: me }) {
            return Ok(());
        }
        let who = holder.map_or_else(|| "nobody".into(), |h| self.holder_name(h));
        Err(Refusal::new(
            Rule::NotHolder,
            format!("You do not hold {}: {who} has it.", self.state.name(piece)),
            "Have it released to you and receive it, or take it from its shelf, first.",
        ))
    }

    /// A holder in words.
    #[must_use]
    pub fn holder_name(&self, holder: &Holder) -> String {
        match holder {
            Holder::Person { person } => self.state.person_name(*person),
            Holder::Place { place } => self
                .state
                .places
                .get(place)
                .map_or_else(|| "a place".into(), |p| format!("place {}", p.added.name)),
            Holder::Outside { name, organisation } => format!("{name}, {organisation}"),
            Holder::Disposed { method } => format!("nobody ({})", method.words()),
        }
    }

    /// One event.
    #[must_use]
    pub fn draft(&self, case: Option<CaseId>, subjects: Vec<Subject>, fact: Fact) -> Vec<Draft> {
        vec![Draft {
            case,
            subjects,
            fact,
            claimed_at: self.at,
            late_reason: self
                .command
                .late_reason
                .clone()
                .filter(|r| !r.trim().is_empty()),
            paper_sheet: self.command.paper_sheet,
        }]
    }

    /// The same of one thing alone, in its case.
    #[must_use]
    pub(in crate::custody) fn draft_of(&self, of: impl Into<Subject>, fact: Fact) -> Vec<Draft> {
        let of = of.into();
        self.draft(self.state.case_of(of), vec![of], fact)
    }
}
