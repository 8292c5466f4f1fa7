//! Two servers on one database, a hundred clients with mixed work, one server killed every few seconds: nothing is lost,
//! nothing is done twice, and everything has the one holder that its clients know of.
//!
//! `LIFTLEDGER_MIXED_SECONDS` says how long; a kill comes every sixth of it. Without it 24 seconds.

use std::sync::RwLock;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use liftledger::ids::Subject;
use liftledger::store::{PostgresStore, Reads as _, Store as _};

use super::cluster::Cluster;
use super::crash::{County, under_load};

const PAIRS: usize = 40;
const NOTERS: usize = 60;
const KILLS: u32 = 6;

#[test]
fn a_hundred_clients_lose_nothing_while_servers_are_killed() {
    let seconds = std::env::var("LIFTLEDGER_MIXED_SECONDS");
    let seconds: u64 = seconds.map_or(24, |s| s.parse().unwrap());
    let between = Duration::from_secs(seconds.clamp(6, 600)) / KILLS;
    let county = County::with(Cluster::shared(), PAIRS);
    let mut servers = [county.server(), county.server()];
    let mut clients = county.yard.clients_with(&servers[0].address, NOTERS);
    assert_eq!(clients.len(), 100);
    for client in &mut clients {
        client.faults = true;
    }
    let store = county
        .runtime
        .block_on(PostgresStore::open(&county.address.parse().unwrap()))
        .unwrap();
    let before = county.runtime.block_on(store.head()).unwrap().size;
    let addresses = RwLock::new(servers.each_ref().map(|s| s.address.clone()));
    let over = AtomicBool::new(false);
    let begun = Instant::now();
    std::thread::scope(|scope| {
        for client in &mut clients {
            scope.spawn(|| {
                while !over.load(Ordering::SeqCst) {
                    let now = addresses.read().unwrap().clone();
                    client.run_some(&now, 5);
                }
            });
        }
        for kill in 0..KILLS as usize {
            std::thread::sleep(between);
            servers[kill % 2].kill();
            servers[kill % 2] = county.server();
            addresses.write().unwrap()[kill % 2].clone_from(&servers[kill % 2].address);
        }
        over.store(true, Ordering::SeqCst);
    });
    for (n, client) in clients.iter_mut().enumerate() {
        client.look(&servers[n % 2].address);
    }
    county.check(&clients);
    under_load(&clients);
    let kept: usize = clients.iter().map(|c| c.kept.len()).sum();
    county.runtime.block_on(async {
        // Every form that was done made one event, and nothing else was recorded.
        let after = store.head().await.unwrap().size;
        assert_eq!(after - before, kept as u64);
        for client in &clients {
            let Some((piece, holder)) = client.holds() else {
                continue;
            };
            let row = store.doc(&Subject::from(piece).to_string()).await.unwrap();
            let expected = Subject::Person(holder).to_string();
            assert_eq!(row.unwrap().holder.as_deref(), Some(expected.as_str()));
        }
        store.close().await;
    });
    eprintln!("{kept} forms in {:?}, {KILLS} kills", begun.elapsed());
}
