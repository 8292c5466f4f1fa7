//! The baselines: rows that the ledger wrote, written again by plain SQL with nothing decided, hashed or signed.

use std::collections::{BTreeSet, HashMap};
use std::path::Path;
use std::time::{Duration, Instant};

use liftledger::store::{
    CheckpointRow, CommandRow, DocRow, EventRow, NodeRow, PayloadRow, SqliteStore, TouchRow,
};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqliteSynchronous};
use sqlx::{ConnectOptions as _, Connection as _, QueryBuilder, Row as _, Sqlite};

/// What one commit of the ledger wrote.
#[derive(Default)]
pub struct Group {
    pub events: Vec<EventRow>,
    payloads: Vec<PayloadRow>,
    nodes: Vec<NodeRow>,
    touches: Vec<TouchRow>,
    docs: Vec<DocRow>,
    commands: Vec<CommandRow>,
    checkpoint: Option<CheckpointRow>,
}

/// The same settings as the ledger's own connection.
pub async fn connect(path: &Path) -> SqliteConnection {
    SqliteConnectOptions::new()
        .filename(path)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .connect()
        .await
        .unwrap()
}

/// Reads a ledger back, commit by commit: each has its checkpoint. A document is as the last commit left it.
pub async fn groups(path: &Path) -> Vec<Group> {
    let mut c = connect(path).await;
    let mut groups: Vec<Group> = Vec::new();
    let mut at: HashMap<u64, usize> = HashMap::new();
    let sizes: Vec<(i64, String)> =
        sqlx::query_as("SELECT size, note FROM checkpoints ORDER BY size")
            .fetch_all(&mut c)
            .await
            .unwrap();
    let mut next = 1;
    for (size, note) in sizes {
        let size = size.unsigned_abs();
        at.extend((next..=size).map(|seq| (seq, groups.len())));
        next = size + 1;
        groups.push(Group {
            checkpoint: Some(CheckpointRow { size, note }),
            ..Group::default()
        });
    }
    let sql = "SELECT e.seq, e.id, e.header, p.salt, p.fields FROM events e JOIN event_payloads p USING (seq) ORDER BY e.seq";
    for row in sqlx::query(sql).fetch_all(&mut c).await.unwrap() {
        let seq = row.get::<i64, _>(0).unsigned_abs();
        let group = &mut groups[at[&seq]];
        group.events.push(EventRow {
            seq,
            id: row.get(1),
            header: row.get(2),
        });
        group.payloads.push(PayloadRow {
            seq,
            salt: row.get(3),
            fields: row.get(4),
        });
    }
    for row in sqlx::query("SELECT level, idx, hash FROM tree_nodes")
        .fetch_all(&mut c)
        .await
        .unwrap()
    {
        let (level, idx) = (row.get::<u32, _>(0), row.get::<i64, _>(1).unsigned_abs());
        // A node is there as soon as the last leaf under it is.
        let group = &mut groups[at[&((idx + 1) << level)]];
        group.nodes.push(NodeRow {
            level,
            idx,
            hash: row.get(2),
        });
    }
    let docs: Vec<DocRow> = sqlx::query_as("SELECT * FROM docs")
        .fetch_all(&mut c)
        .await
        .unwrap();
    let docs: HashMap<String, DocRow> = docs.into_iter().map(|d| (d.subject.clone(), d)).collect();
    let mut changed: Vec<BTreeSet<String>> = vec![BTreeSet::new(); groups.len()];
    let touches: Vec<TouchRow> = sqlx::query_as("SELECT * FROM touches")
        .fetch_all(&mut c)
        .await
        .unwrap();
    for touch in touches {
        let g = at[&touch.seq];
        changed[g].insert(touch.subject.clone());
        groups[g].touches.push(touch);
    }
    for (group, subjects) in groups.iter_mut().zip(changed) {
        group.docs = subjects.iter().map(|s| docs[s].clone()).collect();
    }
    let commands: Vec<CommandRow> = sqlx::query_as("SELECT * FROM commands")
        .fetch_all(&mut c)
        .await
        .unwrap();
    for command in commands {
        groups[at[&command.first_seq]].commands.push(command);
    }
    c.close().await.unwrap();
    groups
}

/// Writes the groups into a fresh file of the same schema, one transaction each, many rows with one statement. The
/// first `before` events are not timed. How long the rest took.
pub async fn group_commit(path: &Path, groups: &[Group], before: u64) -> Duration {
    SqliteStore::open(path).await.unwrap().close().await;
    let mut c = connect(path).await;
    let mut began = Instant::now();
    for group in groups {
        if group.events.first().is_some_and(|e| e.seq == before + 1) {
            began = Instant::now();
        }
        let mut tx = c.begin_with("BEGIN IMMEDIATE").await.unwrap();
        write(&mut tx, group).await;
        tx.commit().await.unwrap();
    }
    let took = began.elapsed();
    c.close().await.unwrap();
    took
}

/// The rows of the first events behind `before`, each event by itself and without a checkpoint.
fn one_by_one(groups: &[Group], before: u64, most: usize) -> Vec<Group> {
    let mut out = Vec::new();
    for group in groups {
        let docs: HashMap<&str, &DocRow> =
            group.docs.iter().map(|d| (d.subject.as_str(), d)).collect();
        for (event, payload) in group.events.iter().zip(&group.payloads) {
            if event.seq > before && out.len() == most {
                return out;
            }
            let touches = group.touches.iter().filter(|t| t.seq == event.seq);
            let touches: Vec<TouchRow> = touches.cloned().collect();
            let nodes = group.nodes.iter();
            let commands = group.commands.iter();
            let one = Group {
                events: vec![event.clone()],
                payloads: vec![payload.clone()],
                nodes: nodes
                    .filter(|n| (n.idx + 1) << n.level == event.seq)
                    .cloned()
                    .collect(),
                docs: touches
                    .iter()
                    .filter_map(|t| docs.get(t.subject.as_str()).map(|d| (*d).clone()))
                    .collect(),
                commands: commands
                    .filter(|k| k.first_seq == event.seq)
                    .cloned()
                    .collect(),
                touches,
                checkpoint: None,
            };
            if event.seq > before {
                out.push(one);
            }
        }
    }
    out
}

/// Writes the events behind `before` with a commit for each; what is before them is not timed.
pub async fn commit_events(
    path: &Path,
    groups: &[Group],
    before: u64,
    most: usize,
) -> (usize, Duration) {
    SqliteStore::open(path).await.unwrap().close().await;
    let mut c = connect(path).await;
    let first = groups
        .iter()
        .filter(|g| g.events.first().is_some_and(|e| e.seq <= before));
    for group in first {
        let mut tx = c.begin_with("BEGIN IMMEDIATE").await.unwrap();
        write(&mut tx, group).await;
        tx.commit().await.unwrap();
    }
    let ones = one_by_one(groups, before, most);
    let began = Instant::now();
    for one in &ones {
        let mut tx = c.begin_with("BEGIN IMMEDIATE").await.unwrap();
        write(&mut tx, one).await;
        tx.commit().await.unwrap();
    }
    let took = began.elapsed();
    c.close().await.unwrap();
    (ones.len(), took)
}

/// One header row a commit, into a table with nothing but its key: the least that "written at once" can cost.
pub async fn commit_each(path: &Path, groups: &[Group], most: usize) -> (usize, Duration) {
    let mut c = connect(path).await;
    sqlx::query("CREATE TABLE one (seq INTEGER PRIMARY KEY, header BLOB NOT NULL) STRICT")
        .execute(&mut c)
        .await
        .unwrap();
    let began = Instant::now();
    let mut done = 0;
    for event in groups.iter().flat_map(|g| &g.events).take(most) {
        sqlx::query("INSERT INTO one (seq, header) VALUES (?, ?)")
            .bind(event.seq.cast_signed())
            .bind(&event.header)
            .execute(&mut c)
            .await
            .unwrap();
        done += 1;
    }
    let took = began.elapsed();
    c.close().await.unwrap();
    (done, took)
}

async fn run(c: &mut SqliteConnection, mut q: QueryBuilder<Sqlite>) {
    q.build().persistent(false).execute(c).await.unwrap();
}

async fn write(c: &mut SqliteConnection, group: &Group) {
    let mut q = QueryBuilder::new("INSERT INTO events (seq, id, header) ");
    q.push_values(&group.events, |mut row, e| {
        row.push_bind(e.seq.cast_signed())
            .push_bind(e.id.clone())
            .push_bind(e.header.clone());
    });
    run(c, q).await;
    let mut q = QueryBuilder::new("INSERT INTO event_payloads (seq, salt, fields) ");
    q.push_values(&group.payloads, |mut row, p| {
        row.push_bind(p.seq.cast_signed())
            .push_bind(p.salt.clone())
            .push_bind(p.fields.clone());
    });
    run(c, q).await;
    let mut q = QueryBuilder::new("INSERT INTO tree_nodes (level, idx, hash) ");
    q.push_values(&group.nodes, |mut row, n| {
        row.push_bind(n.level)
            .push_bind(n.idx.cast_signed())
            .push_bind(n.hash.clone());
    });
    run(c, q).await;
    let mut q = QueryBuilder::new("INSERT INTO touches (subject, n, seq) ");
    q.push_values(&group.touches, |mut row, t| {
        row.push_bind(t.subject.clone())
            .push_bind(t.n.cast_signed())
            .push_bind(t.seq.cast_signed());
    });
    run(c, q).await;
    let mut q = QueryBuilder::new(
        "INSERT INTO docs (subject, kind, case_id, number, code, name, holder, inside, offer_to, due_at, place, active, doc) ",
    );
    q.push_values(&group.docs, |mut row, d| {
        row.push_bind(d.subject.clone())
            .push_bind(d.kind.clone())
            .push_bind(d.case_id.clone());
        row.push_bind(d.number)
            .push_bind(d.code.clone())
            .push_bind(d.name.clone());
        row.push_bind(d.holder.clone())
            .push_bind(d.inside.clone())
            .push_bind(d.offer_to.clone());
        row.push_bind(d.due_at.clone())
            .push_bind(d.place.clone())
            .push_bind(d.active)
            .push_bind(d.doc.clone());
    });
    q.push(
        " ON CONFLICT (subject) DO UPDATE SET kind = excluded.kind, case_id = excluded.case_id, \
         number = excluded.number, code = excluded.code, name = excluded.name, holder = excluded.holder, \
         inside = excluded.inside, offer_to = excluded.offer_to, due_at = excluded.due_at, place = excluded.place, \
         active = excluded.active, doc = excluded.doc",
    );
    run(c, q).await;
    let mut q = QueryBuilder::new(
        "INSERT INTO commands (first_seq, count, id, fingerprint, actor, answer) ",
    );
    q.push_values(&group.commands, |mut row, k| {
        row.push_bind(k.first_seq.cast_signed())
            .push_bind(k.count.cast_signed())
            .push_bind(k.id.clone());
        row.push_bind(k.fingerprint.clone())
            .push_bind(k.actor.clone())
            .push_bind(k.answer.clone());
    });
    run(c, q).await;
    if let Some(head) = &group.checkpoint {
        sqlx::query("INSERT INTO checkpoints (size, note) VALUES (?, ?)")
            .bind(head.size.cast_signed())
            .bind(&head.note)
            .execute(c)
            .await
            .unwrap();
    }
}
