//! What an item's page reads, in a ledger of a million events and in one of a thousand.

use std::hint::black_box;
use std::time::{Duration, Instant};

use liftledger::ids::Subject;
use liftledger::store::{LIST_MAX, Reads as _};

use super::Scale;
use super::build::{Built, build};
use super::figure::{Aim, Figure, note};

/// Pages a round and ledger.
const PAGES: usize = 4_000;
const ROUNDS: usize = 5;
/// No more time than this to build the large one.
const MOST: Duration = Duration::from_secs(120);

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
    let (mut few, mut many) = ([vec![], vec![]], [vec![], vec![]]);
    let mut ratios = [vec![], vec![]];
    for n in 1..=ROUNDS {
        let (mut a, mut b) = (Vec::with_capacity(PAGES), Vec::with_capacity(PAGES));
        // By turns, so that what else the machine does weighs on both.
        for _ in 0..PAGES {
            a.push(page(&small, &mut dice).await);
            b.push(page(&large, &mut dice).await);
        }
        a.sort_by(f64::total_cmp);
        b.sort_by(f64::total_cmp);
        for (i, part) in [50, 99].into_iter().enumerate() {
            let at = PAGES * part / 100;
            few[i].push(a[at]);
            many[i].push(b[at]);
            ratios[i].push(b[at] / a[at]);
        }
        note(&format!(
            "page, round {n}: 99th of 100 in {:.3} ms, and {:.3} ms in the large one",
            few[1][n - 1],
            many[1][n - 1]
        ));
    }
    let sizes = (small.size, large.size);
    small.store.close().await;
    large.store.close().await;
    let of = format!("{} events", sizes.0);
    let name = |size: u64, what: &str| format!("item page's reads, {size} events, {what}");
    vec![
        Figure::plain(name(sizes.0, "median"), "ms", &few[0]),
        Figure::plain(name(sizes.1, "median"), "ms", &many[0]).against(
            of.clone(),
            &ratios[0],
            None,
        ),
        Figure::plain(name(sizes.0, "p99"), "ms", &few[1]),
        Figure::plain(name(sizes.1, "p99"), "ms", &many[1]).against(
            of,
            &ratios[1],
            Some(Aim::AtMost(1.5)),
        ),
    ]
}
