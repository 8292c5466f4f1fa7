//! What a PDF says of which print it is: found as it stands and in compressed streams, and never at the cost of much
//! memory or time.

use std::io::Write as _;
use std::time::{Duration, Instant};

use liftledger::disclosure::paper::{MARK, is_pdf, prints_in};

const A: &str = "0197f3a0-5b1c-7c3e-8a51-3f0e6f2d9b10";
const B: &str = "0197f3a0-5b1c-7c3e-8a51-3f0e6f2d9b11";

fn packed(text: &[u8]) -> Vec<u8> {
    let mut out = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
    out.write_all(text).unwrap();
    out.finish().unwrap()
}

fn ids(bytes: &[u8]) -> Vec<String> {
    prints_in(bytes).iter().map(ToString::to_string).collect()
}

#[test]
fn marks_are_found_as_they_stand() {
    let two = format!("%PDF-1.7 ({MARK}{A}) ({MARK}none) ({MARK}{A}) ({MARK}{B}) ({MARK}");
    assert_eq!(ids(two.as_bytes()), [A, B]);
    assert!(ids(b"%PDF-1.7 nothing of ours").is_empty());
    assert!(ids(b"").is_empty());
    let many: String = (0..100)
        .map(|n| format!("{MARK}0197f3a0-5b1c-7c3e-8a51-3f0e6f2d9b{n:02}"))
        .collect();
    assert_eq!(ids(many.as_bytes()).len(), 8);
}

#[test]
fn marks_are_found_in_compressed_streams() {
    let mut file = b"%PDF-1.7\nstream\r\nnot compressed\nendstream\nstream\n".to_vec();
    file.extend(packed(format!("<< /Keywords ({MARK}{B}) >>").as_bytes()));
    file.extend(b"\nendstream");
    assert_eq!(ids(&file), [B]);
    // Cut off within the stream: what can be read is read.
    file.truncate(file.len() - 14);
    assert!(ids(&file).len() <= 1);
}

#[test]
fn a_file_made_to_swell_is_not_followed() {
    let zeros = packed(&vec![0; 40_000_000]);
    assert!(zeros.len() < 100_000);
    let mut file = b"%PDF-1.7\n".to_vec();
    for _ in 0..400 {
        file.extend(b"stream\n");
        file.extend(&zeros);
    }
    let began = Instant::now();
    assert!(ids(&file).is_empty());
    // 16 GB opened whole would take minutes.
    assert!(began.elapsed() < Duration::from_secs(60));
    let empty = b"stream\n".repeat(1_000_000);
    assert!(ids(&empty).is_empty());
    assert!(began.elapsed() < Duration::from_secs(90));
}

#[test]
fn a_pdf_begins_as_one() {
    assert!(is_pdf(b"%PDF-1.3\n"));
    assert!(is_pdf(&[&[b' '; 1019][..], b"%PDF-"].concat()));
    assert!(!is_pdf(&[&[b' '; 1020][..], b"%PDF-"].concat()));
    assert!(!is_pdf(b"") && !is_pdf(b"PK\x03\x04"));
}
