//! Measures of the ledger: `cargo bench`, or `cargo bench -- append verify page room paper advise` for some of them.
//!
//! Each figure stands beside a baseline measured in the same run, since the ratio of the two says more than either:
//! machines differ, and so does what else they are doing. `LIFTLEDGER_BENCH_SCALE` (1 if not set) multiplies the sizes.
//! `LIFTLEDGER_BENCH_POSTGRES=postgres://…` names a server for the measure `postgres`; without it there is none.
#![allow(clippy::unwrap_used)]

mod advise;
mod append;
mod build;
mod bundle;
mod county;
mod figure;
mod page;
mod paper;
mod picture;
mod postgres;
mod raw;
mod room;
mod search;
mod verify;
mod yard;

use std::path::PathBuf;
use std::time::Instant;

use clap::Parser;

use figure::{Figure, Sheet};

#[derive(Parser)]
struct Asked {
    /// Which measures: append, verify, page, search, room, paper, advise, picture, bundle. All of them if none is named, but county.
    names: Vec<String>,
    /// Writes the figures to this file too, as JSON.
    #[arg(long)]
    json: Option<PathBuf>,
    /// Given by `cargo bench`.
    #[arg(long, hide = true)]
    bench: bool,
}

/// What the sizes are multiplied by.
#[derive(Clone, Copy)]
struct Scale(f64);

impl Scale {
    fn from_env() -> Self {
        let asked = std::env::var("LIFTLEDGER_BENCH_SCALE").ok();
        let scale = asked.map_or(1.0, |text| {
            text.parse().expect("LIFTLEDGER_BENCH_SCALE is a number")
        });
        assert!(
            (0.0001..=100.0).contains(&scale),
            "LIFTLEDGER_BENCH_SCALE is from 0.0001 to 100"
        );
        Self(scale)
    }

    /// This many, scaled; at least `least`.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_precision_loss,
        clippy::cast_sign_loss
    )]
    fn of(self, n: u64, least: u64) -> u64 {
        ((n as f64 * self.0) as u64).max(least)
    }
}

/// The measure of everything at the size of a county.
const COUNTY: &str = "county";

/// Written after each part, so that a run that is cut off is not lost.
fn keep(sheet: &Sheet, asked: &Asked) {
    if let Some(path) = &asked.json {
        std::fs::write(path, sheet.json()).unwrap();
    }
}

fn main() {
    if picture::child() || bundle::child() {
        return;
    }
    let asked = Asked::parse();
    let scale = Scale::from_env();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .unwrap();
    type Measure = fn(&tokio::runtime::Runtime, Scale) -> Vec<Figure>;
    let mut measures: Vec<(&str, Measure)> = vec![
        ("append", |r, scale| r.block_on(append::measure(scale))),
        ("verify", |r, scale| r.block_on(verify::measure(scale))),
        ("page", |r, scale| r.block_on(page::measure(scale))),
        ("search", |r, scale| r.block_on(search::measure(scale))),
        ("room", |r, scale| r.block_on(room::measure(scale))),
        ("paper", |_, _| paper::measure()),
        ("picture", |r, _| picture::measure(r)),
        ("bundle", bundle::measure),
        ("advise", |_, scale| advise::measure(scale)),
    ];
    if std::env::var_os(postgres::SERVER).is_some() {
        measures.push(("postgres", |r, scale| r.block_on(postgres::measure(scale))));
    }
    for name in &asked.names {
        assert!(
            name == COUNTY || measures.iter().any(|(n, _)| n == name),
            "there is no measure {name}"
        );
    }
    let began = Instant::now();
    let mut sheet = Sheet::new(scale.0);
    for (name, measure) in measures {
        if asked.names.is_empty() || asked.names.iter().any(|n| n == name) {
            sheet.add(name, measure(&runtime, scale));
            keep(&sheet, &asked);
        }
    }
    // Half an hour and more: only where it is asked for by name.
    if asked.names.iter().any(|n| n == COUNTY) {
        county::run(&runtime, scale, &mut |figures| {
            sheet.add(COUNTY, figures);
            keep(&sheet, &asked);
        });
    }
    sheet.end(began.elapsed());
    keep(&sheet, &asked);
}
