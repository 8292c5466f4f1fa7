//! The program itself, as it is built for use: served, verified, and what memory that takes.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::http::Client;

/// How long a server may take until it is ready.
const PATIENCE: Duration = Duration::from_secs(600);

/// The most memory that a process had, in MB.
#[allow(clippy::cast_precision_loss)]
fn peak(pid: u32) -> Option<f64> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kb: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kb as f64 / 1e3)
}

fn program(folder: &Path, database: Option<&str>, name: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_liftledger"));
    command.arg(name).arg("--data").arg(folder);
    if let Some(database) = database {
        // Its password is nobody's business who looks at the list of processes.
        command.env("LIFTLEDGER_DATABASE", database);
    }
    command
}

pub struct Served {
    child: Child,
    pub host: String,
    /// From the beginning of the process to the first answer that it is ready.
    pub ready: Duration,
}

impl Served {
    pub async fn begin(folder: &Path, database: Option<&str>) -> Self {
        let began = Instant::now();
        let mut child = program(folder, database, "serve")
            .args(["--listen", "127.0.0.1:0"])
            .env("RUST_LOG", "error")
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        let mut said = BufReader::new(child.stdout.take().unwrap());
        said.read_line(&mut line).unwrap();
        let (_, host) = line.trim().rsplit_once("http://").unwrap();
        let host = host.to_owned();
        while Client::to(&host).await.get("/readyz", "").await.status != 200 {
            assert!(began.elapsed() < PATIENCE, "it is not ready");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        Self {
            child,
            host,
            ready: began.elapsed(),
        }
    }

    pub fn peak(&self) -> f64 {
        peak(self.child.id()).unwrap()
    }

    pub fn end(mut self) {
        let pid = self.child.id().to_string();
        let _ = Command::new("kill").args(["-TERM", &pid]).status();
        let _ = self.child.wait();
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// `liftledger verify`: how long it took, in seconds, and its memory, in MB.
pub fn verify(folder: &Path, database: Option<&str>) -> (f64, f64) {
    let began = Instant::now();
    let mut child = program(folder, database, "verify")
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let mut most = 0_f64;
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        most = most.max(peak(child.id()).unwrap_or_default());
        std::thread::sleep(Duration::from_millis(20));
    };
    assert!(status.success(), "the ledger verifies");
    (began.elapsed().as_secs_f64(), most)
}
