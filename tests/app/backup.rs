//! Backups: taken under way, brought up to date, torn, tampered with, and put back.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use chrono::{TimeZone as _, Utc};
use liftledger::app::backup::{self, Asked, Backup, BackupError, LIST, Source};
use liftledger::app::house::{House, HouseError};
use liftledger::app::papers::Layout;
use liftledger::app::papers::report::compose;
use liftledger::app::site::Site;
use liftledger::app::{Viewer, demo};
use liftledger::custody::{Act, case};
use liftledger::ids::{CommandId, Digest, Subject};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use super::boatyard::{Boatyard, act};

const PHRASE: &str = "a kedge anchor, two oars, no wind";

/// The report of a subject as it would be printed by one command at one time.
pub async fn report(house: &House, of: Subject) -> Vec<u8> {
    let viewer = Viewer::operator();
    let id = CommandId(Uuid::from_u128(7));
    let now = Utc.with_ymd_and_hms(2031, 5, 1, 8, 0, 0).unwrap();
    let layout = Layout::default();
    compose(&house.reader(&viewer), of, &layout, id, now, |_, _| {})
        .await
        .unwrap()
        .bytes
}

async fn note(house: &House) -> String {
    house.store.latest_checkpoint().await.unwrap().unwrap().note
}

async fn make(
    site: &Site,
    folder: &Path,
    phrase: Option<&str>,
) -> Result<backup::Made, BackupError> {
    let source = Source::open(site).await?;
    let made = backup::make(&source, folder, phrase, |_| {}).await;
    source.close().await;
    made
}

async fn check(folder: &Path, scratch: &Path) -> Result<backup::Checked, BackupError> {
    let scratch = scratch.join(Uuid::now_v7().to_string());
    let done = backup::check(folder, &Asked::default(), &scratch, |_| {}).await;
    assert!(!scratch.exists());
    done
}

fn program(arguments: &[&str], input: &str) -> (Option<i32>, String) {
    use std::io::Write as _;
    let mut child = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(arguments)
        .env("LIFTLEDGER_DATABASE", "")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that does not read it may have ended already.
    let _ = child.stdin.take().unwrap().write_all(input.as_bytes());
    let done = child.wait_with_output().unwrap();
    let said = [done.stdout, done.stderr]
        .map(|b| String::from_utf8(b).unwrap())
        .concat();
    (done.status.code(), said)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_goes_through_a_backup_and_is_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let (data, folder) = (dir.path().join("demo"), dir.path().join("backup"));
    let (house, told) = demo::begin(&data).await.unwrap();
    let case = Subject::Case(told.cases["boatyard"]);
    let before = (note(&house).await, report(&house, case).await);
    house.close().await;
    let at = |p: &Path| p.to_str().unwrap().to_owned();
    let (data, folder) = (at(&data), at(&folder));
    let (code, said) = program(
        &["backup", &folder, "--data", &data, "--keys"],
        &format!("{PHRASE}\n"),
    );
    assert!(
        code == Some(0) && said.contains("the keys with it"),
        "{said}"
    );
    let (code, said) = program(&["backup", "check", &folder], "");
    assert!(code == Some(0) && said.contains("restores:"), "{said}");
    // A second run finds nothing new, and keeps the keys.
    let (code, said) = program(&["backup", &folder, "--data", &data], "");
    assert!(
        code == Some(0)
            && said.contains("(0 of them new), 0 originals copied")
            && said.contains("the keys with it"),
        "{said}"
    );

    let again = at(&dir.path().join("again"));
    let (code, said) = program(
        &["restore", &folder, "--data", &again, "--keys"],
        "some other words in a row\n",
    );
    assert!(code == Some(1) && said.contains("do not open"), "{said}");
    let (code, said) = program(
        &["restore", &folder, "--data", &again, "--keys"],
        &format!("{PHRASE}\n"),
    );
    assert_eq!(code, Some(0), "{said}");
    let (code, said) = program(&["verify", "--data", &again], "");
    assert!(code == Some(0) && said.contains(" 0 findings"), "{said}");
    let house = House::open(Path::new(&again)).await.unwrap();
    assert_eq!(before.0, note(&house).await);
    let after = report(&house, case).await;
    assert!(before.1 == after, "the report has other bytes");
    // Everybody signs in as before, and the ledger goes on.
    let person = Subject::Person(told.people.values().next().unwrap().id).to_string();
    assert!(house.store.credential(&person).await.unwrap().is_some());
    let opened = case::OpenCase {
        number: "HR-31-0001".into(),
        title: "after the fire".into(),
        offence: String::new(),
    };
    let tech = told
        .people
        .values()
        .find(|p| p.roles.contains(&liftledger::people::Role::Technician))
        .unwrap()
        .id;
    act(&house, Some(tech), None, Act::OpenCase(opened))
        .await
        .unwrap();
    house.close().await;
    // A backup of what was restored goes on where the first one was.
    let (code, said) = program(&["backup", &folder, "--data", &again], "");
    assert!(
        code == Some(0) && said.contains("(1 of them new)"),
        "{said}"
    );
    // The old ledger is behind it now, and its backup is refused there.
    let (code, said) = program(&["backup", &folder, "--data", &data], "");
    assert!(
        code == Some(2) && said.contains("put back to an earlier state"),
        "{said}"
    );
    let (code, said) = program(&["restore", &folder, "--data", &again], "");
    assert!(code == Some(1) && said.contains("is not empty"), "{said}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_is_taken_while_the_ledger_grows() {
    let dir = tempfile::tempdir().unwrap();
    let site = Site::from(&dir.path().join("data"));
    let folder = dir.path().join("backup");
    let yard = Boatyard::begin(&site).await;
    let begun = yard.house.store.head().await.unwrap().size;
    let opening = async {
        for n in 0..60 {
            let open = case::OpenCase {
                number: format!("HC-31-{n:04}"),
                title: "one of many".into(),
                offence: String::new(),
            };
            act(&yard.house, Some(yard.tech), None, Act::OpenCase(open))
                .await
                .unwrap();
        }
    };
    let backing = async {
        for _ in 0..4 {
            make(&site, &folder, None).await.unwrap();
            check(&folder, dir.path()).await.unwrap();
        }
    };
    tokio::join!(opening, backing);
    let made = make(&site, &folder, None).await.unwrap();
    assert_eq!(made.events, begun + 60);
    let again = Site::from(&dir.path().join("again"));
    let (found, copied) = backup::restore(&folder, &again, &Asked::default(), None, |_| {})
        .await
        .unwrap();
    assert_eq!((found.events, copied.files), (begun + 60, 3));
    // No keys were asked for: nothing is served before they are put back.
    assert!(matches!(
        House::open(&again).await,
        Err(HouseError::Keys(_))
    ));
    fs::create_dir(again.folder.join("keys")).unwrap();
    for name in ["checkpoint.seed", "server.secret"] {
        fs::copy(
            site.folder.join("keys").join(name),
            again.folder.join("keys").join(name),
        )
        .unwrap();
    }
    let house = House::open(&again).await.unwrap();
    assert_eq!(note(&house).await, note(&yard.house).await);
    // A command sent again after the fire gets its answer of before.
    let last = yard.house.store.event(begun + 1).await.unwrap().unwrap();
    let fields: serde_json::Value = serde_json::from_slice(&last.fields.unwrap()).unwrap();
    let id = fields["command"].as_str().unwrap();
    let (old, new) = (
        yard.house.store.command(id).await.unwrap(),
        house.store.command(id).await.unwrap(),
    );
    assert!(old.is_some() && old == new);
}

/// A backup of the small case with three events files, in a folder.
async fn three(dir: &Path) -> (PathBuf, Boatyard, Site) {
    let site = Site::from(&dir.join("data"));
    let folder = dir.join("backup");
    let yard = Boatyard::begin(&site).await;
    for n in 0..3 {
        let open = case::OpenCase {
            number: format!("HC-31-{n:04}"),
            title: "one more".into(),
            offence: String::new(),
        };
        act(&yard.house, Some(yard.tech), None, Act::OpenCase(open))
            .await
            .unwrap();
        make(&site, &folder, Some(PHRASE)).await.unwrap();
    }
    (folder, yard, site)
}

fn files(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, out);
        } else if fs::metadata(&path).unwrap().len() > 0 {
            out.push(path);
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whatever_is_altered_or_gone_does_not_restore() {
    let dir = tempfile::tempdir().unwrap();
    let (folder, _yard, _) = three(dir.path()).await;
    check(&folder, dir.path()).await.unwrap();
    let mut all = Vec::new();
    files(&folder, &mut all);
    all.retain(|p| !p.ends_with("lock"));
    assert!(all.len() > 12, "{all:?}");
    for path in &all {
        let good = fs::read(path).unwrap();
        let mut bad = good.clone();
        let middle = bad.len() / 2;
        bad[middle] ^= 1;
        for now in [Some(bad), Some(good[..good.len() - 1].to_vec()), None] {
            fs::remove_file(path).unwrap();
            let gone = now.is_none();
            if let Some(bytes) = now {
                fs::write(path, bytes).unwrap();
            }
            let target = Site::from(&dir.path().join("target"));
            let asked = Asked::default();
            let done = backup::restore(&folder, &target, &asked, Some(PHRASE), |_| {}).await;
            assert!(done.is_err(), "{path:?} altered, gone {gone}");
            // Whatever is there now is no ledger, and none can be begun over it.
            assert!(matches!(
                House::open(&target).await,
                Err(HouseError::NoLedger(_))
            ));
            let begun = House::open_or_begin(&target, "ledger.example/other").await;
            let half = matches!(begun, Err(HouseError::HalfRestored(_)));
            if let Ok(house) = begun {
                assert_eq!(house.store.head().await.unwrap().size, 0);
                house.close().await;
            } else {
                assert!(half);
            }
            fs::remove_dir_all(&target.folder).unwrap();
            if gone {
                fs::write(path, &good).unwrap();
            }
        }
        fs::write(path, &good).unwrap();
    }
    check(&folder, dir.path()).await.unwrap();
}

/// A list as somebody writes it who knows the format.
fn forge(folder: &Path, text: &str) {
    let json: serde_json::Value = serde_json::from_str(text).unwrap();
    let old = format!("\"sha256\": \"{}\"\n}}", json["sha256"].as_str().unwrap());
    let zeros = format!("\"sha256\": \"{}\"\n}}", "0".repeat(64));
    let empty = text.trim_end().replace(&old, &zeros);
    assert_ne!(empty, text);
    let digest = Digest(Sha256::digest(empty.as_bytes()).into());
    let new = format!("\"sha256\": \"{digest}\"\n}}");
    fs::write(folder.join(LIST), empty.replace(&zeros, &new) + "\n").unwrap();
}

/// Somebody who can write in the folder alters an event and the list with it: the checkpoint tells.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_forged_list_does_not_help() {
    let dir = tempfile::tempdir().unwrap();
    let (folder, _yard, _) = three(dir.path()).await;
    let list = fs::read_to_string(folder.join(LIST)).unwrap();
    let json: serde_json::Value = serde_json::from_str(&list).unwrap();
    let first = json["segments"][0]["events"].clone();
    let path = folder.join(first["name"].as_str().unwrap());
    let text = fs::read_to_string(&path).unwrap();
    let forged = text.replacen("Ivo Tarn", "Ivo Torn", 1);
    assert_ne!(text, forged);
    fs::write(&path, &forged).unwrap();
    let digest = Digest(Sha256::digest(forged.as_bytes()).into()).to_string();
    forge(
        &folder,
        &list.replace(first["sha256"].as_str().unwrap(), &digest),
    );
    assert!(matches!(
        check(&folder, dir.path()).await,
        Err(BackupError::Unreadable { .. })
    ));
    // A whole event cut off at the end, list and sizes with it, is behind the checkpoint that somebody else kept.
    fs::write(&path, &text).unwrap();
    fs::write(folder.join(LIST), &list).unwrap();
    let kept = Backup::find(&folder).unwrap().checkpoint;
    let old: Vec<serde_json::Value> = json["segments"].as_array().unwrap()[..2].to_vec();
    let checkpoints = folder.join(old[1]["checkpoints"]["name"].as_str().unwrap());
    let text = fs::read_to_string(checkpoints).unwrap();
    let last: serde_json::Value = serde_json::from_str(text.lines().last().unwrap()).unwrap();
    let mut shorter = json.clone();
    shorter["segments"] = old.into();
    shorter["checkpoint"] = last["note"].clone();
    // Through the type, for the order of its fields.
    let shorter: Backup = serde_json::from_value(shorter).unwrap();
    forge(
        &folder,
        &(serde_json::to_string_pretty(&shorter).unwrap() + "\n"),
    );
    check(&folder, dir.path()).await.unwrap();
    let asked = Asked {
        key: None,
        external: vec![kept],
    };
    let scratch = dir.path().join("scratch");
    let found = backup::check(&folder, &asked, &scratch, |_| {}).await;
    assert!(matches!(found, Err(BackupError::Findings(_))), "{found:?}");
    let other =
        liftledger::ledger::checkpoint::Key::new(&[9; 32], "ledger.example/harrow-cove").unwrap();
    let asked = Asked {
        key: Some(other.verifying_key().clone()),
        external: vec![],
    };
    let found = backup::check(&folder, &asked, &scratch, |_| {}).await;
    assert!(matches!(found, Err(BackupError::OtherKey(_))), "{found:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_killed_in_the_middle_is_none_and_the_next_run_completes_it() {
    let dir = tempfile::tempdir().unwrap();
    let (data, folder) = (dir.path().join("demo"), dir.path().join("backup"));
    let (house, _) = demo::begin(&data).await.unwrap();
    house.close().await;
    let (mut torn, mut pause) = (0, 3);
    loop {
        let mut child = Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .arg("backup")
            .arg(&folder)
            .arg("--data")
            .arg(&data)
            .env("LIFTLEDGER_DATABASE", "")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        tokio::time::sleep(Duration::from_millis(pause)).await;
        // SIGKILL.
        let ended = child.try_wait().unwrap().is_some();
        let _ = child.kill();
        child.wait().unwrap();
        if ended || folder.join(LIST).exists() {
            break;
        }
        if folder.exists() {
            assert!(matches!(
                check(&folder, dir.path()).await,
                Err(BackupError::None(_))
            ));
            torn += 1;
        }
        pause += 4;
    }
    assert!(torn > 0, "never torn");
    let made = make(&Site::from(&data), &folder, None).await.unwrap();
    assert!(made.events > 250);
    check(&folder, dir.path()).await.unwrap();
    let mut all = Vec::new();
    files(&folder, &mut all);
    assert!(
        !all.iter()
            .any(|p| p.extension().is_some_and(|e| e == "part")),
        "{all:?}"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_gone_before_is_named_and_the_rest_is_whole() {
    let dir = tempfile::tempdir().unwrap();
    let site = Site::from(&dir.path().join("data"));
    let folder = dir.path().join("backup");
    let yard = Boatyard::begin(&site).await;
    let mut all = Vec::new();
    files(&site.folder.join("originals"), &mut all);
    fs::remove_file(&all[0]).unwrap();
    fs::remove_file(&all[1]).unwrap();
    fs::write(&all[1], b"other bytes").unwrap();
    let made = make(&site, &folder, None).await.unwrap();
    assert_eq!((made.without.len(), made.originals.files), (2, 1));
    let found = check(&folder, dir.path()).await.unwrap();
    assert_eq!(found.without, made.without);
    // Put back from elsewhere, they are in the next one.
    fs::remove_file(&all[1]).unwrap();
    for n in 0..3 {
        yard.house.originals.keep(&super::boatyard::png(n)).unwrap();
    }
    let made = make(&site, &folder, None).await.unwrap();
    assert_eq!((made.without.len(), made.originals.files), (0, 2));
    // Two runs at once, another ledger, and a folder of something else.
    let other = Site::from(&dir.path().join("other"));
    let _other = Boatyard::begin(&other).await;
    assert!(matches!(
        make(&other, &folder, None).await,
        Err(BackupError::OtherLedger(_))
    ));
    assert!(matches!(
        make(&site, &site.folder, None).await,
        Err(BackupError::OtherThings(_))
    ));
    assert!(matches!(
        make(&site, &dir.path().join("short"), Some("too short")).await,
        Err(BackupError::Sealed(_))
    ));
    let held = fs::File::open(folder.join("lock")).unwrap();
    held.lock().unwrap();
    assert!(matches!(
        make(&site, &folder, None).await,
        Err(BackupError::Busy(_))
    ));
}
