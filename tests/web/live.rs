//! What is kept up to date: the part that a page asks for, the stream that says when, how many streams there may be, and
//! how a stream ends.

use std::io::{Read as _, Write as _};
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::{Body, BodyDataStream};
use axum::http::{Request, StatusCode, header};
use chrono::{TimeDelta, Utc};
use futures_util::StreamExt as _;
use liftledger::app::house::House;
use liftledger::clock::TestClock;
use liftledger::custody::hand_over::Release;
use liftledger::custody::{Act, person};
use liftledger::ids::PersonId;
use liftledger::people::Role;
use liftledger::web::live::{OF_ONE, Pace};
use liftledger::web::{App, router};
use tokio::time::timeout;

use super::browser::{Answer, Browser};
use crate::app::boatyard::act;
use crate::app::load::{SECRET, Yard};
use crate::app::served::{Server, Visit};

const DESK: &str = "/live/part?of=storeroom";
const SOON: Duration = Duration::from_secs(10);

struct Site {
    _folder: tempfile::TempDir,
    yard: Yard,
    house: Arc<House>,
    clock: Arc<TestClock>,
    app: App,
    router: Router,
}

impl Site {
    async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let data = folder.path().join("ledger");
        let yard = Yard::begin(&data).await;
        let house = Arc::new(House::open(&data).await.unwrap());
        let clock = Arc::new(TestClock::at(Utc::now()));
        let pace = Pace {
            look: Duration::from_millis(300),
            beat: Duration::from_millis(400),
            rest: Duration::from_secs(3600),
        };
        let app = App::with_clock(house.clone(), false, clock.clone()).with_pace(pace);
        Self {
            _folder: folder,
            yard,
            house,
            clock,
            router: router(app.clone()),
            app,
        }
    }

    async fn signed_in(&self, user_name: &str) -> Browser {
        Browser::sign_in(&self.router, user_name, SECRET).await
    }

    async fn release(&self, pair: usize) {
        let pair = &self.yard.pairs[pair];
        let release = Act::Release(Release {
            piece: pair.piece,
            to: pair.people[1].0,
            purpose: "intake".into(),
            authority: String::new(),
            due_at: None,
            unsealed_reason: None,
        });
        act(&self.house, Some(pair.people[0].0), None, release)
            .await
            .unwrap();
    }

    /// Something that no desk shows.
    async fn unrelated(&self, n: usize) {
        let add = Act::AddPerson(person::AddPerson {
            user_name: format!("new{n}"),
            name: format!("New Person {n}"),
            number: format!("X-{n}"),
            roles: [Role::Auditor].into(),
        });
        act(&self.house, Some(self.admin().await), None, add)
            .await
            .unwrap();
    }

    async fn admin(&self) -> PersonId {
        let named = self.house.store.doc_by_name("person", "ivo").await.unwrap();
        let subject = named.unwrap().subject;
        match subject.parse().unwrap() {
            liftledger::ids::Subject::Person(id) => id,
            other => panic!("{other}"),
        }
    }
}

/// Asks for a part of which the page has this already.
async fn part(browser: &Browser, path: &str, has: &str) -> Answer {
    let request = Request::get(path).header(header::IF_NONE_MATCH, has);
    browser.send(request.body(Body::empty()).unwrap()).await
}

/// The status alone: a stream, where there is one, would not end.
async fn status(browser: &Browser, path: &str) -> StatusCode {
    let request = Request::get(path).body(Body::empty());
    browser.ask(request.unwrap()).await.status()
}

fn tag(answer: &Answer) -> String {
    answer.headers[header::ETAG].to_str().unwrap().to_owned()
}

/// The digest of what the custodian's desk shows.
async fn seen(browser: &Browser) -> String {
    let answer = browser.get(DESK).await;
    assert_eq!(answer.status, StatusCode::OK);
    tag(&answer).trim_matches('"').to_owned()
}

struct Stream(BodyDataStream);

impl Stream {
    async fn open(browser: &Browser, seen: &str) -> Self {
        let request = Request::get(format!("/live?of=storeroom&seen={seen}"));
        let response = browser.ask(request.body(Body::empty()).unwrap()).await;
        assert_eq!(response.status(), StatusCode::OK);
        assert_eq!(
            response.headers()[header::CONTENT_TYPE],
            "text/event-stream"
        );
        assert_eq!(response.headers()[header::CACHE_CONTROL], "no-store");
        Self(response.into_body().into_data_stream())
    }

    /// The next piece of the stream; none at its end.
    async fn next(&mut self) -> Option<String> {
        let next = timeout(SOON, self.0.next()).await.expect("nothing came");
        next.map(|bytes| String::from_utf8(bytes.unwrap().to_vec()).unwrap())
    }

    /// The next that is no comment.
    async fn note(&mut self) -> Option<String> {
        loop {
            match self.next().await {
                Some(text) if text.lines().all(|l| l.is_empty() || l.starts_with(':')) => {}
                next => return next,
            }
        }
    }

    /// Whether only signs of life come for so long.
    async fn is_quiet(&mut self, time: Duration) -> bool {
        timeout(time, self.note()).await.is_err()
    }
}

#[tokio::test]
async fn a_part_is_sent_when_it_changed_and_keeps_nobody_signed_in() {
    let site = Site::new().await;
    let browser = site.signed_in("cust0").await;
    let first = browser.get(DESK).await;
    let known = tag(&first);
    assert!(first.says("As of "));
    let same = part(&browser, DESK, &known).await;
    assert_eq!(same.status, StatusCode::NOT_MODIFIED);
    site.unrelated(1).await;
    let same = part(&browser, DESK, &known).await;
    assert_eq!(same.status, StatusCode::NOT_MODIFIED);
    let counter = tag(&browser.get("/live/part?of=intake").await);
    site.release(0).await;
    let other = part(&browser, DESK, &known).await;
    assert_eq!(other.status, StatusCode::OK);
    assert_ne!(tag(&other), known);
    assert!(other.says("/do/receive?piece=package:"));
    let lines = part(&browser, "/live/part?of=intake", &counter).await;
    assert_eq!(lines.status, StatusCode::OK);
    assert!(lines.says("<tr data-code="));
    // The page says by what it is known, so that nothing between the page and its stream is missed.
    let page = browser.get("/desk/storeroom").await;
    let seen = seen(&browser).await;
    assert!(page.says(&format!(
        "data-live=\"storeroom\" data-live-digest=\"{seen}\""
    )));

    // A desk of others, no desk at all, a role that receives nothing, nobody.
    let tech = site.signed_in("tech0").await;
    let nobody = Browser::stranger(&site.router);
    for (path, who, expected) in [
        (DESK, &tech, StatusCode::NOT_FOUND),
        ("/live?of=storeroom", &tech, StatusCode::NOT_FOUND),
        ("/live/part?of=cellar", &browser, StatusCode::NOT_FOUND),
        ("/live?of=", &browser, StatusCode::NOT_FOUND),
        (DESK, &nobody, StatusCode::SEE_OTHER),
        ("/live?of=storeroom", &nobody, StatusCode::SEE_OTHER),
    ] {
        assert_eq!(status(who, path).await, expected, "{path}");
    }
    // An open page alone does not keep its person signed in: after an hour without a hand on it the session ends.
    for _ in 0..5 {
        site.clock.advance(TimeDelta::minutes(14));
        if browser.get(DESK).await.status == StatusCode::SEE_OTHER {
            return;
        }
    }
    panic!("still signed in after 70 minutes");
}

#[tokio::test]
async fn a_stream_says_only_that_something_changed_and_only_when_it_did() {
    let site = Site::new().await;
    let browser = site.signed_in("cust0").await;
    let seen = seen(&browser).await;
    let mut stream = Stream::open(&browser, &seen).await;
    assert_eq!(stream.next().await.unwrap(), "retry: 5000\n: here\n\n");
    assert!(stream.is_quiet(Duration::from_millis(900)).await);
    // Grown, but nothing that the desk shows.
    site.unrelated(1).await;
    assert!(stream.is_quiet(Duration::from_millis(900)).await);
    // What comes to somebody else.
    site.release(1).await;
    assert!(stream.is_quiet(Duration::from_millis(900)).await);
    site.release(0).await;
    assert_eq!(
        stream.note().await.unwrap(),
        "event: changed\ndata: changed\n\n"
    );
    assert!(stream.is_quiet(Duration::from_millis(900)).await);
    // A page that shows an older state hears so at once.
    let mut late = Stream::open(&browser, &seen).await;
    assert!(late.next().await.unwrap().starts_with("retry: "));
    assert!(late.note().await.unwrap().starts_with("event: changed\n"));
    // Somebody signed out: the stream says so and ends.
    browser.submit("/sign-out", "").await.leads_to();
    for stream in [&mut stream, &mut late] {
        assert!(stream.note().await.unwrap().starts_with("event: over\n"));
        assert_eq!(stream.next().await, None);
    }
    assert_eq!(site.app.streams().open(), 0);
}

#[tokio::test]
async fn a_person_has_so_many_streams_and_a_closed_one_makes_room() {
    let site = Site::new().await;
    let browser = site.signed_in("cust0").await;
    let mut open = Vec::new();
    for _ in 0..OF_ONE {
        open.push(Stream::open(&browser, "").await);
    }
    let again = site.signed_in("cust0").await;
    let more = status(&again, "/live?of=storeroom").await;
    assert_eq!(more, StatusCode::TOO_MANY_REQUESTS);
    // Nobody else is hurt by it, and the part can still be asked for.
    let other = site.signed_in("cust1").await;
    open.push(Stream::open(&other, "").await);
    assert_eq!(again.get(DESK).await.status, StatusCode::OK);
    open.remove(0);
    open.push(Stream::open(&again, "").await);
    assert_eq!(site.app.streams().open(), OF_ONE + 1);
}

/// The process itself: streams that are open do not hold up its end.
#[test]
fn a_server_that_stops_ends_its_streams() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let yard = runtime.block_on(Yard::begin(&data));
    let mut server = Server::start("serve", &data);
    let page = format!("/do/receive?piece={}", yard.pairs[0].piece);
    let visit = Visit::begin(&server.address, "cust0", SECRET, &page);
    let at = server.address.strip_prefix("http://").unwrap();
    let mut streams: Vec<std::net::TcpStream> = (0..3)
        .map(|_| {
            let mut stream = std::net::TcpStream::connect(at).unwrap();
            stream.set_read_timeout(Some(SOON)).unwrap();
            let request = format!(
                "GET /live?of=storeroom HTTP/1.1\r\nhost: {at}\r\ncookie: {}\r\n\r\n",
                visit.cookie
            );
            stream.write_all(request.as_bytes()).unwrap();
            let mut first = [0; 12];
            stream.read_exact(&mut first).unwrap();
            assert_eq!(&first, b"HTTP/1.1 200");
            stream
        })
        .collect();
    let begun = Instant::now();
    let told = Command::new("kill")
        .args(["-TERM", &server.id().to_string()])
        .status()
        .unwrap();
    assert!(told.success());
    assert!(server.wait().success());
    // Far less than the time that requests under way have.
    assert!(
        begun.elapsed() < Duration::from_secs(8),
        "{:?}",
        begun.elapsed()
    );
    for stream in &mut streams {
        let mut rest = String::new();
        stream.read_to_string(&mut rest).unwrap();
        assert!(rest.ends_with("0\r\n\r\n"), "{rest}");
    }
}
