//! What the views tell of a piece, from events in memory: its trail is put together as the store's is.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use liftledger::app::Past;
use liftledger::app::views::findings::Finding;
use liftledger::app::views::told::{Read, Told, tell};
use liftledger::app::views::trail::{Known, Step, joined, stays};
use liftledger::custody::finding::FindingKey;
use liftledger::custody::{Fact, State};
use liftledger::ids::{ItemId, Piece, Seq, Subject};
use liftledger::ledger::event::Event;
use liftledger::zone::Zone;

/// A subject's own events.
pub fn history(events: &[Event], of: Subject) -> Vec<Past> {
    let touching = events.iter().filter_map(|event| {
        let touch = event.header.touches.iter().find(|t| t.subject == of)?;
        Some(Past {
            n: touch.n,
            event: event.clone(),
            fact: Fact::from_fields(&event.header.kind, &event.fields).ok(),
        })
    });
    touching.collect()
}

fn trail(events: &[Event], piece: Piece, known: &mut Known, depth: usize) -> Vec<Step> {
    let own = history(events, piece.into());
    let stays = if depth == 0 {
        vec![]
    } else {
        stays(piece, &own)
    };
    for stay in &stays {
        if !known.contains_key(&stay.package) {
            let steps = trail(events, Piece::Package(stay.package), known, depth - 1);
            known.insert(stay.package, steps);
        }
    }
    joined(piece, own, &stays, known)
}

fn recoveries(events: &[Event]) -> BTreeMap<ItemId, Seq> {
    let recovered = events.iter().filter(|e| e.header.kind == "item.recovered");
    let named = recovered.filter_map(|e| {
        let item = e.header.touches.iter().find_map(|t| match t.subject {
            Subject::Item(id) => Some(id),
            _ => None,
        });
        Some((item?, e.header.seq))
    });
    named.collect()
}

/// Everything that is told of a piece, in UTC.
pub fn told_of(events: &[Event], state: &State, piece: Piece, now: DateTime<Utc>) -> Told {
    let mark = match piece {
        Piece::Item(id) => {
            let of = Subject::Mark(state.items[&id].mark);
            let all = history(events, of).into_iter();
            all.map(|past| Step::own(past, of)).collect()
        }
        Piece::Package(_) => vec![],
    };
    let read = Read {
        steps: trail(events, piece, &mut Known::new(), 10),
        mark,
        recoveries: recoveries(events),
        state: state.clone(),
    };
    tell(piece, read, Zone::default(), now)
}

/// Every piece of a state.
pub fn pieces(state: &State) -> Vec<Piece> {
    let items = state.items.keys().map(|id| Piece::Item(*id));
    let packages = state.packages.keys().map(|id| Piece::Package(*id));
    items.chain(packages).collect()
}

/// Every finding of every piece, each told once, by subject.
pub fn keys(
    events: &[Event],
    state: &State,
    now: DateTime<Utc>,
) -> BTreeMap<Subject, BTreeSet<FindingKey>> {
    let mut out: BTreeMap<Subject, BTreeSet<FindingKey>> = BTreeMap::new();
    for piece in pieces(state) {
        for finding in told_of(events, state, piece, now).findings {
            out.entry(finding.key.of).or_default().insert(finding.key);
        }
    }
    out
}

/// Each finding names events that are there and are about what it is about; its key is one text; and it is found again from the
/// subject that it names, which is what an answer to it is held against.
pub fn findings_hold(events: &[Event], state: &State, now: DateTime<Utc>) -> Vec<Finding> {
    let mut out = Vec::new();
    for piece in pieces(state) {
        let told = told_of(events, state, piece, now);
        let mut seen = BTreeSet::new();
        for finding in told.findings {
            assert!(!finding.events.is_empty(), "{finding:?}");
            assert_eq!(finding.events, finding.key.events);
            let text = finding.key.to_string();
            assert_eq!(text.parse().as_ref(), Ok(&finding.key), "{text}");
            assert!(seen.insert(text.clone()), "told twice of {piece}: {text}");
            assert!(
                !finding.would_answer.is_empty() && finding.sentence.ends_with(['.', ':', ')'])
                    || finding.sentence.contains("the reason given: "),
                "{finding:?}"
            );
            let touches: Vec<Subject> = finding
                .events
                .iter()
                .flat_map(|seq| {
                    let event = events.iter().find(|e| e.header.seq == *seq);
                    event
                        .unwrap_or_else(|| panic!("no event {seq}"))
                        .header
                        .touches
                        .iter()
                })
                .map(|t| t.subject)
                .collect();
            let about: BTreeSet<Subject> = told.steps.iter().map(|s| s.of).collect();
            assert!(
                touches.contains(&finding.key.of) || touches.iter().any(|t| about.contains(t)),
                "{finding:?}"
            );
            let from = match finding.key.of {
                Subject::Item(id) => Piece::Item(id),
                Subject::Package(id) => Piece::Package(id),
                Subject::Mark(id) => Piece::Item(state.marks[&id].items[0]),
                other => panic!("{other} has no findings"),
            };
            let again = told_of(events, state, from, now);
            assert!(
                again.findings.iter().any(|f| f.key == finding.key),
                "{text}, told of {piece}, is not found from {from}"
            );
            out.push(finding);
        }
    }
    out
}
