//! Durable appends: 64 clients hand sealed packages to and fro, each waiting for its answer before it goes on.

use std::sync::Arc;
use std::time::{Duration, Instant};

use liftledger::app::{Recorder, Sent, Tools};
use liftledger::clock::SystemClock;
use liftledger::ledger::event::Source;
use liftledger::store::{SqliteStore, Store};
use liftledger::trade::TradeRules;

use super::Scale;
use super::build::{folder, key};
use super::figure::{Aim, Figure, note};
use super::raw;
use super::yard::{Lift, Step, Yard};

const CLIENTS: usize = 64;
pub const ROUNDS: usize = 5;
/// Commits of the baseline that commits each row by itself.
const SINGLE: usize = 500;

#[allow(clippy::cast_precision_loss)]
pub fn rate(n: usize, took: Duration) -> f64 {
    n as f64 / took.as_secs_f64()
}

async fn send(recorder: &Recorder, step: &Step) {
    let actor = step.actor();
    let sent = Sent {
        person: actor.id,
        signed: actor.signed,
        beside: None,
        source: Source::Desk,
        command: step.command.clone(),
    };
    recorder.record(sent).await.unwrap();
}

/// What one round gave.
struct Round {
    ledger: f64,
    grouped: f64,
    single: f64,
    alone: f64,
    group: f64,
    wait: Vec<Duration>,
}

pub async fn measure(scale: Scale) -> Vec<Figure> {
    let each = usize::try_from(scale.of(160, 4)).unwrap() / 2 * 2;
    let mut rounds = Vec::new();
    for n in 1..=ROUNDS {
        let r = round(each).await;
        note(&format!(
            "append, round {n}: {:.0} events a second, {:.0} written raw in the same groups, {:.0} raw one a commit, {:.0} events a group",
            r.ledger, r.grouped, r.single, r.group
        ));
        rounds.push(r);
    }
    let all = |f: fn(&Round) -> f64| rounds.iter().map(f).collect::<Vec<f64>>();
    let mut waits: Vec<Duration> = rounds.iter().flat_map(|r| r.wait.clone()).collect();
    waits.sort_unstable();
    let wait = |part: usize| [waits[(waits.len() - 1) * part / 100].as_secs_f64() * 1e3];
    vec![
        Figure::plain(
            "durable appends, 64 clients",
            "events/s",
            &all(|r| r.ledger),
        )
        .against(
            "raw group commit",
            &all(|r| r.ledger / r.grouped),
            Some(Aim::AtLeast(0.6)),
        ),
        Figure::plain(
            "raw, the same rows in the same groups",
            "events/s",
            &all(|r| r.grouped),
        ),
        Figure::plain("raw, one header row a commit", "rows/s", &all(|r| r.single)),
        Figure::plain(
            "durable appends, 64 clients",
            "events/s",
            &all(|r| r.ledger),
        )
        .against(
            "one row a commit",
            &all(|r| r.ledger / r.single),
            Some(Aim::AtLeast(6.0)),
        ),
        Figure::plain(
            "raw, all rows of one event a commit",
            "events/s",
            &all(|r| r.alone),
        ),
        Figure::plain(
            "durable appends, 64 clients",
            "events/s",
            &all(|r| r.ledger),
        )
        .against("one event a commit", &all(|r| r.ledger / r.alone), None),
        Figure::plain("events in a group", "events", &all(|r| r.group)),
        Figure::plain("a client waits, median", "ms", &wait(50)),
        Figure::plain("a client waits, 99th of 100", "ms", &wait(99)),
    ]
}

/// What the clients did: events before them and by them, how long it took, and what each waited.
pub struct Load {
    pub before: u64,
    pub events: usize,
    pub took: Duration,
    pub wait: Vec<Duration>,
}

/// Sets the yard up on an empty ledger, and lets the clients hand over `each` times.
pub async fn load(store: Arc<dyn Store>, each: usize) -> Load {
    let trade = Arc::new(TradeRules::load_embedded().unwrap());
    let tools = Tools {
        store: store.clone(),
        key: key(),
        rules: trade.version().to_owned(),
        trade,
        clock: Arc::new(SystemClock),
        files: None,
    };
    let (recorder, task) = Recorder::start(tools);
    let (yard, steps) = Yard::begin();
    let (scene, more) = yard.case(1);
    for step in steps.iter().chain(&more) {
        send(&recorder, step).await;
    }
    let mut lifts = Vec::new();
    for n in 1..=CLIENTS {
        let (lift, steps) = yard.lift(scene, n, chrono::Utc::now().fixed_offset());
        // Up to the seal; the clients do the rest.
        for step in &steps[..5] {
            send(&recorder, step).await;
        }
        lifts.push(lift);
    }
    let before = store.head().await.unwrap().size;
    let began = Instant::now();
    let clients = lifts
        .into_iter()
        .map(|lift| tokio::spawn(client(recorder.clone(), yard, lift, each)));
    let mut wait = Vec::new();
    for done in futures_util::future::join_all(clients).await {
        wait.extend(done.unwrap());
    }
    let took = began.elapsed();
    drop(recorder);
    task.await.unwrap();
    let events = usize::try_from(store.head().await.unwrap().size - before).unwrap();
    assert_eq!(events, CLIENTS * each);
    Load {
        before,
        events,
        took,
        wait,
    }
}

async fn round(each: usize) -> Round {
    let folder = folder();
    let path = folder.path().join("ledger.db");
    let store = Arc::new(SqliteStore::open(&path).await.unwrap());
    let Load {
        before,
        events,
        took,
        wait,
    } = load(store.clone(), each).await;
    store.close().await;
    drop(store);

    let groups = raw::groups(&path).await;
    let counted = groups
        .iter()
        .filter(|g| g.events.first().is_some_and(|e| e.seq > before))
        .count();
    let raw = raw::group_commit(&folder.path().join("raw.db"), &groups, before).await;
    let (singles, single) =
        raw::commit_each(&folder.path().join("single.db"), &groups, SINGLE).await;
    let (alones, alone) =
        raw::commit_events(&folder.path().join("alone.db"), &groups, before, SINGLE).await;
    Round {
        ledger: rate(events, took),
        grouped: rate(events, raw),
        single: rate(singles, single),
        alone: rate(alones, alone),
        group: rate(events, Duration::from_secs(1)) / rate(counted, Duration::from_secs(1)),
        wait,
    }
}

async fn client(recorder: Recorder, yard: Yard, lift: Lift, each: usize) -> Vec<Duration> {
    let mut waits = Vec::with_capacity(each);
    for n in 0..each / 2 {
        for step in yard.hand_over(&lift, n % 2 == 0) {
            let began = Instant::now();
            send(&recorder, &step).await;
            waits.push(began.elapsed());
        }
    }
    waits
}
