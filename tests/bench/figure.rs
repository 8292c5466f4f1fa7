//! Figures, and the sheet they are printed on.

use std::io::Write as _;
use std::time::Duration;

use serde::Serialize;

/// One thing measured, several times over.
#[derive(Serialize)]
pub struct Figure {
    /// What.
    name: String,
    /// The median.
    value: f64,
    /// Of what the value counts.
    unit: &'static str,
    /// The ratio that matters, and what is hoped for.
    ratio: Option<Ratio>,
}

#[derive(Serialize)]
struct Ratio {
    /// To what.
    of: String,
    /// The median of the rounds.
    median: f64,
    least: f64,
    most: f64,
    aim: Option<Aim>,
}

/// What is hoped for.
#[derive(Clone, Copy, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Aim {
    AtLeast(f64),
    AtMost(f64),
}

/// The middle one; of an even number the upper.
pub fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

impl Figure {
    /// A figure by itself.
    pub fn plain(name: impl Into<String>, unit: &'static str, rounds: &[f64]) -> Self {
        Self {
            name: name.into(),
            value: median(rounds),
            unit,
            ratio: None,
        }
    }

    /// With the ratio to a baseline, round by round.
    pub fn against(mut self, of: impl Into<String>, ratios: &[f64], aim: Option<Aim>) -> Self {
        self.ratio = Some(Ratio {
            of: of.into(),
            median: median(ratios),
            least: ratios.iter().copied().fold(f64::INFINITY, f64::min),
            most: ratios.iter().copied().fold(0.0, f64::max),
            aim,
        });
        self
    }
}

/// All figures of a run.
#[derive(Serialize)]
pub struct Sheet {
    cores: usize,
    scale: f64,
    seconds: f64,
    figures: Vec<Figure>,
}

fn say(line: &str) {
    // Whoever reads along may have gone; the run goes on.
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// A note while it runs, on the error stream, so that the table stays a table.
pub fn note(line: &str) {
    let _ = writeln!(std::io::stderr(), "  {line}");
}

impl Sheet {
    pub fn new(scale: f64) -> Self {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        say(&format!(
            "{cores} cores, scale {scale}; medians, with the range of the rounds in brackets"
        ));
        say(&format!(
            "{:<52} {:>16}  {:<34} {}",
            "", "figure", "ratio", "aim"
        ));
        Self {
            cores,
            scale,
            seconds: 0.0,
            figures: vec![],
        }
    }

    pub fn add(&mut self, name: &str, figures: Vec<Figure>) {
        say(name);
        for figure in &figures {
            let value = match figure.value {
                v if v >= 1000.0 => format!("{v:.0}"),
                v if v >= 10.0 => format!("{v:.1}"),
                v => format!("{v:.3}"),
            };
            let value = format!("{value} {}", figure.unit);
            let (ratio, aim) = figure.ratio.as_ref().map_or_else(Default::default, |r| {
                let ratio = format!(
                    "{:.2} ({:.2} to {:.2}) of {}",
                    r.median, r.least, r.most, r.of
                );
                let aim = match r.aim {
                    None => String::new(),
                    Some(Aim::AtLeast(x)) => format!("{x} or more: {}", met(r.median >= x)),
                    Some(Aim::AtMost(x)) => format!("{x} or less: {}", met(r.median <= x)),
                };
                (ratio, aim)
            });
            say(format!("  {:<50} {value:>16}  {ratio:<34} {aim}", figure.name).trim_end());
        }
        self.figures.extend(figures);
    }

    pub fn end(&mut self, took: Duration) {
        self.seconds = took.as_secs_f64();
        say(&format!("{:.0} seconds in all", self.seconds));
    }

    pub fn json(&self) -> String {
        serde_json::to_string_pretty(self).unwrap()
    }
}

fn met(met: bool) -> &'static str {
    if met { "met" } else { "missed" }
}
