//! The machine's clock jumps, both ways: the ledger's own time never runs backwards, nothing acknowledged is lost, and the whole
//! database verifies.

use std::sync::Arc;

use chrono::{DateTime, Duration, TimeZone as _, Utc};
use liftledger::app::audit::audit;
use liftledger::app::house::House;
use liftledger::app::reader::opened;
use liftledger::clock::TestClock;
use liftledger::custody::{Act, case, person};
use liftledger::ids::{PersonId, Subject};
use liftledger::ledger::times;
use liftledger::people::Role;

use super::boatyard::act;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_clock_that_jumps_loses_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let begun = Utc.with_ymd_and_hms(2031, 5, 1, 8, 0, 0).unwrap();
    let clock = Arc::new(TestClock::at(begun));
    let house = House::begin_at(dir.path(), "ledger.example/harrow-cove", clock.clone())
        .await
        .unwrap();
    let mut people = Vec::new();
    for (user, role) in [("ivo", Role::Administrator), ("tess", Role::Technician)] {
        let add = person::AddPerson {
            user_name: user.into(),
            name: user.into(),
            number: "N-1".into(),
            roles: [role].into(),
        };
        let by: Option<PersonId> = people.first().copied();
        let made = act(&house, by, None, Act::AddPerson(add)).await.unwrap();
        let Some(Subject::Person(id)) = made.created else {
            panic!("no person")
        };
        people.push(id);
    }
    // An hour on, ten years back, thirty years on, back to the epoch, a second on: each twice, and far enough apart.
    let jumps = [
        Duration::hours(1),
        Duration::days(-3_650),
        Duration::days(10_950),
        Duration::days(-25_000),
        Duration::seconds(1),
    ];
    let mut acknowledged = Vec::new();
    for (n, jump) in jumps.iter().chain(&jumps).enumerate() {
        clock.advance(*jump);
        let open = case::OpenCase {
            number: format!("HC-31-{n:04}"),
            title: "while the clock jumps".into(),
            offence: String::new(),
        };
        let done = act(&house, Some(people[1]), None, Act::OpenCase(open)).await;
        acknowledged.push((n, done.unwrap().seq));
    }
    let mut last: Option<DateTime<Utc>> = None;
    for (n, seq) in acknowledged {
        let event = opened(house.store.event(seq).await.unwrap().unwrap()).unwrap();
        let number = format!("HC-31-{n:04}");
        assert_eq!(event.field_str("number"), Some(number.as_str()));
        let at = times::parse_recorded(&event.header.recorded_at).unwrap();
        assert!(last.is_none_or(|before| before <= at), "{last:?} {at}");
        last = Some(at);
    }
    assert!(last > Some(begun + Duration::days(7_000)));
    let found = audit(house.store.as_ref(), &house.verifying, &[], |_| {})
        .await
        .unwrap();
    assert!(found.is_clean(), "{found:?}");
}
