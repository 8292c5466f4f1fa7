//! Uploads to the real server process: killed in the middle, without room on its disk, ten at once, and bombs.

use std::io::Read;
use std::path::Path;
use std::time::{Duration, Instant};

use liftledger::app::Viewer;
use liftledger::app::audit::audit;
use liftledger::app::house::House;
use liftledger::ids::{CommandId, Digest, MarkId};
use liftledger::originals::Originals;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use tokio::runtime::Runtime;

use super::boatyard::Boatyard;
use super::served::Server;

/// A picture of so many bytes, not compressed: TIFF, grey.
fn tiff(width: u32, height: u32) -> Vec<u8> {
    let bytes = width * height;
    let mut out = b"II*\0".to_vec();
    out.extend((8 + bytes).to_le_bytes());
    let mut n = 1_u32;
    out.extend((0..bytes).map(|_| {
        n = n.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        n.to_be_bytes()[0]
    }));
    let entries = [
        (256_u16, width),
        (257, height),
        (258, 8),
        (259, 1),
        (262, 1),
        (273, 8),
        (277, 1),
        (278, height),
        (279, bytes),
    ];
    out.extend(9_u16.to_le_bytes());
    for (tag, value) in entries {
        out.extend(tag.to_le_bytes());
        out.extend(4_u16.to_le_bytes());
        out.extend(1_u32.to_le_bytes());
        out.extend(value.to_le_bytes());
    }
    out.extend([0; 4]);
    out
}

struct Yard {
    _dir: tempfile::TempDir,
    data: std::path::PathBuf,
    mark: MarkId,
    token: String,
    agent: ureq::Agent,
    runtime: Runtime,
}

impl Yard {
    fn begin() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let data = dir.path().join("ledger");
        let runtime = Runtime::new().unwrap();
        let (mark, token) = runtime.block_on(async {
            let yard = Boatyard::begin(data.as_path()).await;
            let now = chrono::Utc::now();
            let token = yard.house.issue_token(yard.tech, "test", 1, now).await;
            let mark = yard.marks[0];
            yard.house.close().await;
            (mark, token.unwrap())
        });
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            // A server that was killed or refused half-way has closed its connection.
            .max_idle_connections(0)
            .timeout_global(Some(Duration::from_secs(120)))
            .build();
        Self {
            _dir: dir,
            data,
            mark,
            token,
            agent: ureq::Agent::new_with_config(config),
            runtime,
        }
    }

    fn bearer(&self) -> String {
        format!("Bearer {}", self.token)
    }

    fn post(&self, server: &Server, path: &str, body: &Value) -> (u16, Value) {
        let sent = self
            .agent
            .post(format!("{}{path}", server.address))
            .header("authorization", self.bearer())
            .send_json(body);
        answered(sent.unwrap())
    }

    fn get(&self, server: &Server, path: &str) -> (u16, Value) {
        let sent = self
            .agent
            .get(format!("{}{path}", server.address))
            .header("authorization", self.bearer())
            .call();
        answered(sent.unwrap())
    }

    /// A part, as fast as it can be read; none where no answer came.
    fn put(
        &self,
        address: &str,
        id: &str,
        offset: usize,
        body: impl Read + 'static,
    ) -> Option<(u16, Value)> {
        let body = ureq::SendBody::from_owned_reader(body);
        let sent = self
            .agent
            .put(format!("{address}/api/uploads/{id}/bytes?offset={offset}"))
            .header("authorization", self.bearer())
            .send(body);
        sent.ok().map(answered)
    }

    fn begin_upload(&self, server: &Server, whole: &[u8]) -> String {
        let digest = Digest(Sha256::digest(whole).into());
        let begin = json!({"name": "IMG_0931.tif", "bytes": whole.len(), "sha256": digest});
        let (status, told) = self.post(server, "/api/uploads", &begin);
        assert_eq!(status, 200, "{told}");
        told["id"].as_str().unwrap().to_owned()
    }

    fn record(&self, server: &Server, id: &str, command: CommandId) -> (u16, Value) {
        let path = format!(
            "/api/uploads/{id}/photograph?of=mark:{}&id={command}",
            self.mark
        );
        self.post(server, &path, &json!({}))
    }

    /// All events and originals hold, and the picture is one of the mark's.
    fn look(&self, digest: Digest) {
        self.runtime.block_on(async {
            let house = House::open(self.data.as_path()).await.unwrap();
            let originals = Originals::open(self.data.join("originals")).unwrap();
            assert!(originals.verify(digest).is_ok());
            let found = audit(&*house.store, &house.verifying, &[], |_| {})
                .await
                .unwrap();
            assert!(found.is_clean(), "{found:?}");
            let viewer = Viewer::operator();
            let mark = house.reader(&viewer).mark(self.mark).await.unwrap();
            assert!(mark.images.iter().any(|i| i.digest == digest));
            house.close().await;
        });
    }
}

fn answered(mut answer: ureq::http::Response<ureq::Body>) -> (u16, Value) {
    let status = answer.status().as_u16();
    let text = answer.body_mut().read_to_string().unwrap_or_default();
    (status, serde_json::from_str(&text).unwrap_or(Value::Null))
}

/// Gives its bytes slowly, so that there is a middle to be interrupted in.
struct Slow {
    bytes: Vec<u8>,
    at: usize,
}

impl Read for Slow {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        std::thread::sleep(Duration::from_millis(2));
        let n = out.len().min(64 * 1024).min(self.bytes.len() - self.at);
        out[..n].copy_from_slice(&self.bytes[self.at..self.at + n]);
        self.at += n;
        Ok(n)
    }
}

fn stray_files(data: &Path) -> usize {
    std::fs::read_dir(data.join("originals/coming"))
        .unwrap()
        .count()
}

#[test]
fn an_upload_goes_on_after_the_server_was_killed_in_the_middle() {
    let yard = Yard::begin();
    let whole = tiff(6_000, 5_000);
    let digest = Digest(Sha256::digest(&whole).into());
    let mut server = Server::start("serve", &yard.data);
    let id = yard.begin_upload(&server, &whole);
    let (mut kills, mut before) = (0, 0);
    // Killed three times while a part is coming in.
    while kills < 3 {
        let address = server.address.clone();
        let lost = std::thread::scope(|scope| {
            let rest = Slow {
                bytes: whole[before..].to_vec(),
                at: 0,
            };
            let sending = scope.spawn(|| yard.put(&address, &id, before, rest));
            std::thread::sleep(Duration::from_millis(450));
            server.kill();
            sending.join().unwrap().is_none()
        });
        server = Server::start("serve", &yard.data);
        let (status, told) = yard.get(&server, &format!("/api/uploads/{id}"));
        assert_eq!(status, 200, "{told}");
        let received = usize::try_from(told["received"].as_u64().unwrap()).unwrap();
        assert!(
            received >= before && received < whole.len(),
            "{before} {told}"
        );
        assert!(lost, "the part was in before the server was killed");
        before = received;
        kills += 1;
    }
    let early = yard.record(&server, &id, CommandId::new());
    assert_eq!(
        (early.0, early.1["code"].as_str()),
        (409, Some("upload-not-whole"))
    );
    let rest = std::io::Cursor::new(whole[before..].to_vec());
    let (status, told) = yard.put(&server.address, &id, before, rest).unwrap();
    assert_eq!(
        (status, told["received"].as_u64()),
        (200, Some(whole.len() as u64))
    );
    // Whole, and killed before it is recorded: it is whole afterwards, too.
    server.kill();
    let mut server = Server::start("serve", &yard.data);
    let command = CommandId::new();
    let (status, added) = yard.record(&server, &id, command);
    assert_eq!(status, 200, "{added}");
    assert_eq!(added["digest"], digest.to_string());
    assert_eq!(
        (added["width"].as_u64(), added["height"].as_u64()),
        (Some(6_000), Some(5_000))
    );
    // Sent again, also after another kill: the same answer, one event.
    assert_eq!(yard.record(&server, &id, command), (200, added.clone()));
    server.kill();
    let mut server = Server::start("serve", &yard.data);
    assert_eq!(yard.record(&server, &id, command), (200, added));
    server.kill();
    yard.look(digest);
}

#[test]
fn without_room_nothing_is_lost_and_it_goes_on_when_there_is() {
    let yard = Yard::begin();
    let whole = tiff(4_000, 3_000);
    let digest = Digest(Sha256::digest(&whole).into());
    // 8 MB a file: enough for the ledger, not for the picture.
    let mut server = Server::start_with_little_room(&yard.data, 16_384);
    let id = yard.begin_upload(&server, &whole);
    let body = std::io::Cursor::new(whole.clone());
    // The server may answer before it has read everything, and then closes: ask how far it is.
    if let Some((status, told)) = yard.put(&server.address, &id, 0, body) {
        assert_eq!(
            (status, told["code"].as_str()),
            (507, Some("no-room")),
            "{told}"
        );
        assert!(
            told["next"].as_str().unwrap().contains("make room"),
            "{told}"
        );
    }
    let (_, told) = yard.get(&server, &format!("/api/uploads/{id}"));
    let received = usize::try_from(told["received"].as_u64().unwrap()).unwrap();
    assert!(received > 0 && received <= 8 * 1024 * 1024, "{told}");
    // In one piece: refused, nothing left behind, and the ledger goes on.
    let sent = yard
        .agent
        .post(format!(
            "{}/api/images?of=mark:{}&name=a.tif",
            server.address, yard.mark
        ))
        .header("authorization", yard.bearer())
        .send(&whole[..]);
    if let Ok(answer) = sent {
        let (status, told) = answered(answer);
        assert_eq!(
            (status, told["code"].as_str()),
            (507, Some("no-room")),
            "{told}"
        );
    }
    let until = Instant::now() + Duration::from_secs(10);
    while stray_files(&yard.data) > 0 {
        assert!(
            Instant::now() < until,
            "a file that had no room is still there"
        );
        std::thread::sleep(Duration::from_millis(50));
    }
    let small = yard
        .agent
        .post(format!(
            "{}/api/images?of=mark:{}&name=b.tif",
            server.address, yard.mark
        ))
        .header("authorization", yard.bearer())
        .send(&tiff(40, 30)[..]);
    assert_eq!(answered(small.unwrap()).0, 200);
    server.kill();
    let mut server = Server::start("serve", &yard.data);
    let rest = std::io::Cursor::new(whole[received..].to_vec());
    let (status, told) = yard.put(&server.address, &id, received, rest).unwrap();
    assert_eq!(status, 200, "{told}");
    assert_eq!(yard.record(&server, &id, CommandId::new()).0, 200);
    server.kill();
    yard.look(digest);
}

/// The server holds parts of files, never files: ten pictures of 12 MB at once, and bombs.
#[test]
fn ten_uploads_at_once_and_bombs_stay_bounded_in_memory() {
    let yard = Yard::begin();
    let mut server = Server::start("serve", &yard.data);
    assert_eq!(yard.get(&server, "/api/me").0, 200);
    let before = server.peak_memory();
    let whole: Vec<Vec<u8>> = (0..10).map(|n| tiff(4_000, 3_000 + n)).collect();
    std::thread::scope(|scope| {
        for (n, bytes) in whole.iter().enumerate() {
            let (yard, address) = (&yard, &server.address);
            scope.spawn(move || {
                let sent = yard
                    .agent
                    .post(format!(
                        "{address}/api/images?of=mark:{}&name=IMG_{n}.tif",
                        yard.mark
                    ))
                    .header("authorization", yard.bearer())
                    .send(&bytes[..]);
                let (status, told) = answered(sent.unwrap());
                assert_eq!(status, 200, "{told}");
            });
        }
    });
    let mut bomb = crate::imaging::files::png_head(12_000, 12_000);
    bomb.truncate(33);
    bomb.extend(crate::imaging::files::chunk(*b"IDAT", &vec![0; 4_000_000]));
    bomb.extend(crate::imaging::files::chunk(*b"IEND", &[]));
    let path = format!(
        "{}/api/images?of=mark:{}&name=bomb.png",
        server.address, yard.mark
    );
    let sent = yard.agent.post(path).header("authorization", yard.bearer());
    assert!(answered(sent.send(&bomb[..]).unwrap()).0 < 500);
    // Ten times 12 MB were never in memory at once.
    if let (Some(before), Some(after)) = (before, server.peak_memory()) {
        let grown = after.saturating_sub(before) / 1024 / 1024;
        assert!(grown < 90, "{grown} MB more than before");
    }
    server.kill();
}
