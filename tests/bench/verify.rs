//! The verifier over 100,000 events against plain SHA-256 over the same bytes on one core.

use std::hint::black_box;
use std::time::{Duration, Instant};

use liftledger::app::audit::audit;
use liftledger::ledger::verify::{Options, RawCheckpoint, RawEvent, RawNode, Verifier};
use liftledger::store::{RAW_MAX, Reads as _, SqliteStore};
use sha2::{Digest as _, Sha256};

use super::Scale;
use super::build::{build, key};
use super::figure::{Aim, Figure, note};

const ROUNDS: usize = 5;

struct Rows {
    events: Vec<RawEvent>,
    nodes: Vec<RawNode>,
    heads: Vec<RawCheckpoint>,
}

/// All of a ledger; `each` hears of a page of events as soon as it is read.
async fn read(
    store: &SqliteStore,
    mut each: impl FnMut(Vec<RawEvent>),
) -> (Vec<RawNode>, Vec<RawCheckpoint>) {
    let mut from = i64::MIN;
    loop {
        let page = store.events(from, RAW_MAX).await.unwrap();
        let Some(last) = page.last() else { break };
        from = last.seq + 1;
        let rows = page.into_iter().map(|e| RawEvent {
            seq: e.seq,
            id: e.id.unwrap(),
            header: e.header.unwrap(),
            salt: e.salt,
            fields: e.fields,
        });
        each(rows.collect());
    }
    let (mut nodes, mut after) = (Vec::new(), None);
    loop {
        let page = store.nodes_page(after, RAW_MAX).await.unwrap();
        let Some(last) = page.last() else { break };
        after = Some((last.level, last.idx));
        nodes.extend(page.into_iter().map(|n| RawNode {
            level: n.level,
            index: n.idx,
            hash: n.hash.unwrap(),
        }));
    }
    let (mut heads, mut after) = (Vec::new(), i64::MIN);
    loop {
        let page = store.checkpoints(after, RAW_MAX).await.unwrap();
        let Some(last) = page.last() else { break };
        after = last.size;
        heads.extend(page.into_iter().map(|h| RawCheckpoint {
            size: h.size,
            note: h.note.unwrap(),
        }));
    }
    (nodes, heads)
}

fn finish(mut verifier: Verifier, nodes: &[RawNode], heads: &[RawCheckpoint]) {
    verifier.push_nodes(nodes);
    for head in heads {
        verifier.push_checkpoint(head);
    }
    let report = verifier.finish();
    assert!(report.is_clean(), "{:?}", report.findings.first());
}

fn verifier() -> Verifier {
    Verifier::new(key().verifying_key().clone(), Options::default())
}

pub async fn measure(scale: Scale) -> Vec<Figure> {
    let events = scale.of(100_000, 1_000);
    let built = build(events, Duration::from_secs(60)).await;
    let mut all = Vec::new();
    let (nodes, heads) = read(&built.store, |rows| all.extend(rows)).await;
    let rows = Rows {
        events: all,
        nodes,
        heads,
    };
    note(&format!(
        "verify: a ledger of {} events built in {:.1} s",
        built.size,
        built.took.as_secs_f64()
    ));
    let (mut plain, mut memory, mut file, mut whole) = (vec![], vec![], vec![], vec![]);
    for n in 1..=ROUNDS {
        let began = Instant::now();
        let mut hash = Sha256::new();
        for row in &rows.events {
            hash.update(&row.header);
            hash.update(row.salt.as_deref().unwrap());
            hash.update(row.fields.as_deref().unwrap());
        }
        black_box(hash.finalize());
        plain.push(began.elapsed().as_secs_f64());

        let began = Instant::now();
        let mut v = verifier();
        for page in rows.events.chunks(RAW_MAX as usize) {
            v.push(page);
        }
        finish(v, &rows.nodes, &rows.heads);
        memory.push(began.elapsed().as_secs_f64());

        let began = Instant::now();
        let mut v = verifier();
        let (nodes, heads) = read(&built.store, |rows| {
            tokio::task::block_in_place(|| v.push(&rows))
        })
        .await;
        finish(v, &nodes, &heads);
        file.push(began.elapsed().as_secs_f64());

        let began = Instant::now();
        let found = audit(&built.store, key().verifying_key(), &[], |_| {})
            .await
            .unwrap();
        assert!(found.is_clean());
        whole.push(began.elapsed().as_secs_f64());
        note(&format!(
            "verify, round {n}: {:.3} s plain, {:.3} s in memory, {:.3} s from the file, {:.3} s with the read models",
            plain[n - 1],
            memory[n - 1],
            file[n - 1],
            whole[n - 1]
        ));
    }
    built.store.close().await;
    let ratio = |times: &[f64]| {
        times
            .iter()
            .zip(&plain)
            .map(|(t, p)| t / p)
            .collect::<Vec<f64>>()
    };
    let of = "plain SHA-256, one core";
    let name = |what: &str| format!("{} events {what}", built.size);
    vec![
        Figure::plain(name("hashed plainly, one core"), "s", &plain),
        Figure::plain(name("verified, rows in memory"), "s", &memory).against(
            of,
            &ratio(&memory),
            Some(Aim::AtMost(6.0)),
        ),
        Figure::plain(name("verified, read from the file"), "s", &file).against(
            of,
            &ratio(&file),
            None,
        ),
        Figure::plain(name("and read models replayed"), "s", &whole).against(
            of,
            &ratio(&whole),
            None,
        ),
    ]
}
