//! What is brought to the counter, recorded through PostgreSQL: its rows, its words and its place in the ledger, and what is
//! refused leaves nothing.

use liftledger::app::audit::audit;
use liftledger::app::site::Site;
use liftledger::app::views::{find, item_file};
use liftledger::app::{RecordError, Viewer};
use liftledger::custody::Act;
use liftledger::custody::brought::{BringIn, NOT_WITNESSED};
use liftledger::custody::state::Holder;
use liftledger::ids::Subject;
use serde_json::json;

use super::cluster::Cluster;
use crate::boatyard::{Boatyard, act};

/// A lantern that somebody found, into the case of that number.
fn lantern(title: &str) -> Act {
    let fields = json!({"case": "FP-26-0001", "case_title": title, "origin": "found", "brought_by": "Ole Brandt",
        "description": "lantern, brass", "found_where": "under the jetty", "condition": "dented"});
    Act::BringIn(serde_json::from_value::<BringIn>(fields).unwrap())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_brought_to_the_counter_is_taken_in() {
    let cluster = Cluster::shared();
    let database = cluster.database().await;
    let folder = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(Site {
        folder: folder.path().join("ledger"),
        database: Some(cluster.address(&database).parse().unwrap()),
        originals: None,
    })
    .await;
    let store = b.house.store.as_ref();
    let size = store.head().await.unwrap().size;
    match act(&b.house, Some(b.custodian), None, lantern("")).await {
        Err(RecordError::Refused(r)) => assert_eq!(r.code, "bad-text"),
        other => panic!("{other:?}"),
    }
    assert_eq!(store.head().await.unwrap().size, size);

    let recorded = act(&b.house, Some(b.custodian), None, lantern("Found property"))
        .await
        .unwrap();
    // The case, the counter, the item; a second thing needs its own event only.
    assert_eq!(recorded.count, 3);
    let Some(Subject::Item(item)) = recorded.created else {
        panic!("{recorded:?}");
    };
    let second = act(&b.house, Some(b.custodian), None, lantern(""))
        .await
        .unwrap();
    assert_eq!(second.count, 1);

    let viewer = Viewer::operator();
    let reader = b.house.reader(&viewer);
    let held = reader.item(item).await.unwrap();
    let person = b.custodian;
    assert_eq!(held.custody.holder, Holder::Person { person });
    assert_eq!(held.brought.unwrap().taken_in_by, person);
    let file = item_file::load(&reader, item).await.unwrap();
    assert_eq!((file.case.number.as_str(), file.number), ("FP-26-0001", 1));
    let told = file.findings.iter().find(|f| f.code == "legacy-history");
    assert!(told.unwrap().sentence.contains(NOT_WITNESSED));
    let found = find::find(&reader, "lantern", 10).await.unwrap();
    // Each thing and the mark that it is of.
    let items = found.hits.iter().map(|h| h.subject);
    let items: Vec<Subject> = items.filter(|s| matches!(s, Subject::Item(_))).collect();
    assert!(items.contains(&Subject::Item(item)), "{items:?}");
    assert_eq!((items.len(), found.hits.len()), (2, 4), "{found:?}");
    let audit = audit(store, &b.house.verifying, &[], |_| {}).await.unwrap();
    assert!(audit.is_clean(), "{audit:?}");
    b.house.close().await;
}
