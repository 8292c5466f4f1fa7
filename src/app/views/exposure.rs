//! Where a piece stood and for how long, and which excursions of the climate it was there for: by intervals, not by guess.

use chrono::{DateTime, FixedOffset};

use super::custody_rows::claimed_at;
use super::trail::Step;
use crate::custody::climate_log::{ClimateLog, Logged};
use crate::custody::state::Place;
use crate::custody::{Fact, State};
use crate::ids::PlaceId;
use crate::keeping::Exposure;

/// A stay of a piece, or of the package around it, at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stay {
    /// Which step of the trail began it.
    pub step: usize,
    /// Where.
    pub place: PlaceId,
    /// Since when.
    pub from: DateTime<FixedOffset>,
    /// Until when; none while it is there.
    pub to: Option<DateTime<FixedOffset>>,
}

/// The stays that a trail tells of, in its order.
#[must_use]
pub fn stays(steps: &[Step]) -> Vec<Stay> {
    let mut out: Vec<Stay> = Vec::new();
    for (i, step) in steps.iter().enumerate() {
        let ends = matches!(
            &step.past.fact,
            Some(
                Fact::Stored(_)
                    | Fact::Fetched(_)
                    | Fact::Received(_)
                    | Fact::HandedOut(_)
                    | Fact::TakenBack(_)
                    | Fact::ChargeTaken(_)
                    | Fact::DispositionWitnessed(_)
            )
        );
        if !ends {
            continue;
        }
        let at = claimed_at(step);
        if let Some(open) = out.last_mut().filter(|s| s.to.is_none()) {
            open.to = Some(at);
        }
        if let Some(Fact::Stored(x)) = &step.past.fact {
            out.push(Stay {
                step: i,
                place: x.place,
                from: at,
                to: None,
            });
        }
    }
    out
}

/// How many places may stand in one another.
const DEEPEST: usize = 10;

/// The place whose logger holds for a place: itself, or the nearest around it that has readings.
#[must_use]
pub fn logged_at(state: &State, place: PlaceId) -> Option<(&Place, &ClimateLog)> {
    let mut at = state.places.get(&place)?;
    for _ in 0..DEEPEST {
        if let Some(log) = &at.climate_log {
            return Some((at, log));
        }
        at = state.places.get(&at.added.parent?)?;
    }
    None
}

/// An excursion during a stay.
#[derive(Clone, Debug, PartialEq)]
pub struct Exposed<'a> {
    /// The stay.
    pub stay: Stay,
    /// Where the logger stands.
    pub logger_at: &'a Place,
    /// The excursion, and the events that it stands on.
    pub logged: &'a Logged,
    /// Whether the piece was certainly there.
    pub exposure: Exposure,
}

/// Every excursion of every stay of the trail's piece, in the order of the stays.
#[must_use]
pub fn exposures<'a>(steps: &[Step], state: &'a State) -> Vec<Exposed<'a>> {
    let mut out: Vec<Exposed<'a>> = Vec::new();
    for stay in stays(steps) {
        let Some((logger_at, log)) = logged_at(state, stay.place) else {
            continue;
        };
        let (from, to) = (stay.from.to_utc(), stay.to.map(|t| t.to_utc()));
        for logged in &log.excursions {
            let Some(exposure) = logged.excursion.exposes(from, to) else {
                continue;
            };
            out.push(Exposed {
                stay: stay.clone(),
                logger_at,
                logged,
                exposure,
            });
        }
    }
    out
}
