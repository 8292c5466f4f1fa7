//! The real server under a load of hand-overs, killed with SIGKILL fifty times: what was acknowledged is there, what was
//! not is carried out once when it is sent again, and the whole database is clean. And fifty clients at one offer, by HTTP.

use std::time::{Duration, Instant};

use liftledger::store::SqliteStore;

use super::load::{Client, Yard, all_kept, random};
use super::served::Server;

const ROUNDS: usize = 50;
/// The longest that fifty rounds may take on a slow machine.
const LIMIT: Duration = Duration::from_secs(400);

#[test]
fn what_was_acknowledged_survives_fifty_kills() {
    let begun = Instant::now();
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    let yard = runtime.block_on(Yard::begin(&data));
    let mut server = Server::start("serve", &data);
    let mut clients = yard.clients(&server.address);
    for round in 1..=ROUNDS {
        assert!(begun.elapsed() < LIMIT, "too slow: round {round}");
        let addresses = [server.address.clone()];
        std::thread::scope(|scope| {
            for client in &mut clients {
                scope.spawn(|| client.run(&addresses));
            }
            std::thread::sleep(Duration::from_millis(40 + random(400)));
            server.kill();
        });
        server = Server::start("serve", &data);
        for client in &mut clients {
            client.look(&server.address);
        }
        if round % 10 == 0 {
            runtime.block_on(async {
                let store = SqliteStore::open(&data.join("ledger.db")).await.unwrap();
                all_kept(&store, &clients).await;
                yard.audit(&store).await;
                store.close().await;
            });
        }
    }
    let count = |of: fn(&Client<'_>) -> usize| clients.iter().map(of).sum::<usize>();
    let (kept, lost) = (count(|c| c.kept.len()), count(|c| c.lost));
    // Otherwise nothing was under way when the server was killed, and this tested nothing.
    assert!(
        kept > 500 && lost > 100,
        "{kept} kept, {lost} without answer"
    );
}

#[test]
fn fifty_clients_receive_one_offer_at_once_by_http() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    let yard = runtime.block_on(Yard::begin(&data));
    let mut server = Server::start("serve", &data);
    yard.fifty_receive_one_offer(std::slice::from_ref(&server.address));
    server.kill();
    runtime.block_on(async {
        let store = SqliteStore::open(&data.join("ledger.db")).await.unwrap();
        yard.audit(&store).await;
        store.close().await;
    });
}
