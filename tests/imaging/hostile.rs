//! 300 bad files, made by code from fixed seeds. Each is a clear refusal, a picture, or bytes that are kept and never
//! shown; none is a crash, a hang or a page. First by the pure functions, then through the whole router.

use std::collections::BTreeMap;
use std::io::Cursor;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt as _;
use liftledger::custody::Act;
use liftledger::custody::mark::MarkKind;
use liftledger::ids::{MarkId, Subject};
use liftledger::imaging::decode::{Limits, decode};
use liftledger::imaging::probe::{MAX_PIXELS, MAX_SIDE, OPAQUE, probe};
use liftledger::web::session::{COOKIE, csrf_of};
use liftledger::web::{App, router};
use tower::ServiceExt as _;

use super::files::{self, Tiff};
use crate::app::boatyard::{Boatyard, act, noted};

/// Made with ImageMagick 6.9.11: a gradient, progressive.
const PROGRESSIVE: &str = "\
    ffd8ffe000104a46494600010100000100010000ffdb004300140e0f120f0d14121012171514181e32211e1c1c1e3d2c2e243249404c4b\
    47404645505a736250556d5645466488656d777b8182814e608d978c7d96737e817cffc2000b080010001801011100ffc4001600010101\
    00000000000000000000000000000405ffda000801010000000184db3fffc4001510010100000000000000000000000000000013ffda00\
    08010100010502924924924fffc40014100100000000000000000000000000000020ffda0008010100063f025fffc40015100101000000\
    00000000000000000000000071ffda0008010100013f2184210843ffda0008010100000010ff00ffc40014100100000000000000000000\
    000000000020ffda0008010100013f105555ffd9";
/// Made with ImageMagick 6.9.11: the same gradient in four inks.
const FOUR_INKS: &str = "\
    ffd8ffee000e41646f626500640000000002ffdb004300140e0f120f0d14121012171514181e32211e1c1c1e3d2c2e243249404c4b4740\
    4645505a736250556d5645466488656d777b8182814e608d978c7d96737e817cffdb0043011517171e1a1e3b21213b7c5346537c7c7c7c\
    7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7c7cffc000140800100018\
    04012200021101031101042200ffc400160001010100000000000000000000000000000605ffc400161001010100000000000000000000\
    000000001562ffc40014010100000000000000000000000000000000ffc40014110100000000000000000000000000000000ffda000e04\
    0100021103110400003f008c001892b24acada56495900044cac8b69591fffd9";

/// Numbers from a seed (SplitMix64), the same on every machine.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).unwrap()
    }

    fn bytes(&mut self, n: usize) -> Vec<u8> {
        (0..n).map(|_| self.next().to_le_bytes()[0]).collect()
    }
}

/// A zlib stream of so many zeros, about 150 to 1 (fixed Huffman codes, RFC 1951, 3.2.6; the check sum at its end is left
/// wrong, as a bomb's may be).
fn zeros(count: usize) -> Vec<u8> {
    let (mut out, mut bits, mut held) = (vec![0x78, 0x01], 0_u64, 0);
    let mut put = |value: u64, length: u32, out: &mut Vec<u8>| {
        bits |= value << held;
        held += length;
        while held >= 8 {
            out.push(bits.to_le_bytes()[0]);
            bits >>= 8;
            held -= 8;
        }
    };
    put(0b011, 3, &mut out);
    // One zero: code 00110000, its highest bit first.
    put(0b0000_1100, 8, &mut out);
    for _ in 0..count / 258 {
        // Length 258: code 11000101; distance 1: code 00000.
        put(0b1010_0011, 8, &mut out);
        put(0, 5, &mut out);
    }
    put(0, 7, &mut out);
    put(0, 8, &mut out);
    out.extend([0; 4]);
    out
}

fn png_of(head: &[u8], chunks: &[([u8; 4], Vec<u8>)]) -> Vec<u8> {
    let mut out = head[..33].to_vec();
    for (kind, data) in chunks {
        out.extend(files::chunk(*kind, data));
    }
    out
}

struct Input {
    name: String,
    bytes: Vec<u8>,
}

/// Good files of every kind, to be spoilt.
fn good() -> Vec<(&'static str, Vec<u8>)> {
    let mut big_endian = Tiff::grey(24, 16, 16);
    big_endian.little = false;
    let exif = files::exif(
        &[files::short(0x0112, 6), files::ascii(0x0110, "flatbed 7")],
        &[files::ascii(0x9003, "2026:03:14 10:22:03")],
    );
    vec![
        ("grey.png", files::png(24, 16, 0, 8, &[])),
        ("deep.png", files::png(24, 16, 6, 16, &[])),
        ("grey.jpg", files::jpeg(16, 16, 1, None)),
        ("exif.jpg", files::jpeg(16, 16, 3, Some(&exif))),
        ("progressive.jpg", hex::decode(PROGRESSIVE).unwrap()),
        ("eight.tif", Tiff::grey(24, 16, 8).bytes()),
        ("sixteen.tif", big_endian.bytes()),
    ]
}

fn inputs() -> Vec<Input> {
    let mut out: Vec<Input> = Vec::new();
    let mut add = |name: &str, bytes: Vec<u8>| {
        let name = name.to_owned();
        out.push(Input { name, bytes });
    };
    let mut chance = Chance(26);
    // Cut off anywhere: 70.
    for (name, bytes) in good() {
        for tenth in 0..10 {
            let length = 1 + (bytes.len() - 2) * tenth / 9;
            add(&format!("cut-{tenth}-{name}"), bytes[..length].to_vec());
        }
    }
    // Bytes altered anywhere: 84.
    for (name, bytes) in good() {
        for n in 0..12 {
            let mut spoilt = bytes.clone();
            for _ in 0..=n {
                let at = chance.below(spoilt.len());
                spoilt[at] = chance.next().to_le_bytes()[0];
            }
            add(&format!("spoilt-{n}-{name}"), spoilt);
        }
    }
    // Another name than their kind: 7.
    let names = ["a.jpg", "b.tif", "c.png", "d.html", "e.svg", "f", "g.exe"];
    for ((_, bytes), name) in good().into_iter().zip(names) {
        add(name, bytes);
    }
    // No pictures, under a picture's name: 12.
    for (n, bytes) in [
        &b""[..],
        b"\0",
        &[0; 4096],
        b"<!doctype html><title>x</title><script>alert(1)</script>",
        b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'><script>alert(1)</script></svg>",
        b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'bbbb'><!ENTITY c '&b;&b;&b;'>]><a>&c;</a>",
        b"javascript:alert(1)",
        b"%PDF-1.7\n1 0 obj<</OpenAction<</S/JavaScript/JS(app.alert(1))>>>>endobj",
        b"PK\x03\x04\x14\0\0\0\x08\0",
        b"\x7fELF\x02\x01\x01\0",
        b"#!/bin/sh\nrm -rf /\n",
        b"\xef\xbb\xbf<html>",
    ]
    .into_iter()
    .enumerate()
    {
        add(&format!("other-{n}.png"), bytes.to_vec());
    }
    // What only begins like a picture: 24.
    for (n, magic) in [
        &b"\x89PNG\r\n\x1a\n"[..],
        b"\xff\xd8\xff",
        b"II*\0",
        b"MM\0*",
        b"GIF89a",
        b"RIFF\0\0\0\0WEBP",
    ]
    .into_iter()
    .enumerate()
    {
        for length in [0, 5, 100, 5000] {
            let bytes = [magic, &chance.bytes(length)].concat();
            add(&format!("begins-{n}-{length}.png"), bytes);
        }
    }
    // Sizes beyond reason, and bombs: 17.
    for (w, h) in [
        (60_000, 60_000),
        (1, 100_000),
        (100_000, 1),
        (0, 0),
        (u32::MAX, u32::MAX),
        (20_000, 20_000),
    ] {
        add(&format!("size-{w}-{h}.png"), files::png_head(w, h));
        let mut tiff = Tiff::grey(24, 16, 8);
        tiff.set(files::long(256, w));
        tiff.set(files::long(257, h));
        add(&format!("size-{w}-{h}.tif"), tiff.bytes());
    }
    let end = (*b"IEND", Vec::new());
    for (name, side, chunks) in [
        // More pixels than it says it has.
        (
            "bomb-idat.png",
            8,
            vec![(*b"IDAT", zeros(60_000_000)), end.clone()],
        ),
        // As many as it says: 144 million bytes from one.
        (
            "bomb-size.png",
            12_000,
            vec![(*b"IDAT", zeros(144_012_000)), end.clone()],
        ),
        (
            "bomb-profile.png",
            8,
            vec![
                (*b"iCCP", [&b"x\0\0"[..], &zeros(60_000_000)].concat()),
                (*b"IDAT", files::stored(&[0; 72])),
                end.clone(),
            ],
        ),
        (
            "bomb-text.png",
            8,
            vec![
                (*b"zTXt", [&b"x\0\0"[..], &zeros(60_000_000)].concat()),
                (*b"IDAT", files::stored(&[0; 72])),
                end.clone(),
            ],
        ),
        (
            "many-chunks.png",
            8,
            [vec![(*b"tEXt", Vec::new()); 120_000], vec![end]].concat(),
        ),
    ] {
        add(name, png_of(&files::png_head(side, side), &chunks));
    }
    // Several pictures in one, and kinds that not everything decodes: 6.
    let animated = (*b"acTL", vec![0, 0, 0, 2, 0, 0, 0, 0]);
    add("animated.png", files::png(24, 16, 0, 8, &[animated]));
    let gif = "47494638396104000400f00000ff000000000021f904000000000021ff0b4e45545343415045322e3003010000\
               002c0000000004000400000204848f09050021f90400000000002c0000000004000400800000ff0000000204848f0905003b";
    add("animated.gif", hex::decode(gif).unwrap());
    let mut pages = Tiff::grey(24, 16, 8);
    pages.pages = 3;
    add("pages.tif", pages.bytes());
    add("four-inks.jpg", hex::decode(FOUR_INKS).unwrap());
    add(
        "palette.png",
        files::png(24, 16, 3, 8, &[(*b"PLTE", vec![9; 30])]),
    );
    add("one-bit.png", files::png(24, 16, 0, 1, &[]));
    // Directories that go round, and lists without end: 30.
    let mut circle = Tiff::grey(24, 16, 8);
    circle.next_is_itself = true;
    add("circle.tif", circle.bytes());
    let at = 8 + 24 * 16;
    for (n, tag) in [34_665, 330, 34_853, 40_965].into_iter().enumerate() {
        let mut inner = Tiff::grey(24, 16, 8);
        inner.entries.push(files::long(tag, at));
        add(&format!("circle-{n}.tif"), inner.bytes());
    }
    for tag in [256, 258, 262, 273, 277, 278, 279, 282] {
        for count in [0, 70_000_000, u32::MAX] {
            let mut lists = Tiff::grey(24, 16, 8);
            lists.set(files::Entry {
                count: Some(count),
                ..files::long(tag, 8)
            });
            add(&format!("list-{tag}-{count}.tif"), lists.bytes());
        }
    }
    let mut pages = Tiff::grey(24, 16, 8);
    pages.pages = 500;
    add("500-pages.tif", pages.bytes());
    // Exif that is broken: 20.
    let exif = files::exif(
        &[files::ascii(0x010f, "Harrow"), files::short(0x0112, 5)],
        &[files::ascii(0x9003, "2026:03:14 10:22:03")],
    );
    for n in 0..18 {
        let mut spoilt = exif.clone();
        for _ in 0..=n {
            let at = chance.below(spoilt.len());
            spoilt[at] = chance.next().to_le_bytes()[0];
        }
        add(
            &format!("exif-{n}.jpg"),
            files::jpeg(16, 16, 3, Some(&spoilt)),
        );
    }
    let circle = files::exif(&[files::long(0x8769, 8)], &[]);
    add("exif-circle.jpg", files::jpeg(16, 16, 3, Some(&circle)));
    add("exif-long.jpg", files::jpeg(16, 16, 3, Some(&[7; 65_000])));
    // Heads of JPEG that make no sense: 8.
    let jpeg = files::jpeg(16, 16, 3, None);
    for (n, head) in [
        vec![0xff; 100_000],
        [0xff, 0xd0].repeat(5_000),
        vec![0xff, 0xe0, 0, 0],
        vec![0xff, 0xe0, 0, 1],
        vec![0xff, 0xd9],
        vec![0xff, 0xda, 0, 2],
        [0xff, 0xe2, 0, 2].repeat(10_000),
        [0xff, 0xc0, 0, 8, 8, 0, 0, 0, 0, 3].to_vec(),
    ]
    .into_iter()
    .enumerate()
    {
        add(
            &format!("head-{n}.jpg"),
            [&jpeg[..2], &head, &jpeg[2..]].concat(),
        );
    }
    // Names that are not only names, over a file that is well: 22.
    let names = [
        "../../etc/passwd",
        "..\\..\\windows\\system32\\a.png",
        "/absolute/path.png",
        "C:\\a.png",
        ".",
        "..",
        "...",
        " ",
        "a\u{202e}gnp.exe",
        "a%2f..%2f.png",
        "%00.png",
        "a.png\u{7}b",
        "con.png",
        "-rf.png",
        "<b>a.png",
        "a\"b.png",
        "a;b=c.png",
        "Ż ó ł ć.png",
        "\u{1f984}.png",
        "a\u{301}.png",
    ];
    let long = ["x".repeat(300), "\u{1f984}".repeat(5_000)];
    for (n, name) in names
        .into_iter()
        .chain(long.iter().map(String::as_str))
        .enumerate()
    {
        add(
            name,
            files::png(24, 17 + u32::try_from(n).unwrap(), 0, 8, &[]),
        );
    }
    out
}

#[test]
fn there_are_three_hundred_and_always_the_same() {
    let (first, second) = (inputs(), inputs());
    assert_eq!(first.len(), 300);
    assert!(
        first
            .iter()
            .zip(&second)
            .all(|(a, b)| a.bytes == b.bytes && a.name == b.name)
    );
}

/// Ten million pixels, and 40 MB for what decodes them.
fn limits() -> Limits {
    Limits {
        pixels: 10_000_000,
        bytes: 40_000_000,
        ..Limits::default()
    }
}

/// Set for the process whose memory is measured.
#[cfg(target_os = "linux")]
const MEASURED: &str = "LIFTLEDGER_HOSTILE_MEASURED";

/// Bytes of this process in memory: at most so far (`VmHWM`), or now (`VmRSS`).
#[cfg(target_os = "linux")]
fn memory(line: &str) -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let found = status.lines().find(|l| l.starts_with(line)).unwrap();
    let kb = found.split_whitespace().nth(1).unwrap();
    kb.parse::<u64>().unwrap() * 1024
}

/// A process of its own looks at all of them and decodes what can be decoded: what it needs beyond the files themselves stays
/// within what one picture within the limits needs, samples of two bytes and four channels, once decoded and once as rows.
#[cfg(target_os = "linux")]
#[test]
fn memory_stays_within_its_bounds() {
    if std::env::var_os(MEASURED).is_none() {
        let name = "imaging::hostile::memory_stays_within_its_bounds";
        let done = std::process::Command::new(std::env::current_exe().unwrap())
            .args(["--exact", name, "--nocapture", "--test-threads=1"])
            .env(MEASURED, "1")
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(done.status.success(), "{said}");
        assert!(said.contains("at most"), "nothing was measured: {said}");
        return;
    }
    let inputs = inputs();
    // The highest so far counts from here on (Linux, proc(5), clear_refs).
    std::fs::write("/proc/self/clear_refs", "5").unwrap();
    let before = memory("VmRSS:");
    let mut pictures = 0;
    for input in &inputs {
        let seen = probe(Cursor::new(&input.bytes));
        let decoded = decode(&input.bytes, &limits());
        pictures += usize::from(seen.is_ok() && decoded.is_ok());
    }
    let grown = memory("VmHWM:").saturating_sub(before);
    eprintln!("{pictures} pictures, at most {grown} bytes more");
    assert!(pictures > 30, "{pictures}");
    assert!(grown < 2 * 40_000_000, "{grown} bytes");
}

#[test]
fn each_bad_file_is_a_refusal_a_picture_or_bytes() {
    let limits = limits();
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for input in inputs() {
        let name = &input.name;
        let began = Instant::now();
        let kind = match probe(Cursor::new(&input.bytes)) {
            Err(e) => {
                assert!(e.to_string().len() > 20, "{name}");
                "refused"
            }
            Ok(seen) => match seen.pixels {
                None => {
                    assert_eq!(seen.media_type, OPAQUE, "{name}");
                    assert!(seen.says.opaque.is_some(), "{name}");
                    "bytes"
                }
                Some((w, h)) => {
                    assert!(w > 0 && h > 0 && w.max(h) <= MAX_SIDE, "{name}");
                    assert!(u64::from(w) * u64::from(h) <= MAX_PIXELS, "{name}");
                    assert!(seen.media_type.starts_with("image/"), "{name}");
                    "picture"
                }
            },
        };
        // The pixels, too, within limits: a picture of that size, or an error.
        if let Ok(decoded) = decode(&input.bytes, &limits) {
            let pixels = u64::from(decoded.raster.width) * u64::from(decoded.raster.height);
            assert!(pixels <= limits.pixels, "{name}");
        }
        assert!(
            began.elapsed() < Duration::from_secs(20),
            "{name}: {:?}",
            began.elapsed()
        );
        *seen.entry(kind).or_default() += 1;
    }
    // All three ways are really taken.
    assert_eq!(seen.values().sum::<usize>(), 300);
    assert!(
        seen["refused"] > 100 && seen["bytes"] > 30 && seen["picture"] > 60,
        "{seen:?}"
    );
}

/// The whole server over a small case, and a technician with a token and a session.
struct Server {
    _dir: tempfile::TempDir,
    router: Router,
    yard: Arc<liftledger::app::house::House>,
    marks: Vec<MarkId>,
    token: String,
    cookie: String,
    csrf: String,
}

async fn begin() -> Server {
    let dir = tempfile::tempdir().unwrap();
    let yard = Boatyard::begin(dir.path().join("ledger").as_path()).await;
    let viewer = liftledger::app::Viewer::operator();
    let case = yard.house.reader(&viewer).case(yard.case).await.unwrap();
    let scene = case.scenes[0].id;
    // A mark takes a hundred pictures.
    let mut marks = Vec::new();
    for n in 0..6 {
        let note = Act::NoteMark(noted(yard.case, scene, MarkKind::Toolmark, n));
        let noted = act(&yard.house, Some(yard.tech), None, note).await.unwrap();
        let Some(Subject::Mark(mark)) = noted.created else {
            panic!("no mark")
        };
        marks.push(mark);
    }
    let now = chrono::Utc::now();
    let person = yard.house.person(yard.tech).await.unwrap().unwrap();
    let secret = "slipway lantern 42";
    yard.house.set_password(&person, secret, now).await.unwrap();
    let opened = yard.house.sign_in("tess", secret, now).await.unwrap();
    let token = yard
        .house
        .issue_token(yard.tech, "test", 1, now)
        .await
        .unwrap();
    let house = Arc::new(yard.house);
    let app = App::new(house.clone(), false);
    Server {
        _dir: dir,
        csrf: csrf_of(&app, &opened.token),
        router: router(app),
        yard: house,
        marks,
        token,
        cookie: format!("{COOKIE}={}", opened.token),
    }
}

impl Server {
    async fn send(&self, request: Request<Body>) -> (StatusCode, axum::http::HeaderMap, Vec<u8>) {
        let answer = self.router.clone().oneshot(request).await.unwrap();
        let (parts, body) = answer.into_parts();
        let bytes = body.collect().await.unwrap().to_bytes().to_vec();
        (parts.status, parts.headers, bytes)
    }

    /// By the interface for programs.
    fn call(&self, mark: MarkId, input: &Input, more: &str) -> Request<Body> {
        let name =
            percent_encoding::utf8_percent_encode(&input.name, percent_encoding::NON_ALPHANUMERIC);
        Request::post(format!("/api/images?of=mark:{mark}&name={name}{more}"))
            .header(header::AUTHORIZATION, format!("Bearer {}", self.token))
            .body(Body::from(input.bytes.clone()))
            .unwrap()
    }

    /// By the form of the page.
    fn form(&self, mark: MarkId, input: &Input) -> Request<Body> {
        let mut body = Vec::new();
        for (name, value) in [("csrf", self.csrf.as_str()), ("view", "front")] {
            body.extend(
                format!(
                    "--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
                )
                .bytes(),
            );
        }
        let name = input.name.replace('"', "%22");
        body.extend(
            format!("--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n").bytes(),
        );
        body.extend(&input.bytes);
        body.extend(b"\r\n--edge--\r\n");
        Request::post(format!("/marks/{mark}/photograph"))
            .header(header::COOKIE, &self.cookie)
            .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
            .body(Body::from(body))
            .unwrap()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_server_takes_or_refuses_each_bad_file_and_shows_none_as_a_page() {
    let server = begin().await;
    let (mut taken, mut refused) = (0, 0);
    for (n, input) in inputs().iter().enumerate() {
        // Every third by the form, each kind of input both ways.
        let by_form = n % 3 == 0;
        let mark = server.marks[usize::from(by_form) * 3 + n % 3];
        let request = if by_form {
            server.form(mark, input)
        } else {
            server.call(mark, input, "")
        };
        let (status, _, bytes) = server.send(request).await;
        let said = String::from_utf8_lossy(&bytes);
        match status.as_u16() {
            200 | 303 => taken += 1,
            400..=499 => {
                refused += 1;
                let has_rule = if by_form {
                    said.contains("<dt>Rule</dt>")
                } else {
                    said.contains("\"code\"")
                };
                assert!(has_rule, "{}: {status} {said}", input.name);
            }
            _ => panic!("{}: {status} {said}", input.name),
        }
    }
    assert!(taken > 80 && refused > 100, "{taken} {refused}");
    // Everything that was taken is handed out as it is, and never as a page.
    let viewer = liftledger::app::Viewer::operator();
    let reader = server.yard.reader(&viewer);
    for mark in &server.marks {
        for image in reader.mark(*mark).await.unwrap().images {
            for (address, who) in [
                (
                    format!("/images/{}?of=mark:{mark}", image.digest),
                    header::COOKIE,
                ),
                (
                    format!("/api/images/{}?of=mark:{mark}", image.digest),
                    header::AUTHORIZATION,
                ),
            ] {
                let value = match who {
                    header::COOKIE => server.cookie.clone(),
                    _ => format!("Bearer {}", server.token),
                };
                let request = Request::get(&address).header(who, value);
                let (status, headers, bytes) =
                    server.send(request.body(Body::empty()).unwrap()).await;
                assert_eq!(
                    (status.as_u16(), bytes.len() as u64),
                    (200, image.bytes),
                    "{}",
                    image.name
                );
                let has = |name: &str| headers[name].to_str().unwrap().to_owned();
                assert_eq!(has("x-content-type-options"), "nosniff");
                assert_eq!(
                    has("content-security-policy"),
                    "default-src 'none'; sandbox"
                );
                let kind = has("content-type");
                if image.width.is_none() {
                    assert_eq!(kind, OPAQUE, "{}", image.name);
                    assert!(
                        has("content-disposition").starts_with("attachment"),
                        "{}",
                        image.name
                    );
                }
                assert!(
                    ["image/png", "image/jpeg", "image/tiff", OPAQUE].contains(&kind.as_str()),
                    "{kind}"
                );
                let how = has("content-disposition");
                assert!(!how.contains(['/', '\\']) && !how.contains("\"."), "{how}");
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_picture_can_be_kept_as_it_is() {
    let server = begin().await;
    let whole = files::png(24, 16, 0, 8, &[]);
    let input = Input {
        name: "all-that-is-left.png".into(),
        bytes: whole[..whole.len() - 20].to_vec(),
    };
    let (status, _, bytes) = server.send(server.call(server.marks[0], &input, "")).await;
    assert_eq!(status, 415);
    assert!(String::from_utf8_lossy(&bytes).contains("as_it_is"));
    let request = server.call(server.marks[0], &input, "&as_it_is=true");
    let (status, _, bytes) = server.send(request).await;
    let told: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
    assert_eq!(
        (status.as_u16(), told["media_type"].as_str()),
        (200, Some(OPAQUE))
    );
    assert!(told["says"]["opaque"].as_str().unwrap().contains("cut off"));
    // The form offers it, and has the file here already.
    let (status, _, page) = server.send(server.form(server.marks[1], &input)).await;
    let page = String::from_utf8_lossy(&page);
    assert_eq!(status, 415);
    assert!(
        page.contains("name=\"as_it_is\"") && page.contains("all-that-is-left.png is here already")
    );
    let id = page.split("name=\"upload\" value=\"").nth(1).unwrap();
    let id = &id[..36];
    let fields = [
        ("csrf", server.csrf.as_str()),
        ("view", "front"),
        ("upload", id),
        ("as_it_is", "yes"),
    ];
    let mut body = String::new();
    for (name, value) in fields {
        body.push_str(&format!(
            "--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
        ));
    }
    body.push_str("--edge--\r\n");
    let request = Request::post(format!("/marks/{}/photograph", server.marks[1]))
        .header(header::COOKIE, &server.cookie)
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
        .body(Body::from(body))
        .unwrap();
    assert_eq!(server.send(request).await.0, 303);
}
