//! Places that take so much, on SQLite.

use liftledger::app::house::House;

use super::narrow;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_shelf_takes_what_it_takes_and_old_records_are_brought_up() {
    let dir = tempfile::tempdir().unwrap();
    let house = House::open_or_begin(dir.path(), "ledger.example/narrow")
        .await
        .unwrap();
    narrow::tell(&house, &house).await;
    assert_eq!(narrow::age(&house).await, 4);
    house.close().await;
    let house = House::open(dir.path()).await.unwrap();
    narrow::young(&house).await;
    house.close().await;
}
