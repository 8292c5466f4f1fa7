//! How much a place takes, and places for two people.

use liftledger::app::{StageError, replay};
use liftledger::custody::capacity::Fill;
use liftledger::custody::import::{Import, ImportRow};
use liftledger::custody::place::Fetch;
use liftledger::custody::shelving::StoreMany;
use liftledger::custody::state::Place;
use liftledger::custody::{Act, Refusal, State};
use liftledger::ids::{Digest, ItemId, PersonId, Piece, PlaceId};

use super::yard::{Yard, receive, release, same, set_capacity, store, two_person};

fn refusal(y: &mut Yard, who: PersonId, second: Option<PersonId>, act: Act) -> Refusal {
    let (before, size) = (y.stage.state.clone(), y.stage.size());
    let answer = match second {
        Some(second) => y.with(who, second, act),
        None => y.act(who, act),
    };
    match answer {
        Err(StageError::Refused(r)) => {
            assert!(same(&before, &y.stage.state));
            assert_eq!(y.stage.size(), size);
            r
        }
        other => panic!("should be refused: {other:?}"),
    }
}

fn at(y: &Yard, place: PlaceId) -> &Place {
    &y.stage.state.places[&place]
}

/// As a store would list them: the places of the rack, by name.
fn near(y: &mut Yard) {
    let (full, free) = (y.things.full_bin, y.things.free_bin);
    y.stage.state.near.insert(full, vec![full, free]);
    y.stage.state.near.insert(free, vec![full, free]);
}

fn fetch(piece: Piece) -> Act {
    Act::Fetch(Fetch {
        piece,
        purpose: "to look at it".into(),
    })
}

fn many(y: &Yard, place: PlaceId, items: &[ItemId]) -> Act {
    let codes = items
        .iter()
        .map(|id| y.stage.state.items[id].code.to_string());
    Act::StoreMany(StoreMany {
        place,
        codes: codes.collect(),
        unsealed_reason: Some("the seals have run out".into()),
    })
}

/// What stands in each place, counted anew from all that there is.
fn counted(state: &State) {
    let around = |mut at: PlaceId| {
        let mut out = vec![at];
        while let Some(parent) = state.places[&at].added.parent {
            out.push(parent);
            at = parent;
        }
        out
    };
    let stands: Vec<PlaceId> = state
        .items
        .values()
        .map(|i| &i.custody)
        .chain(state.packages.values().map(|p| &p.custody))
        .filter(|c| c.inside.is_none())
        .filter_map(|c| c.holder.place())
        .collect();
    for place in state.places.values() {
        let here = stands.iter().filter(|p| **p == place.id).count();
        assert_eq!(place.standing as usize, here, "{}", place.added.name);
        let within = |p: &&PlaceId| around(**p).contains(&place.id);
        let capped = |p: &&PlaceId| state.places[*p].capacity.is_some();
        let rooms = state
            .places
            .values()
            .filter(|p| around(p.id).contains(&place.id));
        let fill = Fill {
            things: stands.iter().filter(within).count() as u32,
            counted: stands.iter().filter(within).filter(capped).count() as u32,
            room: rooms.filter_map(|p| p.capacity).sum(),
        };
        assert_eq!(place.fill, fill, "{}", place.added.name);
    }
}

#[test]
fn a_full_place_takes_nothing_more_and_names_one_with_room() {
    let mut y = Yard::new();
    near(&mut y);
    let keeper = y.people.custodian;
    let (shelved, full, free) = (
        Piece::Item(y.things.shelved),
        y.things.full_bin,
        y.things.free_bin,
    );
    let r = refusal(&mut y, keeper, None, Act::Store(store(shelved, full)));
    assert_eq!(r.code, "place-full");
    assert_eq!(r.field.as_deref(), Some("place"));
    assert_eq!(r.sentence, "Bin 4-1 takes 1; 1 stands there.");
    assert_eq!(r.next, "Another place near by with room: Bin 4-2 (0 of 2).");
    // What leaves makes room, and what comes takes it.
    let binned = Piece::Item(y.things.binned);
    y.act(keeper, Act::Store(store(binned, free))).unwrap();
    assert_eq!((at(&y, full).standing, at(&y, free).standing), (0, 1));
    y.act(keeper, Act::Store(store(shelved, full))).unwrap();
    y.act(keeper, fetch(binned)).unwrap();
    assert_eq!(at(&y, free).standing, 0);
    counted(&y.stage.state);
    // With no place beside it that has room, nobody is sent on.
    y.stage.state.near.clear();
    let r = refusal(&mut y, keeper, None, Act::Store(store(binned, full)));
    assert!(r.next.starts_with("Choose another place"), "{}", r.next);
}

#[test]
fn many_at_once_take_the_room_that_is_left_and_no_more() {
    let mut y = Yard::new();
    near(&mut y);
    let (keeper, free) = (y.people.custodian, y.things.free_bin);
    let three = [y.things.lift, y.things.other_lift, y.things.measured];
    for id in three {
        y.give(Piece::Item(id), keeper);
    }
    let act = many(&y, free, &three);
    let r = refusal(&mut y, keeper, None, act);
    assert_eq!(r.code, "place-full");
    assert_eq!(r.lines.len(), 1);
    assert_eq!(r.lines[0].line, 3);
    let act = many(&y, free, &three[..2]);
    y.act(keeper, act).unwrap();
    assert_eq!(at(&y, free).standing, 2);
    assert_eq!(
        at(&y, y.things.rack).fill,
        Fill {
            things: 3,
            counted: 3,
            room: 3
        }
    );
    counted(&y.stage.state);
}

#[test]
fn every_way_out_of_a_place_is_counted() {
    let mut y = Yard::new();
    let (keeper, tech, second) = (y.people.custodian, y.people.tech, y.people.second);
    let binned = Piece::Item(y.things.binned);
    let rack = y.things.rack;
    // Released from its place and received: it stands there until then.
    let mut lend = release(binned, tech);
    if let Act::Release(x) = &mut lend {
        x.due_at = Some((y.now + chrono::Duration::days(3)).fixed_offset());
        x.unsealed_reason = Some("for photographs".into());
    }
    y.act(keeper, lend).unwrap();
    assert_eq!(at(&y, rack).fill.things, 1);
    y.act(tech, receive(binned, "")).unwrap();
    assert_eq!(at(&y, rack).fill.things, 0);
    y.give(binned, keeper);
    y.act(keeper, Act::Store(store(binned, y.things.full_bin)))
        .unwrap();
    // Taken charge of, since it lay on the counter.
    let charge = liftledger::custody::hand_over::TakeCharge {
        piece: binned,
        reason: "found on the counter".into(),
        seal_seen: String::new(),
        condition: Default::default(),
        note: String::new(),
    };
    y.act(second, Act::TakeCharge(charge)).unwrap();
    assert_eq!(at(&y, rack).fill.things, 0);
    // A capacity that is taken off, or set below what stands there, changes what its surroundings sum up.
    let shelf = y.things.shelf;
    y.act(keeper, set_capacity(shelf, Some(1))).unwrap();
    assert_eq!(
        at(&y, shelf).fill,
        Fill {
            things: 1,
            counted: 1,
            room: 1
        }
    );
    y.act(keeper, set_capacity(shelf, None)).unwrap();
    assert_eq!(
        at(&y, shelf).fill,
        Fill {
            things: 1,
            counted: 0,
            room: 0
        }
    );
    assert_eq!(y.refused(keeper, set_capacity(shelf, None)), "bad-value");
    assert_eq!(y.refused(keeper, set_capacity(shelf, Some(0))), "bad-value");
    counted(&y.stage.state);
    let (again, stuck) = replay(&y.events);
    assert!(stuck.is_empty(), "{stuck:?}");
    assert_eq!(again.places, y.stage.state.places);
    assert_eq!(again.items, y.stage.state.items);
}

#[test]
fn a_thing_remembers_when_it_first_came_onto_a_shelf_also_in_a_box() {
    let mut y = Yard::new();
    let (keeper, tech) = (y.people.custodian, y.people.tech);
    let boxed = Piece::Package(y.things.box_offered);
    let cast = y.things.cast;
    y.act(keeper, receive(boxed, "004217")).unwrap();
    assert_eq!(y.stage.state.items[&cast].shelved_at, None);
    y.act(keeper, Act::Store(store(boxed, y.things.shelf)))
        .unwrap();
    let first = y.stage.state.items[&cast].shelved_at.unwrap();
    assert_eq!(first.to_utc(), y.now);
    y.act(keeper, fetch(boxed)).unwrap();
    y.act(keeper, Act::Store(store(boxed, y.things.free_bin)))
        .unwrap();
    assert_eq!(y.stage.state.items[&cast].shelved_at, Some(first));
    assert_eq!(at(&y, y.things.free_bin).standing, 1);
    assert_eq!(y.stage.state.items[&y.things.lift].shelved_at, None);
    let _ = tech;
}

#[test]
fn a_place_for_two_people_and_all_in_it_ask_for_the_second() {
    let mut y = Yard::new();
    let (keeper, second, supervisor) = (y.people.custodian, y.people.second, y.people.supervisor);
    let shelved = Piece::Item(y.things.shelved);
    let into = Act::Store(store(shelved, y.things.cage_shelf));
    let r = refusal(&mut y, keeper, None, into.clone());
    assert_eq!(r.code, "second-person-missing");
    assert!(
        r.sentence.starts_with("Cage is for two people"),
        "{}",
        r.sentence
    );
    // Not oneself, nobody without the role, nobody whose account is off.
    for who in [keeper, y.people.examiner, y.people.off] {
        let r = refusal(&mut y, keeper, Some(who), into.clone());
        assert_eq!(r.code, "second-person-may-not");
    }
    let nobody = refusal(&mut y, keeper, Some(PersonId::new()), into.clone());
    assert_eq!(nobody.code, "not-found");
    y.with(keeper, second, into).unwrap();
    let event = y.events.last().unwrap();
    assert_eq!(event.fields["second"], second.to_string());
    let name = &y.stage.state.people[&second].name;
    assert_eq!(event.field_str("second_name"), Some(name.as_str()));
    // Out again, and by a release: not alone either.
    let out = fetch(shelved);
    assert_eq!(
        refusal(&mut y, keeper, None, out.clone()).code,
        "second-person-missing"
    );
    let mut lend = release(shelved, y.people.tech);
    if let Act::Release(x) = &mut lend {
        x.due_at = Some((y.now + chrono::Duration::days(3)).fixed_offset());
        x.unsealed_reason = Some("for photographs".into());
    }
    assert_eq!(
        refusal(&mut y, keeper, None, lend.clone()).code,
        "second-person-missing"
    );
    // Out of the cage onto an open shelf is taking out, too.
    let off = Act::Store(store(shelved, y.things.shelf));
    assert_eq!(
        refusal(&mut y, keeper, None, off).code,
        "second-person-missing"
    );
    let codes = [y.things.shelved];
    let off = many(&y, y.things.shelf, &codes);
    assert_eq!(
        refusal(&mut y, keeper, None, off.clone()).code,
        "second-person-missing"
    );
    y.with(keeper, supervisor, off).unwrap();
    y.with(keeper, second, Act::Store(store(shelved, y.things.cage)))
        .unwrap();
    y.with(second, keeper, lend).unwrap();
    // Nothing else has a second person.
    let cage = set_capacity(y.things.cage, Some(3));
    let r = refusal(&mut y, keeper, Some(second), cage);
    assert_eq!(
        (r.code.as_str(), r.field.as_deref()),
        ("bad-value", Some("beside"))
    );
}

#[test]
fn the_mark_is_the_supervisors_and_signed() {
    let mut y = Yard::new();
    let (keeper, supervisor) = (y.people.custodian, y.people.supervisor);
    let (cage, shelf) = (y.things.cage, y.things.shelf);
    assert_eq!(y.refused(keeper, two_person(shelf, true)), "role-may-not");
    assert_eq!(y.refused(supervisor, two_person(cage, true)), "bad-value");
    y.act(supervisor, two_person(cage, false)).unwrap();
    assert_eq!(y.refused(supervisor, two_person(cage, false)), "bad-value");
    let shelved = Piece::Item(y.things.shelved);
    y.act(keeper, Act::Store(store(shelved, cage))).unwrap();
    assert!(!y.events.last().unwrap().fields.contains_key("second"));
}

#[test]
fn an_import_fills_no_place_beyond_its_room_and_none_for_two_people() {
    let mut y = Yard::new();
    let row = |row: u32, place: &str| ImportRow {
        row: row.into(),
        item: ItemId::new(),
        case: "HC-26-0117".into(),
        case_title: String::new(),
        former: format!("old {row}"),
        description: "cast of a heel".into(),
        form: "cast".into(),
        medium: String::new(),
        method: String::new(),
        object: String::new(),
        place: place.into(),
        holder: String::new(),
        container: String::new(),
        seal: String::new(),
        received_on: None,
        note: String::new(),
    };
    let act = |rows: Vec<ImportRow>| {
        Act::Import(Import {
            file: "old.csv".into(),
            digest: Digest([1; 32]),
            rows,
        })
    };
    let keeper = y.people.custodian;
    let three = vec![row(1, "Bin 4-2"), row(2, "Bin 4-2"), row(3, "Bin 4-2")];
    let r = refusal(&mut y, keeper, None, act(three.clone()));
    assert_eq!(r.lines.len(), 1);
    assert_eq!(
        (r.lines[0].line, r.lines[0].code.as_str()),
        (3, "place-full")
    );
    let r = refusal(&mut y, keeper, None, act(vec![row(4, "Cage shelf")]));
    assert_eq!(r.lines[0].code, "second-person-missing");
    // What an import makes follows from its rows, so a store is asked how many events it has: none.
    while let Err(missing) = y.act(keeper, act(three[..2].to_vec())) {
        assert!(matches!(missing, StageError::CountMissing(_)), "{missing}");
        for subject in y.stage.missing().to_vec() {
            y.stage.count(subject, 0);
        }
    }
    assert_eq!(at(&y, y.things.free_bin).standing, 2);
    counted(&y.stage.state);
}
