//! Advice: ten thousand random surfaces and kits, each asked once a round.

use std::hint::black_box;
use std::time::Instant;

use liftledger::lifting::advise::{Question, advise};
use liftledger::trade::TradeRules;

use super::Scale;
use super::figure::{Aim, Figure};

#[path = "../lifting/surfaces.rs"]
mod surfaces;

const ROUNDS: usize = 5;
const QUESTIONS: u64 = 10_000;
/// What one answer may take, milliseconds.
const MOST_MS: f64 = 1.0;

#[allow(clippy::cast_precision_loss)]
pub fn measure(scale: Scale) -> Vec<Figure> {
    let rules = TradeRules::load_embedded().unwrap();
    let knowledge = rules.knowledge();
    let questions: Vec<Question> = (0..scale.of(QUESTIONS, 100))
        .map(|n| surfaces::question(&rules, n))
        .collect();
    let (mut usual, mut slowest) = (vec![], vec![]);
    for _ in 0..ROUNDS {
        let mut each: Vec<f64> = questions
            .iter()
            .map(|q| {
                let began = Instant::now();
                black_box(advise(&knowledge, q));
                began.elapsed().as_secs_f64() * 1e3
            })
            .collect();
        each.sort_by(f64::total_cmp);
        usual.push(each[each.len() / 2]);
        slowest.push(each[each.len() - 1]);
    }
    let of_most = |ms: &[f64]| ms.iter().map(|ms| ms / MOST_MS).collect::<Vec<f64>>();
    vec![
        Figure::plain("one answer, the median", "ms", &usual),
        Figure::plain(
            format!("the slowest of {} answers", questions.len()),
            "ms",
            &slowest,
        )
        .against("1 ms", &of_most(&slowest), Some(Aim::AtMost(1.0))),
    ]
}
