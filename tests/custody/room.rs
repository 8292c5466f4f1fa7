//! The yard with what a custodian's room has beside: a schedule, counts, holds, and things on their way to disposition.

use std::collections::BTreeSet;

use liftledger::custody::count::{BeginCount, EndCount, Outcome, ResolveDifference, ScanCodes};
use liftledger::custody::disposition::{
    AuthoriseDisposition, DeclineDisposition, Dispose, Method, RevokeDisposition,
    WitnessDisposition,
};
use liftledger::custody::hand_over::{Condition, Receive, Release, Stayed};
use liftledger::custody::hold::{LiftHold, PlaceHold};
use liftledger::custody::package::PutIn;
use liftledger::custody::place::Fetch;
use liftledger::custody::repack::Why;
use liftledger::custody::retention::SetRetention;
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, Rule};
use liftledger::ids::{
    CaseId, Code, CountId, ItemId, PackageId, PersonId, Piece, PlaceId, Subject,
};
use liftledger::keeping::sampling;
use liftledger::trade::retention::Schedule;

use super::packs::{absent, back, consume, repack, source};
use super::refusals::Row;
use super::seal_stock::{deliver, issue, spoil};
use super::yard::{Yard, actor, command, hand_out, party, place, release, store};

/// What is where, beside the yard's own.
pub struct Room {
    pub bin: PlaceId,
    /// Two lifts in the bin.
    pub kept: [ItemId; 2],
    /// A count of the bin into which nothing was scanned yet, begun by the custodian.
    pub open: CountId,
    /// Another one, ended: the first of the two was missing, the second seen.
    pub ended: CountId,
    /// A third one, whose only difference is resolved.
    pub resolved: CountId,
    /// In the custodian's hands, disposition authorised by the supervisor.
    pub authorised: Piece,
    /// Carried out by the custodian, waiting for the examiner.
    pub executed: Piece,
    /// Disposed of.
    pub gone: Piece,
    /// In the technician's hands, with a hold on it.
    pub held: ItemId,
    /// In the custodian's hands, nothing authorised.
    pub plain: Piece,
    /// Emptied by packing anew, in the technician's hands.
    pub closed: PackageId,
    /// With two lifts in it, outside.
    pub sent: PackageId,
    pub within: [Piece; 2],
}

pub fn begin(place: PlaceId) -> Act {
    Act::BeginCount(BeginCount {
        places: vec![place],
        sample: None,
    })
}

pub fn scan(count: CountId, codes: &[String]) -> Act {
    Act::ScanCodes(ScanCodes {
        count,
        codes: codes.to_vec(),
    })
}

pub fn end(count: CountId) -> Act {
    Act::EndCount(EndCount { count })
}

pub fn resolve(count: CountId, number: u32) -> Act {
    Act::ResolveDifference(ResolveDifference {
        count,
        number,
        outcome: Outcome::SetRight,
        reason: "it had slipped behind the bin".into(),
    })
}

pub fn place_hold(of: Subject) -> Act {
    Act::PlaceHold(PlaceHold {
        of,
        reason: "the appeal is open".into(),
        authority: "order 12 of the county court".into(),
    })
}

pub fn lift_hold(of: Subject, number: u32) -> Act {
    Act::LiftHold(LiftHold {
        of,
        number,
        reason: "the appeal is over".into(),
        authority: "order 13 of the county court".into(),
    })
}

pub fn authorise(piece: Piece, early: Option<&str>) -> Act {
    Act::AuthoriseDisposition(AuthoriseDisposition {
        piece,
        method: Method::Destroy,
        authority: "release 7 of the prosecutor".into(),
        reason: "the case is closed".into(),
        early_reason: early.map(str::to_owned),
    })
}

pub fn dispose(piece: Piece, witness: PersonId) -> Act {
    Act::Dispose(Dispose {
        piece,
        witness,
        how: "burned at the plant, receipt 88".into(),
        party: None,
        seal_seen: String::new(),
        condition: Condition::Intact,
        note: String::new(),
    })
}

pub fn witness(piece: Piece) -> Act {
    Act::WitnessDisposition(WitnessDisposition { piece })
}

pub fn decline(piece: Piece) -> Act {
    Act::DeclineDisposition(DeclineDisposition {
        piece,
        reason: "I was not there".into(),
    })
}

pub fn revoke(piece: Piece) -> Act {
    Act::RevokeDisposition(RevokeDisposition {
        piece,
        reason: "asked for again".into(),
    })
}

pub fn retain(case: CaseId, class: &str, from: &str) -> Act {
    Act::SetRetention(SetRetention {
        case,
        class: class.into(),
        from: from.parse().unwrap(),
        reason: "closed by the prosecutor".into(),
    })
}

pub fn code(piece: Piece) -> String {
    Code::of(piece.into()).unwrap().to_string()
}

/// A lift of the first case, in the custodian's hands.
pub fn in_hand(y: &mut Yard) -> Piece {
    let (tech, custodian) = (y.people.tech, y.people.custodian);
    let piece = Piece::Item(y.recovered(y.things.mark, "lifting-tape"));
    let give = Act::Release(Release {
        piece,
        to: custodian,
        purpose: "to the storeroom".into(),
        authority: String::new(),
        due_at: None,
        unsealed_reason: Some("photographed".into()),
    });
    y.act(tech, give).unwrap();
    let take = Act::Receive(Receive {
        piece,
        seal_seen: String::new(),
        condition: Condition::Intact,
        note: String::new(),
    });
    y.act(custodian, take).unwrap();
    piece
}

pub const EARLY: Option<&str> = Some("ordered by the court, order 9");

impl Room {
    pub fn of(y: &mut Yard) -> Self {
        let text = include_str!("../../seed/demo/retention.toml");
        let schedule = Schedule::parse("retention.toml", text).unwrap();
        y.rules = y.rules.clone().with_schedule(schedule);
        let (custodian, examiner) = (y.people.custodian, y.people.examiner);
        let supervisor = y.people.supervisor;
        let add = Act::AddPlace(place("Bin 7", "room-temperature"));
        let bin = PlaceId(y.act(custodian, add).unwrap());
        y.act(custodian, deliver(bin, "SB-004401", "SB-004500"))
            .unwrap();
        let mut kept = Vec::new();
        for _ in 0..2 {
            let piece = in_hand(y);
            y.act(custodian, Act::Store(store(piece, bin))).unwrap();
            let Piece::Item(id) = piece else {
                unreachable!()
            };
            kept.push(id);
        }
        let open = CountId(y.act(custodian, begin(bin)).unwrap());
        let ended = CountId(y.act(custodian, begin(bin)).unwrap());
        let seen = code(Piece::Item(kept[1]));
        y.act(custodian, scan(ended, &[seen])).unwrap();
        y.act(custodian, end(ended)).unwrap();
        let resolved = CountId(y.act(custodian, begin(bin)).unwrap());
        let seen = code(Piece::Item(kept[0]));
        y.act(custodian, scan(resolved, &[seen])).unwrap();
        y.act(custodian, end(resolved)).unwrap();
        y.act(supervisor, resolve(resolved, 1)).unwrap();
        let [authorised, executed, gone, plain] = [(); 4].map(|()| in_hand(y));
        for piece in [authorised, executed, gone] {
            y.act(supervisor, authorise(piece, EARLY)).unwrap();
        }
        for piece in [executed, gone] {
            y.act(custodian, dispose(piece, examiner)).unwrap();
        }
        y.act(examiner, witness(gone)).unwrap();
        let held = y.recovered(y.things.mark, "lifting-tape");
        y.act(supervisor, place_hold(Subject::Item(held))).unwrap();
        let mark = y.things.mark;
        let mut lift = || Piece::Item(y.recovered(mark, "lifting-tape"));
        let (within, more) = ([lift(), lift()], lift());
        let (sent, closed) = (
            y.packed("envelope-paper", &within),
            y.packed("envelope-paper", &[more]),
        );
        super::packs::send(y, sent);
        let anew = repack(&[source(closed, "")], Why::Wet, &[]);
        y.act(y.people.tech, Act::Repack(anew)).unwrap();
        y.remember_events();
        Self {
            closed,
            sent,
            within,
            bin,
            kept: [kept[0], kept[1]],
            open,
            ended,
            resolved,
            authorised,
            executed,
            gone,
            held,
            plain,
        }
    }

    /// Acts that are carried out: each of the room's own at least once.
    pub fn allowed(&self, y: &Yard) -> Vec<(PersonId, Act)> {
        let p = &y.people;
        let case = y.things.case;
        let mut back = back(Piece::Package(self.sent), "", Condition::Open);
        back.weighed = super::packs::weighed("400");
        back.absent = vec![
            absent(self.within[0], Stayed::Consumed),
            absent(self.within[1], Stayed::Retained),
        ];
        let mut anew = repack(&[source(y.things.envelope, "")], Why::Other, &[]);
        anew.seal = "004219".into();
        vec![
            (p.custodian, Act::TakeBack(back)),
            (p.custodian, deliver(self.bin, "SB-005001", "SB-005100")),
            (
                p.custodian,
                issue(self.bin, "SB-004421", "SB-004440", p.tech),
            ),
            (
                p.custodian,
                spoil(self.bin, "SB-004401", "SB-004402", "torn"),
            ),
            (p.tech, Act::Repack(anew)),
            (p.custodian, consume(y.things.outside, true)),
            (p.custodian, begin(self.bin)),
            (p.second, begin(y.things.shelf)),
            (
                p.custodian,
                Act::BeginCount(BeginCount {
                    places: vec![self.bin, y.things.shelf],
                    sample: Some(liftledger::custody::count::SampleAsked {
                        missing: 1,
                        confidence: "0.5".parse().unwrap(),
                    }),
                }),
            ),
            (
                p.second,
                scan(
                    self.open,
                    &[
                        code(Piece::Item(self.kept[0])),
                        code(Piece::Item(y.things.inner)),
                        code(Piece::Package(y.things.box_sealed)),
                        "5901234123457".into(),
                        code(Piece::Item(ItemId::new())),
                    ],
                ),
            ),
            (p.custodian, end(self.open)),
            (p.supervisor, resolve(self.ended, 1)),
            (p.second, resolve(self.ended, 1)),
            (p.supervisor, place_hold(Subject::Case(case))),
            (p.supervisor, place_hold(self.plain.into())),
            (p.supervisor, lift_hold(Subject::Item(self.held), 1)),
            (p.supervisor, retain(case, "property", "2020-01-31")),
            (p.supervisor, authorise(self.plain, EARLY)),
            (p.supervisor, revoke(self.authorised)),
            (p.custodian, dispose(self.authorised, p.tech)),
            (p.examiner, witness(self.executed)),
            (p.examiner, decline(self.executed)),
            (p.custodian, decline(self.executed)),
        ]
    }

    /// At least one row for every rule of the room.
    pub fn rows(&self, y: &Yard) -> Vec<Row> {
        let p = &y.people;
        let state = &y.stage.state;
        let row = |rule, who: PersonId, act| Row {
            rule,
            actor: actor(state, who),
            command: command(act),
        };
        let held = Piece::Item(self.held);
        let put_in = Act::PutIn(PutIn {
            package: self.closed,
            piece: Piece::Item(y.things.lift),
        });
        vec![
            row(Rule::Closed, p.tech, put_in),
            row(
                Rule::Empty,
                p.tech,
                Act::Repack(repack(&[source(self.closed, "")], Why::Wet, &[])),
            ),
            row(Rule::NotHolder, p.custodian, consume(self.held, true)),
            row(Rule::Disposed, p.custodian, release(self.gone, p.examiner)),
            row(
                Rule::Disposed,
                p.custodian,
                Act::Fetch(Fetch {
                    piece: self.gone,
                    purpose: "to look at it".into(),
                }),
            ),
            row(Rule::Disposed, p.supervisor, authorise(self.gone, EARLY)),
            row(Rule::Disposed, p.supervisor, place_hold(self.gone.into())),
            row(
                Rule::DispositionOpen,
                p.custodian,
                release(self.executed, p.examiner),
            ),
            row(Rule::DispositionOpen, p.supervisor, revoke(self.executed)),
            row(
                Rule::NotAuthorised,
                p.custodian,
                dispose(self.plain, p.examiner),
            ),
            row(Rule::NotAuthorised, p.examiner, witness(self.authorised)),
            row(Rule::Held, p.tech, hand_out(held)),
            row(Rule::Held, p.supervisor, authorise(held, EARLY)),
            row(Rule::Retained, p.supervisor, authorise(self.plain, None)),
            row(
                Rule::SamePerson,
                p.custodian,
                dispose(self.authorised, p.custodian),
            ),
            row(
                Rule::SamePerson,
                p.custodian,
                dispose(self.authorised, p.supervisor),
            ),
            row(
                Rule::NotWitness,
                p.custodian,
                dispose(self.authorised, p.auditor),
            ),
            row(
                Rule::NotWitness,
                p.custodian,
                dispose(self.authorised, p.off),
            ),
            row(Rule::NotWitness, p.tech, witness(self.executed)),
            row(Rule::NotWitness, p.second, decline(self.executed)),
            row(
                Rule::CountOver,
                p.custodian,
                scan(self.ended, &["I000".into()]),
            ),
            row(Rule::CountOver, p.custodian, end(self.ended)),
            row(Rule::OwnCount, p.custodian, resolve(self.ended, 1)),
            row(Rule::Resolved, p.supervisor, resolve(self.resolved, 1)),
            row(Rule::NotFound, p.supervisor, resolve(self.ended, 2)),
            row(Rule::NotFound, p.custodian, end(CountId::new())),
            row(Rule::BadValue, p.custodian, scan(self.open, &[])),
            row(
                Rule::BadValue,
                p.supervisor,
                lift_hold(Subject::Item(self.held), 2),
            ),
            row(
                Rule::BadValue,
                p.supervisor,
                retain(y.things.case, "piracy", "2020-01-31"),
            ),
        ]
    }
}

#[test]
fn a_count_is_held_against_the_record() {
    let mut y = Yard::new();
    let room = Room::of(&mut y);
    let (custodian, second) = (y.people.custodian, y.people.second);
    let count = room.open;
    // Seen: the first that belongs there, one of another shelf, one in the technician's hands, one inside a package there
    // is not, a label of a shop, a code of another ledger, a misread one, and the first once more.
    let first = code(Piece::Item(room.kept[0]));
    let mut misread = first.clone();
    let last = if misread.ends_with('0') { "1" } else { "0" };
    misread.replace_range(11.., last);
    let foreign = code(Piece::Item(ItemId::new()));
    let codes = [
        format!(" {} ", first.to_lowercase()),
        code(Piece::Item(y.things.shelved)),
        code(Piece::Item(y.things.other_lift)),
        "5901234123457".to_owned(),
        foreign.clone(),
        misread.clone(),
        first.clone(),
        Code::of(Subject::Place(room.bin)).unwrap().to_string(),
    ];
    y.act(custodian, scan(count, &codes)).unwrap();
    let event = y.events.last().unwrap();
    assert_eq!(event.header.kind, "count.scanned");
    assert_eq!(event.fields["again"], 1);
    let why: Vec<&str> = event.fields["odd"]
        .as_array()
        .unwrap()
        .iter()
        .map(|o| o["why"].as_str().unwrap())
        .collect();
    assert_eq!(why, ["foreign", "unknown", "misread", "place"]);
    let before = y.events.len();
    y.act(second, end(count)).unwrap();
    let told: Vec<(String, String)> = y.events[before + 1..]
        .iter()
        .map(|e| {
            (
                e.field_str("difference").unwrap().to_owned(),
                e.field_str("label").unwrap().to_owned(),
            )
        })
        .collect();
    let of = |kind: &str, label: String| (kind.to_owned(), label);
    assert_eq!(
        told,
        [
            of("missing", code(Piece::Item(room.kept[1]))),
            of("misplaced", code(Piece::Item(y.things.shelved))),
            of("unexpected", code(Piece::Item(y.things.other_lift))),
            of("unknown", "5901234123457".into()),
            of("unknown", foreign),
        ]
    );
    // A difference is on the thread of its thing, in its case.
    let missing = &y.events[before + 1];
    assert_eq!(missing.header.case, Some(y.things.case));
    let subjects: BTreeSet<Subject> = missing.header.touches.iter().map(|t| t.subject).collect();
    assert!(subjects.contains(&Subject::Item(room.kept[1])));
    // Both took part: neither resolves. The supervisor does, once.
    for who in [custodian, second] {
        assert_eq!(y.refused(who, resolve(count, 1)), "own-count");
    }
    y.act(y.people.supervisor, resolve(count, 1)).unwrap();
    let again = y.refused(y.people.supervisor, resolve(count, 1));
    assert_eq!(again, "already-resolved");
    assert_eq!(y.stage.state.counts[&count].open(), 4);
}

#[test]
fn what_moves_by_the_record_while_it_is_counted_is_no_difference() {
    let mut y = Yard::new();
    let room = Room::of(&mut y);
    let custodian = y.people.custodian;
    // One leaves by the record, one comes; the one that came is seen.
    let fetch = Act::Fetch(Fetch {
        piece: Piece::Item(room.kept[1]),
        purpose: "to look at it".into(),
    });
    y.act(custodian, fetch).unwrap();
    y.act(custodian, Act::Store(store(room.plain, room.bin)))
        .unwrap();
    let codes = [code(Piece::Item(room.kept[0])), code(room.plain)];
    y.act(custodian, scan(room.open, &codes)).unwrap();
    y.act(custodian, end(room.open)).unwrap();
    let ended = y.events.last().unwrap();
    assert_eq!(ended.header.kind, "count.ended");
    for (field, n) in [
        ("expected", 2),
        ("found", 1),
        ("moved", 2),
        ("differences", 0),
    ] {
        assert_eq!(ended.fields[field], n, "{field}");
    }
    assert!(!y.stage.state.counts[&room.open].is_active());
}

#[test]
fn a_sample_is_drawn_by_a_seed_on_the_record() {
    let mut y = Yard::new();
    let room = Room::of(&mut y);
    let custodian = y.people.custodian;
    for _ in 0..18 {
        let piece = in_hand(&mut y);
        y.act(custodian, Act::Store(store(piece, room.bin)))
            .unwrap();
    }
    let confidence: sampling::Confidence = "0.9".parse().unwrap();
    let act = Act::BeginCount(BeginCount {
        places: vec![room.bin],
        sample: Some(liftledger::custody::count::SampleAsked {
            missing: 4,
            confidence,
        }),
    });
    let id = CountId(y.act(custodian, act).unwrap());
    let begun = y.events.last().unwrap().clone();
    let n = sampling::size(20, 4, confidence).unwrap();
    assert_eq!(begun.fields["population"], 20);
    assert_eq!(begun.fields["sample"], n);
    // A stranger with the codes on the shelf and the event draws the same things.
    let here = Holder::Place { place: room.bin };
    let mut codes: Vec<String> = y
        .stage
        .state
        .items
        .values()
        .filter(|i| i.custody.holder == here)
        .map(|i| i.code.to_string())
        .collect();
    codes.sort();
    let at = sampling::draw(20, n, begun.field_str("seed").unwrap()).unwrap();
    let expected: Vec<&String> = at.iter().map(|i| &codes[*i as usize]).collect();
    let count = &y.stage.state.counts[&id];
    let drawn: Vec<String> = count.looked_for().iter().map(|p| code(*p)).collect();
    assert_eq!(drawn.iter().collect::<Vec<_>>(), expected);
    // All of the sample seen, and something beside it: no difference.
    let extra = codes.iter().find(|c| !drawn.contains(c)).unwrap().clone();
    let seen: Vec<String> = drawn.iter().cloned().chain([extra]).collect();
    y.act(custodian, scan(id, &seen)).unwrap();
    y.act(custodian, end(id)).unwrap();
    let ended = y.events.last().unwrap();
    assert_eq!(
        (&ended.fields["found"], &ended.fields["differences"]),
        (&n.into(), &0.into())
    );
}

#[test]
fn a_hold_on_anything_inside_or_on_the_case_keeps_it_in_the_agency() {
    let mut y = Yard::new();
    let room = Room::of(&mut y);
    let (tech, supervisor) = (y.people.tech, y.people.supervisor);
    let held = Piece::Item(room.held);
    let boxed = Piece::Package(y.packed("box-rigid-small", &[held]));
    assert_eq!(y.refused(tech, hand_out(boxed)), "held");
    // Inside the agency it goes on.
    let give = Act::Release(Release {
        piece: boxed,
        to: y.people.examiner,
        purpose: "to the laboratory".into(),
        authority: String::new(),
        due_at: None,
        unsealed_reason: Some("opened next".into()),
    });
    y.act(tech, give).unwrap();
    let lift = Piece::Item(y.things.lift);
    y.act(supervisor, place_hold(Subject::Case(y.things.case)))
        .unwrap();
    assert_eq!(y.refused(tech, hand_out(lift)), "held");
    // A hold that comes between the second and the third step stops the third.
    assert_eq!(y.refused(y.people.examiner, witness(room.executed)), "held");
    y.act(supervisor, lift_hold(Subject::Case(y.things.case), 1))
        .unwrap();
    y.act(tech, hand_out(lift)).unwrap();
    y.act(y.people.examiner, witness(room.executed)).unwrap();
}

#[test]
fn the_schedule_keeps_a_thing_until_its_day() {
    let mut y = Yard::new();
    let room = Room::of(&mut y);
    let (supervisor, case) = (y.people.supervisor, y.things.case);
    y.act(supervisor, retain(case, "property", "2026-03-01"))
        .unwrap();
    assert_eq!(
        y.events.last().unwrap().field_str("until"),
        Some("2029-03-01")
    );
    assert_eq!(
        y.refused(supervisor, authorise(room.plain, None)),
        "still-retained"
    );
    y.act(supervisor, retain(case, "death", "2020-01-31"))
        .unwrap();
    assert_eq!(
        y.refused(supervisor, authorise(room.plain, None)),
        "still-retained"
    );
    // 36 months from the last of January; a day that there is not becomes the month's last.
    y.act(supervisor, retain(case, "property", "2023-01-31"))
        .unwrap();
    assert_eq!(
        y.events.last().unwrap().field_str("until"),
        Some("2026-01-31")
    );
    y.act(supervisor, authorise(room.plain, None)).unwrap();
    let event = y.events.last().unwrap();
    assert_eq!(event.field_str("kept"), Some(""));
    assert_eq!(event.field_str("early_reason"), None);
}

#[test]
fn after_a_disposition_nobody_has_it_and_nothing_is_done_with_it() {
    let mut y = Yard::new();
    let room = Room::of(&mut y);
    let holder = y.stage.state.holder(room.gone).cloned();
    let method = Method::Destroy;
    assert_eq!(holder, Some(Holder::Disposed { method }));
    // Somebody receives what is returned, and nobody what is destroyed.
    let mut with = dispose(room.authorised, y.people.examiner);
    if let Act::Dispose(x) = &mut with {
        x.party = Some(party());
    }
    assert_eq!(y.refused(y.people.custodian, with), "bad-value");
    // Declined, it stays with the custodian, and the authorisation stands.
    y.act(y.people.examiner, decline(room.executed)).unwrap();
    y.act(y.people.custodian, dispose(room.executed, y.people.tech))
        .unwrap();
    y.act(y.people.tech, witness(room.executed)).unwrap();
    // Its descriptive text can still be corrected.
    y.remember_events();
    let seq = y
        .events
        .iter()
        .find(|e| {
            e.header.kind == "item.recovered"
                && e.header
                    .touches
                    .iter()
                    .any(|t| t.subject == room.gone.into())
        })
        .unwrap()
        .header
        .seq;
    let amend = Act::Amend(liftledger::custody::amendment::Amend {
        event: seq,
        field: "description".into(),
        value: "from the right locker door".into(),
        reason: "there are two".into(),
    });
    y.act(y.people.tech, amend).unwrap();
}
