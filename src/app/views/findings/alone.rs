//! Findings about places for two people: what stands in one, or was taken out of one, with nobody but the actor on record.

use super::super::words;
use super::{Asked, Kind, Raw, Severity};
use crate::custody::{Fact, state::Holder};

/// What was put there before the place was marked is a note, for as long as it stands there; what somebody took charge of out of
/// such a place is for attention. Nothing else can be: the rules of custody ask for the second person.
pub(super) fn alone(asked: &Asked<'_>) -> Vec<Raw> {
    let mut found = Vec::new();
    for (i, step) in asked.steps.iter().enumerate() {
        let Some(Fact::ChargeTaken(x)) = &step.past.fact else {
            continue;
        };
        if let Some(place) = &x.alone_from {
            found.push(raw(
                asked,
                i,
                Severity::Attention,
                format!(
                    "By the record it stood at {place}, which is for two people; whoever took charge of it is the only one named."
                ),
            ));
        }
    }
    found.extend(standing(asked));
    found
}

fn standing(asked: &Asked<'_>) -> Option<Raw> {
    let Some(Holder::Place { place }) = asked.state.holder(asked.piece) else {
        return None;
    };
    let marked = asked.state.two_person(*place)?;
    let since = &marked.two_person.as_ref()?.since;
    let (i, stored) =
        asked
            .steps
            .iter()
            .enumerate()
            .rev()
            .find_map(|(i, s)| match &s.past.fact {
                Some(Fact::Stored(x)) => Some((i, x)),
                _ => None,
            })?;
    if stored.second.is_some() || stored.place != *place {
        return None;
    }
    let sentence = format!(
        "It stands at {}, put there by one person alone; {} is for two people since {}.",
        stored.place_name,
        marked.added.name,
        words::minute(since, asked.zone)
    );
    Some(raw(asked, i, Severity::Note, sentence))
}

fn raw(asked: &Asked<'_>, i: usize, severity: Severity, sentence: String) -> Raw {
    let step = &asked.steps[i];
    Raw {
        kind: Kind::OnePersonAlone,
        severity,
        sentence,
        of: step.of,
        events: [step.seq()].into(),
        detail: String::new(),
        seq: Some(step.seq()),
        row: Some(i + 1),
        from: None,
        to: None,
    }
}
