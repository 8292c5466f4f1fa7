//! A witness beside a real server: it signs what grows, and says so when an old backup is put back or history forks.

use std::path::Path;
use std::process::{Command, Stdio};

use chrono::Utc;
use liftledger::app::backup::{self, Asked, Source};
use liftledger::app::house::House;
use liftledger::app::site::Site;
use liftledger::custody::{Act, case};
use liftledger::ledger::checkpoint::VerifyingKey;
use liftledger::ledger::cosignature::cosigned;
use liftledger::witness::{Alarm, Folder, Remote, Seen, look};

use super::boatyard::{Boatyard, act};
use super::served::Server;

const PHRASE: &str = "a kedge anchor, two oars, no wind";
const NAME: &str = "witness.example/slip-road";

async fn open_case(house: &House, by: liftledger::ids::PersonId, number: &str) {
    let open = case::OpenCase {
        number: number.into(),
        title: "one more".into(),
        offence: String::new(),
    };
    act(house, Some(by), None, Act::OpenCase(open))
        .await
        .unwrap();
}

async fn backed_up(site: &Site, folder: &Path) {
    let source = Source::open(site).await.unwrap();
    backup::make(&source, folder, Some(PHRASE), |_| {})
        .await
        .unwrap();
    source.close().await;
}

async fn put_back(folder: &Path, site: &Site) {
    std::fs::remove_dir_all(&site.folder).unwrap();
    backup::restore(folder, site, &Asked::default(), Some(PHRASE), |_| {})
        .await
        .unwrap();
}

fn alarmed(seen: Seen, expected: Alarm) {
    let is_so = matches!(&seen, Seen::Alarm { alarm, .. } if *alarm == expected);
    assert!(is_so, "{seen:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_old_backup_put_back_raises_the_alarm_at_the_next_look() {
    let dir = tempfile::tempdir().unwrap();
    let site = Site::from(&dir.path().join("data"));
    let folder = Folder::open(&dir.path().join("witness"), Some(NAME)).unwrap();
    let vkey = folder.key().verifying_key().clone();
    let yard = Boatyard::begin(&site).await;
    let toml = format!("[[witness]]\nkey = \"{vkey}\"\n");
    std::fs::write(site.folder.join("witnesses.toml"), toml).unwrap();
    let issued = yard
        .house
        .issue_token(yard.auditor, "witness", 1, Utc::now())
        .await;
    let token = issued.unwrap();
    let key: VerifyingKey = yard.house.verifying.clone();
    let (tech, size) = (yard.tech, yard.house.store.head().await.unwrap().size);
    yard.house.close().await;
    let last_week = dir.path().join("last-week");
    backed_up(&site, &last_week).await;

    let server = Server::start("serve", &site.folder);
    let seen = |server: &Server| {
        let remote = Remote::new(&server.address, &token);
        tokio::task::block_in_place(|| look(&folder, &remote, &key, Utc::now()).unwrap())
    };
    assert_eq!(
        seen(&server),
        Seen::Grown {
            from: 0,
            to: size,
            told: Ok(())
        }
    );
    assert_eq!(seen(&server), Seen::Same { size, told: Ok(()) });
    let house = House::open(&site).await.unwrap();
    open_case(&house, tech, "HC-31-0001").await;
    open_case(&house, tech, "HC-31-0002").await;
    assert_eq!(
        seen(&server),
        Seen::Grown {
            from: size,
            to: size + 2,
            told: Ok(())
        }
    );
    // The server has kept it.
    let kept = house.cosignatures().await.unwrap();
    assert_eq!((kept.len(), kept[0].size), (1, Some(size + 2)));
    assert!(cosigned(kept[0].note.as_ref().unwrap(), &vkey).is_ok());
    house.close().await;
    drop(server);

    put_back(&last_week, &site).await;
    let server = Server::start("serve", &site.folder);
    alarmed(seen(&server), Alarm::Shrunk);
    // As long as it was, and longer than it was, by another way.
    let house = House::open(&site).await.unwrap();
    open_case(&house, tech, "HC-31-0001").await;
    open_case(&house, tech, "HC-31-0003").await;
    alarmed(seen(&server), Alarm::Forked);
    open_case(&house, tech, "HC-31-0004").await;
    alarmed(seen(&server), Alarm::Forked);
    // Nor does the ledger take the cosignature of the history that it lost.
    let lost = std::fs::read_to_string(dir.path().join("witness/latest.txt")).unwrap();
    assert!(house.keep_cosignature(&lost).await.is_err());
    house.close().await;
    let accused = std::fs::read_to_string(dir.path().join("witness/accusations.jsonl")).unwrap();
    assert_eq!(accused.lines().count(), 3);

    // From the command line: the log line, the exit code, the command that is run.
    let called = dir.path().join("called");
    let command = format!("echo \"$0\" > {0}; cat >> {0}", called.display());
    let program = |key: &str| {
        Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .args([
                "witness",
                "--of",
                &server.address,
                "--key",
                key,
                "--alarm",
                &command,
                "--data",
            ])
            .arg(dir.path().join("witness"))
            .env("LIFTLEDGER_WITNESS_TOKEN", &token)
            .stdin(Stdio::null())
            .output()
            .unwrap()
    };
    let done = program(&key.to_string());
    assert_eq!(done.status.code(), Some(2), "{done:?}");
    assert!(
        String::from_utf8_lossy(&done.stdout).contains("ALARM forked:"),
        "{done:?}"
    );
    assert!(
        String::from_utf8_lossy(&done.stderr).contains("ALARM"),
        "{done:?}"
    );
    let called = std::fs::read_to_string(&called).unwrap();
    assert!(
        called.starts_with("forked\n") && called.contains("not the beginning"),
        "{called}"
    );
    // A server with another key is none of this ledger's.
    let other = liftledger::ledger::checkpoint::Key::new(&[9; 32], key.name()).unwrap();
    let done = program(&other.verifying_key().to_string());
    assert_eq!(done.status.code(), Some(2), "{done:?}");
    drop(server);
}

#[test]
fn a_server_that_is_away_is_no_alarm_and_a_folder_keeps_its_key() {
    let dir = tempfile::tempdir().unwrap();
    assert!(Folder::open(dir.path(), None).is_err());
    let folder = Folder::open(dir.path(), Some(NAME)).unwrap();
    let again = Folder::open(dir.path(), None).unwrap();
    assert_eq!(folder.key().verifying_key(), again.key().verifying_key());
    assert!(Folder::open(dir.path(), Some("witness.example/other")).is_err());
    let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = free.local_addr().unwrap().port();
    drop(free);
    let remote = Remote::new(&format!("http://127.0.0.1:{port}"), "llt_none");
    let key = liftledger::ledger::checkpoint::Key::new(&[9; 32], "ledger.example/a").unwrap();
    let seen = look(&folder, &remote, key.verifying_key(), Utc::now()).unwrap();
    assert!(matches!(seen, Seen::Unreachable(_)), "{seen:?}");
}
