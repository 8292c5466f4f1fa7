//! The text of metrics, after the Prometheus text exposition format 0.0.4 (prometheus.io/docs/instrumenting/exposition_formats).

use liftledger::metrics::{Metrics, Now};

#[test]
fn the_text_is_the_format_s() {
    let metrics = Metrics::default();
    metrics.batch.observe(1.0);
    metrics.batch.observe(3.0);
    metrics.batch.observe(1_000.0);
    metrics.refusals.add(&[("rule", "not-\"holder\"\\\n")]);
    metrics.refusals.add(&[("rule", "not-\"holder\"\\\n")]);
    let text = metrics.text(&Now {
        events: 7,
        overdue: 2,
        ready: true,
        ..Now::default()
    });
    for line in [
        "# TYPE liftledger_append_batch_commands histogram",
        "liftledger_append_batch_commands_bucket{le=\"1\"} 1",
        "liftledger_append_batch_commands_bucket{le=\"2\"} 1",
        "liftledger_append_batch_commands_bucket{le=\"4\"} 2",
        "liftledger_append_batch_commands_bucket{le=\"256\"} 2",
        "liftledger_append_batch_commands_bucket{le=\"+Inf\"} 3",
        "liftledger_append_batch_commands_sum 1004.000000",
        "liftledger_append_batch_commands_count 3",
        "liftledger_refusals_total{rule=\"not-\\\"holder\\\"\\\\\\n\"} 2",
        "liftledger_events 7",
        "liftledger_overdue 2",
        "liftledger_ready 1",
    ] {
        assert!(text.lines().any(|l| l == line), "{line} is not in\n{text}");
    }
    // Every line is a comment or a name, labels and a number.
    for line in text.lines().filter(|l| !l.starts_with("# ")) {
        let (name, value) = line.rsplit_once(' ').unwrap();
        assert!(
            name.starts_with("liftledger_") && value.parse::<f64>().is_ok(),
            "{line}"
        );
    }
}

#[test]
fn labels_are_bounded() {
    let metrics = Metrics::default();
    for n in 0..5_000 {
        metrics.requests.add(&[("route", &n.to_string())]);
    }
    let text = metrics.text(&Now::default());
    let lines = text
        .lines()
        .filter(|l| l.starts_with("liftledger_requests_total{"))
        .count();
    assert!(lines <= 2_001, "{lines}");
    assert!(
        text.contains("liftledger_requests_total{other=\"1\"} 3000"),
        "{text}"
    );
}
