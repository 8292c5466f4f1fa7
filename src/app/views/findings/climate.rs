//! Findings about the climate of the places at which something stood.

use super::super::climate_log_file::{between, how_far, when};
use super::super::exposure::exposures;
use super::super::words;
use super::{Asked, Kind, Raw, Severity};
use crate::keeping::Exposure;

/// One finding an excursion and stay. That a piece was certainly there asks for somebody to look; that it was there only between a
/// reading within and one outside is a note. The key rests on the stay and on the event that brought the first reading outside, so
/// that an excursion that goes on in later readings keeps its answer.
pub(super) fn climate(asked: &Asked<'_>) -> Vec<Raw> {
    exposures(asked.steps, asked.state)
        .into_iter()
        .filter_map(|e| {
            let step = asked.steps.get(e.stay.step)?;
            let (excursion, zone) = (&e.logged.excursion, asked.zone);
            let stood = match asked.state.places.get(&e.stay.place) {
                Some(place) if place.id != e.logger_at.id => {
                    format!("at {}, in {},", place.added.name, e.logger_at.added.name)
                }
                _ => format!("at {}", e.logger_at.added.name),
            };
            let until = e.stay.to.as_ref().map_or_else(
                || "and stands there still".to_owned(),
                |to| format!("until {}", words::minute(to, zone)),
            );
            let read = format!(
                "the logger there read {} {}, outside class {} ({})",
                how_far(excursion),
                when(excursion, zone),
                excursion.climate,
                between(excursion, zone)
            );
            let (kind, severity, lead) = match e.exposure {
                Exposure::Certain => (Kind::ClimateExcursion, Severity::Attention, "It stood"),
                Exposure::Possible => (
                    Kind::ClimateExcursionPossible,
                    Severity::Note,
                    "Perhaps the climate there was not its own: it stood",
                ),
            };
            let from = words::minute(&e.stay.from, zone);
            Some(Raw {
                kind,
                severity,
                sentence: format!("{lead} {stood} from {from} {until}; {read}."),
                of: step.of,
                events: [step.seq(), e.logged.first_seq].into(),
                detail: excursion.first.timestamp().to_string(),
                seq: Some(step.seq()),
                row: Some(e.stay.step + 1),
                from: Some(excursion.first.with_timezone(&zone).fixed_offset()),
                to: excursion
                    .until
                    .map(|at| at.with_timezone(&zone).fixed_offset()),
            })
        })
        .collect()
}
