//! The demo: the story is told by the rules, and has in it what pages are to show.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::BufReader;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use liftledger::app::audit::audit;
use liftledger::app::demo::{self, Demo, DemoError, SignIn};
use liftledger::app::house::House;
use liftledger::clock::TestClock;
use liftledger::custody::State;
use liftledger::custody::fact::Fact;
use liftledger::custody::hand_over::Condition;
use liftledger::custody::state::Holder;
use liftledger::ids::{PersonId, Piece};
use liftledger::imaging::probe::probe;
use liftledger::ledger::event::Event;
use liftledger::ledger::payload::Salt;
use liftledger::ledger::times;
use liftledger::people::{Role, password};
use liftledger::store::RAW_MAX;
use liftledger::trade::retention::SCHEDULE;
use tempfile::TempDir;

struct Told {
    _dir: TempDir,
    house: House,
    demo: Demo,
    events: Vec<(Event, Fact)>,
    state: State,
}

async fn told() -> Told {
    let dir = tempfile::tempdir().unwrap();
    let (house, demo) = demo::begin(&dir.path().join("demo")).await.unwrap();
    let raw = house.store.events(i64::MIN, RAW_MAX).await.unwrap();
    let events: Vec<(Event, Fact)> = raw
        .into_iter()
        .map(|e| {
            let salt = Salt(e.salt.unwrap().try_into().unwrap());
            let event = Event::open(e.header.unwrap(), salt, &e.fields.unwrap()).unwrap();
            let fact = Fact::from_fields(&event.header.kind, &event.fields).unwrap();
            (event, fact)
        })
        .collect();
    let (state, stuck) = liftledger::app::replay(events.iter().map(|(e, _)| e));
    assert_eq!(stuck, []);
    Told {
        _dir: dir,
        house,
        demo,
        events,
        state,
    }
}

impl Told {
    fn person(&self, user_name: &str) -> PersonId {
        self.demo.people[user_name].id
    }

    fn facts(&self) -> impl Iterator<Item = &Fact> {
        self.events.iter().map(|(_, f)| f)
    }
}

/// One loading for all that only looks: drawing the pictures takes most of the time.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_story_is_told_whole_and_by_the_rules() {
    let begun = Utc::now();
    let told = told().await;
    clean(&told).await;
    times_lie_behind(&told, begun);
    people(&told).await;
    media_and_marks(&told);
    pictures(&told);
    broken_histories(&told);
    what_waits(&told);
    restricted(&told);
    room(&told);
    again(&told).await;
    told.house.close().await;
}

async fn clean(told: &Told) {
    let found = audit(
        told.house.store.as_ref(),
        &told.house.verifying,
        &[],
        |_| {},
    )
    .await
    .unwrap();
    assert!(found.is_clean(), "{found:?}");
    let agency = told.house.agency().await.unwrap();
    assert!(agency.name.contains("Hollin Reach") && agency.name.contains("invented"));
    assert!(told.events.len() > 250, "{}", told.events.len());
}

fn times_lie_behind(told: &Told, begun: DateTime<Utc>) {
    let mut last = DateTime::<Utc>::MIN_UTC;
    for (event, _) in &told.events {
        let recorded = times::parse_recorded(&event.header.recorded_at).unwrap();
        let claimed = times::parse_claimed(&event.header.claimed_at).unwrap();
        assert!(recorded < begun && claimed.with_timezone(&Utc) < begun);
        assert!(
            recorded >= last,
            "time ran backwards at {}",
            event.header.seq
        );
        last = recorded;
    }
    let first = times::parse_recorded(&told.events[0].0.header.recorded_at).unwrap();
    assert!(begun - first > TimeDelta::days(20) && begun - last < TimeDelta::hours(1));
    // Entered late, with a reason, and the claimed time kept apart from the observed one.
    let late: Vec<&Event> = told
        .events
        .iter()
        .map(|(e, _)| e)
        .filter(|e| e.fields.contains_key("late_reason"))
        .collect();
    assert_eq!(late.len(), 1);
    let at = |text: &str| DateTime::parse_from_rfc3339(text).unwrap();
    let header = &late[0].header;
    assert_eq!(header.kind, "custody.received");
    assert!(at(&header.recorded_at) - at(&header.claimed_at) > TimeDelta::hours(12));
}

async fn people(told: &Told) {
    assert_eq!(told.demo.people.len(), 7);
    let roles: BTreeSet<Role> = told
        .demo
        .people
        .values()
        .flat_map(|p| p.roles.iter().copied())
        .collect();
    assert_eq!(roles.into_iter().collect::<Vec<_>>(), Role::ALL);
    let mut passwords = BTreeSet::new();
    for (user_name, person) in &told.demo.people {
        let subject = format!("person:{}", person.id);
        let row = told.house.store.credential(&subject).await.unwrap();
        let secret = &person.sign_in.password;
        assert!(
            password::verify(secret, Some(&row.unwrap().phc)),
            "{user_name}"
        );
        passwords.insert(secret);
        // No password has come into the ledger.
        for (event, _) in &told.events {
            assert!(
                !String::from_utf8(event.fields_bytes())
                    .unwrap()
                    .contains(secret.as_str())
            );
        }
    }
    assert_eq!(passwords.len(), 7);
}

fn media_and_marks(told: &Told) {
    let used: BTreeSet<&str> = told
        .state
        .items
        .values()
        .map(|i| i.recovered.medium.as_str())
        .collect();
    let all: BTreeSet<&str> = told
        .house
        .rules
        .media()
        .iter()
        .map(|m| m.id.as_str())
        .collect();
    assert_eq!(used, all);
    assert!(told.state.items.len() >= 10);
    // A story of good work: no warning about cards, set times or missing photographs. One lot had expired the day before.
    let mut expired = Vec::new();
    for item in told.state.items.values() {
        let (lot, others): (Vec<&String>, Vec<&String>) = item
            .recovered
            .warnings
            .iter()
            .partition(|w| w.contains("expired on"));
        assert_eq!(
            others,
            Vec::<&String>::new(),
            "{}",
            item.recovered.description
        );
        expired.extend(lot.iter().map(|_| item.recovered.lot.as_str()));
    }
    assert_eq!(expired, ["WG-3"]);
    let kit = |name: &str| &told.state.people[&told.demo.people[name].id].kit;
    assert!(kit("runa").len() > 5 && kit("tomasz").iter().all(|e| e.lot != "WG-3"));
    let open: Vec<&str> = told
        .state
        .marks
        .values()
        .filter(|m| m.items.is_empty())
        .map(|m| m.noted.texture.as_str())
        .collect();
    assert_eq!(open.len(), 2, "{open:?}");
    for mark in told.state.marks.values() {
        for word in [&mark.noted.texture, &mark.noted.curvature] {
            assert!(!word.is_empty());
        }
    }
}

fn pictures(told: &Told) {
    let mut reads = BTreeSet::new();
    let marks = told.state.marks.values().flat_map(|m| &m.images);
    let items = told.state.items.values().flat_map(|i| {
        // What is photographed at recovery is seen as the recovery says that it is.
        for image in &i.images {
            assert_eq!(
                (&image.view, &image.reads),
                (&i.recovered.view, &i.recovered.reads)
            );
        }
        &i.images
    });
    for image in marks.chain(items) {
        reads.insert((
            image.reads.as_str(),
            image.view.iter().any(|s| s.starts_with("light")),
        ));
        let path = told.house.originals.path(image.digest);
        let seen = probe(BufReader::new(File::open(path).unwrap())).unwrap();
        assert_eq!(seen.pixels, image.width.zip(image.height));
    }
    let wanted = [
        ("direct", false),
        ("direct", true),
        ("reversed", false),
        ("reversed", true),
    ];
    assert_eq!(reads, wanted.into());
    for mark in told.state.marks.values().filter(|m| !m.items.is_empty()) {
        assert!(!mark.images.is_empty(), "{}", mark.noted.object);
    }
}

fn broken_histories(told: &Told) {
    let gap = told.facts().find_map(|f| match f {
        Fact::ChargeTaken(x) => Some(x),
        _ => None,
    });
    assert_eq!(
        gap.unwrap().piece,
        Piece::Package(told.demo.packages["lamp-pack"])
    );
    let mismatch = told.facts().find_map(|f| match f {
        Fact::Received(x) if x.condition == Condition::Mismatch => Some(x),
        _ => None,
    });
    assert_ne!(mismatch.unwrap().seal, mismatch.unwrap().seal_seen);
    // Every way in which a thing can pass from hand to hand.
    for kind in [
        "custody.released",
        "custody.received",
        "custody.refused",
        "custody.withdrawn",
        "custody.handed-out",
        "custody.taken-back",
        "custody.charge-taken",
        "custody.stored",
        "custody.fetched",
        "package.opened",
        "package.taken-out",
        "package.put-in",
        "record.amended",
    ] {
        assert!(told.facts().any(|f| f.kind() == kind), "{kind}");
    }
    assert!(
        told.facts()
            .any(|f| matches!(f, Fact::Stored(x) if x.override_by.is_some()))
    );
}

fn what_waits(told: &Told) {
    let now = Utc::now().fixed_offset();
    let packages = told.state.packages.values();
    let packages = packages.map(|p| (Piece::Package(p.id), &p.custody));
    let items = told.state.items.values();
    let pieces = packages.chain(items.map(|i| (Piece::Item(i.id), &i.custody)));
    let (mut offers, mut overdue) = (Vec::new(), Vec::new());
    for (piece, custody) in pieces {
        offers.extend(custody.offer.as_ref().map(|o| (piece, o.to)));
        let due = custody.loan.as_ref().and_then(|l| l.due_at);
        if due.is_some_and(|due| due < now) {
            overdue.push((piece, custody.holder.clone()));
        }
    }
    let clamp = Piece::Package(told.demo.packages["clamp-pack"]);
    assert_eq!(offers, [(clamp, told.person("nour"))]);
    let soren = Holder::Person {
        person: told.person("soren"),
    };
    assert_eq!(
        overdue,
        [(Piece::Item(told.demo.items["prymark-item"]), soren)]
    );
}

fn restricted(told: &Told) {
    let case = &told.state.cases[&told.demo.cases["outboard"]];
    assert!(case.restricted);
    let seeing: BTreeSet<&str> = told
        .demo
        .people
        .iter()
        .filter(|(_, p)| case.seen_by(Some(p.id)))
        .map(|(name, _)| name.as_str())
        .collect();
    assert_eq!(seeing, ["milena", "nour", "tomasz"].into());
    assert!(!told.state.cases[&told.demo.cases["boatyard"]].restricted);
}

/// The custodian's room at work: what the rules kept, and no finding comes of it.
fn room(told: &Told) {
    let (state, demo) = (&told.state, &told.demo);
    let place = |name: &str| &state.places[&demo.places[name]];
    // How much a shelf takes, and what stands there: the box was fetched from A4 and the lift moved on.
    assert_eq!((place("a4").capacity, place("a4").standing), (Some(6), 0));
    assert_eq!(
        (place("v1").standing, place("strongroom").fill.things),
        (1, 1)
    );
    // Two people: the mark is on the room, the shelf is in it, and the event names both.
    assert_eq!(
        state.two_person(demo.places["v1"]).unwrap().id,
        demo.places["strongroom"]
    );
    let stored = told.facts().find_map(|f| match f {
        Fact::Stored(x) if x.place == demo.places["v1"] => Some(x),
        _ => None,
    });
    assert_eq!(stored.unwrap().second, Some(told.person("milena")));
    // The logger saw one excursion, while nothing stood in the freezer.
    let log = place("freezer").climate_log.as_ref().unwrap();
    assert_eq!(log.excursions.len(), 1);
    // The count found one thing on another shelf, and somebody who did not count resolved it.
    let count = state.counts.values().next().unwrap();
    assert_eq!((state.counts.len(), count.found.len()), (1, 1));
    let resolved = count.found[0].resolved.as_ref().unwrap();
    assert_eq!(resolved.by, Some(told.person("milena")));
    assert!(!count.counters.contains(&told.person("milena")));
    // A hold stands; and the box ended by three different people.
    let lift = &state.items[&demo.items["tackle-lift"]];
    assert_eq!(lift.holds.len(), 1);
    let boxed = &state.packages[&demo.packages["tackle-box-pack"]];
    let ended = boxed.custody.disposition.as_ref().unwrap();
    let done = ended.executed.as_ref().unwrap();
    let three: BTreeSet<PersonId> = [ended.by, done.by, done.witness].into();
    assert_eq!(three.len(), 3);
    assert!(matches!(boxed.custody.holder, Holder::Disposed { .. }));
}

async fn again(told: &Told) {
    let clock = TestClock::at(Utc::now());
    let refused = demo::load(&told.house, &clock, Utc::now()).await;
    assert!(matches!(refused, Err(DemoError::NotEmpty(n)) if n == told.events.len() as u64));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_can_be_told_just_after_midnight_too() {
    let dir = tempfile::tempdir().unwrap();
    let until: DateTime<Utc> = "2026-03-01T00:00:30Z".parse().unwrap();
    let clock = Arc::new(TestClock::at(until));
    let schedule = include_str!("../../seed/demo/retention.toml");
    std::fs::write(dir.path().join(SCHEDULE), schedule).unwrap();
    let house = House::begin_at(dir.path(), demo::ORIGIN, clock.clone())
        .await
        .unwrap();
    demo::load(&house, &clock, until).await.unwrap();
    assert!(liftledger::clock::Clock::now(clock.as_ref()) < until);
    house.close().await;
}

#[test]
fn the_list_of_sign_ins_is_read_as_it_was_written() {
    let dir = tempfile::tempdir().unwrap();
    assert!(demo::kept_sign_ins(dir.path()).is_err());
    let text = "# invented\nruna\tRúna Fjeldså\tT-014\ttechnician\tslate-gull-pier-cedar-07\nhalf a line\n";
    std::fs::write(dir.path().join(demo::SIGN_INS), text).unwrap();
    let runa = SignIn {
        user_name: "runa".into(),
        name: "Rúna Fjeldså".into(),
        number: "T-014".into(),
        roles: "technician".into(),
        password: "slate-gull-pier-cedar-07".into(),
    };
    assert_eq!(demo::kept_sign_ins(dir.path()).unwrap(), [runa]);
}
