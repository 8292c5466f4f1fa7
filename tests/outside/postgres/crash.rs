//! Two servers on one database, under a load of hand-overs: fifty clients at one offer through both; a server killed
//! (SIGKILL) while the other goes on; the database killed in the middle of batches. What was acknowledged is there, what
//! was not is carried out once, and the whole database is clean.

use std::time::{Duration, Instant};

use liftledger::app::site::Site;
use liftledger::store::{PostgresStore, Store as _};
use sqlx::Connection as _;
use tokio::runtime::Runtime;

use super::cluster::{Cluster, PATIENCE};
use crate::load::{Client, PAIRS, Yard, all_kept, random};
use crate::served::Server;

pub(super) struct County {
    pub(super) runtime: Runtime,
    _folder: tempfile::TempDir,
    pub(super) site: Site,
    pub(super) address: String,
    pub(super) database: String,
    pub(super) yard: Yard,
}

impl County {
    pub(super) fn begin(cluster: &Cluster) -> Self {
        Self::with(cluster, PAIRS)
    }

    pub(super) fn with(cluster: &Cluster, pairs: usize) -> Self {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .unwrap();
        let database = runtime.block_on(cluster.database());
        // Kept durable by the servers whatever the database's default says.
        let careless = format!("ALTER DATABASE {database} SET synchronous_commit = off");
        runtime.block_on(cluster.sql("postgres", &careless));
        let address = cluster.address(&database);
        let folder = tempfile::tempdir().unwrap();
        let site = Site {
            folder: folder.path().join("ledger"),
            database: Some(address.parse().unwrap()),
            originals: None,
        };
        let yard = runtime.block_on(Yard::with(&site, pairs));
        Self {
            runtime,
            _folder: folder,
            site,
            address,
            database,
            yard,
        }
    }

    pub(super) fn server(&self) -> Server {
        Server::start_on("serve", &self.site.folder, Some(&self.address))
    }

    /// Everything acknowledged is there, and the whole database is clean.
    pub(super) fn check(&self, clients: &[Client<'_>]) {
        self.runtime.block_on(async {
            let store = PostgresStore::open(&self.address.parse().unwrap())
                .await
                .unwrap();
            all_kept(&store, clients).await;
            self.yard.audit(&store).await;
            store.close().await;
        });
    }
}

#[test]
fn fifty_clients_receive_one_offer_through_two_servers() {
    let county = County::begin(Cluster::shared());
    let servers = [county.server(), county.server()];
    let addresses = servers.each_ref().map(|s| s.address.clone());
    county.yard.fifty_receive_one_offer(&addresses);
    county.check(&[]);
}

#[test]
fn what_was_acknowledged_survives_the_kill_of_a_server_while_the_other_goes_on() {
    let county = County::begin(Cluster::shared());
    let mut servers = [county.server(), county.server()];
    let mut clients = county.yard.clients(&servers[0].address);
    for round in 0..10 {
        let addresses = servers.each_ref().map(|s| s.address.clone());
        std::thread::scope(|scope| {
            for client in &mut clients {
                scope.spawn(|| client.run(&addresses));
            }
            std::thread::sleep(Duration::from_millis(100 + random(500)));
            servers[round % 2].kill();
        });
        servers[round % 2] = county.server();
        for client in &mut clients {
            client.look(&servers[round % 2].address);
        }
        if round % 3 == 0 {
            county.check(&clients);
        }
    }
    county.check(&clients);
    under_load(&clients);
}

#[test]
fn what_was_acknowledged_survives_the_kill_of_the_database() {
    let mut cluster = Cluster::start();
    let county = County::begin(&cluster);
    let servers = [county.server(), county.server()];
    let addresses = servers.each_ref().map(|s| s.address.clone());
    let mut clients = county.yard.clients(&addresses[0]);
    for client in &mut clients {
        client.faults = true;
    }
    for round in 0..8 {
        let session = county
            .runtime
            .block_on(appending(&cluster, &county.database));
        std::thread::scope(|scope| {
            for client in &mut clients {
                scope.spawn(|| client.run(&addresses));
            }
            std::thread::sleep(Duration::from_millis(100 + random(500)));
            match session {
                // One session dies in the middle of what it does; the server throws out all others and recovers.
                Some(session) if round % 2 == 0 => cluster.kill_session(session),
                _ => {
                    cluster.kill();
                    cluster.serve();
                }
            }
        });
        cluster.wait_ready();
        wait_well(&addresses);
        for (n, client) in clients.iter_mut().enumerate() {
            client.look(&addresses[n % 2]);
        }
        county.check(&clients);
    }
    under_load(&clients);
}

/// The process of a session of the ledger's servers that has appended.
async fn appending(cluster: &Cluster, database: &str) -> Option<u32> {
    let mut raw = cluster.raw(database).await;
    let sql = "SELECT pid FROM pg_stat_activity WHERE datname = current_database() AND application_name = 'liftledger' \
               AND query LIKE '%COMMIT%' ORDER BY state_change DESC LIMIT 1";
    let found: Option<i32> = sqlx::query_scalar(sql)
        .fetch_optional(&mut raw)
        .await
        .unwrap();
    raw.close().await.unwrap();
    found.map(|pid| pid.try_into().unwrap())
}

/// Until both servers say that they are ready, twice: what was broken has been thrown away then.
pub(super) fn wait_well(addresses: &[String]) {
    let begun = Instant::now();
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .http_status_as_error(false)
        .timeout_global(Some(Duration::from_secs(30)))
        .build()
        .into();
    let (mut well, mut said) = (0, String::new());
    while well < 2 * addresses.len() {
        assert!(begun.elapsed() < PATIENCE, "not ready again: {said}");
        let at = format!("{}/readyz", addresses[well % addresses.len()]);
        match agent.get(at).call() {
            Ok(ready) if ready.status() == 200 => well += 1,
            other => {
                well = 0;
                said = match other {
                    Ok(mut not) => not.body_mut().read_to_string().unwrap_or_default(),
                    Err(e) => e.to_string(),
                };
                std::thread::sleep(Duration::from_millis(200));
            }
        }
    }
    // Connections that lay idle for a second are asked before they are used.
    std::thread::sleep(Duration::from_millis(1200));
}

/// Otherwise nothing was under way when something was killed, and this tested nothing.
pub(super) fn under_load(clients: &[Client<'_>]) {
    let count = |of: fn(&Client<'_>) -> usize| clients.iter().map(of).sum::<usize>();
    let (kept, lost) = (count(|c| c.kept.len()), count(|c| c.lost));
    assert!(
        kept > 100 && lost > 20,
        "{kept} kept, {lost} without answer"
    );
}
