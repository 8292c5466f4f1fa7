//! What an order covers: the events that it names, and with them what repeats them.

use std::collections::{BTreeMap, BTreeSet};

use super::{Expungement, left};
use crate::custody::state::{PastEvent, State};
use crate::ids::{CaseId, ItemId, Piece, Seq, Subject};

/// The events of a case, by their places.
pub(super) fn record(state: &State, case: CaseId) -> BTreeMap<Seq, &PastEvent> {
    let all = state.records.get(&case).into_iter().flatten();
    all.filter_map(|seq| Some((*seq, state.events.get(seq)?)))
        .filter(|(_, past)| past.case == Some(case))
        .collect()
}

/// The items and packages that an event is about.
pub(super) fn pieces(past: &PastEvent) -> impl Iterator<Item = Piece> + '_ {
    past.subjects.iter().filter_map(|s| match s {
        Subject::Item(id) => Some(Piece::Item(*id)),
        Subject::Package(id) => Some(Piece::Package(*id)),
        _ => None,
    })
}

/// What an order covers now: what it names, and with that what repeats it (amendments of a text, everything about a picture).
#[must_use]
pub fn covered(state: &State, case: CaseId, order: &Expungement) -> BTreeSet<Seq> {
    let record = record(state, case);
    let open: BTreeMap<Seq, &PastEvent> = record
        .into_iter()
        .filter(|(_, past)| !past.expunged && left::goes(&past.kind))
        .collect();
    let mut chosen: BTreeSet<Seq> = match (order.events.is_empty(), order.of) {
        (false, _) => order
            .events
            .iter()
            .copied()
            .filter(|seq| open.contains_key(seq))
            .collect(),
        (true, Subject::Item(id)) => open
            .iter()
            .filter(|(_, past)| about_only(past, id))
            .map(|(seq, _)| *seq)
            .collect(),
        (true, _) => open.keys().copied().collect(),
    };
    loop {
        let before = chosen.len();
        let digests: BTreeSet<&str> = chosen
            .iter()
            .filter_map(|seq| open.get(seq))
            .flat_map(|past| left::pictures(&past.kind, &past.fields))
            .collect();
        let amended: BTreeSet<(u64, &str)> = chosen
            .iter()
            .filter_map(|seq| amends(open.get(seq)?))
            .collect();
        let items: BTreeSet<&str> = chosen
            .iter()
            .filter_map(|seq| recovered(open.get(seq)?))
            .collect();
        let more: Vec<Seq> = open
            .iter()
            .filter(|(_, past)| {
                taken(past).is_some_and(|item| items.contains(item))
                    || left::names_picture(&past.fields, &digests)
                    || amends(past).is_some_and(|(event, field)| {
                        chosen.contains(&event) || amended.contains(&(event, field))
                    })
            })
            .map(|(seq, _)| *seq)
            .collect();
        chosen.extend(more);
        if chosen.len() == before {
            return chosen;
        }
    }
}

/// The item of a recovery.
fn recovered(past: &PastEvent) -> Option<&str> {
    (past.kind == "item.recovered").then(|| past.fields.get("item")?.as_str())?
}

/// What was taken from an item: the event of the item says once more what it is.
fn taken(past: &PastEvent) -> Option<&str> {
    (past.kind == "item.sampled").then(|| past.fields.get("taken")?.as_str())?
}

/// Which event and field an amendment is of.
fn amends(past: &PastEvent) -> Option<(u64, &str)> {
    if past.kind != "record.amended" {
        return None;
    }
    Some((
        past.fields.get("event")?.as_u64()?,
        past.fields.get("field")?.as_str()?,
    ))
}

/// An event of this item that is about no other item and no package: what others share is their record too.
fn about_only(past: &PastEvent, item: ItemId) -> bool {
    past.subjects.contains(&Subject::Item(item)) && pieces(past).all(|p| p == Piece::Item(item))
}
