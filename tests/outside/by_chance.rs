//! The long runs by chance against a model of the room (`tests/app/model`), on both databases.

use std::time::Instant;

use liftledger::app::site::Site;

use crate::model::{Came, SEED, asked, run};
use crate::postgres::cluster::Cluster;

/// On a new ledger; so many commands, ten thousand where nothing is said.
fn long(place: &str, database: impl AsyncFnOnce() -> Option<String>) -> Came {
    let commands = asked("LIFTLEDGER_MODEL_COMMANDS").unwrap_or(10_000);
    let seed = asked("LIFTLEDGER_MODEL_SEED").unwrap_or(SEED);
    let folder = tempfile::tempdir().unwrap();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let site = Site {
            folder: folder.path().join("ledger"),
            database: database().await.map(|address| address.parse().unwrap()),
            originals: None,
        };
        let begun = Instant::now();
        let came = run(site, seed, usize::try_from(commands).unwrap()).await;
        let took = begun.elapsed().as_secs_f64();
        eprintln!(
            "{place}: {} commands in {took:.1} s: {} carried out, {} refused, {} sent again, {} in conflict; {} events, {} things, \
             {} disposed of, {} findings",
            came.commands, came.done, came.refused, came.again, came.conflicts, came.events, came.things, came.disposed,
            came.findings
        );
        came
    })
}

#[test]
fn ten_thousand_commands_by_chance_agree_with_a_model_on_sqlite() {
    long("SQLite", async || None).made_every_act();
}

#[test]
fn ten_thousand_commands_by_chance_agree_with_a_model_on_postgresql() {
    let cluster = Cluster::shared();
    let database = async || {
        let name = cluster.database().await;
        Some(cluster.address(&name))
    };
    long("PostgreSQL", database).made_every_act();
}
