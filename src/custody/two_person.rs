//! Places for two people: whoever stores, moves or takes out something there is not alone.
//!
//! The mark holds for the place and for everything in it. The second person gives their own password on the same form, for this
//! one act; that they did so is how the act is signed, and the event names them. Taking charge of what nobody released is
//! never held up by it, since a thing that lies about is to be secured first; a finding says that nobody else was there.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::command::Act;
use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Place, State};
use crate::ids::{CaseId, PersonId, PlaceId, Seq, Subject};
use crate::people::{Action, permission};

/// Mark a place for two people, or take the mark off.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MarkTwoPerson {
    /// Which place.
    pub place: PlaceId,
    /// Whether two people are needed there from now on.
    pub two_person: bool,
    /// Why.
    pub reason: String,
}

/// A place was marked for two people, or the mark was taken off.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TwoPersonMarked {
    /// Which place.
    pub place: PlaceId,
    /// Whether two people are needed there.
    pub two_person: bool,
    /// Why.
    pub reason: String,
}

/// The mark on a place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TwoPerson {
    /// Since when.
    pub since: DateTime<FixedOffset>,
    /// Why.
    pub reason: String,
    /// The event that marked it.
    pub seq: Seq,
}

/// Who else was there, as an event names them.
pub(super) struct Second {
    /// Who.
    pub person: PersonId,
    /// Their name at that moment.
    pub name: String,
}

impl Act {
    /// Whether a second person can sign beside the actor.
    #[must_use]
    pub fn takes_second(&self) -> bool {
        matches!(
            self,
            Self::Store(_) | Self::StoreMany(_) | Self::Fetch(_) | Self::Release(_)
        )
    }
}

impl State {
    /// The place that bears the mark which holds here: this one, or the nearest around it.
    #[must_use]
    pub fn two_person(&self, place: PlaceId) -> Option<&Place> {
        self.places_around(place).find(|p| p.two_person.is_some())
    }
}

/// Nobody signs beside the actor of an act that knows no second person: a name that goes nowhere would be lost in silence.
///
/// # Errors
/// [`Rule::BadValue`].
pub(super) fn fits(ctx: &Context<'_>) -> Result<(), Refusal> {
    if ctx.actor.beside.is_none() || ctx.command.act.takes_second() {
        return Ok(());
    }
    Err(Refusal::new(
        Rule::BadValue,
        "This act has no second person.",
        "Leave the second person out.",
    )
    .on("beside"))
}

/// Who signed beside the actor, who must be somebody where one of these places is for two people.
///
/// # Errors
/// [`Rule::SecondMissing`], [`Rule::SecondMayNot`].
pub(super) fn second(
    ctx: &Context<'_>,
    places: &[Option<PlaceId>],
    case: CaseId,
) -> Result<Option<Second>, Refusal> {
    let marked = places
        .iter()
        .flatten()
        .find_map(|p| ctx.state.two_person(*p));
    let Some(id) = ctx.actor.beside else {
        return match marked {
            None => Ok(None),
            Some(place) => Err(Refusal::new(
                Rule::SecondMissing,
                format!(
                    "{} is for two people: nothing is put there or taken out by one alone.",
                    place.added.name
                ),
                "Name the second person who is there; they give their own password on the next page.",
            )
            .on("beside")),
        };
    };
    let person = ctx
        .state
        .people
        .get(&id)
        .ok_or_else(|| not_found("person").on("beside"))?;
    let sees = ctx
        .state
        .cases
        .get(&case)
        .is_some_and(|c| c.seen_by(Some(id)));
    let why = if ctx.actor.id == Some(id) {
        "is who does it"
    } else if !person.active {
        "has an account that is switched off"
    } else if !permission::allows(&person.roles, Action::StandBeside) {
        "is neither custodian nor supervisor"
    } else if !sees {
        "is not assigned to this restricted case"
    } else {
        return Ok(Some(Second {
            person: id,
            name: person.name.clone(),
        }));
    };
    Err(Refusal::new(
        Rule::SecondMayNot,
        format!(
            "{} cannot be the second person: {} {why}.",
            person.name, person.name
        ),
        "Name another custodian or supervisor who is there.",
    )
    .on("beside"))
}

pub(super) fn mark(ctx: &Context<'_>, x: &MarkTwoPerson) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    text("reason", &x.reason, 500, true)?;
    let place = ctx.place(x.place)?;
    if place.two_person.is_some() == x.two_person {
        let how = if x.two_person {
            "is marked for two people already"
        } else {
            "is not marked for two people"
        };
        return Err(Refusal::new(
            Rule::BadValue,
            format!("{} {how}.", place.added.name),
            "Nothing is left to do.",
        )
        .on("two_person"));
    }
    let fact = Fact::TwoPersonMarked(TwoPersonMarked {
        place: x.place,
        two_person: x.two_person,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(None, vec![Subject::Place(x.place)], fact))
}

pub(super) fn marked(state: &mut State, x: &TwoPersonMarked, meta: &Meta) -> Result<(), Misfit> {
    let place = state
        .places
        .get_mut(&x.place)
        .ok_or_else(|| meta.misfit("no such place"))?;
    place.two_person = x.two_person.then(|| TwoPerson {
        since: meta.at,
        reason: x.reason.clone(),
        seq: meta.seq,
    });
    Ok(())
}
