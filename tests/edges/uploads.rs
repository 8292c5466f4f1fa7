//! Uploads in parts.

use std::fs;

use bytes::Bytes;
use chrono::{DateTime, Duration, Utc};
use futures_util::stream::iter;
use liftledger::ids::{Digest, PersonId, UploadId};
use liftledger::originals::{MAX_BYTES, Originals};
use liftledger::uploads::{
    Announced, LIFE, MAX_FINISHED, MAX_OF_PERSON, MAX_OPEN, Told, UploadError, Uploads,
};
use sha2::{Digest as _, Sha256};

struct Yard {
    dir: tempfile::TempDir,
    originals: Originals,
    uploads: Uploads,
    me: PersonId,
    now: DateTime<Utc>,
}

fn open(dir: &tempfile::TempDir, now: DateTime<Utc>) -> (Originals, Uploads) {
    let originals = Originals::open(dir.path().join("originals")).unwrap();
    let uploads = Uploads::open(dir.path().join("uploads"), originals.clone(), now).unwrap();
    (originals, uploads)
}

impl Yard {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let now = "2026-03-14T10:00:00Z".parse().unwrap();
        let (originals, uploads) = open(&dir, now);
        Self {
            dir,
            originals,
            uploads,
            me: PersonId::new(),
            now,
        }
    }

    /// As after a restart: nothing is known but what lies in the folder.
    fn restart(&mut self) {
        (self.originals, self.uploads) = open(&self.dir, self.now);
    }

    async fn begin(&self, bytes: u64, sha256: Option<Digest>) -> Result<Told, UploadError> {
        let name = "IMG_0931.tif".into();
        let file = Announced {
            name,
            bytes,
            sha256,
        };
        self.uploads.begin(self.me, file, self.now).await
    }

    async fn put(&self, id: UploadId, offset: u64, part: &[u8]) -> Result<Told, UploadError> {
        let parts: Vec<Result<Bytes, std::io::Error>> = part
            .chunks(100_000)
            .map(|c| Ok(Bytes::copy_from_slice(c)))
            .collect();
        self.uploads
            .take(id, self.me, offset, iter(parts), self.now)
            .await
    }

    fn files(&self) -> usize {
        fs::read_dir(self.dir.path().join("uploads"))
            .unwrap()
            .count()
    }
}

fn bytes(length: usize) -> Vec<u8> {
    (0..length)
        .map(|n| u8::try_from(n % 251).unwrap())
        .collect()
}

fn digest(bytes: &[u8]) -> Digest {
    Digest(Sha256::digest(bytes).into())
}

#[tokio::test]
async fn parts_become_an_original_across_restarts() {
    let mut y = Yard::new();
    let whole = bytes(3_000_000);
    let told = y.begin(3_000_000, Some(digest(&whole))).await.unwrap();
    assert_eq!((told.received, told.bytes), (0, 3_000_000));
    let half = y.put(told.id, 0, &whole[..1_234_567]).await.unwrap();
    assert_eq!(half.received, 1_234_567);
    y.restart();
    let known = y.uploads.told(told.id, y.me, y.now).unwrap();
    assert_eq!(
        (known.received, known.name.as_str()),
        (1_234_567, "IMG_0931.tif")
    );
    assert_eq!(y.uploads.of(y.me), [known]);
    // From where it is not, nothing is taken, and it says where it is.
    let wrong = y.put(told.id, 1_000_000, &whole[1_000_000..]).await;
    assert!(matches!(
        wrong,
        Err(UploadError::Offset {
            received: 1_234_567
        })
    ));
    let early = y.uploads.finish(told.id, y.me, y.now).await;
    assert!(matches!(
        early,
        Err(UploadError::NotWhole {
            received: 1_234_567,
            ..
        })
    ));
    let done = y
        .put(told.id, 1_234_567, &whole[1_234_567..])
        .await
        .unwrap();
    assert_eq!(done.received, 3_000_000);
    let (kept, name) = y.uploads.finish(told.id, y.me, y.now).await.unwrap();
    assert_eq!((kept.digest, kept.bytes), (digest(&whole), 3_000_000));
    assert_eq!(name, "IMG_0931.tif");
    assert_eq!(y.originals.read(kept.digest).unwrap(), whole);
    // Asked again, also after a restart, it is the same; it takes no more bytes.
    assert_eq!(
        y.uploads.finish(told.id, y.me, y.now).await.unwrap().0,
        kept
    );
    y.restart();
    assert_eq!(
        y.uploads.finish(told.id, y.me, y.now).await.unwrap().0,
        kept
    );
    assert!(y.put(told.id, 3_000_000, b"more").await.is_err());
    assert_eq!(y.files(), 1);
    let mode = fs::metadata(y.originals.path(kept.digest))
        .unwrap()
        .permissions();
    assert!(mode.readonly());
}

#[tokio::test]
async fn what_came_before_the_line_broke_stays() {
    let mut y = Yard::new();
    let whole = bytes(500);
    let told = y.begin(500, None).await.unwrap();
    let parts = [
        Ok(Bytes::copy_from_slice(&whole[..300])),
        Err(std::io::Error::other("the line went dead")),
    ];
    let broken = y.uploads.take(told.id, y.me, 0, iter(parts), y.now).await;
    assert!(matches!(broken, Err(UploadError::Original(_))));
    y.restart();
    assert_eq!(y.uploads.told(told.id, y.me, y.now).unwrap().received, 300);
    y.put(told.id, 300, &whole[300..]).await.unwrap();
    let (kept, _) = y.uploads.finish(told.id, y.me, y.now).await.unwrap();
    assert_eq!(kept.digest, digest(&whole));
}

/// Bytes that a write left behind but nobody acknowledged do not count, and do not stay.
#[tokio::test]
async fn bytes_behind_the_acknowledged_ones_are_written_over() {
    let mut y = Yard::new();
    let whole = bytes(500);
    let told = y.begin(500, None).await.unwrap();
    y.put(told.id, 0, &whole[..200]).await.unwrap();
    let part = y.dir.path().join(format!("uploads/{}.part", told.id));
    let mut torn = fs::read(&part).unwrap();
    torn.extend([7; 900]);
    fs::write(&part, torn).unwrap();
    y.restart();
    assert_eq!(y.uploads.told(told.id, y.me, y.now).unwrap().received, 200);
    y.put(told.id, 200, &whole[200..]).await.unwrap();
    let (kept, _) = y.uploads.finish(told.id, y.me, y.now).await.unwrap();
    assert_eq!(y.originals.read(kept.digest).unwrap(), whole);
}

#[tokio::test]
async fn other_bytes_than_announced_are_refused_and_can_be_sent_again() {
    let y = Yard::new();
    let whole = bytes(500);
    let told = y.begin(500, Some(digest(&whole))).await.unwrap();
    y.put(told.id, 0, &[1; 500]).await.unwrap();
    let differs = y.uploads.finish(told.id, y.me, y.now).await;
    assert!(matches!(differs, Err(UploadError::Differs { .. })));
    assert!(!y.originals.exists(digest(&[1; 500])));
    y.put(told.id, 0, &whole).await.unwrap();
    assert!(y.uploads.finish(told.id, y.me, y.now).await.is_ok());
}

#[tokio::test]
async fn lengths_and_counts_are_bounded() {
    let mut y = Yard::new();
    for length in [0, MAX_BYTES + 1, u64::MAX] {
        assert!(matches!(
            y.begin(length, None).await,
            Err(UploadError::Length)
        ));
    }
    let told = y.begin(10, None).await.unwrap();
    let beyond = y.put(told.id, 0, &[0; 11]).await;
    assert!(matches!(beyond, Err(UploadError::Beyond { bytes: 10 })));
    for _ in 1..MAX_OF_PERSON {
        y.begin(10, None).await.unwrap();
    }
    assert!(matches!(y.begin(10, None).await, Err(UploadError::TooMany)));
    let me = y.me;
    for n in MAX_OF_PERSON..MAX_OPEN {
        if n % MAX_OF_PERSON == 0 {
            y.me = PersonId::new();
        }
        y.begin(10, None).await.unwrap();
    }
    y.me = PersonId::new();
    assert!(matches!(y.begin(10, None).await, Err(UploadError::TooMany)));
    y.restart();
    assert!(matches!(y.begin(10, None).await, Err(UploadError::TooMany)));
    y.uploads.abandon(told.id, me, y.now).unwrap();
    y.begin(10, None).await.unwrap();
}

#[tokio::test]
async fn an_upload_is_its_senders_own() {
    let mut y = Yard::new();
    let told = y.begin(10, None).await.unwrap();
    let me = std::mem::replace(&mut y.me, PersonId::new());
    assert!(matches!(
        y.put(told.id, 0, b"x").await,
        Err(UploadError::NotFound)
    ));
    let asked = y.uploads.told(told.id, y.me, y.now);
    assert!(matches!(asked, Err(UploadError::NotFound)));
    let finished = y.uploads.finish(told.id, y.me, y.now).await;
    assert!(matches!(finished, Err(UploadError::NotFound)));
    let ended = y.uploads.abandon(told.id, y.me, y.now);
    assert!(matches!(ended, Err(UploadError::NotFound)));
    assert!(y.uploads.told(told.id, me, y.now).is_ok());
}

#[tokio::test]
async fn what_nobody_goes_on_with_is_thrown_away() {
    let mut y = Yard::new();
    let old = y.begin(10, None).await.unwrap();
    y.now += Duration::hours(20);
    let young = y.begin(10, None).await.unwrap();
    y.now += LIFE - Duration::hours(20);
    assert!(matches!(
        y.put(old.id, 0, b"x").await,
        Err(UploadError::NotFound)
    ));
    y.uploads.sweep(y.now);
    assert_eq!(y.files(), 2);
    assert!(y.uploads.told(young.id, y.me, y.now).is_ok());
    // At the start, too, with whatever else lies about.
    let folder = y.dir.path().join("uploads");
    for stray in [
        format!("{}.part", UploadId::new()),
        format!("{}.new", young.id),
        format!("{}.json", UploadId::new()),
        "note.json".to_owned(),
    ] {
        fs::write(folder.join(stray), b"{}").unwrap();
    }
    y.restart();
    assert_eq!(y.files(), 2);
    y.now += LIFE + Duration::hours(1);
    y.restart();
    assert_eq!(y.files(), 0);
}

#[tokio::test]
async fn one_part_at_a_time() {
    let y = Yard::new();
    let told = y.begin(10, None).await.unwrap();
    let (tell, hear) = tokio::sync::oneshot::channel::<()>();
    let slow = futures_util::stream::once(Box::pin(async move {
        let _ = hear.await;
        Ok::<_, std::io::Error>(Bytes::from_static(b"0123456789"))
    }));
    let uploads = y.uploads.clone();
    let (id, me, now) = (told.id, y.me, y.now);
    let first = tokio::spawn(async move { uploads.take(id, me, 0, slow, now).await });
    // Until the first holds it.
    while y.uploads.told(id, me, now).is_ok() {
        tokio::task::yield_now().await;
    }
    assert!(matches!(y.put(id, 0, b"x").await, Err(UploadError::Busy)));
    assert!(matches!(
        y.uploads.abandon(id, me, now),
        Err(UploadError::Busy)
    ));
    tell.send(()).unwrap();
    assert_eq!(first.await.unwrap().unwrap().received, 10);
}

#[tokio::test]
async fn finished_ones_are_remembered_up_to_a_number() {
    let y = Yard::new();
    let kept = y.originals.keep(b"abc").unwrap();
    let mut first = None;
    for n in 0..=MAX_FINISHED {
        let now = y.now + Duration::milliseconds(i64::try_from(n).unwrap());
        let id = y.uploads.remember(y.me, "a.png", kept, now).await.unwrap();
        first = first.or(Some(id));
    }
    assert_eq!(y.files(), MAX_FINISHED);
    let gone = y.uploads.finish(first.unwrap(), y.me, y.now).await;
    assert!(matches!(gone, Err(UploadError::NotFound)));
    // They take no room from what is under way.
    y.begin(10, None).await.unwrap();
}

#[tokio::test]
async fn the_same_original_twice_is_one() {
    let y = Yard::new();
    for _ in 0..2 {
        let told = y.begin(3, None).await.unwrap();
        y.put(told.id, 0, b"abc").await.unwrap();
        y.uploads.finish(told.id, y.me, y.now).await.unwrap();
    }
    assert_eq!(y.originals.read(digest(b"abc")).unwrap(), b"abc");
}
