//! Runs by chance against a model of the room, on SQLite; `tests/outside/by_chance.rs` makes the long ones.

use super::model::{SEED, asked, run};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn many_peoples_commands_by_chance_agree_with_a_model() {
    let folder = tempfile::tempdir().unwrap();
    let commands = asked("LIFTLEDGER_MODEL_COMMANDS").unwrap_or(2000);
    let seed = asked("LIFTLEDGER_MODEL_SEED").unwrap_or(SEED);
    let commands = usize::try_from(commands).unwrap();
    let begun = std::time::Instant::now();
    let came = run(folder.path(), seed, commands).await;
    eprintln!("{:.1} s: {came:#?}", begun.elapsed().as_secs_f64());
    assert!(came.done * 4 > came.commands && came.refused * 10 > came.commands);
    assert!(came.again > 0 && came.conflicts > 0 && came.disposed > 0 && came.findings > 0);
    if commands >= 2000 {
        came.made_every_act();
    }
}

/// Another run each time: what it fails by is printed.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_run_that_nobody_has_seen_agrees_with_the_model() {
    let folder = tempfile::tempdir().unwrap();
    let mut seed = [0; 8];
    getrandom::fill(&mut seed).unwrap();
    run(folder.path(), u64::from_le_bytes(seed), 300).await;
}
