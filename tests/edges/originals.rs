//! Originals on disk.

use std::fs;

use bytes::Bytes;
use liftledger::{
    ids::Digest,
    originals::{MAX_BYTES, Originals, OriginalsError},
};

/// SHA-256 of "abc": FIPS 180-2, appendix B.1 (from memory).
const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

fn originals() -> (tempfile::TempDir, Originals) {
    let dir = tempfile::tempdir().unwrap();
    let originals = Originals::open(dir.path().join("originals")).unwrap();
    (dir, originals)
}

fn strays(dir: &tempfile::TempDir) -> usize {
    fs::read_dir(dir.path().join("originals/coming"))
        .unwrap()
        .count()
}

#[test]
fn an_original_lies_under_its_digest() {
    let (dir, originals) = originals();
    let kept = originals.keep(b"abc").unwrap();
    assert_eq!((kept.digest.to_string().as_str(), kept.bytes), (ABC, 3));
    let path = dir.path().join("originals/ba/78").join(ABC);
    assert_eq!(fs::read(path).unwrap(), b"abc");
    assert!(originals.exists(kept.digest));
    assert_eq!(originals.read(kept.digest).unwrap(), b"abc");
    assert_eq!(originals.verify(kept.digest).unwrap(), 3);
    assert_eq!(strays(&dir), 0);
}

#[test]
fn the_same_original_twice_is_one() {
    let (dir, originals) = originals();
    assert_eq!(
        originals.keep(b"abc").unwrap(),
        originals.keep(b"abc").unwrap()
    );
    assert_eq!(strays(&dir), 0);
}

#[tokio::test]
async fn a_stream_gives_the_same_digest_as_the_whole() {
    let (_dir, originals) = originals();
    let parts = ["a", "", "bc"].map(|p| Ok::<_, std::io::Error>(Bytes::from(p)));
    let kept = originals
        .keep_stream(futures_util::stream::iter(parts))
        .await
        .unwrap();
    assert_eq!(kept.digest.to_string(), ABC);
    assert_eq!(originals.read_aside(kept.digest).await.unwrap(), b"abc");
}

#[tokio::test]
async fn an_upload_that_breaks_off_leaves_nothing() {
    let (dir, originals) = originals();
    let parts = [
        Ok(Bytes::from("abc")),
        Err(std::io::Error::other("the line went dead")),
    ];
    let broken = originals
        .keep_stream(futures_util::stream::iter(parts))
        .await;
    assert!(matches!(broken, Err(OriginalsError::BrokeOff(_))));
    assert_eq!(strays(&dir), 0);
    assert!(!originals.exists(ABC.parse().unwrap()));
}

#[test]
fn altered_bytes_are_reported_and_left_as_they_are() {
    let (dir, originals) = originals();
    let digest = originals.keep(b"abc").unwrap().digest;
    let path = originals.path(digest);
    fs::remove_file(&path).unwrap();
    assert!(matches!(originals.read(digest), Err(OriginalsError::Missing(d)) if d == digest));
    assert!(matches!(
        originals.verify(digest),
        Err(OriginalsError::Missing(_))
    ));
    fs::write(&path, b"abd").unwrap();
    assert!(matches!(
        originals.read(digest),
        Err(OriginalsError::Altered { .. })
    ));
    assert!(matches!(
        originals.verify(digest),
        Err(OriginalsError::Altered { .. })
    ));
    assert!(matches!(
        originals.keep(b"abc"),
        Err(OriginalsError::Altered { .. })
    ));
    assert_eq!(fs::read(&path).unwrap(), b"abd");
    assert_eq!(strays(&dir), 0);
}

#[test]
fn nothing_and_too_much_are_refused() {
    let (dir, originals) = originals();
    assert!(matches!(originals.keep(b""), Err(OriginalsError::Empty)));
    let mut incoming = originals.begin().unwrap();
    let part = vec![0; 8 * 1024 * 1024];
    let parts = MAX_BYTES / part.len() as u64;
    for _ in 0..parts {
        incoming.write(&part).unwrap();
    }
    assert!(matches!(incoming.write(b"1"), Err(OriginalsError::TooLong)));
    drop(incoming);
    assert_eq!(strays(&dir), 0);
    assert!(!originals.exists(Digest([0; 32])));
}
