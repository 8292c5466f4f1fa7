//! Originals in a bucket. The store is a small server of our own on loopback that can fail in every way a store does: with
//! an error, slowly, with an error though it kept everything, without any answer, with an answer that breaks off.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Request, State};
use axum::http::{Method, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use base64::Engine as _;
use futures_util::stream;
use http_body_util::BodyExt as _;
use liftledger::app::removal::{Files, REMOVED_AT};
use liftledger::app::{RecordError, Recorder, Sent, Tools, Viewer};
use liftledger::clock::SystemClock;
use liftledger::custody::image::AddImage;
use liftledger::custody::mark::MarkKind;
use liftledger::custody::{Act, Command as Told, Signed};
use liftledger::ids::{CommandId, Digest, Subject};
use liftledger::keys::Keys;
use liftledger::ledger::event::Source;
use liftledger::ledger::times;
use liftledger::originals::{Bucket, BucketError, Originals, OriginalsError, Place, PlaceError};
use liftledger::store::{Accounts as _, SqliteStore};
use liftledger::trade::TradeRules;
use liftledger::uploads::Uploads;
use serde_json::Value;
use tokio::runtime::Runtime;

use super::boatyard::{Boatyard, noted, png};
use super::served::Server;

const KEY: &str = "HARROWCOVEKEY";
const SECRET: &str = "harrow-cove-bucket-secret";
const PLACE: &str = "s3://evidence/yard";

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fault {
    None,
    /// An error, and nothing done.
    Fail,
    /// Everything done, and an error.
    Done,
    /// Everything done, after a while.
    Slow,
    /// Everything done, and no answer.
    Silent,
    /// An answer that breaks off.
    Broken,
    /// Not allowed.
    Forbidden,
}

#[derive(Default)]
struct Kept {
    objects: Mutex<BTreeMap<String, Vec<u8>>>,
    /// What goes wrong with the next requests, the last one for ever.
    plan: Mutex<Vec<Fault>>,
    requests: AtomicUsize,
    puts: AtomicUsize,
}

/// The store.
#[derive(Clone)]
struct Store {
    kept: Arc<Kept>,
    address: String,
}

impl Store {
    fn start(runtime: &Runtime) -> Self {
        let kept = Arc::new(Kept::default());
        let router = Router::new().fallback(answer).with_state(kept.clone());
        let router = router.layer(axum::extract::DefaultBodyLimit::disable());
        let address = runtime.block_on(async {
            let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
            let address = listener.local_addr().unwrap();
            tokio::spawn(async move { axum::serve(listener, router).await.unwrap() });
            address
        });
        Self {
            kept,
            address: format!("http://{address}"),
        }
    }

    fn environment(&self) -> [(&'static str, String); 3] {
        [
            ("AWS_ACCESS_KEY_ID", KEY.into()),
            ("AWS_SECRET_ACCESS_KEY", SECRET.into()),
            ("AWS_ENDPOINT_URL", self.address.clone()),
        ]
    }

    fn bucket(&self) -> Bucket {
        let environment = self.environment();
        Bucket::open("evidence", "yard", |name| {
            let found = environment.iter().find(|(n, _)| *n == name);
            found.map(|(_, v)| v.clone())
        })
        .unwrap()
    }

    fn goes_wrong(&self, plan: &[Fault]) {
        *self.kept.plan.lock().unwrap() = plan.to_vec();
        self.kept.requests.store(0, Ordering::SeqCst);
    }

    fn object(&self, digest: Digest) -> Option<Vec<u8>> {
        self.kept.objects.lock().unwrap().get(&key(digest)).cloned()
    }

    fn set(&self, digest: Digest, bytes: &[u8]) {
        let mut objects = self.kept.objects.lock().unwrap();
        objects.insert(key(digest), bytes.to_vec());
    }
}

fn key(digest: Digest) -> String {
    let name = digest.to_string();
    format!("yard/{}/{}/{name}", &name[..2], &name[2..4])
}

async fn answer(State(kept): State<Arc<Kept>>, request: Request) -> Response {
    let query = request.uri().query().unwrap_or_default().to_owned();
    // Signed in the address (docs.aws.amazon.com/AmazonS3/latest/API/sigv4-query-string-auth.html).
    let credential = format!("X-Amz-Credential={KEY}%2F");
    assert!(query.contains(&credential) && query.contains("X-Amz-Signature="));
    let nth = kept.requests.fetch_add(1, Ordering::SeqCst);
    let fault = {
        let plan = kept.plan.lock().unwrap();
        plan.get(nth)
            .or(plan.last())
            .copied()
            .unwrap_or(Fault::None)
    };
    let (parts, body) = request.into_parts();
    let body = body.collect().await.unwrap().to_bytes();
    match fault {
        Fault::Fail => return StatusCode::INTERNAL_SERVER_ERROR.into_response(),
        Fault::Forbidden => return StatusCode::FORBIDDEN.into_response(),
        Fault::Slow => tokio::time::sleep(Duration::from_millis(900)).await,
        _ => {}
    }
    let path = parts.uri.path().strip_prefix("/evidence/").unwrap();
    let done = carried_out(&kept, &parts.method, path, &query, &parts.headers, body);
    match fault {
        Fault::Done => StatusCode::SERVICE_UNAVAILABLE.into_response(),
        // The connection ends without a word.
        Fault::Silent => Response::new(Body::from_stream(stream::once(async {
            Err::<Bytes, _>(std::io::Error::other("gone"))
        }))),
        Fault::Broken => {
            let (parts, body) = done.into_parts();
            let whole = body.collect().await.unwrap().to_bytes();
            let half = whole.slice(..whole.len() / 2);
            let torn = stream::iter([Ok(half), Err(std::io::Error::other("gone"))]);
            Response::from_parts(parts, Body::from_stream(torn))
        }
        _ => done,
    }
}

fn carried_out(
    kept: &Kept,
    method: &Method,
    path: &str,
    query: &str,
    headers: &axum::http::HeaderMap,
    body: Bytes,
) -> Response {
    let mut objects = kept.objects.lock().unwrap();
    let there = objects.get(path).cloned();
    match (method, there) {
        (&Method::PUT, there) => {
            kept.puts.fetch_add(1, Ordering::SeqCst);
            assert_eq!(headers["if-none-match"], "*");
            // Both headers are part of what is signed.
            assert!(query.contains("if-none-match") && query.contains("x-amz-checksum-sha256"));
            if there.is_some() {
                return StatusCode::PRECONDITION_FAILED.into_response();
            }
            let sum = base64::engine::general_purpose::STANDARD.encode(Digest::of(&body).0);
            if headers["x-amz-checksum-sha256"] != sum.as_str() {
                return StatusCode::BAD_REQUEST.into_response();
            }
            objects.insert(path.to_owned(), body.to_vec());
            StatusCode::OK.into_response()
        }
        (&Method::DELETE, _) => {
            objects.remove(path);
            StatusCode::NO_CONTENT.into_response()
        }
        (&Method::GET, _) if query.contains("list-type=2") => {
            // Two a page, so that there are pages.
            let after = query.split_once("continuation-token=").map(|(_, t)| t);
            let after = after.map(|t| t.split('&').next().unwrap().replace("%2F", "/"));
            let names: Vec<&String> = objects
                .keys()
                .filter(|k| after.as_ref().is_none_or(|a| *k > a))
                .take(2)
                .collect();
            let more = names.len() == 2;
            let contents: String = names
                .iter()
                .map(|k| {
                    format!(
                        "<Contents><Key>{k}</Key><LastModified>2026-03-14T10:00:00.000Z</LastModified>\
                         <ETag>\"e\"</ETag><Size>1</Size><StorageClass>STANDARD</StorageClass></Contents>"
                    )
                })
                .collect();
            let next = match names.last() {
                Some(last) if more => {
                    format!("<NextContinuationToken>{last}</NextContinuationToken>")
                }
                _ => String::new(),
            };
            format!(
                "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\
                 <ListBucketResult xmlns=\"http://s3.amazonaws.com/doc/2006-03-01/\"><Name>evidence</Name>\
                 <Prefix>yard/</Prefix><MaxKeys>2</MaxKeys><IsTruncated>{more}</IsTruncated>{contents}{next}\
                 </ListBucketResult>"
            )
            .into_response()
        }
        (_, None) => StatusCode::NOT_FOUND.into_response(),
        (_, Some(bytes)) => {
            let length = bytes.len();
            let body = if *method == Method::HEAD {
                Body::empty()
            } else {
                Body::from(bytes)
            };
            ([(header::CONTENT_LENGTH, length)], body).into_response()
        }
    }
}

fn originals(store: &Store, folder: &Path) -> Originals {
    Originals::open(folder.join("originals"))
        .unwrap()
        .in_bucket(store.bucket())
}

#[test]
fn a_place_is_read_strictly_and_keys_come_from_the_environment_only() {
    let bucket: Place = PLACE.parse().unwrap();
    assert_eq!(bucket.to_string(), PLACE);
    assert_eq!(
        "s3://evidence/".parse::<Place>().unwrap().to_string(),
        "s3://evidence"
    );
    assert_eq!(
        "ledger/originals".parse(),
        Ok(Place::Folder("ledger/originals".into()))
    );
    for (text, expected) in [
        ("", PlaceError::Empty),
        ("https://store.invalid/evidence", PlaceError::Scheme),
        ("s3://", PlaceError::Bucket),
        ("s3://KEY:secret@evidence/yard", PlaceError::Bucket),
        ("s3://Evidence", PlaceError::Bucket),
        ("s3://evidence/../other", PlaceError::Prefix),
        ("s3://evidence/a//b", PlaceError::Prefix),
        ("s3://evidence/yard?x=1", PlaceError::Prefix),
    ] {
        assert_eq!(text.parse::<Place>(), Err(expected), "{text}");
    }
    let none = Bucket::open("evidence", "", |_| None);
    assert_eq!(none.err(), Some(BucketError::Keys));
    let bad = Bucket::open("evidence", "", |n| match n {
        "AWS_ENDPOINT_URL" => Some("no address".into()),
        _ => Some(SECRET.into()),
    });
    assert_eq!(bad.err(), Some(BucketError::Endpoint));
    let runtime = Runtime::new().unwrap();
    let shown = format!("{:?}", Store::start(&runtime).bucket());
    assert!(!shown.contains(SECRET) && !shown.contains(KEY), "{shown}");
}

#[test]
fn bytes_are_kept_by_digest_and_never_written_over() {
    let runtime = Runtime::new().unwrap();
    let store = Store::start(&runtime);
    let dir = tempfile::tempdir().unwrap();
    let all = originals(&store, dir.path());
    let mut digests: Vec<Digest> = (0..5).map(|n| all.keep(&png(n)).unwrap().digest).collect();
    let first = digests[0];
    assert_eq!(store.object(first).unwrap(), png(0));
    assert_eq!(all.read(first).unwrap(), png(0));
    assert_eq!(all.verify(first).unwrap(), png(0).len() as u64);
    let mut copied = Vec::new();
    std::io::copy(&mut all.stored(first).unwrap(), &mut copied).unwrap();
    assert_eq!(copied, png(0));
    assert!(all.exists(first) && all.answers().is_ok());
    // Nothing of it stays in the folder.
    let coming = std::fs::read_dir(dir.path().join("originals/coming")).unwrap();
    assert_eq!(coming.count(), 0);
    assert_eq!(
        std::fs::read_dir(dir.path().join("originals"))
            .unwrap()
            .count(),
        1
    );
    // In order, over several pages, and only what is an original.
    store
        .kept
        .objects
        .lock()
        .unwrap()
        .insert("yard/notes.txt".into(), vec![1]);
    digests.sort();
    let listed: Vec<Digest> = all.list().map(Result::unwrap).collect();
    assert_eq!(listed, digests);

    // Once more: as it was, and not put again.
    assert_eq!(all.keep(&png(0)).unwrap().digest, first);
    // Somebody put other bytes there: told, and left for whoever looks into it.
    store.set(first, b"other bytes");
    for told in [
        all.keep(&png(0)).unwrap_err(),
        all.read(first).unwrap_err(),
        all.verify(first).unwrap_err(),
    ] {
        assert!(
            matches!(told, OriginalsError::Altered { expected, .. } if expected == first),
            "{told}"
        );
    }
    assert_eq!(store.object(first).unwrap(), b"other bytes");
    let nothing = Digest::of(b"never sent");
    assert!(!all.exists(nothing));
    assert!(matches!(all.read(nothing), Err(OriginalsError::Missing(d)) if d == nothing));
}

#[test]
fn a_store_that_fails_is_asked_again_and_then_told_to_be_away() {
    use Fault::{Broken, Done, Fail, Forbidden, None, Silent, Slow};
    let runtime = Runtime::new().unwrap();
    let store = Store::start(&runtime);
    let dir = tempfile::tempdir().unwrap();
    let all = originals(&store, dir.path());
    // What goes wrong with the requests of one keeping: putting, and asking for what was put.
    let plans: [&[Fault]; 8] = [
        &[Fail, None],
        &[Fail, Fail, Fail, None],
        &[Done, None],
        &[Done, Fail, None],
        &[Silent, None],
        &[Slow, None],
        &[None, Fail, None],
        &[None, Silent, Silent, None],
    ];
    for (n, plan) in plans.iter().enumerate() {
        let bytes = png(u8::try_from(n).unwrap());
        store.goes_wrong(plan);
        let kept = all.keep(&bytes).unwrap_or_else(|e| panic!("{plan:?}: {e}"));
        assert_eq!(store.object(kept.digest).unwrap(), bytes, "{plan:?}");
        // And reading: broken off, it is read anew.
        store.goes_wrong(&[Broken, Fail, None]);
        assert_eq!(all.read(kept.digest).unwrap(), bytes);
        store.goes_wrong(&[Broken, None]);
        let mut copied = Vec::new();
        std::io::copy(&mut all.stored(kept.digest).unwrap(), &mut copied).unwrap();
        assert_eq!(copied, bytes);
    }
    // Removed when the store shows none, whatever it answered; what is gone already is gone.
    for (n, plan) in [
        &[Fail, None][..],
        &[Done, None],
        &[Silent, None],
        &[None, Fail, None],
    ]
    .into_iter()
    .enumerate()
    {
        let digest = Digest::of(&png(u8::try_from(n).unwrap()));
        store.goes_wrong(plan);
        all.remove(digest).unwrap();
        assert!(store.object(digest).is_none() && !all.has(digest).unwrap());
        all.remove(digest).unwrap();
    }
    let there = Digest::of(&png(7));
    store.goes_wrong(&[Fail]);
    let away = all.remove(there).unwrap_err();
    assert!(matches!(away, OriginalsError::Away(_)), "{away}");
    // Whether it is there nobody knows then, which is not that it is gone.
    assert!(matches!(all.has(there), Err(OriginalsError::Away(_))));
    store.goes_wrong(&[Fail]);
    let error = all.keep(&png(100)).unwrap_err();
    assert!(matches!(error, OriginalsError::Away(_)), "{error}");
    assert!(all.answers().is_err());
    let away = all.read(Digest::of(&png(0))).unwrap_err();
    assert!(matches!(away, OriginalsError::Away(_)), "{away}");
    // Not allowed: asking again would not help.
    store.goes_wrong(&[Forbidden]);
    let error = all.keep(&png(101)).unwrap_err().to_string();
    assert!(error.contains("403") && !error.contains("X-Amz"), "{error}");
    assert_eq!(store.kept.requests.load(Ordering::SeqCst), 1);
    // Nothing is left of what was not kept.
    let coming = std::fs::read_dir(dir.path().join("originals/coming")).unwrap();
    assert_eq!(coming.count(), 0);
}

/// Whoever records waits for no store: it is asked under the append lock only where an expungement may have removed the
/// bytes meanwhile, and then a picture whose bytes nobody can show holds up nobody else.
#[test]
fn a_store_that_is_away_holds_up_no_other_command() {
    let runtime = Runtime::new().unwrap();
    let store = Store::start(&runtime);
    let dir = tempfile::tempdir().unwrap();
    let bucket = originals(&store, dir.path());
    runtime.block_on(recorded_while_away(&store, &bucket, dir.path()));
}

async fn recorded_while_away(store: &Store, bucket: &Originals, folder: &Path) {
    let data = folder.join("ledger");
    let yard = Boatyard::begin(&data).await;
    let viewer = Viewer::operator();
    let scene = yard.house.reader(&viewer).case(yard.case).await.unwrap();
    let scene = scene.scenes[0].id;
    yard.house.close().await;
    let database = Arc::new(SqliteStore::open(&data.join("ledger.db")).await.unwrap());
    let now = chrono::Utc::now();
    let keys = Keys::open(&data.join("keys")).unwrap();
    let (recorder, task) = Recorder::start(Tools {
        store: database.clone(),
        key: keys.checkpoint("ledger.example/harrow-cove").unwrap(),
        trade: Arc::new(TradeRules::load_embedded().unwrap()),
        rules: "test".into(),
        clock: Arc::new(SystemClock),
        files: Some(Files {
            originals: bucket.clone(),
            uploads: Uploads::open(folder.join("uploads"), bucket.clone(), now).unwrap(),
        }),
    });
    let record = |act: Act| {
        let command = Told {
            id: CommandId::new(),
            claimed_at: None,
            late_reason: None,
            paper_sheet: None,
            act,
        };
        recorder.record(Sent {
            person: Some(yard.tech),
            signed: Signed::Password,
            beside: None,
            source: Source::Desk,
            command,
        })
    };
    let picture = |n: u8| {
        let bytes = png(n);
        record(Act::AddImage(AddImage {
            of: Subject::Mark(yard.marks[0]),
            digest: Digest::of(&bytes),
            name: format!("IMG_01{n}.png"),
            media_type: "image/png".into(),
            bytes: bytes.len() as u64,
            width: Some(900),
            height: Some(600),
            view: Vec::new(),
            says: Default::default(),
        }))
    };
    let other = || {
        record(Act::NoteMark(noted(
            yard.case,
            scene,
            MarkKind::Toolmark,
            1,
        )))
    };
    for n in 10..14 {
        bucket.keep(&png(n)).unwrap();
    }
    store.goes_wrong(&[Fault::Fail]);
    picture(10).await.unwrap();
    assert_eq!(store.kept.requests.load(Ordering::SeqCst), 0);

    // Something was removed lately.
    let at = times::recorded(now);
    database.set_setting(REMOVED_AT, &at).await.unwrap();
    let (first, second) = tokio::join!(picture(11), other());
    let not_now = |e: &Result<_, _>| matches!(e, Err(RecordError::Unavailable(_)));
    assert!(not_now(&first), "{first:?}");
    second.unwrap();
    store.goes_wrong(&[Fault::None]);
    picture(11).await.unwrap();
    bucket.remove(Digest::of(&png(12))).unwrap();
    let (first, second) = tokio::join!(picture(12), other());
    assert!(not_now(&first), "{first:?}");
    second.unwrap();
    // Longer ago than any upload lasts.
    let at = times::recorded(now - chrono::TimeDelta::days(2));
    database.set_setting(REMOVED_AT, &at).await.unwrap();
    store.goes_wrong(&[Fault::Fail]);
    picture(13).await.unwrap();
    assert_eq!(store.kept.requests.load(Ordering::SeqCst), 0);
    drop(recorder);
    task.await.unwrap();
    database.close().await;
}

/// The real server, while its store fails in every way: every photograph that was acknowledged has its original.
#[test]
fn every_acknowledged_photograph_has_its_original_whatever_the_store_does() {
    use Fault::{Broken, Done, Fail, None, Silent, Slow};
    let runtime = Runtime::new().unwrap();
    let store = Store::start(&runtime);
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    let (mark, token) = runtime.block_on(async {
        let yard = Boatyard::begin(&data).await;
        let now = chrono::Utc::now();
        let token = yard.house.issue_token(yard.tech, "test", 1, now).await;
        let mark = yard.marks[0];
        yard.house.close().await;
        (mark, token.unwrap())
    });
    // What was kept before in the folder is moved by whoever runs the server.
    let before = Originals::at(data.join("originals"));
    for digest in before.list() {
        let digest = digest.unwrap();
        store.set(digest, &before.read(digest).unwrap());
    }
    let log = dir.path().join("log");
    let program = |arguments: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_liftledger"));
        command
            .args(arguments)
            .arg("--data")
            .arg(&data)
            .env("LIFTLEDGER_DATABASE", "")
            .env("RUST_LOG", "debug")
            .envs(store.environment());
        command
    };
    let mut serve = program(&["serve", "--listen", "127.0.0.1:0", "--originals", PLACE]);
    serve.stderr(std::fs::File::create(&log).unwrap());
    let server = Server::run(serve);
    let ready = || {
        ureq::get(format!("{}/readyz", server.address))
            .call()
            .is_ok()
    };
    assert!(ready());
    store.goes_wrong(&[Fail]);
    assert!(!ready());

    // Every fault in turn, and longer outages.
    let plan: Vec<Fault> = [
        Fail, None, Done, None, Slow, Silent, None, Broken, None, None,
    ]
    .into_iter()
    .cycle()
    .take(60)
    .chain([Fail; 30])
    .chain([None])
    .collect();
    store.goes_wrong(&plan);
    let send = |n: usize| {
        let bytes = [png(u8::try_from(n).unwrap()), format!("\n{n}").into_bytes()].concat();
        let id = CommandId::new();
        let mut failed = 0;
        for _ in 0..20 {
            let mut answer = ureq::Agent::new_with_config(
                ureq::Agent::config_builder()
                    .http_status_as_error(false)
                    .timeout_global(Some(Duration::from_secs(60)))
                    .build(),
            )
            .post(format!(
                "{}/api/images?of=mark:{mark}&name=IMG_0051.png&id={id}",
                server.address
            ))
            .header("authorization", format!("Bearer {token}"))
            .send(&bytes[..])
            .unwrap();
            let told: Value = answer.body_mut().read_json().unwrap();
            match answer.status().as_u16() {
                200 => return (Digest::of(&bytes), failed),
                503 => {
                    assert_eq!(told["code"], "originals-away", "{told}");
                    failed += 1;
                }
                status => panic!("{status} {told}"),
            }
        }
        panic!("not kept at last");
    };
    let sent: Vec<(Digest, usize)> = std::thread::scope(|scope| {
        let all: Vec<_> = (0..3)
            .map(|t| scope.spawn(move || (0..8).map(|n| send(t * 8 + n)).collect::<Vec<_>>()))
            .collect();
        all.into_iter().flat_map(|t| t.join().unwrap()).collect()
    });
    assert_eq!(sent.len(), 24);
    // Otherwise the store never was away for anybody.
    assert!(sent.iter().any(|(_, failed)| *failed > 0));
    for (digest, _) in &sent {
        assert_eq!(Digest::of(&store.object(*digest).unwrap()), *digest);
    }
    store.goes_wrong(&[None]);
    drop(server);
    let done = program(&["verify", "--originals", PLACE]).output().unwrap();
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert_eq!(done.status.code(), Some(0), "{said}");
    // One that is gone is found.
    store.kept.objects.lock().unwrap().remove(&key(sent[0].0));
    let done = program(&["verify", "--originals", PLACE]).output().unwrap();
    assert_eq!(done.status.code(), Some(2));
    // Whoever forgets where they are is told, before anything is looked for or put elsewhere.
    let done = program(&["verify"])
        .stdin(Stdio::null())
        .env_remove("LIFTLEDGER_ORIGINALS")
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(
        done.status.code() == Some(1) && said.contains(PLACE),
        "{said}"
    );
    let log = std::fs::read_to_string(&log).unwrap();
    assert!(log.contains("the object store is away"), "{log}");
    for secret in [SECRET, KEY, "X-Amz-Signature"] {
        assert!(!log.contains(secret), "{secret}");
    }
}
