//! Papers: a custody report of 200 events, one of 300, its signature, and a thousand lift cards on sheets.

use std::hint::black_box;
use std::time::Instant;

use liftledger::disclosure::signature::Signer;
use liftledger::disclosure::signature::cms::Signed;
use liftledger::disclosure::signature::issue::{Whose, self_signed};
use liftledger::disclosure::signature::pdf::{Room, Said};
use liftledger::reports::custody_report::custody_report;
use liftledger::reports::label::{Label, MOST_CARDS, sheet};
use liftledger::reports::paper::{Card, Paper};

use p256::ecdsa::SigningKey;

use super::figure::Figure;

#[path = "../reports/sample.rs"]
mod sample;

const ROUNDS: usize = 5;
const CARDS: usize = 1_000;

fn pages(pdf: &[u8]) -> usize {
    lopdf::Document::load_mem(pdf).unwrap().get_pages().len()
}

fn signer() -> Signer {
    let key = SigningKey::from_slice(&[7; 32]).unwrap();
    let whose = Whose {
        name: "Evidence unit".into(),
        ..Whose::default()
    };
    let from = chrono::Utc::now();
    let until = from + chrono::TimeDelta::days(1);
    let chain = self_signed(&key, &whose, [9; 16], from, until).unwrap();
    Signer::new(key, chain).unwrap()
}

fn signed(pdf: Vec<u8>, signer: &Signer) -> Vec<u8> {
    let said = Said {
        name: "Evidence unit".into(),
        reason: "Printed by the ledger".into(),
    };
    let room = Room::make(pdf, 3000, &said).unwrap();
    let signature = Signed::new(&room.digest(), signer).unwrap();
    room.fill(&signature.to_der().unwrap()).unwrap()
}

#[allow(clippy::cast_precision_loss)]
pub fn measure() -> Vec<Figure> {
    let report = sample::report(200);
    let cards: Vec<Label> = (1..=CARDS)
        .map(|n| Label {
            item_number: n.to_string(),
            ..sample::label()
        })
        .collect();
    let longer = sample::report(300);
    let signer = signer();
    let (mut report_ms, mut cards_ms) = (vec![], vec![]);
    let (mut longer_ms, mut signing_ms) = (vec![], vec![]);
    let report_pages = pages(&custody_report(&report).unwrap());
    let mut sheets = 0;
    for _ in 0..ROUNDS {
        let began = Instant::now();
        black_box(custody_report(&report).unwrap());
        report_ms.push(began.elapsed().as_secs_f64() * 1e3);
        let began = Instant::now();
        let pdf = black_box(custody_report(&longer).unwrap());
        longer_ms.push(began.elapsed().as_secs_f64() * 1e3);
        let began = Instant::now();
        black_box(signed(pdf, &signer));
        signing_ms.push(began.elapsed().as_secs_f64() * 1e3);
        let (mut took, mut count) = (0.0, 0);
        for some in cards.chunks(MOST_CARDS) {
            let began = Instant::now();
            let pdf = sheet(some, Card::ThreeByFive, Paper::Letter).unwrap();
            took += began.elapsed().as_secs_f64() * 1e3;
            count += pages(&pdf);
        }
        cards_ms.push(took);
        sheets = count;
    }
    let a_page =
        |ms: &[f64], pages: usize| ms.iter().map(|ms| ms / pages as f64).collect::<Vec<f64>>();
    vec![
        Figure::plain(
            format!("custody report of 200 events, {report_pages} pages"),
            "ms",
            &report_ms,
        ),
        Figure::plain("a page of it", "ms/page", &a_page(&report_ms, report_pages)),
        Figure::plain("custody report of 300 events", "ms", &longer_ms),
        Figure::plain("its signature", "ms", &signing_ms),
        Figure::plain(
            format!("{CARDS} lift cards, {sheets} pages in 3 files"),
            "ms",
            &cards_ms,
        ),
        Figure::plain("a page of them", "ms/page", &a_page(&cards_ms, sheets)),
    ]
}
