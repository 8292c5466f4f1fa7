//! Durable appends on PostgreSQL, only where `LIFTLEDGER_BENCH_POSTGRES` names a server, as a role that may make databases:
//! `postgres://postgres:…@127.0.0.1:5432/postgres`. The databases that it makes are dropped again.
//!
//! The baselines are the same rows in the same groups written by the store alone, with nothing decided, hashed or
//! signed; and one header row a commit, in a table with nothing but its key.

use std::sync::Arc;
use std::time::{Duration, Instant};

use liftledger::store::{
    Batch, CommandRow, DocFilter, DocRow, PostgresStore, RAW_MAX, Reads as _, Store, TouchRow,
};
use liftledger::store::{CheckpointRow, EventRow, NodeRow, PayloadRow};
use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions as _, Connection as _, Executor as _, PgConnection};

use super::Scale;
use super::append::{ROUNDS, load, rate};
use super::figure::{Figure, note};

/// The variable that names the server.
pub const SERVER: &str = "LIFTLEDGER_BENCH_POSTGRES";
/// Commits of the baseline that commits each row by itself.
const SINGLE: usize = 500;

/// A server on which databases are made and dropped.
pub struct Server {
    address: String,
    options: PgConnectOptions,
}

impl Server {
    /// The one that the variable names.
    pub fn named() -> Self {
        let address = std::env::var(SERVER).unwrap();
        Self {
            options: address.parse().unwrap(),
            address,
        }
    }

    /// The address of a database of this name.
    pub fn address_of(&self, name: &str) -> String {
        let (server, _) = self.address.rsplit_once('/').unwrap();
        format!("{server}/{name}")
    }

    async fn sql(&self, sql: String) {
        let mut c = self.options.connect().await.unwrap();
        c.execute(AssertSqlSafe(sql)).await.unwrap();
        c.close().await.unwrap();
    }

    /// A fresh database of this name, opened.
    pub async fn fresh(&self, name: &str) -> PostgresStore {
        self.gone(name).await;
        self.sql(format!(
            "CREATE DATABASE {name} ENCODING 'UTF8' TEMPLATE template0"
        ))
        .await;
        PostgresStore::open(&self.address_of(name).parse().unwrap())
            .await
            .unwrap()
    }

    /// Dropped, if it is there.
    pub async fn gone(&self, name: &str) {
        self.sql(format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)"))
            .await;
    }

    async fn raw(&self, name: &str) -> PgConnection {
        let options = self.options.clone().database(name);
        let mut c = options.connect().await.unwrap();
        c.execute("SET search_path = liftledger").await.unwrap();
        c
    }
}

struct Round {
    ledger: f64,
    grouped: f64,
    single: f64,
    group: f64,
    wait: Vec<Duration>,
}

pub async fn measure(scale: Scale) -> Vec<Figure> {
    let server = Server::named();
    let each = usize::try_from(scale.of(160, 4)).unwrap() / 2 * 2;
    let mut rounds = Vec::new();
    for n in 1..=ROUNDS {
        let r = round(&server, each).await;
        note(&format!(
            "postgres, round {n}: {:.0} events a second, {:.0} written by the store alone in the same groups, {:.0} raw one a commit, {:.0} events a group",
            r.ledger, r.grouped, r.single, r.group
        ));
        rounds.push(r);
    }
    let all = |f: fn(&Round) -> f64| rounds.iter().map(f).collect::<Vec<f64>>();
    let mut waits: Vec<Duration> = rounds.iter().flat_map(|r| r.wait.clone()).collect();
    waits.sort_unstable();
    let wait = |part: usize| [waits[(waits.len() - 1) * part / 100].as_secs_f64() * 1e3];
    let appends = || {
        Figure::plain(
            "PostgreSQL: durable appends, 64 clients",
            "events/s",
            &all(|r| r.ledger),
        )
    };
    vec![
        appends().against(
            "the same rows by the store alone",
            &all(|r| r.ledger / r.grouped),
            None,
        ),
        Figure::plain(
            "the same rows in the same groups by the store alone",
            "events/s",
            &all(|r| r.grouped),
        ),
        appends().against("one row a commit", &all(|r| r.ledger / r.single), None),
        Figure::plain("raw, one header row a commit", "rows/s", &all(|r| r.single)),
        Figure::plain("events in a group", "events", &all(|r| r.group)),
        Figure::plain("a client waits, median", "ms", &wait(50)),
        Figure::plain("a client waits, 99th of 100", "ms", &wait(99)),
    ]
}

async fn round(server: &Server, each: usize) -> Round {
    let (first, second) = ("liftledger_bench_ledger", "liftledger_bench_raw");
    let store = Arc::new(server.fresh(first).await);
    let done = load(store.clone(), each).await;
    let groups = groups(store.as_ref(), &mut server.raw(first).await).await;
    Store::close(store.as_ref()).await;
    let counted = groups
        .iter()
        .filter(|g| g.events[0].seq > done.before)
        .count();

    let raw = server.fresh(second).await;
    let mut began = Instant::now();
    for group in &groups {
        if group.events[0].seq == done.before + 1 {
            began = Instant::now();
        }
        let mut tx = raw.begin().await.unwrap();
        tx.append(group.clone()).await.unwrap();
        tx.commit().await.unwrap();
    }
    let grouped = rate(done.events, began.elapsed());
    Store::close(&raw).await;

    let mut c = server.raw(second).await;
    c.execute("CREATE TABLE one (seq bigint PRIMARY KEY, header bytea NOT NULL)")
        .await
        .unwrap();
    let began = Instant::now();
    let events = groups.iter().flat_map(|g| &g.events).take(SINGLE);
    for event in events.clone() {
        sqlx::query("INSERT INTO one (seq, header) VALUES ($1, $2)")
            .bind(event.seq.cast_signed())
            .bind(&event.header)
            .execute(&mut c)
            .await
            .unwrap();
    }
    let single = rate(events.count(), began.elapsed());
    c.close().await.unwrap();
    server.gone(first).await;
    server.gone(second).await;
    #[allow(clippy::cast_precision_loss)]
    let group = done.events as f64 / counted as f64;
    Round {
        ledger: rate(done.events, done.took),
        grouped,
        single,
        group,
        wait: done.wait,
    }
}

/// Reads a ledger back, commit by commit: each has its checkpoint. A document is as the last commit left it.
async fn groups(store: &PostgresStore, c: &mut PgConnection) -> Vec<Batch> {
    let mut groups: Vec<Batch> = Vec::new();
    let mut at = std::collections::HashMap::new();
    let (mut next, mut after) = (1, i64::MIN);
    loop {
        let page = store.checkpoints(after, RAW_MAX).await.unwrap();
        let Some(last) = page.last() else { break };
        after = last.size;
        for one in page {
            let size = one.size.unsigned_abs();
            at.extend((next..=size).map(|seq| (seq, groups.len())));
            next = size + 1;
            let note = String::from_utf8(one.note.unwrap()).unwrap();
            groups.push(Batch {
                checkpoint: Some(CheckpointRow { size, note }),
                ..Batch::default()
            });
        }
    }
    let mut from = i64::MIN;
    loop {
        let page = store.events(from, RAW_MAX).await.unwrap();
        let Some(last) = page.last() else { break };
        from = last.seq + 1;
        for e in page {
            let seq = e.seq.unsigned_abs();
            let group = &mut groups[at[&seq]];
            group.events.push(EventRow {
                seq,
                id: e.id.unwrap(),
                header: e.header.unwrap(),
            });
            group.payloads.push(PayloadRow {
                seq,
                salt: e.salt.unwrap(),
                fields: e.fields.unwrap(),
            });
        }
    }
    let mut after = None;
    loop {
        let page = store.nodes_page(after, RAW_MAX).await.unwrap();
        let Some(last) = page.last() else { break };
        after = Some((last.level, last.idx));
        for n in page {
            let (level, idx) = (u32::try_from(n.level).unwrap(), n.idx.unsigned_abs());
            // A node is there as soon as the last leaf under it is.
            groups[at[&((idx + 1) << level)]].nodes.push(NodeRow {
                level,
                idx,
                hash: n.hash.unwrap(),
            });
        }
    }
    let mut docs: std::collections::HashMap<String, DocRow> = std::collections::HashMap::new();
    let mut filter = DocFilter::default();
    loop {
        let page = store.list_docs(&filter).await.unwrap();
        let Some(last) = page.last() else { break };
        filter.after = Some(last.cursor(filter.order));
        docs.extend(page.into_iter().map(|d| (d.subject.clone(), d)));
    }
    let mut after = (String::new(), 0);
    loop {
        let page = store.touches((&after.0, after.1), RAW_MAX).await.unwrap();
        let Some(last) = page.last() else { break };
        after = (last.subject.clone(), last.at.last().unwrap().0);
        for row in page {
            for (n, seq) in row.at {
                let seq = seq.cast_unsigned();
                let group = &mut groups[at[&seq]];
                group.docs.extend(docs.get(&row.subject).cloned());
                group.touches.push(TouchRow {
                    subject: row.subject.clone(),
                    n: n.cast_unsigned(),
                    seq,
                });
            }
        }
    }
    let commands: Vec<CommandRow> = sqlx::query_as("SELECT * FROM commands")
        .fetch_all(c)
        .await
        .unwrap();
    for command in commands {
        groups[at[&command.first_seq]].commands.push(command);
    }
    groups
}
