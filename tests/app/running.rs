//! A server as whoever runs it sees it: settings, readiness, metrics, the log, and how it stops.

use std::io::{BufRead as _, BufReader, Read as _};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use chrono::Utc;
use liftledger::app::house::House;
use liftledger::custody::{Act, hand_over};
use liftledger::ids::Piece;

use super::boatyard::{Boatyard, act};

fn get(url: &str, token: Option<&str>) -> (u16, String, Option<String>) {
    let agent = ureq::Agent::config_builder()
        .http_status_as_error(false)
        .max_redirects(0)
        .build();
    let mut request = ureq::Agent::new_with_config(agent).get(url);
    if let Some(token) = token {
        request = request.header("authorization", format!("Bearer {token}"));
    }
    let mut answer = request.header("x-request-id", "proxy-17").call().unwrap();
    let id = answer
        .headers()
        .get("x-request-id")
        .map(|v| v.to_str().unwrap().to_owned());
    let text = answer.body_mut().read_to_string().unwrap();
    (answer.status().as_u16(), text, id)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_tells_the_truth_and_stops_well() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("data");
    Boatyard::begin(&data).await.house.close().await;
    let token = "a-token-for-metrics-only";
    let file = dir.path().join("settings.toml");
    let text = format!(
        "data = {data:?}\nlog = \"info\"\nlog_format = \"json\"\nmetrics_token = \"{token}\"\nleast_free_mb = 1\n"
    );
    std::fs::write(&file, text).unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args([
            "serve",
            "--listen",
            "127.0.0.1:0",
            "--metrics-listen",
            "127.0.0.1:0",
        ])
        .env("LIFTLEDGER_CONFIG", &file)
        .env("LIFTLEDGER_DATABASE", "")
        .env_remove("RUST_LOG")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let first = lines.next().unwrap().unwrap();
    let measures = format!(
        "http://{}",
        first.strip_prefix("Metrics are read at ").expect(&first)
    );
    let second = lines.next().unwrap().unwrap();
    let address = format!("http://{}", second.rsplit_once("http://").unwrap().1);

    assert_eq!(get(&format!("{address}/readyz"), None).0, 200);
    assert_eq!(
        get(&format!("{address}/healthz"), None).2.as_deref(),
        Some("proxy-17")
    );
    assert_eq!(
        get(&format!("{address}/items/none?secret-words"), None).0,
        303
    );
    assert_eq!(get(&measures, None).0, 401);
    assert_eq!(get(&measures, Some("a-token-for-metrics-onlx")).0, 401);
    let (status, text, _) = get(&measures, Some(token));
    assert_eq!(status, 200);
    for part in [
        "liftledger_ready 1\n",
        "liftledger_requests_total{route=\"/readyz\",method=\"GET\",status=\"200\"} 1\n",
        "liftledger_requests_total{route=\"/items/{id}\",method=\"GET\",status=\"303\"} 1\n",
    ] {
        assert!(text.contains(part), "{part}{text}");
    }
    // Nowhere on the address for browsers.
    assert_ne!(get(&format!("{address}/metrics"), Some(token)).0, 200);
    // Originals that cannot be written: not ready, and a word why. (No mode keeps root from writing; a folder that is gone
    // does.)
    std::fs::rename(data.join("originals"), data.join("elsewhere")).unwrap();
    let (status, text, _) = get(&format!("{address}/readyz"), None);
    assert_eq!((status, text.as_str()), (503, "not ready: originals\n"));
    std::fs::rename(data.join("elsewhere"), data.join("originals")).unwrap();
    assert_eq!(get(&format!("{address}/readyz"), None).0, 200);

    let begun = Instant::now();
    let told = Command::new("kill")
        .args(["-TERM", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(told.success());
    let status = child.wait().unwrap();
    assert!(
        status.success() && begun.elapsed() < Duration::from_secs(20),
        "{status:?}"
    );
    let mut log = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut log)
        .unwrap();
    let parsed: Vec<serde_json::Value> = log
        .lines()
        .map(|l| serde_json::from_str(l).expect(l))
        .collect();
    let answered = parsed
        .iter()
        .filter(|l| l["fields"]["message"] == "answered")
        .count();
    assert!(answered >= 6, "{log}");
    assert!(
        parsed
            .iter()
            .any(|l| l["span"]["id"] == "proxy-17" && l["span"]["route"] == "/readyz"),
        "{log}"
    );
    assert!(!log.contains("secret-words"), "{log}");
}

#[test]
fn too_little_room_is_not_ready_and_bad_settings_are_all_told() {
    let run = |arguments: &[&str]| {
        let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .args(arguments)
            .env("LIFTLEDGER_DATABASE", "")
            .output()
            .unwrap();
        let said = [done.stdout, done.stderr]
            .map(|b| String::from_utf8(b).unwrap())
            .concat();
        (done.status.code(), said)
    };
    let (code, said) = run(&[
        "config",
        "check",
        "--listen",
        "nowhere",
        "--log-format",
        "xml",
    ]);
    assert_eq!(code, Some(1));
    for part in ["--listen: ", "--log-format: ", "data: "] {
        assert!(said.contains(part), "{said}");
    }
    let (code, said) = run(&["config", "check", "--data", "ledger"]);
    assert!(code == Some(0) && said.contains("can be used"), "{said}");
    assert_eq!(run(&["serve"]).0, Some(1));
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let dir = tempfile::tempdir().unwrap();
        let yard = Boatyard::begin(dir.path()).await;
        assert!(yard.house.ready(0).await.is_ok());
        let no = yard.house.ready(u64::MAX).await.unwrap_err();
        assert_eq!(no.word(), "not ready: room\n");
        let now = yard.house.measured(0).await.unwrap();
        assert!(
            now.ready && now.events > 20 && now.intake_waiting == 0,
            "{now:?}"
        );
        // Brought to the counter: counted by whoever counts now, and told again for a while by whoever just did.
        let piece = Piece::Package(yard.package);
        let release = |to, due_at| {
            Act::Release(hand_over::Release {
                piece,
                to,
                purpose: "Comparison".into(),
                authority: String::new(),
                due_at,
                unsealed_reason: None,
            })
        };
        let due = Utc::now().fixed_offset() + chrono::TimeDelta::days(1);
        let receive = Act::Receive(hand_over::Receive {
            piece,
            seal_seen: "004217".into(),
            condition: hand_over::Condition::Intact,
            note: String::new(),
        });
        for (who, what) in [
            (yard.custodian, release(yard.tech, Some(due))),
            (yard.tech, receive),
            (yard.tech, release(yard.custodian, None)),
        ] {
            act(&yard.house, Some(who), None, what).await.unwrap();
        }
        let again = yard.house.measured(0).await.unwrap();
        assert_eq!((again.events, again.intake_waiting), (now.events + 3, 0));
        let other = House::open(dir.path()).await.unwrap();
        let other = other.measured(0).await.unwrap();
        assert_eq!((other.events, other.intake_waiting), (now.events + 3, 1));
        let text = yard.house.recorder.metrics().text(&now);
        assert!(
            !text.contains("liftledger_append_commit_seconds_count 0\n"),
            "{text}"
        );
    });
}
