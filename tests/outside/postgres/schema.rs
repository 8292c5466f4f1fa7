//! Making the schema, and refusing one that is not ours.

use liftledger::store::{PostgresStore, Reads, Store, StoreError};
use sqlx::Executor;

use super::Place;
use super::cluster::Cluster;

#[tokio::test]
async fn it_is_made_once_and_opened_again() {
    let cluster = Cluster::shared();
    let database = cluster.database().await;
    let address = cluster.address(&database).parse().unwrap();
    assert!(PostgresStore::find(&address).await.unwrap().is_none());
    // Four servers begin at the same moment.
    let all: Vec<_> = (0..4)
        .map(|_| {
            let address = cluster.address(&database).parse().unwrap();
            tokio::spawn(async move { PostgresStore::open(&address).await })
        })
        .collect();
    for one in all {
        let store = one.await.unwrap().unwrap();
        assert_eq!(
            store.head().await.unwrap(),
            liftledger::store::Head::default()
        );
        store.close().await;
    }
    let again = PostgresStore::find(&address).await.unwrap().unwrap();
    assert!(again.latest_checkpoint().await.unwrap().is_none());
    assert!(again.broken_guards().await.unwrap().is_empty());
}

async fn steps(raw: &mut sqlx::PgConnection) -> i64 {
    sqlx::query_scalar("SELECT count(*) FROM _sqlx_migrations")
        .fetch_one(raw)
        .await
        .unwrap()
}

#[tokio::test]
async fn a_newer_schema_is_refused_and_left_as_it_is() {
    let place = Place::new().await;
    let mut raw = place.raw().await;
    let before = steps(&mut raw).await;
    let sql = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) \
               VALUES (99, 'from the future', TRUE, '\\x00', 0)";
    raw.execute(sql).await.unwrap();
    for opened in [
        PostgresStore::open(&place.address()).await.map(drop),
        PostgresStore::find(&place.address()).await.map(drop),
    ] {
        match opened {
            Err(StoreError::Refused(why)) => {
                assert!(why.contains("99") && why.contains("newer"), "{why}")
            }
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(steps(&mut raw).await, before + 1);
}

#[tokio::test]
async fn a_changed_step_and_another_encoding_are_refused() {
    let place = Place::new().await;
    let mut raw = place.raw().await;
    raw.execute("UPDATE _sqlx_migrations SET checksum = '\\x00' WHERE version = 1")
        .await
        .unwrap();
    let opened = PostgresStore::open(&place.address()).await;
    assert!(matches!(opened, Err(StoreError::Refused(_))), "{opened:?}");

    let cluster = Cluster::shared();
    cluster
        .sql(
            "postgres",
            "CREATE DATABASE latin ENCODING 'LATIN1' TEMPLATE template0",
        )
        .await;
    let address = cluster.address("latin").parse().unwrap();
    match PostgresStore::open(&address).await {
        Err(StoreError::Refused(why)) => assert!(why.contains("UTF8"), "{why}"),
        other => panic!("{other:?}"),
    }
}

/// A server that is held up holds the others up for a while, not for ever.
#[tokio::test]
async fn waiting_for_the_lock_ends() {
    let place = Place::new().await;
    let again = place.again().await;
    let tx = again.begin().await.unwrap();
    let begun = std::time::Instant::now();
    let second = place.store.begin().await.map(drop);
    assert!(matches!(second, Err(StoreError::Database(_))), "{second:?}");
    assert!(begun.elapsed() > std::time::Duration::from_secs(5));
    tx.rollback().await.unwrap();
    assert!(place.store.begin().await.is_ok());
}
