//! A county's room as a whole, in each database: a million items and five million events, 200 people at their desks. What
//! the program does with it as it is built for use: started, served over loopback HTTP, appended to, verified.
//!
//! Each step's figures are handed on as soon as they are there, so that a run that is cut off is not lost.

mod http;
mod program;

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use chrono::Utc;
use futures_util::future::join_all;
use liftledger::app::Viewer;
use liftledger::app::house::{DATABASE, House, KEYS};
use liftledger::app::site::Site;
use liftledger::keys::Keys;
use liftledger::store::{SqliteStore, Store};
use tokio::runtime::Runtime;

use super::append::{self, load, rate};
use super::build::{SEED, folder};
use super::figure::{Figure, note};
use super::room::base::Base;
use super::room::stock::{Dice, FILLING, Size, Stock, case_number, fill, item_id, package_of};
use super::{Scale, postgres};
use http::Client;
use program::{Served, verify};

const PASSWORD: &str = "a long enough password 42";
const CLIENTS: usize = 200;
/// How long people look at a page, in milliseconds: at least, and up to so much more. Our assumption, no source.
const LOOK: (u64, u64) = (2_000, 4_000);
/// How long the clients ask, with pauses and without.
const BUSY: Duration = Duration::from_secs(60);
const FLAT_OUT: Duration = Duration::from_secs(15);
/// The most requests of a client.
const MOST: usize = 2_000;
/// Where the database for it is made on a PostgreSQL server.
const NAME: &str = "liftledger_bench_county";

/// The ten pages.
const PAGES: [&str; 10] = [
    "item page",
    "package page",
    "case page",
    "list of cases",
    "list of places",
    "page of a place",
    "storeroom desk",
    "intake counter",
    "finding as typed",
    "found",
];

/// What there is to be known of a ledger from outside, to ask for its pages.
struct Asked {
    stock: Stock,
    cookies: Vec<String>,
    host: String,
}

impl Asked {
    fn path(&self, page: usize, dice: &mut Dice) -> String {
        let n = dice.below(self.stock.items);
        let of = |n: u64, of: usize| usize::try_from(n).unwrap() % of;
        match page {
            0 => format!("/items/{}", item_id(n)),
            1 => format!("/packages/{}", package_of(item_id(n))),
            2 => format!("/cases/{}", self.stock.cases[of(n, self.stock.cases.len())]),
            3 => "/cases".into(),
            4 => "/places".into(),
            5 => format!(
                "/places/{}",
                self.stock.places[of(n, self.stock.places.len())]
            ),
            6 => "/desk/storeroom".into(),
            7 => "/intake".into(),
            8 => {
                let word = dice.word();
                let end = 1 + of(n, word.len());
                format!("/api/find/typed?q={}", &word[..end])
            }
            _ => format!("/find?q={}+{}", case_number(n / 50), dice.word()),
        }
    }

    /// One person at a desk: page after page, with a look at each or without.
    async fn client(&self, who: usize, until: Instant, looks: bool) -> Vec<(usize, f64)> {
        let mut dice = Dice(0x9e37_79b9_7f4a_7c15 ^ (who as u64 + 1));
        let mut out = Vec::new();
        let look = |dice: &mut Dice, least| Duration::from_millis(least + dice.below(LOOK.1));
        if looks {
            // They do not all come in at the same moment.
            tokio::time::sleep(look(&mut dice, 0)).await;
        }
        let mut client = Client::to(&self.host).await;
        let cookie = &self.cookies[who % self.cookies.len()];
        while Instant::now() < until && out.len() < MOST {
            // Without pauses nobody types: a person may ask ten times a second only.
            let pages = if looks { 10 } else { 8 };
            let page = usize::try_from(dice.below(pages)).unwrap();
            let path = self.path(page, &mut dice);
            let answer = client.get(&path, cookie).await;
            assert!(
                matches!(answer.status, 200 | 303),
                "{path}: {} {}",
                answer.status,
                String::from_utf8_lossy(&answer.body)
            );
            out.push((page, answer.took));
            if looks {
                tokio::time::sleep(look(&mut dice, LOOK.0)).await;
            }
        }
        out
    }

    async fn clients(&self, time: Duration, looks: bool) -> (Vec<(usize, f64)>, f64) {
        let began = Instant::now();
        let all = (0..CLIENTS).map(|n| self.client(n, began + time, looks));
        let out: Vec<(usize, f64)> = join_all(all).await.into_iter().flatten().collect();
        (out, began.elapsed().as_secs_f64())
    }
}

/// Everything, on both databases where a PostgreSQL server is named; `say` hears the figures of each step.
pub fn run(runtime: &Runtime, scale: Scale, say: &mut dyn FnMut(Vec<Figure>)) {
    runtime.block_on(async {
        let items = (scale.of(1_000_000, 2_000) / 200).max(10) * 200;
        let size = Size {
            items,
            events: items * 5,
        };
        say(append::measure(scale).await);
        let here = folder();
        let path = here.path().join(DATABASE);
        let store: Arc<dyn Store> = Arc::new(SqliteStore::open_with(&path, FILLING).await.unwrap());
        let bytes = || std::fs::metadata(&path).unwrap().len();
        let base = Base::File(path.clone());
        one(
            "SQLite",
            store,
            &base,
            here.path(),
            None,
            size,
            scale,
            &bytes,
            say,
        )
        .await;
        drop(here);
        if std::env::var_os(postgres::SERVER).is_none() {
            return;
        }
        say(postgres::measure(scale).await);
        let server = postgres::Server::named();
        let here = folder();
        let store: Arc<dyn Store> = Arc::new(server.fresh(NAME).await);
        let address = server.address_of(NAME);
        let bytes = || 0;
        let base = Base::Server(Box::new(address.parse().unwrap()));
        one(
            "PostgreSQL",
            store,
            &base,
            here.path(),
            Some(&address),
            size,
            scale,
            &bytes,
            say,
        )
        .await;
        server.gone(NAME).await;
    });
}

#[allow(clippy::too_many_arguments, clippy::cast_precision_loss)]
async fn one(
    name: &str,
    store: Arc<dyn Store>,
    base: &Base,
    folder: &Path,
    database: Option<&str>,
    size: Size,
    scale: Scale,
    bytes: &dyn Fn() -> u64,
    say: &mut dyn FnMut(Vec<Figure>),
) {
    let called = |what: &str| format!("{name}: {what}");
    // The same key as signs what is filled in.
    Keys::put_back(&folder.join(KEYS), &Keys::from_seed(SEED)).unwrap();
    let stock = fill(&store, size, base).await;
    note(&format!(
        "county, {name}: {} items and {} events in {:.0} s",
        stock.items,
        stock.events,
        stock.took.as_secs_f64()
    ));
    let each = usize::try_from(scale.of(160, 4)).unwrap() / 2 * 2;
    let done = load(store.clone(), each).await;
    store.close().await;
    drop(store);
    let mut figures = vec![
        Figure::plain(called("items"), "items", &[stock.items as f64]),
        Figure::plain(called("events"), "events", &[stock.events as f64]),
        Figure::plain(
            called("durable appends with all that in it, 64 clients"),
            "events/s",
            &[rate(done.events, done.took)],
        ),
    ];
    if database.is_none() {
        figures.push(Figure::plain(
            called("database file"),
            "MB",
            &[bytes() as f64 / 1e6],
        ));
    }
    say(figures);

    let site = Site {
        folder: folder.to_owned(),
        database: database.map(|d| d.parse().unwrap()),
        originals: None,
    };
    let house = House::open(&site).await.unwrap();
    let mut names = Vec::new();
    for who in &stock.people.custodians {
        let person = house
            .reader(&Viewer::operator())
            .person(*who)
            .await
            .unwrap();
        house
            .set_password(&person, PASSWORD, Utc::now())
            .await
            .unwrap();
        names.push(person.user_name.clone());
    }
    house.close().await;

    let served = Served::begin(folder, database).await;
    let at_start = served.peak();
    say(vec![
        Figure::plain(
            called("from start to ready"),
            "ms",
            &[served.ready.as_secs_f64() * 1e3],
        ),
        Figure::plain(called("server's memory when ready"), "MB", &[at_start]),
    ]);
    let mut asked = Asked {
        stock,
        cookies: Vec::new(),
        host: served.host.clone(),
    };
    for user in names {
        let mut client = Client::to(&asked.host).await;
        let form = format!("user_name={user}&password={}", PASSWORD.replace(' ', "+"));
        let answer = client.post("/sign-in", &form).await;
        asked.cookies.push(answer.cookie.expect("signed in"));
    }
    let (all, _) = asked.clients(BUSY, true).await;
    let (flat, took) = asked.clients(FLAT_OUT, false).await;
    let mut figures = Vec::new();
    let times = |of: Option<usize>| {
        let mut times: Vec<f64> = all
            .iter()
            .filter(|(page, _)| of.is_none_or(|of| of == *page))
            .map(|(_, took)| *took)
            .collect();
        times.sort_by(f64::total_cmp);
        times
    };
    for (page, what) in (0..10)
        .map(|n| (Some(n), PAGES[n]))
        .chain([(None, "all ten pages")])
    {
        let times = times(page);
        if times.is_empty() {
            continue;
        }
        for part in [50, 99] {
            let at = (times.len() - 1) * part / 100;
            let what = called(&format!(
                "{what}, {CLIENTS} clients, p{part} of {}",
                times.len()
            ));
            figures.push(Figure::plain(what, "ms", &[times[at]]));
        }
    }
    figures.push(Figure::plain(
        called("pages a second, 200 clients without a pause"),
        "pages/s",
        &[flat.len() as f64 / took],
    ));
    figures.push(Figure::plain(
        called("server's memory at the most"),
        "MB",
        &[served.peak()],
    ));
    say(figures);
    served.end();

    let (took, most) = verify(folder, database);
    say(vec![
        Figure::plain(called("verified"), "s", &[took]),
        Figure::plain(called("memory of verify at the most"), "MB", &[most]),
    ]);
}
