//! SQLite to a backup to PostgreSQL to a backup to SQLite: the same tree head, the same bytes of a custody report.

use std::path::Path;

use liftledger::app::backup::{self, Asked, BackupError, Source};
use liftledger::app::demo;
use liftledger::app::house::House;
use liftledger::app::papers::Layout;
use liftledger::app::papers::report::compose;
use liftledger::app::site::Site;
use liftledger::app::{Viewer, audit};
use liftledger::ids::{CommandId, Subject};

use super::cluster::Cluster;

const PHRASE: &str = "a kedge anchor, two oars, no wind";

async fn what(house: &House, of: Subject) -> (String, Vec<u8>) {
    let viewer = Viewer::operator();
    let now = "2031-05-01T08:00:00Z".parse().unwrap();
    let reader = house.reader(&viewer);
    let id = CommandId(uuid::Uuid::from_u128(7));
    let drawn = compose(&reader, of, &Layout::default(), id, now, |_, _| {})
        .await
        .unwrap();
    let note = house.store.latest_checkpoint().await.unwrap().unwrap().note;
    (note, drawn.bytes)
}

async fn through(site: &Site, folder: &Path, to: &Site) {
    let source = Source::open(site).await.unwrap();
    let made = backup::make(&source, folder, Some(PHRASE), |_| {})
        .await
        .unwrap();
    source.close().await;
    assert!(made.without.is_empty() && made.events > 250);
    let asked = Asked::default();
    backup::restore(folder, to, &asked, Some(PHRASE), |_| {})
        .await
        .unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn from_one_database_to_the_other_and_back() {
    let cluster = Cluster::shared();
    let database = cluster.database().await;
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    let first = Site::from(&at("first"));
    let (house, told) = demo::begin(&first).await.unwrap();
    let case = Subject::Case(told.cases["boatyard"]);
    let before = what(&house, case).await;
    house.close().await;
    let second = Site {
        folder: at("second"),
        database: Some(cluster.address(&database).parse().unwrap()),
        originals: None,
    };
    through(&first, &at("backup-1"), &second).await;
    assert!(!second.folder.join("ledger.db").exists());
    let house = House::open(&second).await.unwrap();
    assert!(
        what(&house, case).await == before,
        "PostgreSQL has it otherwise"
    );
    let found = audit::audit(house.store.as_ref(), &house.verifying, &[], |_| {})
        .await
        .unwrap();
    assert!(found.is_clean(), "{found:?}");
    house.close().await;
    let third = Site::from(&at("third"));
    through(&second, &at("backup-2"), &third).await;
    let house = House::open(&third).await.unwrap();
    assert!(
        what(&house, case).await == before,
        "SQLite has it otherwise"
    );
    house.close().await;
    // The lists name the same bytes.
    let events = |name: &str| {
        let text = std::fs::read_to_string(at(name).join(backup::LIST)).unwrap();
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        (
            json["segments"].clone(),
            json["around"]["credentials"]["sha256"].clone(),
        )
    };
    assert_eq!(events("backup-1"), events("backup-2"));
    // A database that is not empty is not written over.
    let other = Site {
        folder: at("fourth"),
        ..second
    };
    let done = backup::restore(
        &at("backup-1"),
        &other,
        &Asked::default(),
        Some(PHRASE),
        |_| {},
    )
    .await;
    assert!(matches!(done, Err(BackupError::NotEmpty(_))), "{done:?}");
}
