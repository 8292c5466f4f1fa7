//! A picture of 24 megapixels: kept, hashed, and turned into a working copy, against ImageMagick doing the same flip and
//! grey on the same file; the memory that this takes; ten uploads to the real server at once.
//!
//! Ours runs in a child process of its own, so that its peak memory (Linux, VmHWM) is that of one picture.

use std::fs::File;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Instant;

use futures_util::stream::unfold;
use image::{ExtendedColorType, ImageEncoder as _, codecs::jpeg::JpegEncoder};
use liftledger::imaging::derive::derive;
use liftledger::imaging::recipe::{Op, Recipe};
use liftledger::originals::Originals;
use tokio::io::AsyncReadExt as _;
use tokio::runtime::Runtime;

use super::figure::{Aim, Figure, note};

#[path = "../app/boatyard.rs"]
pub mod boatyard;

const ROUNDS: usize = 5;
const WIDTH: u32 = 6_000;
const HEIGHT: u32 = 4_000;
/// Decoded: three samples of a byte.
const DECODED: f64 = 6_000.0 * 4_000.0 * 3.0;
/// Says to a child process what to do: `FOLDER FILE`.
const CHILD: &str = "LIFTLEDGER_BENCH_PICTURE";

/// As a camera writes it: JPEG in colour, soft slopes with fine noise.
fn photograph(path: &Path) {
    let mut n = 7_u32;
    let mut pixels = Vec::with_capacity((WIDTH * HEIGHT * 3) as usize);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            n = n.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = n >> 27;
            for (a, b) in [(31, 17), (23, 29), (13, 37)] {
                pixels.push((((x / a + y / b) % 220) + noise).to_le_bytes()[0]);
            }
        }
    }
    let mut file = std::io::BufWriter::new(File::create(path).unwrap());
    JpegEncoder::new_with_quality(&mut file, 92)
        .write_image(&pixels, WIDTH, HEIGHT, ExtendedColorType::Rgb8)
        .unwrap();
    file.flush().unwrap();
}

pub fn memory_of(pid: &str) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let line = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
    let kb: f64 = line.split_whitespace().nth(1).unwrap().parse().unwrap();
    kb * 1024.0
}

/// The work of a child process: keeps the file as an upload is kept, derives, writes the copy. Whether this is one.
pub fn child() -> bool {
    let Ok(what) = std::env::var(CHILD) else {
        return false;
    };
    let (folder, file) = what.split_once(' ').unwrap();
    let runtime = Runtime::new().unwrap();
    let begun = Instant::now();
    let originals = Originals::open(Path::new(folder).join("originals")).unwrap();
    let kept = runtime.block_on(async {
        let file = tokio::fs::File::open(file).await.unwrap();
        let parts = unfold(file, |mut file| async move {
            let mut part = vec![0; 64 * 1024];
            let n = file.read(&mut part).await.unwrap();
            part.truncate(n);
            (n > 0).then(|| (Ok::<_, std::io::Error>(bytes::Bytes::from(part)), file))
        });
        originals.keep_stream(Box::pin(parts)).await.unwrap()
    });
    let stored = begun.elapsed().as_secs_f64();
    let bytes = originals.read(kept.digest).unwrap();
    let copy = derive(&bytes, &Recipe::new(vec![Op::Flip, Op::Grey]), None).unwrap();
    assert!(copy.grey && (copy.width, copy.height) == (WIDTH, HEIGHT));
    originals.keep(&copy.png).unwrap();
    let all = begun.elapsed().as_secs_f64();
    let mut out = std::io::stdout();
    writeln!(out, "{stored} {all} {}", memory_of("self")).unwrap();
    true
}

/// Seconds until kept and hashed, seconds in all, bytes of memory.
fn ours(folder: &Path, file: &Path) -> [f64; 3] {
    let out = Command::new(std::env::current_exe().unwrap())
        .env(CHILD, format!("{} {}", folder.display(), file.display()))
        .output()
        .unwrap();
    assert!(out.status.success(), "{out:?}");
    let text = String::from_utf8(out.stdout).unwrap();
    let numbers: Vec<f64> = text
        .split_whitespace()
        .map(|n| n.parse().unwrap())
        .collect();
    numbers.try_into().unwrap()
}

fn theirs(file: &Path, out: &Path) -> f64 {
    let begun = Instant::now();
    let done = Command::new("convert")
        .arg(file)
        .args(["-flop", "-colorspace", "Gray"])
        .arg(out)
        .status()
        .unwrap();
    assert!(done.success());
    File::open(out).unwrap().sync_all().unwrap();
    begun.elapsed().as_secs_f64()
}

struct Server(Child, String);

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn serve(data: &Path) -> Server {
    let mut child = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(data)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let address = loop {
        let line = lines.next().unwrap().unwrap();
        if let Some((_, at)) = line.trim().rsplit_once("http://") {
            break format!("http://{at}");
        }
    };
    // Goes on reading, so that the server never writes to nobody.
    std::thread::spawn(move || lines.for_each(drop));
    Server(child, address)
}

/// Ten copies of the picture, each a byte longer than the one before, sent at once: seconds, and how much more memory.
fn ten_at_once(runtime: &Runtime, folder: &Path, file: &Path) -> [f64; 2] {
    let data = folder.join("ledger");
    let (mark, token) = runtime.block_on(async {
        let yard = boatyard::Boatyard::begin(data.as_path()).await;
        let token = yard
            .house
            .issue_token(yard.tech, "bench", 1, chrono::Utc::now());
        let token = token.await.unwrap();
        let mark = yard.marks[0];
        yard.house.close().await;
        (mark, token)
    });
    let server = serve(&data);
    let pid = server.0.id().to_string();
    let bytes = std::fs::read(file).unwrap();
    let (before, begun) = (memory_of(&pid), Instant::now());
    std::thread::scope(|scope| {
        for n in 0..10 {
            let (server, token, bytes) = (&server, &token, &bytes);
            scope.spawn(move || {
                // Behind its end marker a JPEG may have anything.
                let own = [&bytes[..], &vec![0; n]].concat();
                let address = format!("{}/api/images?of=mark:{mark}&name=IMG_{n}.jpg", server.1);
                let answer = ureq::post(address)
                    .header("authorization", format!("Bearer {token}"))
                    .send(&own[..])
                    .unwrap();
                assert_eq!(answer.status(), 200);
            });
        }
    });
    let took = begun.elapsed().as_secs_f64();
    [took, memory_of(&pid) - before]
}

pub fn measure(runtime: &Runtime) -> Vec<Figure> {
    if Command::new("convert").arg("-version").output().is_err() {
        note("convert (ImageMagick) is not installed: picture is left out");
        return Vec::new();
    }
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let file = folder.path().join("IMG_0931.jpg");
    photograph(&file);
    #[allow(clippy::cast_precision_loss)]
    let size = std::fs::metadata(&file).unwrap().len() as f64;
    let (mut kept, mut all, mut memory, mut magick) = (vec![], vec![], vec![], vec![]);
    for round in 0..ROUNDS {
        let own = folder.path().join(format!("round-{round}"));
        std::fs::create_dir_all(&own).unwrap();
        let [stored, whole, peak] = ours(&own, &file);
        kept.push(stored);
        all.push(whole);
        memory.push(peak);
        magick.push(theirs(&file, &own.join("theirs.png")));
    }
    let ratios: Vec<f64> = all.iter().zip(&magick).map(|(a, m)| a / m).collect();
    let decoded: Vec<f64> = memory.iter().map(|m| m / DECODED).collect();
    let mb = |bytes: &[f64]| bytes.iter().map(|b| b / 1e6).collect::<Vec<f64>>();
    let [took, more] = ten_at_once(runtime, folder.path(), &file);
    vec![
        Figure::plain("the file, JPEG of 6000 by 4000", "MB", &[size / 1e6]),
        Figure::plain("kept and hashed", "s", &kept),
        Figure::plain("kept, hashed, flipped, grey, copy kept", "s", &all).against(
            "convert -flop -colorspace Gray",
            &ratios,
            Some(Aim::AtMost(1.0)),
        ),
        Figure::plain("ImageMagick's flip and grey alone", "s", &magick),
        Figure::plain("peak memory of that process", "MB", &mb(&memory)).against(
            "the decoded picture",
            &decoded,
            Some(Aim::AtMost(3.0)),
        ),
        Figure::plain("ten uploads at once", "s", &[took]),
        Figure::plain("memory that the server grew by", "MB", &mb(&[more])).against(
            "the ten files",
            &[more / (size * 10.0)],
            None,
        ),
    ]
}
