//! Making the schema, and refusing one that is not ours.

use liftledger::store::{Reads, SqliteStore, Store, StoreError};
use sqlx::Executor;

use super::{Place, batch};

#[tokio::test]
async fn a_fresh_file_is_made_and_opened_again() {
    let place = Place::new().await;
    assert_eq!(
        place.store.head().await.unwrap(),
        liftledger::store::Head::default()
    );
    assert!(place.store.latest_checkpoint().await.unwrap().is_none());
    place.store.close().await;
    let again = SqliteStore::open(&place.file()).await.unwrap();
    assert_eq!(again.head().await.unwrap().size, 0);
    let mut raw = place.raw().await;
    let mode: String = sqlx::query_scalar("PRAGMA journal_mode")
        .fetch_one(&mut raw)
        .await
        .unwrap();
    assert_eq!(mode, "wal");
}

#[tokio::test]
async fn a_newer_schema_is_refused() {
    let place = Place::new().await;
    place.store.close().await;
    let mut raw = place.raw().await;
    let sql = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) \
               VALUES (99, 'from the future', TRUE, x'00', 0)";
    raw.execute(sql).await.unwrap();
    match SqliteStore::open(&place.file()).await {
        Err(StoreError::Refused(why)) => assert!(why.contains("99"), "{why}"),
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn a_changed_step_and_a_file_that_is_no_database_are_refused() {
    let place = Place::new().await;
    place.store.close().await;
    let mut raw = place.raw().await;
    raw.execute("UPDATE _sqlx_migrations SET checksum = x'00' WHERE version = 1")
        .await
        .unwrap();
    assert!(matches!(
        SqliteStore::open(&place.file()).await,
        Err(StoreError::Refused(_))
    ));

    let junk = place.folder.path().join("junk.db");
    std::fs::write(
        &junk,
        "this is a shopping list, not a database; ".repeat(100),
    )
    .unwrap();
    assert!(matches!(
        SqliteStore::open(&junk).await,
        Err(StoreError::Corrupt(_))
    ));
}

#[tokio::test]
async fn a_copy_is_whole() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    tx.append(batch(1, 20)).await.unwrap();
    tx.commit().await.unwrap();
    let copy = place.folder.path().join("copy.db");
    place.store.copy_to(&copy).await.unwrap();
    assert!(
        place.store.copy_to(&copy).await.is_err(),
        "an existing file is not overwritten"
    );
    let copied = SqliteStore::open(&copy).await.unwrap();
    assert_eq!(
        copied.events(0, 100).await.unwrap(),
        place.store.events(0, 100).await.unwrap()
    );
    assert!(copied.broken_guards().await.unwrap().is_empty());
}

/// A database of before lots were a column of their own: documents that are there get theirs when it is opened.
#[tokio::test]
async fn an_older_database_learns_its_lots() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    let mut docs = Vec::new();
    for (id, lot) in [("a", " lt-9 "), ("b", ""), ("c", "LT-9"), ("d", "  ")] {
        let mut doc = super::doc(&format!("item:{id}"), "item");
        doc.doc = format!(r#"{{"recovered":{{"medium":"lifting-tape","lot":"{lot}"}}}}"#);
        docs.push(doc);
    }
    docs.push(super::doc("mark:a", "mark"));
    tx.append(liftledger::store::Batch {
        docs,
        ..liftledger::store::Batch::default()
    })
    .await
    .unwrap();
    tx.commit().await.unwrap();
    place.store.close().await;
    let mut raw = place.raw().await;
    raw.execute(
        "DROP INDEX docs_lot; ALTER TABLE docs DROP COLUMN lot; DROP TABLE words; DELETE FROM _sqlx_migrations WHERE version IN (4, 6)",
    )
    .await
    .unwrap();
    drop(raw);
    let again = SqliteStore::open(&place.file()).await.unwrap();
    let filter = liftledger::store::DocFilter {
        lot: liftledger::custody::kit::lot_key("lifting-tape", "lt-9"),
        ..liftledger::store::DocFilter::default()
    };
    let found = again.list_docs(&filter).await.unwrap();
    let names: Vec<&str> = found.iter().map(|d| d.subject.as_str()).collect();
    assert_eq!(names, ["item:a", "item:c"]);
    let all = again
        .list_docs(&liftledger::store::DocFilter::default())
        .await
        .unwrap();
    assert_eq!(all.iter().filter(|d| d.lot.is_some()).count(), 2);
}

#[tokio::test]
async fn a_lot_is_found_by_its_index_and_in_its_order() {
    let place = Place::new().await;
    // SQLite's own words for how it will look.
    let plan = place
        .plan("SELECT * FROM docs WHERE 1 = 1 AND lot = 'a/B' AND subject > 'item:1' ORDER BY subject LIMIT 100")
        .await;
    assert_eq!(plan.len(), 1, "{plan:?}");
    assert!(
        plan[0].contains("docs_lot (lot=? AND subject>?)"),
        "{plan:?}"
    );
}
