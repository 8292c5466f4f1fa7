//! What people do all day in a room of a thousand things and in one of a million: the same questions by turns, through the
//! whole router (session, rights, page drawn) but no socket. Each question is about as much as there is to show in both: the
//! small room has a full counter, a full list of places and a full list of what is overdue, too.

pub mod base;
pub mod stock;

use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Body;
use axum::http::{Request, Response, StatusCode, header};
use chrono::Utc;
use futures_util::future::join_all;
use http_body_util::BodyExt as _;
use liftledger::app::house::{DATABASE, House, KEYS};
use liftledger::app::{Sent, Viewer};
use liftledger::custody::intake::{Intake, IntakeLine};
use liftledger::custody::{Act, Command, Signed, hand_over};
use liftledger::ids::{CommandId, PersonId};
use liftledger::keys::Keys;
use liftledger::ledger::event::Source;
use liftledger::store::{SqliteStore, Store};
use liftledger::web::{App, router};
use tempfile::TempDir;
use tower::ServiceExt as _;

use super::Scale;
use super::build::folder;
use super::figure::{Aim, Figure, median, note};
use base::Base;
use stock::{Dice, FILLING, Size, Stock, case_number, fill, item_id};

const ROUNDS: usize = 3;
const PASSWORD: &str = "a long enough password 42";
/// How many custodians ask by turns, so that nobody asks more often than anybody may.
const ASKING: usize = 20;

/// What is asked, in which words, and how often a round.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Ask {
    Item,
    Letter,
    Letters,
    Words,
    Places,
    Place,
    Overdue,
    Counter,
    Intake,
    Done,
}

const ASKS: [(Ask, &str, usize); 10] = [
    (Ask::Item, "item page", 400),
    (Ask::Letter, "finding as typed, one letter", 200),
    (Ask::Letters, "finding as typed, two letters", 200),
    (Ask::Words, "finding as typed, several words", 200),
    (Ask::Places, "list of places", 200),
    (Ask::Place, "page of a place with 200 things or more", 200),
    (Ask::Overdue, "list of what is overdue (storeroom desk)", 50),
    (Ask::Counter, "intake counter, 200 waiting", 50),
    (Ask::Intake, "intake of 200 packages under one signing", 50),
    (Ask::Done, "counter after it, with what it came to", 50),
];

struct Session {
    cookie: String,
    csrf: String,
}

struct Room {
    house: Arc<House>,
    router: Router,
    stock: Stock,
    sessions: Vec<Session>,
    dice: Dice,
    /// Where the last intake led.
    done: String,
    _folder: TempDir,
}

async fn body(answer: Response<Body>) -> String {
    let bytes = answer.into_body().collect().await.unwrap().to_bytes();
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn encoded(text: &str) -> String {
    percent_encoding::utf8_percent_encode(text, percent_encoding::NON_ALPHANUMERIC).to_string()
}

impl Room {
    async fn of(items: u64) -> Self {
        let folder = folder();
        Keys::create(&folder.path().join(KEYS)).unwrap();
        let path = folder.path().join(DATABASE);
        let store: Arc<dyn Store> = Arc::new(SqliteStore::open_with(&path, FILLING).await.unwrap());
        let size = Size {
            items,
            events: items,
        };
        let stock = fill(&store, size, &Base::File(path.clone())).await;
        store.close().await;
        drop(store);
        let bytes = std::fs::metadata(&path).unwrap().len();
        note(&format!(
            "room: {items} items, {} events, {} overdue, {} places, {} MB, built in {:.0} s",
            stock.events,
            stock.overdue,
            stock.places.len(),
            bytes / 1_000_000,
            stock.took.as_secs_f64()
        ));
        let house = Arc::new(House::open(folder.path()).await.unwrap());
        let router = router(App::new(house.clone(), false));
        let mut room = Self {
            house,
            router,
            stock,
            sessions: Vec::new(),
            dice: Dice(0x2545_f491_4f6c_dd1d),
            done: String::new(),
            _folder: folder,
        };
        for n in 0..ASKING {
            let session = room.sign_in(room.stock.people.custodians[n]).await;
            room.sessions.push(session);
        }
        room
    }

    async fn sign_in(&self, who: PersonId) -> Session {
        let person = self
            .house
            .reader(&Viewer::operator())
            .person(who)
            .await
            .unwrap();
        self.house
            .set_password(&person, PASSWORD, Utc::now())
            .await
            .unwrap();
        let body = format!(
            "user_name={}&password={}",
            person.user_name,
            encoded(PASSWORD)
        );
        let request = Request::post("/sign-in")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body))
            .unwrap();
        let answer = self.router.clone().oneshot(request).await.unwrap();
        assert_eq!(answer.status(), StatusCode::SEE_OTHER);
        let cookie = answer.headers()[header::SET_COOKIE].to_str().unwrap();
        let cookie = cookie.split(';').next().unwrap().to_owned();
        let mut session = Session {
            cookie,
            csrf: String::new(),
        };
        let page = self.get(&session, "/account").await.1;
        let (_, rest) = page.split_once("name=\"csrf\" value=\"").unwrap();
        session.csrf = rest.split('"').next().unwrap().to_owned();
        session
    }

    async fn get(&self, session: &Session, path: &str) -> (f64, String) {
        let request = Request::get(path)
            .header(header::COOKIE, &session.cookie)
            .body(Body::empty())
            .unwrap();
        let began = Instant::now();
        let answer = self.router.clone().oneshot(request).await.unwrap();
        let status = answer.status();
        let text = body(answer).await;
        let took = began.elapsed().as_secs_f64() * 1e3;
        assert_eq!(status, StatusCode::OK, "{path}: {text}");
        (took, text)
    }

    fn typed(&mut self, ask: Ask) -> String {
        let word = self.dice.word();
        let q = match ask {
            Ask::Letter => word[..1].to_owned(),
            Ask::Letters => word[..2].to_owned(),
            _ => match self.dice.below(3) {
                0 => format!("{word} {}", self.dice.word()),
                1 => format!("{word} {} {}", self.dice.word(), &self.dice.word()[..1]),
                _ => {
                    let case = self.dice.below(self.stock.items.div_ceil(50));
                    format!("{} {word}", case_number(case))
                }
            },
        };
        format!("/api/find/typed?q={}", encoded(&q))
    }

    /// One question, in milliseconds.
    async fn ask(&mut self, ask: Ask, n: usize) -> f64 {
        let path = match ask {
            Ask::Item => format!("/items/{}", item_id(self.dice.below(self.stock.items))),
            Ask::Letter | Ask::Letters | Ask::Words => self.typed(ask),
            Ask::Places => "/places".into(),
            Ask::Place => format!("/places/{}", self.stock.places[0]),
            Ask::Overdue => "/desk/storeroom".into(),
            Ask::Counter => "/intake".into(),
            Ask::Intake => return self.intake().await,
            Ask::Done => self.done.clone(),
        };
        // What waits, waits for the first of them, and fills that desk.
        let who = match ask {
            Ask::Counter | Ask::Done => 0,
            _ => 1 + n % (ASKING - 1),
        };
        let (took, text) = self.get(&self.sessions[who], &path).await;
        match ask {
            Ask::Overdue => assert!(text.matches("overdue").count() > 50, "a full list"),
            Ask::Done => assert!(text.contains("200 received and 0 refused"), "{text}"),
            Ask::Counter => assert!(
                text.matches("name=\"seal\"").count() >= 200,
                "a full counter"
            ),
            Ask::Places | Ask::Place => assert!(text.matches("<tr").count() > 50, "a full page"),
            _ => {}
        }
        took
    }

    /// Signs for everything at the counter, then has it brought again.
    async fn intake(&mut self) -> f64 {
        let session = &self.sessions[0];
        let mut form = format!(
            "csrf={}&id={}&step=sign&password={}",
            encoded(&session.csrf),
            CommandId::new(),
            encoded(PASSWORD)
        );
        for thing in &self.stock.brought {
            form.push_str(&format!(
                "&code={}&what=receive&seal={}&condition=intact&note=",
                thing.code, thing.seal
            ));
        }
        let request = Request::post("/intake")
            .header(header::COOKIE, &session.cookie)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(form))
            .unwrap();
        let began = Instant::now();
        let answer = self.router.clone().oneshot(request).await.unwrap();
        let took = began.elapsed().as_secs_f64() * 1e3;
        let status = answer.status();
        let to = answer.headers().get(header::LOCATION).cloned();
        let text = body(answer).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{text}");
        self.done = to.unwrap().to_str().unwrap().to_owned();
        self.bring_again().await;
        took
    }

    async fn bring_again(&self) {
        let (keeper, tech) = (self.stock.people.custodians[0], self.stock.people.tech);
        self.release(keeper, tech).await;
        let lines = self.stock.brought.iter().map(|thing| IntakeLine {
            code: thing.code.to_string(),
            seal_seen: thing.seal.clone(),
            condition: hand_over::Condition::Intact,
            note: String::new(),
            refuse: None,
        });
        let lines = lines.collect();
        self.record(tech, Act::Intake(Intake { lines })).await;
        self.release(tech, keeper).await;
    }

    async fn release(&self, from: PersonId, to: PersonId) {
        let all = self.stock.brought.iter().map(|thing| {
            let release = hand_over::Release {
                piece: thing.piece,
                to,
                purpose: "Intake".into(),
                authority: String::new(),
                due_at: None,
                unsealed_reason: None,
            };
            self.record(from, Act::Release(release))
        });
        join_all(all).await;
    }

    async fn record(&self, who: PersonId, act: Act) {
        let command = Command::now(act);
        let sent = Sent {
            person: Some(who),
            signed: Signed::Password,
            beside: None,
            source: Source::Desk,
            command,
        };
        self.house.recorder.record(sent).await.unwrap();
    }
}

pub async fn measure(scale: Scale) -> Vec<Figure> {
    let mut few = Room::of(1_000).await;
    let many = scale.of(1_000_000, 2_000) / 200 * 200;
    let mut many = Room::of(many).await;
    let of = format!("{} items", few.stock.items);
    let mut out = Vec::new();
    for (ask, what, times) in ASKS {
        for n in 0..times / 5 {
            few.ask(ask, n).await;
            many.ask(ask, n).await;
        }
        let [mut here, mut there, mut ratios]: [[Vec<f64>; 2]; 3] = Default::default();
        for _ in 0..ROUNDS {
            let (mut a, mut b) = (Vec::new(), Vec::new());
            // By turns, so that what else the machine does weighs on both.
            for n in 0..times {
                a.push(few.ask(ask, n).await);
                b.push(many.ask(ask, n).await);
                if matches!(ask, Ask::Letter | Ask::Letters | Ask::Words) {
                    // Nobody types faster than they may.
                    tokio::time::sleep(Duration::from_millis(3)).await;
                }
            }
            a.sort_by(f64::total_cmp);
            b.sort_by(f64::total_cmp);
            for (i, part) in [50, 99].into_iter().enumerate() {
                let at = times * part / 100;
                here[i].push(a[at]);
                there[i].push(b[at]);
                ratios[i].push(b[at] / a[at]);
            }
        }
        note(&format!(
            "room, {what}: p50 {:.2} and {:.2} ms, p99 {:.2} and {:.2} ms, {:.2} times",
            median(&here[0]),
            median(&there[0]),
            median(&here[1]),
            median(&there[1]),
            median(&ratios[1])
        ));
        let name = |items: u64, part: &str| format!("{what}, {items} items, {part}");
        let many = many.stock.items;
        out.push(Figure::plain(name(few.stock.items, "p99"), "ms", &here[1]));
        out.push(
            Figure::plain(name(many, "median"), "ms", &there[0]).against(
                of.clone(),
                &ratios[0],
                None,
            ),
        );
        out.push(Figure::plain(name(many, "p99"), "ms", &there[1]).against(
            of.clone(),
            &ratios[1],
            Some(Aim::AtMost(1.5)),
        ));
    }
    out.push(Figure::plain(
        format!("a room of {} items built", many.stock.items),
        "s",
        &[many.stock.took.as_secs_f64()],
    ));
    for room in [few, many] {
        if let Ok(house) = Arc::try_unwrap(room.house) {
            house.close().await;
        }
    }
    out
}
