//! Connections that fall silent while they go back to where the next caller takes them from: each is replaced.

use std::time::Duration;

use futures_util::future::join_all;
use liftledger::store::{Address, PostgresStore, Reads as _, Store as _};
use tokio::time::timeout;

use super::Place;
use super::cluster::Cluster;
use super::line::Line;

/// More than one connection can hold anybody up.
const SOON: Duration = Duration::from_secs(20);
/// As many as read at once.
const MANY: usize = 8;

#[tokio::test(flavor = "multi_thread")]
async fn connections_that_fall_silent_on_their_way_back_are_replaced() {
    let cluster = Cluster::shared();
    let place = Place::new().await;
    let line = Line::to(cluster.port());
    let direct = cluster.address(&place.database);
    let far = direct.replace(
        &format!(":{}/", cluster.port()),
        &format!(":{}/", line.port),
    );
    let address: Address = far.parse().unwrap();
    let store = PostgresStore::open(&address).await.unwrap();

    line.deaf(true);
    for turn in 0..3 {
        let written = async {
            let mut tx = store.begin().await?;
            tx.head().await?;
            tx.rollback().await
        };
        let done = timeout(SOON, written).await;
        assert_eq!(done.ok(), Some(Ok(())), "turn {turn} to append");
    }
    for turn in 0..2 {
        let read = join_all((0..MANY).map(|_| store.head()));
        let done = timeout(SOON, read).await;
        let heads = done.unwrap_or_else(|_| panic!("turn {turn} to read"));
        assert!(heads.iter().all(Result::is_ok), "{heads:?}");
    }
    line.deaf(false);

    // Whoever listens is not behind the one whose line fell silent.
    let heard = store.listen().await.unwrap();
    line.forget();
    drop(heard);
    let again = timeout(SOON, store.listen()).await;
    assert!(matches!(again, Ok(Ok(Some(_)))));
    drop(again);

    let closed = timeout(SOON, store.close()).await;
    assert!(closed.is_ok(), "it waits for a connection that is no more");
}
