//! Twenty histories of a package made by hand, with known gaps and overlaps. They are what people might bring in from elsewhere: the
//! rules of custody let no such times through.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, TimeZone as _, Utc};
use liftledger::app::views::told::Told;
use liftledger::custody::hand_over::{ChargeTaken, Condition, HandedOut, Received, Released};
use liftledger::custody::package::PackageMade;
use liftledger::custody::place::Stored;
use liftledger::custody::{Fact, State};
use liftledger::ids::{CaseId, Code, EventId, PackageId, PersonId, Piece, PlaceId, Subject};
use liftledger::ledger::event::{Attested, Draft, Event, Source, Touch};
use liftledger::ledger::payload::Salt;
use liftledger::ledger::times;

use super::tell::told_of;

/// A person by number, the shelf, or a courier.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    P(usize),
    Shelf,
    Courier,
}

use Who::{Courier, P, Shelf};

/// A history: who had it from when to when, in seconds, and how many seconds nobody had it, and two had it, counted by hand.
pub struct History {
    pub stretches: &'static [(Who, i64, i64)],
    pub by_nobody: i64,
    pub by_several: i64,
}

const fn h(stretches: &'static [(Who, i64, i64)], by_nobody: i64, by_several: i64) -> History {
    History {
        stretches,
        by_nobody,
        by_several,
    }
}

pub const ALL: [History; 20] = [
    h(&[(P(0), 0, 3600)], 0, 0),
    h(&[(P(0), 0, 3600), (P(1), 3600, 7200)], 0, 0),
    h(&[(P(0), 0, 3600), (P(1), 3601, 7200)], 1, 0),
    h(&[(P(0), 0, 3600), (P(1), 3599, 7200)], 0, 1),
    h(&[(P(0), 0, 3600), (P(1), 5400, 7200)], 1800, 0),
    h(&[(P(0), 0, 3600), (P(1), 1800, 7200)], 0, 1800),
    h(&[(P(0), 0, 10), (P(1), 20, 30), (P(2), 40, 50)], 20, 0),
    h(&[(P(0), 0, 30), (P(1), 20, 50), (P(2), 40, 60)], 0, 20),
    h(&[(P(0), 0, 30), (P(1), 20, 40), (P(2), 50, 60)], 10, 10),
    // Three at once: the time that is claimed twice is counted once.
    h(&[(P(0), 0, 100), (P(1), 50, 120), (P(2), 80, 200)], 0, 70),
    // One within another, and the third after the second while the first still claims it.
    h(&[(P(0), 0, 100), (P(1), 40, 60), (P(2), 60, 200)], 0, 60),
    h(
        &[(P(0), 0, 100), (Shelf, 100, 86_500), (P(1), 86_500, 90_000)],
        0,
        0,
    ),
    h(
        &[(P(0), 0, 100), (Shelf, 100, 500), (P(1), 700, 900)],
        200,
        0,
    ),
    h(
        &[(P(0), 0, 100), (Courier, 100, 4000), (P(1), 4000, 5000)],
        0,
        0,
    ),
    h(
        &[(P(0), 0, 100), (Courier, 100, 4000), (P(1), 4700, 5000)],
        700,
        0,
    ),
    h(
        &[(P(0), 0, 300), (Shelf, 200, 500), (P(1), 500, 900)],
        0,
        100,
    ),
    // The same person again, after a gap.
    h(&[(P(0), 0, 60), (P(1), 60, 120), (P(0), 180, 240)], 60, 0),
    // A lamp left on the counter for two days, thirteen hours and thirty minutes.
    h(&[(P(0), 0, 30_000), (P(1), 251_400, 260_000)], 221_400, 0),
    h(
        &[
            (P(0), 0, 10),
            (P(1), 15, 40),
            (P(2), 30, 50),
            (Shelf, 50, 90),
            (P(3), 100, 110),
        ],
        15,
        10,
    ),
    // To and fro within a second, without a gap.
    h(
        &[(P(0), 0, 1), (P(1), 1, 2), (P(0), 2, 3), (P(1), 3, 4)],
        0,
        0,
    ),
];

/// When second 0 is.
pub fn zero() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 3, 14, 8, 0, 0).unwrap()
}

struct Writer {
    events: Vec<Event>,
    case: CaseId,
    package: PackageId,
    people: BTreeMap<usize, PersonId>,
}

impl Writer {
    fn person(&mut self, n: usize) -> PersonId {
        *self.people.entry(n).or_insert_with(PersonId::new)
    }

    fn write(&mut self, by: PersonId, at: i64, fact: &Fact) {
        let n = self.events.len() as u64 + 1;
        let claimed = zero() + TimeDelta::seconds(at);
        let mut fields = fact.to_fields().unwrap();
        fields.insert("by".into(), "A. Person (N-1)".into());
        let draft = Draft {
            seq: n,
            id: EventId::new(),
            kind: fact.kind().into(),
            case: Some(self.case),
            touches: vec![Touch {
                subject: Subject::Package(self.package),
                n,
            }],
            actor: Some(by),
            attested: Attested::Password,
            source: Source::Import,
            claimed_at: times::claimed(claimed.fixed_offset()),
            recorded_at: times::recorded(zero() + TimeDelta::days(30)),
            rules: "test".into(),
        };
        self.events
            .push(Event::seal(draft, Salt([7; 16]), fields).unwrap());
    }
}

impl History {
    /// The events that say so.
    pub fn told(&self) -> Told {
        let package = PackageId::new();
        let piece = Piece::Package(package);
        let mut w = Writer {
            events: vec![],
            case: CaseId::new(),
            package,
            people: BTreeMap::new(),
        };
        let mut last = w.person(9);
        for (i, (who, from, _)) in self.stretches.iter().enumerate() {
            let before = i.checked_sub(1).map(|b| self.stretches[b]);
            // Whoever had it says until when, by an act of their own.
            if let Some((P(n), _, to)) = before {
                let by = w.person(n);
                let receiver = w.person(8);
                let release = Fact::Released(Released {
                    piece,
                    to: receiver,
                    to_name: "somebody".into(),
                    purpose: "to the storeroom".into(),
                    authority: String::new(),
                    seal: String::new(),
                    from_place: None,
                    due_at: None,
                    unsealed_reason: None,
                    second: None,
                    second_name: None,
                });
                w.write(by, to, &release);
            }
            let gap = before.is_some_and(|(_, _, to)| to < *from);
            let me = match who {
                P(n) => w.person(*n),
                _ => last,
            };
            let fact = match (who, before) {
                (_, None) => Fact::PackageMade(PackageMade {
                    package,
                    case: w.case,
                    number: 1,
                    code: Code::of(Subject::Package(package)).unwrap(),
                    container: "box-rigid-small".into(),
                    inner_mm: None,
                    stock_place: None,
                    stock_kind: None,
                    contents: vec![],
                    note: String::new(),
                    warnings: vec![],
                }),
                (P(_), Some((_, _, to))) if gap => Fact::ChargeTaken(ChargeTaken {
                    piece,
                    from: "somebody".into(),
                    alone_from: None,
                    unaccounted_since: (zero() + TimeDelta::seconds(to)).fixed_offset(),
                    reason: "found".into(),
                    seal: String::new(),
                    seal_seen: String::new(),
                    condition: Condition::Intact,
                    note: String::new(),
                }),
                (P(_), Some(_)) => Fact::Received(Received {
                    piece,
                    from: last,
                    from_name: "somebody".into(),
                    seal: String::new(),
                    seal_seen: String::new(),
                    condition: Condition::Intact,
                    note: String::new(),
                }),
                (Shelf, _) => Fact::Stored(Stored {
                    piece,
                    place: PlaceId::new(),
                    place_name: "Shelf 1".into(),
                    from_place: None,
                    overridden: vec![],
                    override_by: None,
                    override_reason: None,
                    unsealed_reason: None,
                    second: None,
                    second_name: None,
                }),
                (Courier, _) => Fact::HandedOut(HandedOut {
                    piece,
                    name: "Oda Lunn".into(),
                    organisation: "Courier".into(),
                    identification: "staff card".into(),
                    reference: String::new(),
                    purpose: "to the laboratory".into(),
                    seal: String::new(),
                    due_at: None,
                    unsealed_reason: None,
                    own_loan: false,
                    authority: String::new(),
                    tracking: String::new(),
                    weight_mg: None,
                    scale: None,
                }),
            };
            w.write(me, *from, &fact);
            last = me;
        }
        let end = self.stretches.last().unwrap().2;
        let now = zero() + TimeDelta::seconds(end);
        told_of(&w.events, &State::default(), piece, now)
    }
}
