//! Signed papers in the hands of others: pyHanko (PAdES), OpenSSL (CMS, timestamps, certificates), qpdf.

use std::io::{Read as _, Write as _};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::boatyard::{Boatyard, CASE};
use super::labels::run;

/// A folder with an authority in it, and the ledger beside.
struct Place {
    dir: tempfile::TempDir,
    /// Keeps the ledger open, as a server would.
    _yard: Boatyard,
}

impl Place {
    async fn begin() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let yard = Boatyard::begin(&dir.path().join("ledger")).await;
        Self { dir, _yard: yard }
    }

    fn at(&self, name: &str) -> String {
        self.dir.path().join(name).to_str().unwrap().to_owned()
    }

    /// What pyHanko took out of a paper, before openssl: the signature over the bytes that it covers, by an authority's root.
    fn openssl_takes_the_signature(&self, root: &str) {
        let (signature, covered) = (self.at("signature.der"), self.at("covered.bin"));
        let args = [
            "cms",
            "-verify",
            "-binary",
            "-inform",
            "DER",
            "-in",
            &signature,
            "-content",
            &covered,
            "-CAfile",
            root,
            "-out",
            "/dev/null",
        ];
        run("openssl", &args);
    }

    fn write(&self, name: &str, text: &str) -> String {
        let path = self.at(name);
        std::fs::write(&path, text).unwrap();
        path
    }

    fn liftledger(&self, args: &[&str], environment: &[(&str, &str)]) -> (Option<i32>, String) {
        let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .args(args)
            .args(["--data", &self.at("ledger")])
            .envs(environment.iter().copied())
            .output()
            .unwrap();
        let said = [out.stdout, out.stderr].concat();
        (out.status.code(), String::from_utf8(said).unwrap())
    }

    fn works(&self, args: &[&str], environment: &[(&str, &str)]) -> String {
        let (code, said) = self.liftledger(args, environment);
        assert_eq!(code, Some(0), "{args:?}: {said}");
        said
    }

    /// A report; its path.
    fn report(&self, environment: &[(&str, &str)]) -> String {
        let (file, first) = (self.at("report.pdf"), format!("{CASE}/1"));
        self.works(&["report", &first, "--force", "--out", &file], environment);
        file
    }

    /// What pyHanko says; the signature's parts are then in the folder.
    fn pyhanko(&self, file: &str, root: &str) -> Option<serde_json::Value> {
        let venv = std::env::var("LIFTLEDGER_VENV").unwrap_or_else(|_| "target/venv".into());
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/signed.py");
        let out = Command::new(Path::new(&venv).join("bin/python"))
            .args([script, file, root, &self.at("")])
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(!said.contains("ModuleNotFoundError"), "{said}");
        out.status
            .success()
            .then(|| serde_json::from_slice(&out.stdout).unwrap())
    }

    /// An authority with a key on P-384, which this program does not use itself: its root, and who issues by it.
    fn authority(&self) -> String {
        let (key, root) = (self.at("root.key"), self.at("root.pem"));
        run(
            "openssl",
            &[
                "ecparam",
                "-name",
                "secp384r1",
                "-genkey",
                "-noout",
                "-out",
                &key,
            ],
        );
        let args = [
            "req",
            "-x509",
            "-new",
            "-key",
            &key,
            "-subj",
            "/CN=Root of Harrow Cove",
            "-days",
            "30",
            "-out",
            &root,
        ];
        run("openssl", &args);
        root
    }

    fn issue(&self, request: &str, extensions: &str, out: &str) {
        let file = self.write("extensions.cnf", extensions);
        let (root, key) = (self.at("root.pem"), self.at("root.key"));
        let args = [
            "x509",
            "-req",
            "-in",
            request,
            "-CA",
            &root,
            "-CAkey",
            &key,
            "-CAcreateserial",
            "-days",
            "10",
            "-extfile",
            &file,
            "-out",
            out,
        ];
        run("openssl", &args);
    }
}

fn intact(said: &serde_json::Value) -> bool {
    said["intact"] == true && said["valid"] == true && said["coverage"] == "ENTIRE_FILE"
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pyhanko_openssl_and_qpdf_accept_what_the_demonstration_certificate_signed() {
    let place = Place::begin().await;
    place.works(
        &[
            "certificate",
            "self-signed",
            "--name",
            "Evidence unit, Ελένη",
        ],
        &[],
    );
    let root = place.at("ledger/keys/papers.pem");
    let (first, card) = (format!("{CASE}/1"), place.at("card.pdf"));
    place.works(&["label", &first, "--kind", "card", "--out", &card], &[]);
    for file in [place.report(&[]), card] {
        run("qpdf", &["--check", &file]);
        run("pdftotext", &[&file, "-"]);
        let said = place.pyhanko(&file, &root).unwrap();
        assert!(intact(&said) && said["bottom_line"] == true, "{said}");
        assert_eq!(said["subfilter"], "/ETSI.CAdES.detached");
        assert_eq!(said["timestamp"], serde_json::Value::Null);
        // ETSI EN 319 142-1, 6.3, level B-B: these, and no signing time.
        let attributes = ["content_type", "message_digest", "signing_certificate_v2"];
        assert_eq!(said["attributes"], serde_json::json!(attributes));
        place.openssl_takes_the_signature(&root);
        // One changed byte, in the middle and in the last revision.
        let whole = std::fs::read(&file).unwrap();
        for at in [whole.len() / 2, whole.len() - 10] {
            let mut altered = whole.clone();
            altered[at] ^= 1;
            let path = place.at("altered.pdf");
            std::fs::write(&path, altered).unwrap();
            let said = place.pyhanko(&path, &root);
            assert!(!said.is_some_and(|s| intact(&s)), "byte {at}");
        }
    }
}

/// A timestamp server on loopback, made of `openssl ts`.
fn timestamps(config: PathBuf, folder: PathBuf) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}/tsa", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let mut asked = Vec::new();
            let mut part = [0; 4096];
            // The head, and as many bytes as it says.
            let body = loop {
                let n = stream.read(&mut part).unwrap();
                assert!(n > 0, "the question broke off");
                asked.extend(&part[..n]);
                let Some(end) = asked.windows(4).position(|w| w == b"\r\n\r\n") else {
                    continue;
                };
                let head = String::from_utf8_lossy(&asked[..end]).to_lowercase();
                assert!(
                    head.contains("content-type: application/timestamp-query"),
                    "{head}"
                );
                let length = head
                    .lines()
                    .find_map(|l| l.strip_prefix("content-length: "));
                let length: usize = length.unwrap().trim().parse().unwrap();
                if asked.len() >= end + 4 + length {
                    break asked.split_off(end + 4);
                }
            };
            let (query, reply) = (folder.join("query.tsq"), folder.join("reply.tsr"));
            std::fs::write(&query, body).unwrap();
            let (query, reply) = (query.to_str().unwrap(), reply.to_str().unwrap());
            let config = config.to_str().unwrap();
            let args = [
                "ts",
                "-reply",
                "-config",
                config,
                "-section",
                "stamps",
                "-queryfile",
                query,
                "-out",
                reply,
            ];
            run("openssl", &args);
            let answer = std::fs::read(reply).unwrap();
            let head = format!(
                "HTTP/1.1 200 OK\r\ncontent-type: application/timestamp-reply\r\ncontent-length: {}\r\nconnection: close\r\n\r\n",
                answer.len()
            );
            stream.write_all(head.as_bytes()).unwrap();
            stream.write_all(&answer).unwrap();
        }
    });
    url
}

/// Once with a server whose key this program can check, once with one whose key it cannot.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_authority_s_certificate_and_a_timestamp_hold_before_pyhanko_and_openssl() {
    let place = Place::begin().await;
    let root = place.authority();
    let csr = place.at("papers.csr");
    let args = [
        "certificate",
        "request",
        "--name",
        "Evidence unit",
        "--organisation",
        "Harrow Cove Police",
        "--country",
        "XX",
        "--out",
        &csr,
    ];
    place.works(&args, &[]);
    run("openssl", &["req", "-in", &csr, "-verify", "-noout"]);
    let ours = place.at("ours.pem");
    place.issue(
        &csr,
        "keyUsage=critical,digitalSignature,nonRepudiation\nbasicConstraints=CA:FALSE\n",
        &ours,
    );
    let both = [&ours, &root].map(|p| std::fs::read_to_string(p).unwrap());
    // The wrong way round first.
    let wrong = place.write("wrong.pem", &format!("{}{}", both[1], both[0]));
    let (code, said) = place.liftledger(&["certificate", "install", &wrong], &[]);
    assert_eq!(code, Some(1), "{said}");
    let chain = place.write("chain.pem", &both.concat());
    let said = place.works(&["certificate", "install", &chain], &[]);
    assert!(
        said.contains("certificate issued by Root of Harrow Cove"),
        "{said}"
    );

    for (kind, says) in [
        (
            ["ecparam", "-name", "prime256v1", "-genkey", "-noout"].as_slice(),
            "the timestamp's own signature holds",
        ),
        (["genrsa", "2048"].as_slice(), "not checked here"),
    ] {
        let (key, request, pem) = (
            place.at("tsa.key"),
            place.at("tsa.csr"),
            place.at("tsa.pem"),
        );
        run(
            "openssl",
            &[kind[0], "-out", &key]
                .iter()
                .chain(&kind[1..])
                .copied()
                .collect::<Vec<_>>(),
        );
        run(
            "openssl",
            &[
                "req",
                "-new",
                "-key",
                &key,
                "-subj",
                "/CN=Clock of Harrow Cove",
                "-out",
                &request,
            ],
        );
        place.issue(
            &request,
            "keyUsage=critical,digitalSignature\nextendedKeyUsage=critical,timeStamping\n",
            &pem,
        );
        let config = place.write(
            "tsa.cnf",
            &format!(
                "[stamps]\nserial={}\nsigner_cert={pem}\nsigner_key={key}\nsigner_digest=sha256\ndigests=sha256\n\
                 default_policy=1.2.3.4\naccuracy=secs:1\ncerts={pem}\ness_cert_id_chain=no\ness_cert_id_alg=sha256\n",
                place.at("serial")
            ),
        );
        place.write("serial", "01\n");
        let url = timestamps(config.into(), place.dir.path().to_owned());
        let file = place.report(&[("LIFTLEDGER_TIMESTAMP_URL", &url)]);
        run("qpdf", &["--check", &file]);
        let said = place.pyhanko(&file, &root).unwrap();
        assert!(intact(&said) && said["bottom_line"] == true, "{said}");
        let stamp = &said["timestamp"];
        assert!(
            stamp["intact"] == true && stamp["valid"] == true && stamp["trusted"] == true,
            "{said}"
        );
        place.openssl_takes_the_signature(&root);
        let (token, value) = (place.at("token.der"), place.at("value.bin"));
        let args = [
            "ts",
            "-verify",
            "-token_in",
            "-in",
            &token,
            "-data",
            &value,
            "-CAfile",
            &root,
            "-untrusted",
            &pem,
        ];
        let told = run("openssl", &args);
        assert!(told.contains("Verification: OK"), "{told}");
        let (code, said) = place.liftledger(&["verify", "--pdf", &file], &[]);
        assert_eq!(code, Some(0), "{said}");
        for part in [
            "certificate issued by Root of Harrow Cove",
            "over this signature by Clock of Harrow Cove",
            says,
            "the record of the print names",
        ] {
            assert!(said.contains(part), "{part}: {said}");
        }
    }
}

/// OpenSSL reads what the program makes as what it is.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn openssl_reads_the_certificate() {
    let place = Place::begin().await;
    place.works(
        &[
            "certificate",
            "self-signed",
            "--name",
            "Evidence unit",
            "--years",
            "20",
        ],
        &[],
    );
    let pem = place.at("ledger/keys/papers.pem");
    let text = run("openssl", &["x509", "-in", &pem, "-noout", "-text"]);
    for part in [
        "Signature Algorithm: ecdsa-with-SHA256",
        "NIST CURVE: P-256",
        "Digital Signature, Non Repudiation",
        "CA:FALSE",
        "Subject: CN = Evidence unit",
        "Version: 3",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    run("openssl", &["verify", "-CAfile", &pem, &pem]);
}
