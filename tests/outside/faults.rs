//! Faults under the server: an error in turn in each write, sync, rename and removal that one hand-over and one photograph
//! make (strace(1), --inject: the call is not carried out and the error is returned), the process killed at each of its
//! syncs, and a disk that is full. After all of it everything acknowledged is there, and a full verify finds nothing.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use liftledger::ids::{CommandId, Digest, MarkId};
use liftledger::originals::Originals;
use liftledger::store::{Reads as _, SqliteStore};
use serde_json::Value;
use tokio::runtime::Runtime;

use crate::boatyard::{Boatyard, png};
use crate::load::{SECRET, Yard, receive, release};
use crate::served::{Answer, Server, Sheet, Visit};

/// More calls of one kind than a hand-over or a photograph makes.
const MOST_CALLS: usize = 60;

/// `strace` on a running server; its counts begin when it is there.
struct Injector {
    child: Child,
    log: PathBuf,
}

impl Injector {
    fn attach(server: &Server, calls: &str, fault: &str, nth: usize, folder: &Path) -> Self {
        let log = folder.join("strace.log");
        let mut child = Command::new("strace")
            .args(["-f", "-p", &server.id().to_string(), "-o"])
            .arg(&log)
            .args(["-e", &format!("trace={calls}")])
            .args(["-e", &format!("inject={calls}:{fault}:when={nth}")])
            .stdin(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("strace is installed by tests/run");
        let mut said = BufReader::new(child.stderr.take().unwrap());
        let mut line = String::new();
        said.read_line(&mut line).unwrap();
        assert!(line.contains("attached"), "{line}");
        // What else it says must not fill the pipe.
        std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
        Self { child, log }
    }

    /// Lets the server go; whether anything was injected.
    fn detach(mut self) -> bool {
        // A signal that comes just before strace begins to wait is only heeded at the server's next call, and a server
        // that nobody asks anything may make none: it is sent until strace has ended.
        for round in 0.. {
            let signal = if round < 100 { "-INT" } else { "-KILL" };
            let _ = Command::new("kill")
                .args([signal, &self.child.id().to_string()])
                .stderr(Stdio::null())
                .status();
            if ended_within(&mut self.child, Duration::from_millis(200)) {
                break;
            }
            assert!(round < 200, "strace does not end");
        }
        let log = std::fs::read_to_string(&self.log).unwrap();
        log.contains("(INJECTED)") || log.contains("killed by SIGKILL")
    }
}

/// Whether a process ends in time.
fn ended_within(child: &mut Child, time: Duration) -> bool {
    let until = Instant::now() + time;
    loop {
        if child.try_wait().unwrap().is_some() {
            return true;
        }
        if Instant::now() >= until {
            return false;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// A package that goes to and fro, form by form.
struct ToAndFro<'a> {
    yard: &'a Yard,
    visits: [Visit; 2],
    holder: usize,
    offered: bool,
    kept: Vec<(String, u64)>,
    failed: usize,
}

impl<'a> ToAndFro<'a> {
    fn begin(yard: &'a Yard, server: &Server) -> Self {
        let pair = &yard.pairs[0];
        let page = format!("/do/receive?piece={}", pair.piece);
        let visit = |n: usize| Visit::begin(&server.address, &pair.people[n].1, SECRET, &page);
        Self {
            yard,
            visits: [visit(0), visit(1)],
            holder: 0,
            offered: false,
            kept: Vec::new(),
            failed: 0,
        }
    }

    fn next(&self) -> (Sheet, usize) {
        let pair = &self.yard.pairs[0];
        let other = 1 - self.holder;
        if self.offered {
            (receive(pair.piece, "HC-770"), other)
        } else {
            (release(pair.piece, pair.people[other].0), self.holder)
        }
    }

    /// Sends a form while something fails. It is done, or not known to be: never another refusal.
    fn send(&mut self, server: &Server, sheet: &Sheet, who: usize) -> Option<u64> {
        match self.visits[who].send(&server.address, sheet) {
            Answer::Done(seq) => Some(seq),
            Answer::Lost | Answer::Refused(500.., _) => {
                self.failed += 1;
                None
            }
            other => panic!("{sheet:?}: {other:?}"),
        }
    }

    /// The same form once more, when all is well: done, as it was before if it was.
    fn again(&mut self, server: &Server, sheet: Sheet, who: usize, before: Option<u64>) {
        let Answer::Done(seq) = self.visits[who].send(&server.address, &sheet) else {
            let second = self.visits[who].send(&server.address, &sheet);
            panic!("not done when all was well again; then {second:?}")
        };
        assert!(before.is_none_or(|b| b == seq), "{before:?}, then {seq}");
        if self.offered {
            self.holder = 1 - self.holder;
        }
        self.offered = !self.offered;
        self.kept.push((sheet.id, seq));
    }
}

/// Everything acknowledged is there under its number, and a full verify with the originals finds nothing.
fn whole(runtime: &Runtime, data: &Path, kept: &[(String, u64)]) {
    runtime.block_on(async {
        let store = SqliteStore::open(&data.join("ledger.db")).await.unwrap();
        for (command, seq) in kept {
            let row = store.command(command).await.unwrap().expect(command);
            assert_eq!(row.first_seq, *seq);
            assert!(store.event(*seq).await.unwrap().is_some());
        }
        store.close().await;
    });
    let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["verify", "--data"])
        .arg(data)
        .env("LIFTLEDGER_DATABASE", "")
        .output()
        .unwrap();
    let said = [done.stdout, done.stderr].map(|b| String::from_utf8(b).unwrap());
    assert_eq!(done.status.code(), Some(0), "{}", said.concat());
}

#[test]
fn an_error_in_each_call_of_a_hand_over_loses_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    let runtime = Runtime::new().unwrap();
    let yard = runtime.block_on(Yard::begin(&data));
    let mut server = Server::start("serve", &data);
    let mut story = ToAndFro::begin(&yard, &server);
    for (calls, fault, least) in [
        ("?pwrite64,?pwritev", "error=EIO", 4),
        ("?pwrite64,?pwritev", "error=ENOSPC", 4),
        ("?fsync,?fdatasync", "error=EIO", 1),
        ("?ftruncate,?fallocate", "error=EIO", 0),
        (
            "?rename,?renameat,?renameat2,?unlink,?unlinkat",
            "error=EIO",
            0,
        ),
    ] {
        let mut injected = 0;
        for nth in 1..=MOST_CALLS {
            let (sheet, who) = story.next();
            let injector = Injector::attach(&server, calls, fault, nth, dir.path());
            let answer = story.send(&server, &sheet, who);
            let hit = injector.detach();
            story.again(&server, sheet, who, answer);
            if !hit {
                break;
            }
            injected += 1;
        }
        assert!(
            (least..MOST_CALLS).contains(&injected),
            "{calls}: {injected}"
        );
    }
    // Otherwise no error reached the ledger.
    assert!(story.failed >= 5, "{} failed", story.failed);
    // Killed at each sync: before it is carried out, and whoever waits hears nothing.
    let mut kills = 0;
    for nth in 1..=MOST_CALLS {
        let (sheet, who) = story.next();
        let injector =
            Injector::attach(&server, "?fsync,?fdatasync", "signal=KILL", nth, dir.path());
        let answer = story.send(&server, &sheet, who);
        let hit = injector.detach();
        if hit {
            server.kill();
            server = Server::start("serve", &data);
            kills += 1;
        }
        story.again(&server, sheet, who, answer);
        if !hit {
            break;
        }
    }
    assert!((1..MOST_CALLS).contains(&kills), "{kills} kills");
    drop(server);
    whole(&runtime, &data, &story.kept);
}

/// Somebody who sends photographs to the interface for programs.
struct Sender {
    agent: ureq::Agent,
    token: String,
    mark: MarkId,
    kept: Vec<(String, u64)>,
    digests: Vec<Digest>,
    failed: usize,
}

impl Sender {
    async fn begin(data: &Path) -> Self {
        let yard = Boatyard::begin(data).await;
        let now = chrono::Utc::now();
        let token = yard.house.issue_token(yard.tech, "test", 1, now).await;
        let mark = yard.marks[0];
        yard.house.close().await;
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_idle_connections(0)
            .timeout_global(Some(Duration::from_secs(60)))
            .build();
        Self {
            agent: ureq::Agent::new_with_config(config),
            token: token.unwrap(),
            mark,
            kept: Vec::new(),
            digests: Vec::new(),
            failed: 0,
        }
    }

    /// The event's number where it was recorded.
    fn send(&mut self, server: &Server, id: CommandId, bytes: &[u8]) -> Option<u64> {
        let address = &server.address;
        let sent = self
            .agent
            .post(format!(
                "{address}/api/images?of=mark:{}&name=IMG_0041.png&id={id}",
                self.mark
            ))
            .header("authorization", format!("Bearer {}", self.token))
            .send(bytes);
        let answer = sent.ok().and_then(|mut answer| {
            let told: Value = answer.body_mut().read_json().ok()?;
            Some((answer.status().as_u16(), told))
        });
        match answer {
            Some((200, told)) => told["recorded"]["seq"].as_u64(),
            None | Some((500.., _)) => {
                self.failed += 1;
                None
            }
            other => panic!("{other:?}"),
        }
    }

    fn done(&mut self, id: CommandId, seq: u64, bytes: &[u8]) {
        self.kept.push((id.to_string(), seq));
        self.digests.push(Digest::of(bytes));
    }
}

/// Every picture of so many is another.
fn picture(n: usize) -> Vec<u8> {
    let mut bytes = png(u8::try_from(n % 200).unwrap());
    // Behind a PNG's end anything may stand, and it is another file.
    bytes.extend(format!("\n{n}").bytes());
    bytes
}

#[test]
fn an_error_in_each_call_of_a_photograph_loses_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("ledger");
    let runtime = Runtime::new().unwrap();
    let mut sender = runtime.block_on(Sender::begin(&data));
    let server = Server::start("serve", &data);
    let mut number = 0;
    for (calls, fault, least) in [
        ("?fsync,?fdatasync", "error=EIO", 3),
        ("?rename,?renameat,?renameat2", "error=EIO", 1),
        ("?rename,?renameat,?renameat2", "error=ENOSPC", 1),
        ("?mkdir,?mkdirat", "error=ENOSPC", 1),
        ("?unlink,?unlinkat", "error=EIO", 0),
        ("?pwrite64,?pwritev", "error=EIO", 4),
    ] {
        let mut injected = 0;
        for nth in 1..=MOST_CALLS {
            number += 1;
            let (id, bytes) = (CommandId::new(), picture(number));
            let injector = Injector::attach(&server, calls, fault, nth, dir.path());
            let answer = sender.send(&server, id, &bytes);
            let hit = injector.detach();
            let again = sender.send(&server, id, &bytes).expect("all is well again");
            assert!(answer.is_none_or(|a| a == again), "{answer:?}, {again}");
            sender.done(id, again, &bytes);
            if !hit {
                break;
            }
            injected += 1;
        }
        assert!(
            (least..MOST_CALLS).contains(&injected),
            "{calls}: {injected}"
        );
    }
    assert!(sender.failed >= 6, "{} failed", sender.failed);
    drop(server);
    whole(&runtime, &data, &sender.kept);
    let originals = Originals::at(data.join("originals"));
    for digest in &sender.digests {
        assert!(originals.verify(*digest).is_ok(), "{digest}");
    }
}

/// A file system with so much room, where this user may have one.
struct Little(PathBuf);

impl Little {
    fn mount(at: &Path, megabytes: u32) -> Option<Self> {
        std::fs::create_dir_all(at).unwrap();
        let done = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={megabytes}m"), "tmpfs"])
            .arg(at)
            .output()
            .ok()?;
        done.status.success().then(|| Self(at.to_owned()))
    }
}

impl Drop for Little {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

#[test]
fn a_full_disk_loses_nothing_and_the_server_goes_on_when_there_is_room() {
    let dir = tempfile::tempdir().unwrap();
    let runtime = Runtime::new().unwrap();
    let disk = dir.path().join("disk");
    let little = Little::mount(&disk, 24);
    let data = disk.join("ledger");
    let mut sender = runtime.block_on(Sender::begin(&data));
    let mut server = match little {
        Some(_) => Server::start("serve", &data),
        // Not root, or not allowed to: every file ends at 400 KB, where the database is longer before long.
        None => Server::start_with_little_room(&data, 800),
    };
    let mut number = 0;
    for round in 0..3_u64 {
        let filler = disk.join("filler");
        if little.is_some() {
            fill(&filler, round * 300_000 + 40_000);
        }
        // Photographs until three in a row find no room.
        let (mut without, mut waiting) = (0, None);
        while without < 3 {
            number += 1;
            assert!(number < 3_000, "it never was full");
            let (id, bytes) = (CommandId::new(), picture(number));
            match sender.send(&server, id, &bytes) {
                Some(seq) => {
                    sender.done(id, seq, &bytes);
                    without = 0;
                }
                None => {
                    without += 1;
                    waiting = Some((id, bytes));
                }
            }
        }
        if little.is_some() {
            std::fs::remove_file(&filler).unwrap();
        } else {
            server.kill();
            server = Server::start("serve", &data);
        }
        let (id, bytes) = waiting.unwrap();
        let seq = sender
            .send(&server, id, &bytes)
            .expect("there is room again");
        sender.done(id, seq, &bytes);
        if little.is_none() {
            break;
        }
    }
    drop(server);
    whole(&runtime, &data, &sender.kept);
    let originals = Originals::at(data.join("originals"));
    for digest in &sender.digests {
        assert!(originals.verify(*digest).is_ok(), "{digest}");
    }
}

/// Fills the disk but for so many bytes.
fn fill(file: &Path, but: u64) {
    use std::io::Write as _;
    let mut out = std::fs::File::create(file).unwrap();
    let block = [7; 4096];
    while out.write_all(&block).is_ok() {}
    let length = out.metadata().unwrap().len();
    out.set_len(length.saturating_sub(but)).unwrap();
}
