//! What a server counts about itself, and the text in which others read it: the Prometheus exposition format, version
//! 0.0.4. No label holds anything of a person or a case: routes as the table has them, statuses, codes of rules.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// The media type of the text.
pub const MEDIA_TYPE: &str = "text/plain; version=0.0.4; charset=utf-8";
/// How many combinations of labels one counter has at the most; more are counted together as `other`.
const MOST_LABELS: usize = 2_000;

/// A count for each combination of labels.
#[derive(Debug, Default)]
pub struct Counter(Mutex<BTreeMap<String, u64>>);

impl Counter {
    /// Counts one. Labels are names and values.
    pub fn add(&self, labels: &[(&str, &str)]) {
        let mut key = String::new();
        for (name, value) in labels {
            let comma = if key.is_empty() { "" } else { "," };
            let _ = write!(key, "{comma}{name}=\"{}\"", escaped(value));
        }
        // Nothing is left half done while it is held.
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= MOST_LABELS && !all.contains_key(&key) {
            key = "other=\"1\"".into();
        }
        *all.entry(key).or_insert(0) += 1;
    }

    fn write(&self, out: &mut String, name: &str, help: &str) {
        let _ = write!(out, "# HELP {name} {help}\n# TYPE {name} counter\n");
        for (labels, n) in self.0.lock().unwrap_or_else(PoisonError::into_inner).iter() {
            let _ = writeln!(out, "{name}{{{labels}}} {n}");
        }
    }
}

/// In a label's value backslash, quote and newline are escaped.
fn escaped(value: &str) -> String {
    value
        .replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('\n', "\\n")
}

/// How often a value lay under each of some bounds.
#[derive(Debug)]
pub struct Histogram {
    bounds: &'static [f64],
    /// One more than there are bounds: the last counts what lies above all of them.
    counts: Vec<AtomicU64>,
    /// In millionths.
    sum: AtomicU64,
}

impl Histogram {
    fn new(bounds: &'static [f64]) -> Self {
        Self {
            bounds,
            counts: (0..=bounds.len()).map(|_| AtomicU64::new(0)).collect(),
            sum: AtomicU64::new(0),
        }
    }

    /// Counts a value.
    pub fn observe(&self, value: f64) {
        let at = self.bounds.partition_point(|b| *b < value);
        if let Some(count) = self.counts.get(at) {
            count.fetch_add(1, Ordering::Relaxed);
        }
        // Negative and absurd values end at the edges of the type.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        self.sum.fetch_add((value * 1e6) as u64, Ordering::Relaxed);
    }

    /// Counts a time, in seconds.
    pub fn took(&self, time: Duration) {
        self.observe(time.as_secs_f64());
    }

    fn write(&self, out: &mut String, name: &str, help: &str) {
        let _ = write!(out, "# HELP {name} {help}\n# TYPE {name} histogram\n");
        let mut total = 0;
        for (bound, count) in self.bounds.iter().zip(&self.counts) {
            total += count.load(Ordering::Relaxed);
            let _ = writeln!(out, "{name}_bucket{{le=\"{bound}\"}} {total}");
        }
        total += self.counts.last().map_or(0, |c| c.load(Ordering::Relaxed));
        let sum = self.sum.load(Ordering::Relaxed);
        let _ = writeln!(out, "{name}_bucket{{le=\"+Inf\"}} {total}");
        let _ = writeln!(out, "{name}_sum {}.{:06}", sum / 1_000_000, sum % 1_000_000);
        let _ = writeln!(out, "{name}_count {total}");
    }
}

/// Everything that is counted while a server runs.
#[derive(Debug)]
pub struct Metrics {
    /// Commands in a group that was committed.
    pub batch: Histogram,
    /// Seconds from the beginning of a group to its commit.
    pub commit: Histogram,
    /// Commands that a rule refused, by the rule.
    pub refusals: Counter,
    /// Requests, by route, method and status.
    pub requests: Counter,
    /// Seconds that a request took.
    pub request_time: Histogram,
}

impl Default for Metrics {
    fn default() -> Self {
        Self {
            batch: Histogram::new(&[1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0]),
            commit: Histogram::new(&[0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0, 5.0]),
            refusals: Counter::default(),
            requests: Counter::default(),
            request_time: Histogram::new(&[0.001, 0.005, 0.01, 0.05, 0.1, 0.5, 1.0, 5.0, 30.0]),
        }
    }
}

/// What is looked up at the moment of reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Now {
    /// Events in the ledger.
    pub events: u64,
    /// Commands that wait for the writer.
    pub queue: u64,
    /// Things offered to custodians, counted up to 10,000.
    pub intake_waiting: u64,
    /// Things that should be back by now; the same.
    pub overdue: u64,
    /// Whether the server can work.
    pub ready: bool,
}

impl Metrics {
    /// The text.
    #[must_use]
    pub fn text(&self, now: &Now) -> String {
        let mut out = String::with_capacity(8 * 1024);
        self.batch.write(
            &mut out,
            "liftledger_append_batch_commands",
            "Commands in a group that was committed.",
        );
        self.commit.write(
            &mut out,
            "liftledger_append_commit_seconds",
            "Time from the beginning of a group to its commit.",
        );
        self.refusals.write(
            &mut out,
            "liftledger_refusals_total",
            "Commands that a rule refused.",
        );
        self.requests.write(
            &mut out,
            "liftledger_requests_total",
            "Requests by route, method and status.",
        );
        self.request_time.write(
            &mut out,
            "liftledger_request_seconds",
            "Time that a request took.",
        );
        for (name, help, value) in [
            ("liftledger_events", "Events in the ledger.", now.events),
            (
                "liftledger_append_queue",
                "Commands that wait for the writer.",
                now.queue,
            ),
            (
                "liftledger_intake_waiting",
                "Things offered to custodians, counted up to 10000 and at most every 15 seconds.",
                now.intake_waiting,
            ),
            (
                "liftledger_overdue",
                "Things that should be back by now; counted the same way.",
                now.overdue,
            ),
            (
                "liftledger_ready",
                "Whether the server can work.",
                now.ready.into(),
            ),
        ] {
            let _ = write!(
                out,
                "# HELP {name} {help}\n# TYPE {name} gauge\n{name} {value}\n"
            );
        }
        out
    }
}
