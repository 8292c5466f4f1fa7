//! Places that take so much and places for two people, told to one server or to two on one database; and records of an older
//! version brought up to this one.
#![allow(dead_code)]

use liftledger::app::audit::audit;
use liftledger::app::house::House;
use liftledger::app::views::room;
use liftledger::app::{RecordError, Recorded, Sent, Viewer};
use liftledger::custody::capacity::SetCapacity;
use liftledger::custody::import::{Import, ImportRow};
use liftledger::custody::place::{AddPlace, PlaceKind, Store};
use liftledger::custody::state::Place;
use liftledger::custody::two_person::MarkTwoPerson;
use liftledger::custody::{Act, Command, Signed, person};
use liftledger::ids::{Digest, ItemId, PersonId, Piece, PlaceId, Subject};
use liftledger::ledger::event::Source;
use liftledger::people::Role;
use liftledger::store::Batch;

async fn send(
    house: &House,
    who: PersonId,
    beside: Option<PersonId>,
    act: Act,
) -> Result<Recorded, RecordError> {
    let command = Command::now(act);
    let sent = Sent {
        person: Some(who),
        signed: Signed::Password,
        beside,
        source: Source::Desk,
        command,
    };
    house.recorder.record(sent).await
}

async fn must(house: &House, who: PersonId, act: Act) -> Subject {
    let done = send(house, who, None, act).await.unwrap();
    done.created.unwrap_or(Subject::Person(who))
}

fn store(item: ItemId, place: PlaceId) -> Act {
    Act::Store(Store {
        piece: Piece::Item(item),
        place,
        overridden: None,
        unsealed_reason: Some("it came so".into()),
    })
}

async fn place(house: &House, id: PlaceId) -> Place {
    let viewer = Viewer::operator();
    house.reader(&viewer).place(id).await.unwrap()
}

fn code(answer: &Result<Recorded, RecordError>) -> String {
    match answer {
        Ok(_) => String::new(),
        Err(RecordError::Refused(r)) => format!("{}: {}", r.code, r.next),
        Err(e) => panic!("{e}"),
    }
}

/// Twenty people at two counters put something onto one shelf that takes five.
pub async fn tell(a: &House, b: &House) {
    let (admin, _) = a
        .add_administrator("ivo", "Ivo Tarn", "A-001", "slipway lantern 42")
        .await
        .unwrap();
    let mut people = Vec::new();
    for (user_name, role) in [
        ("nour", Role::Custodian),
        ("ada", Role::Custodian),
        ("milena", Role::Supervisor),
    ] {
        let add = person::AddPerson {
            user_name: user_name.into(),
            name: user_name.into(),
            number: "N-1".into(),
            roles: [role].into(),
        };
        match must(a, admin, Act::AddPerson(add)).await {
            Subject::Person(id) => people.push(id),
            other => panic!("{other}"),
        }
    }
    let [nour, ada, milena] = people[..] else {
        panic!()
    };
    let mut places = Vec::new();
    for (name, parent) in [
        ("Rack", None),
        ("Shelf 1", Some(0)),
        ("Shelf 2", Some(0)),
        ("Cage", None),
    ] {
        let add = AddPlace {
            name: name.into(),
            kind: PlaceKind::Shelf,
            parent: parent.map(|at: usize| places[at]),
            climate: "room-temperature".into(),
            damp: false,
            lit: false,
            hot: false,
            dusty: false,
            on_edge: false,
            stacked: false,
            biohazard_marked: false,
        };
        match must(a, nour, Act::AddPlace(add)).await {
            Subject::Place(id) => places.push(id),
            other => panic!("{other}"),
        }
    }
    let [rack, first, second, cage] = places[..] else {
        panic!()
    };
    for (place, takes) in [(first, 5), (second, 30)] {
        let set = SetCapacity {
            place,
            capacity: Some(takes),
        };
        must(a, nour, Act::SetCapacity(set)).await;
    }
    let items: Vec<ItemId> = (0..20).map(|_| ItemId::new()).collect();
    let rows = items.iter().zip(1..).map(|(item, row)| ImportRow {
        row,
        item: *item,
        case: "OLD-1".into(),
        case_title: String::new(),
        former: format!("old {row}"),
        description: "cast of a heel".into(),
        form: "cast".into(),
        medium: String::new(),
        method: String::new(),
        object: String::new(),
        place: String::new(),
        holder: String::new(),
        container: String::new(),
        seal: String::new(),
        received_on: None,
        note: String::new(),
    });
    let import = Import {
        file: "old.csv".into(),
        digest: Digest([1; 32]),
        rows: rows.collect(),
    };
    must(a, nour, Act::Import(import)).await;

    // All at once, half of them by the other server: the writer decides, and five find room.
    let all = items.iter().enumerate().map(|(i, item)| {
        let house = if i % 2 == 0 { a } else { b };
        send(house, nour, None, store(*item, first))
    });
    let answers = futures_util::future::join_all(all).await;
    let there = answers.iter().filter(|r| r.is_ok()).count();
    assert_eq!(there, 5);
    for refused in answers.iter().filter(|r| r.is_err()) {
        assert_eq!(
            code(refused),
            "place-full: Another place near by with room: Shelf 2 (0 of 30)."
        );
    }
    assert_eq!(place(a, first).await.standing, 5);
    let fill = place(b, rack).await.fill;
    assert_eq!((fill.things, fill.counted, fill.room), (5, 5, 35));

    // Two people, on either server.
    let mark = MarkTwoPerson {
        place: cage,
        two_person: true,
        reason: "sought after".into(),
    };
    must(b, milena, Act::MarkTwoPerson(mark)).await;
    let on_shelf = items
        .iter()
        .zip(&answers)
        .find_map(|(item, r)| r.is_ok().then_some(*item))
        .unwrap();
    let into = store(on_shelf, cage);
    let alone = send(a, nour, None, into.clone()).await;
    assert!(code(&alone).starts_with("second-person-missing"));
    let same = send(a, nour, Some(nour), into.clone()).await;
    assert!(code(&same).starts_with("second-person-may-not"));
    send(b, nour, Some(ada), into).await.unwrap();
    assert_eq!(place(a, first).await.standing, 4);
    assert_eq!(place(a, cage).await.standing, 1);

    // The room in figures.
    let viewer = Viewer::operator();
    let shown = room::load(&a.reader(&viewer), None).await.unwrap();
    let said: Vec<_> = shown
        .occupancy
        .places
        .iter()
        .map(|p| (p.name.as_str(), p.things, p.room, p.has_places))
        .collect();
    assert_eq!(
        said,
        [("Cage", Some(1), 0, false), ("Rack", Some(4), 35, true)]
    );
    let within = room::load(&a.reader(&viewer), Some(rack)).await.unwrap();
    let said: Vec<_> = within
        .occupancy
        .places
        .iter()
        .map(|p| p.words.as_str())
        .collect();
    assert_eq!(said, ["4 of 35", "4 of 5", "0 of 30"]);

    let found = audit(a.store.as_ref(), &a.verifying, &[], |_| {})
        .await
        .unwrap();
    assert!(found.is_clean(), "{found:?}");
}

/// Takes from the records of places what a version before did not keep, as an upgrade finds them.
pub async fn age(house: &House) -> usize {
    let filter = liftledger::store::DocFilter {
        kind: Some("place".into()),
        ..Default::default()
    };
    let mut docs = house.store.list_docs(&filter).await.unwrap();
    for row in &mut docs {
        let mut doc: serde_json::Value = serde_json::from_str(&row.doc).unwrap();
        doc.as_object_mut().unwrap().remove("standing");
        doc.as_object_mut().unwrap().remove("fill");
        row.doc = doc.to_string();
        row.inside = None;
    }
    let changed = docs.len();
    let mut tx = house.store.begin().await.unwrap();
    tx.append(Batch {
        docs,
        ..Batch::default()
    })
    .await
    .unwrap();
    tx.commit().await.unwrap();
    house.store.set_setting("records", "1").await.unwrap();
    changed
}

/// The records of an opened ledger are those that a replay makes.
pub async fn young(house: &House) {
    let found = audit(house.store.as_ref(), &house.verifying, &[], |_| {})
        .await
        .unwrap();
    assert!(found.is_clean(), "{found:?}");
    let viewer = Viewer::operator();
    let shown = room::load(&house.reader(&viewer), None).await.unwrap();
    let things: Vec<_> = shown.occupancy.places.iter().map(|p| p.things).collect();
    assert_eq!(things, [Some(1), Some(4)]);
}
