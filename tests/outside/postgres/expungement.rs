//! An expungement on PostgreSQL, by the servers' own role and by the owner: what the guards let go, and what is said of raw
//! bytes (VACUUM: postgresql.org/docs/current/sql-vacuum.html).

use liftledger::app::Viewer;
use liftledger::app::removal::RAW_SAID;
use liftledger::app::site::Site;
use liftledger::custody::Act;
use liftledger::custody::disposition::Method;
use liftledger::ids::Subject;
use liftledger::store::postgres;
use sqlx::{AssertSqlSafe, Connection as _, Executor as _, PgConnection};

use super::cluster::Cluster;
use super::roles::roles;
use crate::boatyard::{Boatyard, act};
use crate::ordered::{PLANTED, carry_out, clean, dispose, order, second};

/// How many rows of any table still hold the planted word.
async fn rows_holding(raw: &mut PgConnection) -> i64 {
    let mut found = 0;
    for (table, column) in [
        ("event_payloads", "convert_from(fields, 'UTF8')"),
        ("docs", "doc"),
        ("commands", "answer"),
        ("expunged", "convert_from(remains, 'UTF8')"),
        ("settings", "value"),
    ] {
        let sql =
            format!("SELECT count(*) FROM liftledger.{table} WHERE {column} LIKE '%{PLANTED}%'");
        found += sqlx::query_scalar::<_, i64>(AssertSqlSafe(sql))
            .fetch_one(&mut *raw)
            .await
            .unwrap();
    }
    found
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_servers_role_expunges_what_an_event_names_and_nothing_else() {
    let (owner, server, role) = roles().await;
    let prepared = liftledger::store::PostgresStore::open(&owner.parse().unwrap())
        .await
        .unwrap();
    liftledger::store::Store::close(&prepared).await;
    let mut own = PgConnection::connect(&owner).await.unwrap();
    own.execute(AssertSqlSafe(postgres::grants(&role).unwrap()))
        .await
        .unwrap();
    let folder = tempfile::tempdir().unwrap();
    let site = Site {
        originals: None,
        folder: folder.path().join("ledger"),
        database: Some(server.parse().unwrap()),
    };
    let yard = Boatyard::begin(&site).await;
    let it = second(&yard).await;
    dispose(&yard, it.item).await;
    let house = &yard.house;
    let of = order(Subject::Case(it.case), vec![]);
    act(house, Some(yard.liaison), None, of).await.unwrap();
    assert!(rows_holding(&mut own).await > 10);
    let done = act(house, Some(yard.admin), None, carry_out(it.case, 1))
        .await
        .unwrap()
        .seq;
    assert_eq!(rows_holding(&mut own).await, 0);
    assert!(clean(house).await > 10);
    assert!(!house.originals.exists(it.digest));
    let said = house.store.setting(RAW_SAID).await.unwrap().unwrap();
    assert!(
        said.contains("Let the owner run: VACUUM (FULL)") && said.contains("write-ahead log"),
        "{said}"
    );

    let mut raw = PgConnection::connect(&server).await.unwrap();
    let gone: i64 = sqlx::query_scalar("SELECT min(seq) FROM liftledger.expunged")
        .fetch_one(&mut raw)
        .await
        .unwrap();
    for sql in [
        "DELETE FROM liftledger.event_payloads WHERE seq = 3".to_owned(),
        format!("DELETE FROM liftledger.event_payloads WHERE seq = {done}"),
        "DELETE FROM liftledger.event_payloads".to_owned(),
        format!("INSERT INTO liftledger.event_payloads VALUES ({gone}, '', '{{}}')"),
        format!("INSERT INTO liftledger.expunged VALUES (3, {done}, '{{}}')"),
        format!("INSERT INTO liftledger.expunged VALUES (3, {gone}, '{{}}')"),
        format!("INSERT INTO liftledger.expunged VALUES ({done}, {done}, '{{}}')"),
    ] {
        let error = raw
            .execute(AssertSqlSafe(sql.clone()))
            .await
            .expect_err(&sql)
            .to_string();
        let no = ["only grows", "only holds"]
            .iter()
            .any(|w| error.contains(w));
        assert!(no, "{sql}: {error}");
    }
    // The owner cannot either, nor a session of the owner's that calls itself something else.
    for sql in [
        "DELETE FROM liftledger.event_payloads WHERE seq = 3",
        "UPDATE liftledger.expunged SET remains = ''",
        "TRUNCATE liftledger.expunged",
    ] {
        let error = own.execute(sql).await.expect_err(sql).to_string();
        assert!(error.contains("only grows"), "{sql}: {error}");
    }
    assert!(clean(house).await > 10);
    yard.house.close().await;
}

/// The tables' owner writes them anew, and the next reading is the same.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_owner_writes_the_tables_anew() {
    let cluster = Cluster::shared();
    let database = cluster.database().await;
    let folder = tempfile::tempdir().unwrap();
    let site = Site {
        originals: None,
        folder: folder.path().join("ledger"),
        database: Some(cluster.address(&database).parse().unwrap()),
    };
    let yard = Boatyard::begin(&site).await;
    let it = second(&yard).await;
    let house = &yard.house;
    let viewer = Viewer::operator();
    let history = house
        .reader(&viewer)
        .history(Subject::Mark(it.mark))
        .await
        .unwrap();
    let noted = history[0].event.header.seq;
    let named: Act = order(Subject::Case(it.case), vec![noted]);
    act(house, Some(yard.supervisor), None, named)
        .await
        .unwrap();
    act(house, Some(yard.admin), None, carry_out(it.case, 1))
        .await
        .unwrap();
    let said = house.store.setting(RAW_SAID).await.unwrap().unwrap();
    assert!(
        said.contains("VACUUM FULL") && said.contains("archive"),
        "{said}"
    );
    assert!(house.store.removals(10).await.unwrap().is_empty());
    assert_eq!(clean(house).await, 2);
    dispose(&yard, it.item).await;
    let item = house.reader(&viewer).item(it.item).await.unwrap();
    assert_eq!(
        item.custody.holder,
        liftledger::custody::state::Holder::Disposed {
            method: Method::Destroy
        }
    );
    clean(house).await;
    yard.house.close().await;
}
