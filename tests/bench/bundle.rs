//! A disclosure bundle of a case with 500 items and 2 GB of camera files, against `sha256sum` and then `zip -0` of the same files;
//! and the memory it takes, against that of the same case with small files.
//!
//! The bundle is made in a child process of its own, so that its peak memory (Linux, VmHWM) is that of one bundle. Both read
//! the files from memory (they were just written), and both sync what they wrote.

use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use chrono::Utc;
use liftledger::app::Viewer;
use liftledger::app::house::House;
use liftledger::app::papers::By;
use liftledger::app::papers::Layout;
use liftledger::app::papers::bundle::{Wanted, bundle};
use liftledger::app::papers::report::report;
use liftledger::custody::mark::MarkKind;
use liftledger::custody::{Act, image};
use liftledger::ids::Subject;
use tokio::runtime::Runtime;

use super::Scale;
use super::figure::{Aim, Figure, note};
use super::picture::boatyard::{Boatyard, act, noted, recovery};
use super::picture::memory_of;

const ROUNDS: usize = 3;
const ITEMS: u64 = 500;
/// Bytes of one camera file.
const LARGE: usize = 4 * 1024 * 1024;
const SMALL: usize = 64 * 1024;
/// Says to a child process what to do: `DATA OUT`.
const CHILD: &str = "LIFTLEDGER_BENCH_BUNDLE";

/// The work of a child process: makes a bundle; seconds, those of the report in it, bytes of memory. Whether this is one.
pub fn child() -> bool {
    let Ok(what) = std::env::var(CHILD) else {
        return false;
    };
    let (data, out) = what.split_once(' ').unwrap();
    let runtime = Runtime::new().unwrap();
    let seconds = runtime.block_on(async {
        let house = House::open(data).await.unwrap();
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let case = reader
            .case_by_number(super::picture::boatyard::CASE)
            .await
            .unwrap();
        let wanted = Wanted {
            to: "Defence counsel".into(),
            authority: "order of the county court".into(),
            ..Wanted::default()
        };
        let begun = Instant::now();
        bundle(
            &reader,
            By::operator(),
            case.id,
            &wanted,
            Path::new(out),
            |_, _| (),
        )
        .await
        .unwrap();
        let all = begun.elapsed().as_secs_f64();
        let peak = memory_of("self");
        // The report once more by itself, to tell how much of the whole it was.
        let begun = Instant::now();
        let of = Subject::Case(case.id);
        report(&reader, By::operator(), of, &Layout::default(), |_, _| ())
            .await
            .unwrap();
        let paper = begun.elapsed().as_secs_f64();
        house.close().await;
        [all, paper, peak]
    });
    let mut stdout = std::io::stdout();
    writeln!(stdout, "{} {} {}", seconds[0], seconds[1], seconds[2]).unwrap();
    true
}

/// Bytes that no compression shortens, other ones for each file.
fn noise(seed: u64, length: usize) -> Vec<u8> {
    let mut n = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut out = Vec::with_capacity(length + 8);
    while out.len() < length {
        n ^= n << 13;
        n ^= n >> 7;
        n ^= n << 17;
        out.extend(n.to_le_bytes());
    }
    out.truncate(length);
    out
}

/// A ledger whose case has so many items, each with a file of so many bytes.
async fn ledger(data: &Path, items: u64, bytes: usize) {
    let yard = Boatyard::begin(data).await;
    let house = &yard.house;
    let viewer = Viewer::operator();
    let scene = house.reader(&viewer).case(yard.case).await.unwrap().scenes[0].id;
    let tech = Some(yard.tech);
    let at = Utc::now().fixed_offset();
    for n in 0..items - 3 {
        let note = noted(yard.case, scene, MarkKind::Toolmark, n as usize);
        let made = act(house, tech, Some(at), Act::NoteMark(note))
            .await
            .unwrap();
        let Some(Subject::Mark(mark)) = made.created else {
            panic!("no mark")
        };
        let kept = house.originals.keep(&noise(n + 1, bytes)).unwrap();
        let add = image::AddImage {
            of: Subject::Mark(mark),
            digest: kept.digest,
            name: format!("IMG_{n:04}.raw"),
            media_type: "application/octet-stream".into(),
            bytes: kept.bytes,
            width: None,
            height: None,
            view: Vec::new(),
            says: liftledger::imaging::metadata::FileSays::default(),
        };
        act(house, tech, Some(at), Act::AddImage(add))
            .await
            .unwrap();
        let recover = Act::Recover(recovery(mark, "silicone-putty", at));
        act(house, tech, Some(at), recover).await.unwrap();
    }
    yard.house.close().await;
}

/// Seconds, those of the report, bytes of memory.
fn ours(data: &Path, out: &Path) -> [f64; 3] {
    let done = Command::new(std::env::current_exe().unwrap())
        .env(CHILD, format!("{} {}", data.display(), out.display()))
        .output()
        .unwrap();
    assert!(done.status.success(), "{done:?}");
    let text = String::from_utf8(done.stdout).unwrap();
    let numbers: Vec<f64> = text
        .split_whitespace()
        .map(|n| n.parse().unwrap())
        .collect();
    numbers.try_into().unwrap()
}

fn files(at: &Path, out: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(at).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, out);
        } else {
            out.push(path);
        }
    }
}

fn theirs(all: &[PathBuf], folder: &Path) -> f64 {
    let (sums, zip) = (folder.join("sums.txt"), folder.join("theirs.zip"));
    let begun = Instant::now();
    let hashed = Command::new("sha256sum")
        .args(all)
        .stdout(File::create(&sums).unwrap())
        .status();
    assert!(hashed.unwrap().success());
    let packed = Command::new("zip")
        .args(["-0", "-q"])
        .arg(&zip)
        .args(all)
        .status();
    assert!(packed.unwrap().success());
    File::open(&zip).unwrap().sync_all().unwrap();
    let took = begun.elapsed().as_secs_f64();
    std::fs::remove_file(zip).unwrap();
    took
}

pub fn measure(runtime: &Runtime, scale: Scale) -> Vec<Figure> {
    for program in ["zip", "sha256sum"] {
        if Command::new(program).arg("--version").output().is_err() {
            note(&format!("{program} is not installed: bundle is left out"));
            return Vec::new();
        }
    }
    let items = scale.of(ITEMS, 10);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let (large, small) = (folder.path().join("large"), folder.path().join("small"));
    runtime.block_on(ledger(&large, items, LARGE));
    runtime.block_on(ledger(&small, items, SMALL));
    let mut all = Vec::new();
    files(&large.join("originals"), &mut all);
    let size: u64 = all
        .iter()
        .map(|p| std::fs::metadata(p).unwrap().len())
        .sum();
    #[allow(clippy::cast_precision_loss)]
    let mb = size as f64 / 1e6;
    let (mut took, mut paper, mut peak, mut speed, mut flat) =
        (vec![], vec![], vec![], vec![], vec![]);
    let mut baseline = vec![];
    for _ in 0..ROUNDS {
        let out = folder.path().join("ours.zip");
        let [seconds, report, memory] = ours(&large, &out);
        assert!(std::fs::metadata(&out).unwrap().len() > size);
        std::fs::remove_file(&out).unwrap();
        let [_, _, little] = ours(&small, &out);
        let other = theirs(&all, folder.path());
        took.push(seconds);
        paper.push(report);
        peak.push(memory / 1e6);
        flat.push(memory / little);
        speed.push(other / seconds);
        baseline.push(other);
    }
    vec![
        Figure::plain(
            format!("bundle of {items} items, {mb:.0} MB of files"),
            "s",
            &took,
        )
        .against(
            "the speed of sha256sum, then zip -0",
            &speed,
            Some(Aim::AtLeast(0.7)),
        ),
        Figure::plain("of that the custody report in it", "s", &paper),
        Figure::plain("sha256sum, then zip -0 of the same files", "s", &baseline),
        Figure::plain("peak memory of that process", "MB", &peak).against(
            "that with files of 64 kB",
            &flat,
            Some(Aim::AtMost(1.2)),
        ),
    ]
}
