//! The ledger's four tables refuse every change, also behind the store's back and to the superuser.

use liftledger::store::{Reads, Store};
use sqlx::{AssertSqlSafe, Executor};

use super::{Place, batch};

async fn filled() -> Place {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    tx.append(batch(1, 3)).await.unwrap();
    tx.commit().await.unwrap();
    place
}

#[tokio::test]
async fn every_change_is_refused_on_all_four() {
    let place = filled().await;
    let before = place.store.events(i64::MIN, 10).await.unwrap();
    let mut raw = place.raw().await;
    let mut cases = vec![
        ("events", "UPDATE events SET header = '\\x00' WHERE seq = 2".to_owned()),
        ("events", "UPDATE events SET seq = 9 WHERE seq = 3".into()),
        ("events", "DELETE FROM events WHERE seq = 3".into()),
        (
            "events",
            "INSERT INTO events VALUES (2, 'other', '\\x00') ON CONFLICT (seq) DO UPDATE SET header = excluded.header"
                .into(),
        ),
        (
            "events",
            "MERGE INTO events e USING (VALUES (2)) v (seq) ON e.seq = v.seq WHEN MATCHED THEN DELETE".into(),
        ),
        (
            "events",
            "WITH gone AS (DELETE FROM events RETURNING seq) SELECT count(*) FROM gone".into(),
        ),
        ("events", "TRUNCATE events, event_payloads, expunged".into()),
        ("events", "INSERT INTO events VALUES (5, 'behind a gap', '\\x00')".into()),
        ("events", "INSERT INTO events VALUES (0, 'before the first', '\\x00')".into()),
        (
            "events",
            "INSERT INTO events VALUES (4, 'four', '\\x00'), (6, 'six', '\\x00')".into(),
        ),
        ("event_payloads", "UPDATE event_payloads SET fields = '\\x00' WHERE seq = 2".into()),
        ("tree_nodes", "UPDATE tree_nodes SET hash = hash WHERE idx = 1".into()),
        ("checkpoints", "UPDATE checkpoints SET note = 'x'".into()),
    ];
    for table in ["event_payloads", "tree_nodes", "checkpoints"] {
        cases.push((table, format!("DELETE FROM {table}")));
        cases.push((table, format!("TRUNCATE {table}")));
        // Refused before any row is looked at.
        if table != "event_payloads" {
            cases.push((table, format!("DELETE FROM {table} WHERE false")));
        }
    }
    // A session that calls itself a replica wakes no ordinary trigger.
    for role in ["origin", "replica"] {
        raw.execute(AssertSqlSafe(format!(
            "SET session_replication_role = {role}"
        )))
        .await
        .unwrap();
        for (table, sql) in &cases {
            let error = raw
                .execute(AssertSqlSafe(sql.clone()))
                .await
                .expect_err(sql);
            let error = error.to_string();
            assert!(
                error.contains(&format!("{table} only grows")),
                "{sql}: {error}"
            );
        }
    }
    // A temporary table of the same name does not stand in for the one that is counted.
    for sql in [
        "CREATE TEMPORARY TABLE events (seq bigint, id text, header bytea)",
        "INSERT INTO pg_temp.events SELECT n, n::text, '\\x00' FROM generate_series(1, 41) n",
    ] {
        raw.execute(sql).await.unwrap();
    }
    let sql = "INSERT INTO liftledger.events VALUES (42, 'after a made-up one', '\\x00')";
    let error = raw.execute(sql).await.expect_err(sql).to_string();
    assert!(error.contains("events only grows"), "{error}");

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

/// Two who do not stand at the lock cannot make a gap either: the second waits for the first, and is refused.
#[tokio::test]
async fn without_the_lock_the_key_and_the_guard_hold() {
    let place = filled().await;
    let (mut one, mut two) = (place.raw().await, place.raw().await);
    one.execute("BEGIN").await.unwrap();
    one.execute("INSERT INTO events VALUES (4, 'one', '\\x00')")
        .await
        .unwrap();
    // The first one's event is not committed, so five is behind a gap.
    let gap = two
        .execute("INSERT INTO events VALUES (5, 'two', '\\x00')")
        .await;
    assert!(
        gap.unwrap_err()
            .to_string()
            .contains("takes the next number")
    );
    let second = tokio::spawn(async move {
        two.execute("INSERT INTO events VALUES (4, 'two', '\\x00')")
            .await
            .map(drop)
    });
    tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    assert!(!second.is_finished());
    one.execute("COMMIT").await.unwrap();
    let error = second.await.unwrap().unwrap_err().to_string();
    assert!(error.contains("events_pkey"), "{error}");
    assert_eq!(place.store.head().await.unwrap().size, 4);
}

#[tokio::test]
async fn a_guard_that_was_dropped_is_named() {
    let place = Place::new().await;
    assert!(place.store.broken_guards().await.unwrap().is_empty());
    let mut raw = place.raw().await;
    // Every trigger of the schema is a guard that is looked for.
    let sql = "SELECT tgname::text, tgrelid::regclass::text FROM pg_trigger WHERE NOT tgisinternal ORDER BY 1";
    let all: Vec<(String, String)> = sqlx::query_as(sql).fetch_all(&mut raw).await.unwrap();
    assert_eq!(all.len(), 9);
    for (name, table) in &all {
        raw.execute(AssertSqlSafe(format!("DROP TRIGGER {name} ON {table}")))
            .await
            .unwrap();
    }
    let broken = place.store.broken_guards().await.unwrap();
    assert!(broken.iter().all(|g| !g.changed));
    let mut missing: Vec<String> = broken.into_iter().map(|g| g.name).collect();
    missing.sort();
    assert_eq!(
        missing,
        all.into_iter().map(|(name, _)| name).collect::<Vec<_>>()
    );
}

#[tokio::test]
async fn a_guard_that_was_changed_is_named() {
    let place = Place::new().await;
    let mut raw = place.raw().await;
    let make = |what: &str| {
        format!(
            "DROP TRIGGER events_no_change ON events; CREATE TRIGGER events_no_change {what}; \
             ALTER TABLE events ENABLE ALWAYS TRIGGER events_no_change"
        )
    };
    let right = "BEFORE UPDATE OR DELETE OR TRUNCATE ON events FOR EACH STATEMENT EXECUTE FUNCTION only_grows()";
    let cases = [
        "ALTER TABLE events DISABLE TRIGGER events_no_change".to_owned(),
        "ALTER TABLE events ENABLE TRIGGER events_no_change".into(),
        make("BEFORE UPDATE OR DELETE ON events FOR EACH STATEMENT EXECUTE FUNCTION only_grows()"),
        make(
            "BEFORE UPDATE OF id OR DELETE OR TRUNCATE ON events FOR EACH STATEMENT EXECUTE FUNCTION only_grows()",
        ),
        make(
            "BEFORE UPDATE OR DELETE OR TRUNCATE ON events FOR EACH STATEMENT WHEN (false) \
             EXECUTE FUNCTION only_grows()",
        ),
        make(
            "AFTER UPDATE OR DELETE OR TRUNCATE ON events FOR EACH STATEMENT EXECUTE FUNCTION only_grows()",
        ),
        format!(
            "CREATE FUNCTION lets_through() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END'; {}",
            make(
                "BEFORE UPDATE OR DELETE OR TRUNCATE ON events FOR EACH STATEMENT EXECUTE FUNCTION lets_through()"
            )
        ),
    ];
    for sql in cases {
        raw.execute(AssertSqlSafe(sql.clone())).await.expect(&sql);
        let broken = place.store.broken_guards().await.unwrap();
        let named: Vec<(&str, bool)> = broken.iter().map(|g| (&*g.name, g.changed)).collect();
        assert_eq!(named, [("events_no_change", true)], "{sql}");
        raw.execute(AssertSqlSafe(make(right))).await.unwrap();
        assert!(
            place.store.broken_guards().await.unwrap().is_empty(),
            "{sql}"
        );
    }
    // The same trigger with another function body: all five that call it.
    let text: String = sqlx::query_scalar("SELECT pg_get_functiondef('only_grows'::regproc)")
        .fetch_one(&mut raw)
        .await
        .unwrap();
    for (sql, broken) in [
        (text.replace("RAISE EXCEPTION", "RAISE NOTICE"), 5),
        (
            text.replace("SET search_path TO 'pg_catalog', 'pg_temp'", ""),
            5,
        ),
        (text.clone(), 0),
    ] {
        assert!(broken == 0 || sql != text, "nothing was changed in {text}");
        raw.execute(AssertSqlSafe(sql.clone())).await.unwrap();
        assert_eq!(
            place.store.broken_guards().await.unwrap().len(),
            broken,
            "{sql}"
        );
    }
}

#[tokio::test]
async fn damage_is_read_raw_and_does_not_stop_a_list() {
    let place = filled().await;
    let mut raw = place.raw().await;
    for sql in [
        "DROP TRIGGER event_payloads_no_change ON event_payloads",
        "DROP TRIGGER event_payloads_by_order ON event_payloads",
        "DROP TRIGGER events_no_change ON events",
        "DROP TRIGGER events_no_gap ON events",
        "ALTER TABLE event_payloads DROP CONSTRAINT event_payloads_seq_fkey",
        "ALTER TABLE events ALTER COLUMN header DROP NOT NULL",
        "DELETE FROM event_payloads WHERE seq = 1",
        "DELETE FROM events WHERE seq = 2",
        "UPDATE events SET header = NULL WHERE seq = 3",
        "INSERT INTO events (seq, id, header) VALUES (-4, 'below', '\\xff')",
    ] {
        raw.execute(sql).await.expect(sql);
    }
    let rows = place.store.events(i64::MIN, 10).await.unwrap();
    assert_eq!(rows.iter().map(|r| r.seq).collect::<Vec<_>>(), [-4, 1, 3]);
    assert_eq!((&rows[1].fields, &rows[2].header), (&None, &None));
    assert!(rows[1].header.is_some());
    assert_eq!(place.store.orphan_payloads(10).await.unwrap(), [2]);
}
