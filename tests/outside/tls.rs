//! TLS as others speak it: OpenSSL's client, curl, and rustls as a client that keeps its connection. Certificates are made by
//! OpenSSL (its own manual, openssl-req(1) and openssl-x509(1)).

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use liftledger::tls::Pair;
use liftledger::witness::Folder;
use tokio_rustls::rustls::pki_types::pem::PemObject as _;
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName};
use tokio_rustls::rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};

use crate::load::{SECRET, Yard};

const PATIENCE: Duration = Duration::from_secs(20);
const WITNESS: &str = "witness.example/slip-road";

fn openssl(folder: &Path, arguments: &[&str]) {
    let done = Command::new("openssl")
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("openssl is installed by tests/run");
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{arguments:?}: {said}");
}

/// An authority of our own in a folder: `ca.pem`.
pub fn authority(folder: &Path) {
    openssl(
        folder,
        &[
            "req",
            "-x509",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:P-256",
            "-nodes",
            "-days",
            "2",
            "-subj",
            "/CN=Harrow County test authority",
            "-keyout",
            "ca-key.pem",
            "-out",
            "ca.pem",
        ],
    );
}

/// A certificate for this machine: `NAME.pem` and `NAME-key.pem`.
pub fn certificate(folder: &Path, name: &str, serial: &str) {
    certificate_for(folder, name, serial, "DNS:localhost,IP:127.0.0.1");
}

/// The same for other names.
pub fn certificate_for(folder: &Path, name: &str, serial: &str, names: &str) {
    let (key, request, out) = (
        format!("{name}-key.pem"),
        format!("{name}.csr"),
        format!("{name}.pem"),
    );
    fs::write(
        folder.join("san.cnf"),
        format!("subjectAltName={names}\nbasicConstraints=CA:FALSE\n"),
    )
    .unwrap();
    openssl(
        folder,
        &[
            "req",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:P-256",
            "-nodes",
            "-subj",
            "/CN=localhost",
            "-keyout",
            &key,
            "-out",
            &request,
        ],
    );
    openssl(
        folder,
        &[
            "x509",
            "-req",
            "-in",
            &request,
            "-CA",
            "ca.pem",
            "-CAkey",
            "ca-key.pem",
            "-set_serial",
            serial,
            "-days",
            "2",
            "-extfile",
            "san.cnf",
            "-out",
            &out,
        ],
    );
}

/// A certificate of `of`'s request that holds between two times, as `name`.pem.
fn dated(folder: &Path, of: &str, name: &str, from: &str, until: &str) {
    fs::write(folder.join("index.txt"), "").unwrap();
    fs::write(
        folder.join("ca.cnf"),
        "[ca]\ndefault_ca=here\n[here]\ndatabase=index.txt\nunique_subject=no\nrand_serial=yes\nnew_certs_dir=.\n\
         default_md=sha256\npolicy=any\n[any]\ncommonName=supplied\n",
    )
    .unwrap();
    let (request, out) = (format!("{of}.csr"), format!("{name}.pem"));
    let line = format!(
        "ca -batch -notext -config ca.cnf -extfile san.cnf -in {request} -cert ca.pem -keyfile ca-key.pem -startdate {from} \
         -enddate {until} -out {out}"
    );
    openssl(folder, &line.split_whitespace().collect::<Vec<_>>());
}

/// `liftledger serve` by https.
struct Secure {
    child: Child,
    port: u16,
    log: PathBuf,
}

impl Secure {
    fn start(data: &Path, folder: &Path) -> Self {
        let log = folder.join("log");
        let mut child = Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .arg("--tls-certificate")
            .arg(folder.join("server.pem"))
            .arg("--tls-key")
            .arg(folder.join("server-key.pem"))
            .env("LIFTLEDGER_DATABASE", "")
            .env_remove("RUST_LOG")
            .stdout(Stdio::piped())
            .stderr(fs::File::create(&log).unwrap())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        let (_, at) = line.trim().rsplit_once("https://127.0.0.1:").expect(&line);
        Self {
            port: at.parse().unwrap(),
            child,
            log,
        }
    }

    fn hang_up(&self) {
        let told = Command::new("kill")
            .args(["-HUP", &self.child.id().to_string()])
            .status()
            .unwrap();
        assert!(told.success());
    }

    /// The serial number of the certificate that OpenSSL's client is shown.
    fn serial(&self, version: &str) -> String {
        let script = format!(
            "openssl s_client -connect 127.0.0.1:{} {version} </dev/null 2>/dev/null | openssl x509 -noout -serial",
            self.port
        );
        let done = Command::new("sh").args(["-c", &script]).output().unwrap();
        String::from_utf8(done.stdout).unwrap().trim().to_owned()
    }

    fn shows(&self, serial: &str) {
        let begun = Instant::now();
        while self.serial("") != format!("serial={serial}") {
            assert!(begun.elapsed() < PATIENCE, "it shows {}", self.serial(""));
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    fn says(&self, words: &str) {
        let begun = Instant::now();
        while !fs::read_to_string(&self.log).unwrap().contains(words) {
            assert!(begun.elapsed() < PATIENCE, "the log has no {words}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

impl Drop for Secure {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// curl's exit code, and what it printed.
fn curl(arguments: &[&str]) -> (i32, String) {
    let done = Command::new("curl")
        .args(["-s", "-S", "-i", "-m", "20"])
        .args(arguments)
        .output()
        .expect("curl is installed by tests/run");
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    (done.status.code().unwrap(), said)
}

fn put(folder: &Path, certificate: &str, key: &str) {
    // Put in place whole, as those who renew certificates do.
    for (from, to) in [
        (format!("{certificate}.pem"), "server.pem"),
        (format!("{key}-key.pem"), "server-key.pem"),
    ] {
        fs::copy(folder.join(from), folder.join("new")).unwrap();
        fs::rename(folder.join("new"), folder.join(to)).unwrap();
    }
}

type Kept = StreamOwned<ClientConnection, TcpStream>;

/// A connection that is kept.
fn connect(folder: &Path, port: u16) -> Kept {
    let mut roots = RootCertStore::empty();
    roots
        .add(CertificateDer::from_pem_file(folder.join("ca.pem")).unwrap())
        .unwrap();
    let config = ClientConfig::builder()
        .with_root_certificates(roots)
        .with_no_client_auth();
    let name = ServerName::try_from("localhost").unwrap();
    let connection = ClientConnection::new(Arc::new(config), name).unwrap();
    let stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    StreamOwned::new(connection, stream)
}

/// One request on it.
fn asked(kept: &mut Kept) {
    kept.write_all(b"GET /healthz HTTP/1.1\r\nhost: localhost\r\n\r\n")
        .unwrap();
    let mut answer = Vec::new();
    while !answer.ends_with(b"ok\n") {
        let mut byte = [0];
        kept.read_exact(&mut byte).unwrap();
        answer.extend(byte);
        assert!(answer.len() < 4000);
    }
    assert!(answer.starts_with(b"HTTP/1.1 200"));
}

#[test]
fn the_server_speaks_https_and_takes_a_new_certificate_without_dropping_anybody() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path();
    let data = folder.join("ledger");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let yard = runtime.block_on(Yard::begin(&data));
    authority(folder);
    certificate(folder, "one", "0x1001");
    certificate(folder, "two", "0x1002");
    put(folder, "one", "one");
    let server = Secure::start(&data, folder);
    let at = |path: &str| format!("https://127.0.0.1:{}{path}", server.port);
    let ca = folder.join("ca.pem");
    let ca = ca.to_str().unwrap();

    let (code, said) = curl(&["--cacert", ca, &at("/healthz")]);
    assert_eq!(code, 0);
    assert!(said.starts_with("HTTP/1.1 200"), "{said}");
    // curl(1): 60 is a certificate that nobody known vouches for.
    assert_eq!(curl(&[&at("/healthz")]).0, 60);
    // http on the same port gets nothing.
    let plain = format!("http://127.0.0.1:{}/healthz", server.port);
    assert_ne!(curl(&[&plain]).0, 0);
    let user = format!("user_name={}", yard.pairs[0].people[0].1);
    let password = format!("password={SECRET}");
    let (_, said) = curl(&[
        "--cacert",
        ca,
        "--data-urlencode",
        &user,
        "--data-urlencode",
        &password,
        &at("/sign-in"),
    ]);
    assert!(said.contains("; Secure"), "{said}");
    for version in ["-tls1_2", "-tls1_3"] {
        assert_eq!(server.serial(version), "serial=1001", "{version}");
    }
    // RFC 8996: nothing older.
    assert_eq!(server.serial("-tls1_1"), "");

    // Those who connect and say nothing hold nobody up.
    let silent: Vec<TcpStream> = (0..100)
        .map(|_| TcpStream::connect(("127.0.0.1", server.port)).unwrap())
        .collect();
    let mut kept = connect(folder, server.port);
    asked(&mut kept);
    drop(silent);

    put(folder, "two", "two");
    server.hang_up();
    server.shows("1002");
    asked(&mut kept);
    // A certificate with another's key, then none at all: the old one stays, and the log says why.
    put(folder, "one", "two");
    server.hang_up();
    server.says("is not that of the first certificate");
    server.shows("1002");
    fs::write(folder.join("server.pem"), "no certificate").unwrap();
    server.hang_up();
    server.says("there is no certificate in it");
    server.shows("1002");
    asked(&mut kept);
    // Without a signal, too.
    put(folder, "one", "one");
    server.shows("1001");
    asked(&mut kept);
    asked(&mut connect(folder, server.port));
    // One that has run out is put in force, as its owner wants, and the log says what clients will make of it.
    dated(folder, "one", "over", "20200101000000Z", "20210101000000Z");
    put(folder, "over", "one");
    server.hang_up();
    server.says("expired on");
    let log = fs::read_to_string(&server.log).unwrap();
    assert!(!log.contains("PRIVATE KEY"), "{log}");
}

#[test]
fn a_witness_looks_by_https_at_whom_its_machine_trusts() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path();
    let data = folder.join("ledger");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let (token, key) = runtime.block_on(async {
        let yard = crate::boatyard::Boatyard::begin(&data).await;
        let now = chrono::Utc::now();
        let token = yard.house.issue_token(yard.auditor, "witness", 1, now);
        let token = token.await.unwrap();
        let key = yard.house.verifying.to_string();
        yard.house.close().await;
        (token, key)
    });
    authority(folder);
    certificate(folder, "server", "0x1001");
    let witness = Folder::open(&folder.join("witness"), Some(WITNESS)).unwrap();
    let named = format!("[[witness]]\nkey = \"{}\"\n", witness.key().verifying_key());
    fs::write(data.join("witnesses.toml"), named).unwrap();
    let server = Secure::start(&data, folder);
    let look = |trusted: &Path| {
        let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .args(["witness", "--once", "--name", WITNESS])
            .args(["--of", &format!("https://localhost:{}", server.port)])
            .args(["--key", &key, "--data"])
            .arg(folder.join("witness"))
            .env("LIFTLEDGER_WITNESS_TOKEN", &token)
            .env("SSL_CERT_FILE", trusted)
            .output()
            .unwrap();
        let said = [done.stdout, done.stderr].map(|b| String::from_utf8(b).unwrap());
        (done.status.code(), said.concat())
    };
    let (code, said) = look(&folder.join("ca.pem"));
    assert!(code == Some(0) && said.contains("seen "), "{said}");
    // What it said stands on the next report, as pdftotext reads it.
    let paper = folder.join("report.pdf");
    let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["report", &format!("{}/1", crate::boatyard::CASE), "--data"])
        .arg(&data)
        .arg("--out")
        .arg(&paper)
        .env("LIFTLEDGER_DATABASE", "")
        .output()
        .unwrap();
    let failed = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(done.status.success(), "{failed}");
    let read = Command::new("pdftotext")
        .arg("-layout")
        .arg(&paper)
        .arg("-")
        .output()
        .unwrap();
    let text = String::from_utf8(read.stdout).unwrap();
    assert!(
        text.contains("Seen by witnesses") && text.contains(WITNESS),
        "{text}"
    );
    // Another authority, which did not vouch for this server.
    let other = folder.join("other");
    fs::create_dir(&other).unwrap();
    authority(&other);
    let (code, said) = look(&other.join("ca.pem"));
    assert!(
        code == Some(1) && said.contains("cannot be looked at"),
        "{said}"
    );
    assert!(!said.contains(&token), "{said}");
}

#[test]
fn everything_wrong_with_a_pair_is_told_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path();
    authority(folder);
    certificate(folder, "one", "0x1001");
    certificate(folder, "two", "0x1002");
    let wrong = |certificate: &str, key: &str| {
        let pair = Pair {
            certificate: folder.join(certificate),
            key: folder.join(key),
        };
        let all = pair.wrong();
        all.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    assert!(wrong("one.pem", "one-key.pem").is_empty());
    assert_eq!(wrong("one.pem", "two-key.pem").len(), 1);
    // Each file is the other's kind; and neither is there.
    assert_eq!(wrong("one-key.pem", "one.pem").len(), 2);
    assert_eq!(wrong("no.pem", "no-key.pem").len(), 2);
    let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(["config", "check", "--data", "x", "--listen", "nowhere"])
        .arg("--tls-certificate")
        .arg(folder.join("no.pem"))
        .arg("--tls-key")
        .arg(folder.join("one.pem"))
        .output()
        .unwrap();
    let said = String::from_utf8(done.stderr).unwrap();
    assert_eq!(done.status.code(), Some(1));
    for part in ["--listen: ", "--tls-certificate: ", "--tls-key: "] {
        assert!(said.contains(part), "{said}");
    }
}

/// A certificate that is over, and one that is not there yet, are told by `config check`; the dates are set by OpenSSL
/// (openssl-ca(1), -startdate and -enddate).
#[test]
fn a_certificate_out_of_its_dates_is_told() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path();
    authority(folder);
    certificate(folder, "good", "0x2001");
    dated(folder, "good", "over", "20200101000000Z", "20210101000000Z");
    dated(
        folder,
        "good",
        "early",
        "20980101000000Z",
        "20990101000000Z",
    );
    let check = |certificate: &str| {
        let done = Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .args(["config", "check", "--data", "x"])
            .arg("--tls-certificate")
            .arg(folder.join(certificate))
            .arg("--tls-key")
            .arg(folder.join("good-key.pem"))
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert_eq!(done.status.code(), Some(0), "{certificate}: {said}");
        String::from_utf8(done.stdout).unwrap()
    };
    assert!(!check("good.pem").contains("Warning"));
    let over = check("over.pem");
    assert!(
        over.contains("Warning") && over.contains("expired on"),
        "{over}"
    );
    let early = check("early.pem");
    assert!(
        early.contains("Warning") && early.contains("is valid from"),
        "{early}"
    );
}
