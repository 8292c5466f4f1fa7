//! Two servers on one database: what is recorded through one shows on a desk that is looked at through the other, by the
//! database's notices (www.postgresql.org/docs/current/sql-notify.html: sent when the transaction commits), and without
//! them by reading the head.

use std::time::Duration;

use sqlx::Connection as _;

use super::cluster::Cluster;
use super::crash::County;
use crate::load::{SECRET, receive, release};
use crate::served::{Answer, Notes, Visit};

/// By a notice it comes within the two seconds between two looks; by reading the head alone after up to fifteen more.
const BY_NOTICE: Duration = Duration::from_secs(8);

#[test]
fn what_one_server_records_shows_on_a_desk_at_the_other() {
    let cluster = Cluster::shared();
    let county = County::begin(cluster);
    let [here, there] = [county.server(), county.server()];
    let pair = &county.yard.pairs[0];
    let page = format!("/do/receive?piece={}", pair.piece);
    let visit = |n: usize| Visit::begin(&here.address, &pair.people[n].1, SECRET, &page);
    let (tech, custodian) = (visit(0), visit(1));
    let mut notes = Notes::open(&here.address, &custodian.cookie, "storeroom");
    // It knew nothing of what the page shows.
    assert_eq!(notes.next(BY_NOTICE).as_deref(), Some("changed"));
    let done = |visit: &Visit, sheet| {
        let answer = visit.send(&there.address, &sheet);
        assert!(matches!(answer, Answer::Done(_)), "{answer:?}");
    };
    // The listener of the first server needs its connection first.
    let listeners = || {
        county
            .runtime
            .block_on(listeners(cluster, &county.database))
    };
    for _ in 0..100 {
        if listeners() == 2 {
            break;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(listeners(), 2);
    done(&tech, release(pair.piece, pair.people[1].0));
    assert_eq!(notes.next(BY_NOTICE).as_deref(), Some("changed"));

    // The connections for notices are cut, and what is recorded at once afterwards is not told to anybody.
    let cut = county.runtime.block_on(async {
        let mut raw = cluster.raw(&county.database).await;
        let cut: i64 = sqlx::query_scalar(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity \
             WHERE datname = current_database() AND query LIKE 'LISTEN%'",
        )
        .fetch_one(&mut raw)
        .await
        .unwrap();
        raw.close().await.unwrap();
        cut
    });
    assert_eq!(cut, 2);
    done(&custodian, receive(pair.piece, "HC-770"));
    assert_eq!(notes.next(BY_NOTICE).as_deref(), Some("changed"));
    // And they are listened to again.
    for _ in 0..100 {
        if listeners() == 2 {
            break;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(listeners(), 2);
    county.check(&[]);
}

async fn listeners(cluster: &Cluster, database: &str) -> i64 {
    let mut raw = cluster.raw(database).await;
    let sql = "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND query LIKE 'LISTEN%'";
    let count = sqlx::query_scalar(sql).fetch_one(&mut raw).await.unwrap();
    raw.close().await.unwrap();
    count
}
