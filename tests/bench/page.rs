//! An item's page in a ledger of a million events and in one of a thousand: what it reads from the store, and the whole
//! of it as a browser gets it from the router (session, rights, thread and card drawn, but no socket). And the room in pictures.

use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use chrono::Utc;
use http_body_util::BodyExt as _;
use liftledger::app::Viewer;
use liftledger::ids::Subject;
use liftledger::store::{LIST_MAX, Reads as _};
use liftledger::web::{App, router};
use tower::ServiceExt as _;

use super::Scale;
use super::build::{Built, build};
use super::figure::{Aim, Figure, note};

/// Pages a round and ledger.
const PAGES: usize = 4_000;
/// Whole pages a round and ledger.
const SERVED: usize = 1_000;
const ROUNDS: usize = 5;
/// Rooms a ledger.
const ROOMS: usize = 15;
/// No more time than this to build the large one.
const MOST: Duration = Duration::from_secs(300);

/// Numbers that look random and are the same in each run (xorshift; the three shifts are Marsaglia's, from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % n as u64).unwrap()
    }
}

/// One page: the item, its events and those of the package it is in, and what it names.
async fn page(built: &Built, dice: &mut Dice) -> f64 {
    let lift = &built.lifts[dice.below(built.lifts.len())];
    let item = Subject::Item(lift.item).to_string();
    let named = [
        Subject::Case(lift.case),
        Subject::Mark(lift.mark),
        Subject::Package(lift.package),
        Subject::Person(built.yard.tech),
        Subject::Person(built.yard.custodian),
        Subject::Place(built.yard.shelf),
    ]
    .map(|s| s.to_string());
    let began = Instant::now();
    let doc = built.store.doc(&item).await.unwrap();
    let events = built.store.events_of(&item, 0, LIST_MAX).await.unwrap();
    let package = built.store.events_of(&named[2], 0, LIST_MAX).await.unwrap();
    let docs = built.store.docs(&named).await.unwrap();
    let took = began.elapsed();
    assert!(doc.is_some() && (events.len(), package.len()) == (2, 5) && docs.len() == named.len());
    black_box((doc, events, package, docs));
    took.as_secs_f64() * 1e3
}

/// The server over a built ledger, and the cookie of somebody who is signed in.
struct Served {
    router: Router,
    cookie: String,
}

impl Served {
    async fn over(built: &Built) -> Self {
        let house = built.house().await;
        let person = house
            .reader(&Viewer::operator())
            .person(built.yard.tech)
            .await
            .unwrap();
        let secret = "a long enough password 42";
        house
            .set_password(&person, secret, Utc::now())
            .await
            .unwrap();
        let app = App::new(Arc::new(house), false);
        let router = router(app);
        let body = format!(
            "user_name={}&password={}",
            person.user_name,
            secret.replace(' ', "+")
        );
        let request = Request::post("/sign-in")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body))
            .unwrap();
        let answer = router.clone().oneshot(request).await.unwrap();
        assert_eq!(answer.status(), StatusCode::SEE_OTHER);
        let cookie = answer.headers()[header::SET_COOKIE].to_str().unwrap();
        let cookie = cookie.split(';').next().unwrap().to_owned();
        Self { router, cookie }
    }

    /// The whole page of one item.
    async fn page(&self, built: &Built, dice: &mut Dice) -> f64 {
        let lift = &built.lifts[dice.below(built.lifts.len())];
        self.get(&format!("/items/{}", lift.item)).await
    }

    async fn get(&self, path: &str) -> f64 {
        let request = Request::get(path)
            .header(header::COOKIE, &self.cookie)
            .body(Body::empty())
            .unwrap();
        let began = Instant::now();
        let answer = self.router.clone().oneshot(request).await.unwrap();
        let status = answer.status();
        let bytes = answer.into_body().collect().await.unwrap().to_bytes();
        let took = began.elapsed();
        assert_eq!(status, StatusCode::OK);
        assert!(bytes.len() > 4_000, "a page, not a refusal");
        took.as_secs_f64() * 1e3
    }
}

pub async fn measure(scale: Scale) -> Vec<Figure> {
    let small = build(1_000, MOST).await;
    let large = build(scale.of(1_000_000, 2_000), MOST).await;
    note(&format!(
        "page: a ledger of {} events ({} MB) built in {:.0} s",
        large.size,
        large.bytes / 1_000_000,
        large.took.as_secs_f64()
    ));
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    for _ in 0..PAGES {
        page(&small, &mut dice).await;
        page(&large, &mut dice).await;
    }
    let mut reads = Pair::default();
    for n in 1..=ROUNDS {
        let (mut a, mut b) = (Vec::with_capacity(PAGES), Vec::with_capacity(PAGES));
        // By turns, so that what else the machine does weighs on both.
        for _ in 0..PAGES {
            a.push(page(&small, &mut dice).await);
            b.push(page(&large, &mut dice).await);
        }
        reads.add(n, "reads", a, b);
    }
    let (here, there) = (Served::over(&small).await, Served::over(&large).await);
    for _ in 0..SERVED {
        here.page(&small, &mut dice).await;
        there.page(&large, &mut dice).await;
    }
    let mut served = Pair::default();
    for n in 1..=ROUNDS {
        let (mut a, mut b) = (Vec::with_capacity(SERVED), Vec::with_capacity(SERVED));
        for _ in 0..SERVED {
            a.push(here.page(&small, &mut dice).await);
            b.push(there.page(&large, &mut dice).await);
        }
        served.add(n, "served", a, b);
    }
    let mut rooms = [Vec::new(), Vec::new()];
    for _ in 0..ROOMS {
        rooms[0].push(here.get("/room").await);
        rooms[1].push(there.get("/room").await);
    }
    let sizes = (small.size, large.size);
    small.store.close().await;
    large.store.close().await;
    let mut out = reads.figures("item page's reads", sizes);
    out.extend(served.figures("item page as served", sizes));
    // What it reads is bounded, and a small ledger has less than the bounds: no ratio.
    for (size, times) in [sizes.0, sizes.1].into_iter().zip(&rooms) {
        let name = format!("the room in pictures as served, {size} events");
        out.push(Figure::plain(name, "ms", times));
    }
    out
}

/// Times in the small ledger and in the large one: median and 99th of 100, a round each.
#[derive(Default)]
struct Pair {
    few: [Vec<f64>; 2],
    many: [Vec<f64>; 2],
    ratios: [Vec<f64>; 2],
}

impl Pair {
    fn add(&mut self, n: usize, what: &str, mut a: Vec<f64>, mut b: Vec<f64>) {
        a.sort_by(f64::total_cmp);
        b.sort_by(f64::total_cmp);
        for (i, part) in [50, 99].into_iter().enumerate() {
            let at = a.len() * part / 100;
            self.few[i].push(a[at]);
            self.many[i].push(b[at]);
            self.ratios[i].push(b[at] / a[at]);
        }
        note(&format!(
            "page, {what}, round {n}: 99th of 100 in {:.3} ms, and {:.3} ms in the large one",
            self.few[1][n - 1],
            self.many[1][n - 1]
        ));
    }

    fn figures(&self, what: &str, sizes: (u64, u64)) -> Vec<Figure> {
        let of = format!("{} events", sizes.0);
        let name = |size: u64, part: &str| format!("{what}, {size} events, {part}");
        vec![
            Figure::plain(name(sizes.0, "median"), "ms", &self.few[0]),
            Figure::plain(name(sizes.1, "median"), "ms", &self.many[0]).against(
                of.clone(),
                &self.ratios[0],
                None,
            ),
            Figure::plain(name(sizes.0, "p99"), "ms", &self.few[1]),
            Figure::plain(name(sizes.1, "p99"), "ms", &self.many[1]).against(
                of,
                &self.ratios[1],
                Some(Aim::AtMost(1.5)),
            ),
        ]
    }
}
