//! Places that take so much, told by two servers on one database; and the custodian's room of the demo as PostgreSQL has it.

use std::collections::BTreeSet;

use liftledger::app::Viewer;
use liftledger::app::demo;
use liftledger::app::house::House;
use liftledger::app::site::Site;
use liftledger::app::views::{climate_log_file::ClimateLogFile, count_file, place_file, room};
use liftledger::app::{Part, views};
use liftledger::store::RAW_MAX;

use super::cluster::Cluster;
use crate::narrow;

fn site(folder: &std::path::Path, address: &str) -> Site {
    Site {
        folder: folder.join("ledger"),
        database: Some(address.parse().unwrap()),
        originals: None,
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_servers_fill_a_shelf_to_its_end_and_not_beyond() {
    let cluster = Cluster::shared();
    let database = cluster.database().await;
    let folder = tempfile::tempdir().unwrap();
    let site = site(folder.path(), &cluster.address(&database));
    let a = House::open_or_begin(&site, "ledger.example/narrow")
        .await
        .unwrap();
    let b = House::open(&site).await.unwrap();
    narrow::tell(&a, &b).await;
    assert_eq!(narrow::age(&a).await, 4);
    a.close().await;
    b.close().await;
    let a = House::open(&site).await.unwrap();
    narrow::young(&a).await;
    a.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_room_of_the_demo_is_told_and_read() {
    let cluster = Cluster::shared();
    let database = cluster.database().await;
    let folder = tempfile::tempdir().unwrap();
    let site = site(folder.path(), &cluster.address(&database));
    let (house, demo) = demo::begin(&site).await.unwrap();
    // Every act of the room went through this database's writer.
    let raw = house.store.events(1, RAW_MAX).await.unwrap();
    let headers: String = raw
        .into_iter()
        .map(|e| String::from_utf8(e.header.unwrap()).unwrap())
        .collect();
    for kind in [
        "place.capacity-set",
        "place.two-person-marked",
        "place.climate-logged",
        "count.begun",
        "count.scanned",
        "count.ended",
        "count.differs",
        "count.resolved",
        "hold.placed",
        "case.retention-set",
        "disposition.authorised",
        "disposition.executed",
        "disposition.witnessed",
    ] {
        assert!(headers.contains(&format!("\"{kind}\"")), "{kind}");
    }
    // Of several seal numbers those that were used are told.
    let asked = ["HR-004162", "HR-004161", "HR-009999"].map(str::to_owned);
    let used = house.store.seals(&asked).await.unwrap();
    let used: std::collections::BTreeSet<&str> = used.iter().map(|r| r.number.as_str()).collect();
    assert_eq!(used, ["HR-004161", "HR-004162"].into());
    let viewer = Viewer::operator();
    let reader = house.reader(&viewer);
    // The count, and that nobody but its resolver's name stands beside its one difference.
    let counts = reader.counts(None, &Part::default()).await.unwrap();
    assert_eq!(counts.rows.len(), 1);
    let count = count_file::load(&reader, counts.rows[0].id).await.unwrap();
    assert!(!count.is_open && count.differences.len() == 1);
    assert!(count_file::unresolved(&reader).await.unwrap().is_empty());
    // The logger's excursion.
    let freezer = demo.places["freezer"];
    let file = place_file::load(&reader, freezer, &Part::default())
        .await
        .unwrap();
    let log: &ClimateLogFile = file.climate_log.as_ref().unwrap();
    assert_eq!((log.count, log.readings), (1, 7));
    // The hold keeps the lift; the box is gone by three people, and stands in no list of what is there.
    let case = demo.cases["tackle"];
    let lines = views::eligible::items(&reader, case, &Part::default())
        .await
        .unwrap();
    assert_eq!(lines.rows.len(), 2);
    let boxed = reader
        .package(demo.packages["tackle-box-pack"])
        .await
        .unwrap();
    let ended = boxed.custody.disposition.unwrap();
    let done = ended.executed.unwrap();
    assert_eq!(BTreeSet::from([ended.by, done.by, done.witness]).len(), 3);
    // The pictures: what is out and late, and what is told of the place for two people.
    let shown = room::load(&reader, None).await.unwrap();
    assert_eq!(shown.overdue.count, 1);
    assert!(shown.to_shelf.count > 10 && !shown.to_shelf.median.is_empty());
    assert!(shown.findings.count >= demo::PLANTED.len());
    let v1 = place_file::load(&reader, demo.places["v1"], &Part::default())
        .await
        .unwrap();
    assert_eq!(v1.standing_words, "1 of 20");
    assert_eq!(v1.two_person.unwrap().id, demo.places["strongroom"]);
    house.close().await;
}
