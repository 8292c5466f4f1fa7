//! The ledger's four tables refuse every change, also behind the store's back.

use liftledger::store::{Reads, Store};
use sqlx::{AssertSqlSafe, Executor};

use super::{Place, batch};

#[tokio::test]
async fn update_delete_and_replace_are_refused_on_all_four() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    tx.append(batch(1, 3)).await.unwrap();
    tx.commit().await.unwrap();
    let before = place.store.events(i64::MIN, 10).await.unwrap();

    let mut raw = place.raw().await;
    let cases = [
        ("events", "UPDATE events SET header = x'00' WHERE seq = 2"),
        ("events", "UPDATE events SET seq = 9 WHERE seq = 3"),
        ("events", "DELETE FROM events WHERE seq = 3"),
        ("events", "DELETE FROM events"),
        (
            "events",
            "INSERT OR REPLACE INTO events (seq, id, header) VALUES (2, 'other', x'00')",
        ),
        (
            "events",
            "REPLACE INTO events (seq, id, header) VALUES (4, 'event-000002', x'00')",
        ),
        (
            "events",
            "INSERT INTO events (seq, id, header) VALUES (2, 'other', x'00') ON CONFLICT DO UPDATE SET header = x'00'",
        ),
        (
            "events",
            "INSERT INTO events (seq, id, header) VALUES (5, 'behind a gap', x'00')",
        ),
        (
            "event_payloads",
            "UPDATE event_payloads SET fields = x'00' WHERE seq = 2",
        ),
        ("event_payloads", "DELETE FROM event_payloads WHERE seq = 2"),
        (
            "event_payloads",
            "INSERT OR REPLACE INTO event_payloads (seq, salt, fields) VALUES (2, x'00', x'00')",
        ),
        (
            "tree_nodes",
            "UPDATE tree_nodes SET hash = zeroblob(32) WHERE idx = 1",
        ),
        ("tree_nodes", "DELETE FROM tree_nodes WHERE idx = 1"),
        (
            "tree_nodes",
            "INSERT OR REPLACE INTO tree_nodes (level, idx, hash) VALUES (0, 1, zeroblob(32))",
        ),
        ("checkpoints", "UPDATE checkpoints SET note = 'x'"),
        ("checkpoints", "DELETE FROM checkpoints"),
        (
            "checkpoints",
            "INSERT OR REPLACE INTO checkpoints (size, note) VALUES (3, 'x')",
        ),
    ];
    for (table, sql) in cases {
        let error = raw.execute(sql).await.expect_err(sql).to_string();
        assert!(
            error.contains(&format!("{table} only grows")),
            "{sql}: {error}"
        );
    }
    assert_eq!(place.store.events(i64::MIN, 10).await.unwrap(), before);
    let counts = place.store.counts().await.unwrap();
    assert_eq!(
        (
            counts.events,
            counts.payloads,
            counts.nodes,
            counts.checkpoints
        ),
        (3, 3, 3, 1)
    );
}

#[tokio::test]
async fn a_guard_that_was_dropped_is_named() {
    let place = Place::new().await;
    assert!(place.store.broken_guards().await.unwrap().is_empty());
    let mut raw = place.raw().await;
    // Every trigger of the schema is a guard that is looked for.
    let all: Vec<String> =
        sqlx::query_scalar("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            .fetch_all(&mut raw)
            .await
            .unwrap();
    assert_eq!(all.len(), 15);
    for name in &all {
        raw.execute(AssertSqlSafe(format!("DROP TRIGGER {name}")))
            .await
            .unwrap();
    }
    let broken = place.store.broken_guards().await.unwrap();
    assert!(broken.iter().all(|g| !g.changed));
    let mut missing: Vec<String> = broken.into_iter().map(|g| g.name).collect();
    let mut all = all;
    all.sort();
    missing.sort();
    assert_eq!(missing, all);
}

/// A guard of the same name that lets everything through is named; one that is only spaced otherwise is not.
#[tokio::test]
async fn a_guard_that_was_changed_is_named() {
    let place = Place::new().await;
    let mut raw = place.raw().await;
    let text: String = sqlx::query_scalar("SELECT sql FROM sqlite_master WHERE name = ?")
        .bind("events_no_delete")
        .fetch_one(&mut raw)
        .await
        .unwrap();
    for (sql, changed) in [
        (text.replace('\n', "\n\t  "), false),
        (text.replace("no row is removed", "no row"), true),
        (
            "CREATE TRIGGER events_no_delete BEFORE DELETE ON events BEGIN SELECT 1; END".into(),
            true,
        ),
        (
            "CREATE TRIGGER events_no_delete BEFORE DELETE ON seals BEGIN \
             SELECT RAISE(ABORT, 'events only grows: no row is removed'); END"
                .into(),
            true,
        ),
        (text.clone(), false),
    ] {
        raw.execute("DROP TRIGGER events_no_delete").await.unwrap();
        raw.execute(AssertSqlSafe(sql.clone())).await.unwrap();
        let broken = place.store.broken_guards().await.unwrap();
        let named: Vec<(&str, bool)> = broken.iter().map(|g| (&*g.name, g.changed)).collect();
        let expected = if changed {
            vec![("events_no_delete", true)]
        } else {
            vec![]
        };
        assert_eq!(named, expected, "{sql}");
    }
}

#[tokio::test]
async fn damage_is_read_raw_and_does_not_stop_a_list() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    tx.append(batch(1, 3)).await.unwrap();
    tx.commit().await.unwrap();
    let mut raw = place.raw().await;
    for sql in [
        "PRAGMA foreign_keys = OFF",
        "DROP TRIGGER event_payloads_no_delete",
        "DROP TRIGGER events_no_delete",
        "DROP TRIGGER events_no_replace",
        "DELETE FROM event_payloads WHERE seq = 1",
        "DELETE FROM events WHERE seq = 2",
        "INSERT INTO events (seq, id, header) VALUES (-4, 'below', x'ff')",
    ] {
        raw.execute(sql).await.unwrap();
    }
    let rows = place.store.events(i64::MIN, 10).await.unwrap();
    assert_eq!(rows.iter().map(|r| r.seq).collect::<Vec<_>>(), [-4, 1, 3]);
    assert_eq!(rows[1].fields, None);
    assert!(rows[1].header.is_some());
    assert_eq!(place.store.orphan_payloads(10).await.unwrap(), [2]);
}
