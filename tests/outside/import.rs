//! A large room taken over by the program itself, in a process of its own: what its memory comes to, and that it does nothing
//! the second time. `LIFTLEDGER_IMPORT_ROWS` says how large; a wrong row stands in each 333.

use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::boatyard::Boatyard;
use crate::room::{MAPPING, room};

const SECRET: &str = "slipway lantern 42";
/// Our own bound on the memory of an import, whatever the file's size.
const MOST_MB: u64 = 256;

struct Done {
    code: Option<i32>,
    said: String,
    /// The most memory that the process had, in MB, as the kernel counts it (proc_pid_status(5), VmHWM).
    peak: u64,
    took: Duration,
}

fn run(arguments: &[&str], data: &Path, secret: bool) -> Done {
    let begun = Instant::now();
    let output = tempfile::NamedTempFile::new().unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(arguments)
        .arg("--data")
        .arg(data)
        .env("LIFTLEDGER_DATABASE", "")
        .stdin(Stdio::piped())
        .stdout(output.reopen().unwrap())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    if secret {
        writeln!(stdin, "{SECRET}").unwrap();
    }
    drop(stdin);
    let mut peak = 0;
    let status = loop {
        let told = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let line = told.lines().find(|l| l.starts_with("VmHWM:"));
        let now = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<u64>().ok());
        peak = peak.max(now.unwrap_or(0));
        match child.try_wait().unwrap() {
            Some(status) => break status,
            None => std::thread::sleep(Duration::from_millis(20)),
        }
    };
    Done {
        code: status.code(),
        said: fs::read_to_string(output.path()).unwrap(),
        peak: peak / 1024,
        took: begun.elapsed(),
    }
}

#[test]
fn a_large_room_is_taken_over_within_bounds_and_verifies() {
    let rows = std::env::var("LIFTLEDGER_IMPORT_ROWS").map_or(10_000, |n| n.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        let yard = Boatyard::begin(&data).await;
        let person = yard.house.person(yard.custodian).await.unwrap().unwrap();
        let now = chrono::Utc::now();
        yard.house.set_password(&person, SECRET, now).await.unwrap();
        yard.house.close().await;
    });
    let (text, wrong) = room(rows, 333);
    let file = folder.path().join("room.csv");
    let mapping = folder.path().join("room.toml");
    fs::write(&file, &text).unwrap();
    fs::write(&mapping, MAPPING).unwrap();
    let (file, mapping) = (file.to_str().unwrap(), mapping.to_str().unwrap());
    let told = |what: &str, done: &Done| {
        eprintln!(
            "import of {rows} rows, {what}: {:.1} s, {} MB at most",
            done.took.as_secs_f64(),
            done.peak
        );
        assert!(
            done.peak > 5 && done.peak < MOST_MB,
            "{what}: {} MB",
            done.peak
        );
    };

    let dry = run(
        &[
            "import",
            "--mapping",
            mapping,
            file,
            "--dry-run",
            "--by",
            "cal",
        ],
        &data,
        false,
    );
    told("dry run", &dry);
    assert_eq!(dry.code, Some(1));
    let lines: Vec<&str> = dry.said.lines().filter(|l| l.starts_with("row ")).collect();
    let named: BTreeSet<u64> = lines
        .iter()
        .map(|l| l[4..].split(' ').next().unwrap().parse().unwrap())
        .collect();
    assert_eq!(named, wrong);
    assert_eq!(lines.len(), wrong.len());
    assert!(
        dry.said.contains(&format!("{} wrong", wrong.len())),
        "{}",
        dry.said.lines().last().unwrap()
    );

    let import = [
        "import",
        "--mapping",
        mapping,
        file,
        "--batch",
        "50",
        "--by",
        "cal",
    ];
    let real = run(&import, &data, true);
    told("recorded", &real);
    let last = real.said.lines().last().unwrap().to_owned();
    assert_eq!(real.code, Some(1), "{last}");
    // A wrong row holds 49 others back, and no two stand in one batch.
    let good = rows - 50 * wrong.len() as u64;
    assert!(last.contains(&format!("{good} taken over")), "{last}");
    let again = run(&import, &data, true);
    told("again", &again);
    let last = again.said.lines().last().unwrap();
    assert!(
        last.contains(&format!("0 taken over, {good} were on the record before")),
        "{last}"
    );

    let verified = run(&["verify"], &data, false);
    eprintln!(
        "verify: {:.1} s, {} MB at most",
        verified.took.as_secs_f64(),
        verified.peak
    );
    assert_eq!(verified.code, Some(0), "{}", verified.said);
    // A wrong password takes nothing over.
    let refused = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(import)
        .arg("--data")
        .arg(&data)
        .env("LIFTLEDGER_DATABASE", "")
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert_eq!(refused.status.code(), Some(1));
}
