//! Originals in a bucket of a store that we did not write: moto (docs.getmoto.org), which answers as the service does, and
//! boto3 as another client of it.

use std::io::{BufRead as _, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use liftledger::ids::Digest;
use liftledger::originals::{Bucket, Originals, OriginalsError};

use crate::boatyard::png;

const KEY: &str = "HARROWCOVEKEY";
const SECRET: &str = "harrow-cove-bucket-secret";

/// The server on a free port, gone with this.
const SERVER: &str = "\
import sys
from moto.server import ThreadedMotoServer
server = ThreadedMotoServer(ip_address='127.0.0.1', port=0, verbose=False)
server.start()
print(server.get_host_and_port()[1], flush=True)
sys.stdin.read()
server.stop()
";

struct Store {
    child: Child,
    address: String,
}

fn python() -> PathBuf {
    let venv = std::env::var("LIFTLEDGER_VENV").expect("tests/run says where it is");
    PathBuf::from(venv).join("bin/python")
}

impl Store {
    fn start() -> Self {
        let mut child = Command::new(python())
            .args(["-c", SERVER])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        let port: u16 = line.trim().parse().expect("moto is installed by tests/run");
        let store = Self {
            child,
            address: format!("http://127.0.0.1:{port}"),
        };
        store.boto("s3.create_bucket(Bucket='evidence')");
        store
    }

    /// What boto3 says.
    fn boto(&self, script: &str) -> String {
        let script = format!(
            "import boto3\ns3 = boto3.client('s3', endpoint_url='{}', region_name='us-east-1', \
             aws_access_key_id='{KEY}', aws_secret_access_key='{SECRET}')\n{script}",
            self.address
        );
        let done = Command::new(python())
            .args(["-c", &script])
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(done.status.success(), "{said}");
        String::from_utf8(done.stdout).unwrap().trim().to_owned()
    }

    fn bucket(&self, name: &str) -> Bucket {
        Bucket::open(name, "yard/2026", |n| match n {
            "AWS_ACCESS_KEY_ID" => Some(KEY.into()),
            "AWS_SECRET_ACCESS_KEY" => Some(SECRET.into()),
            "AWS_ENDPOINT_URL" => Some(self.address.clone()),
            _ => None,
        })
        .unwrap()
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn another_store_and_another_client_agree() {
    let store = Store::start();
    let dir = tempfile::tempdir().unwrap();
    let all = Originals::open(dir.path().join("originals"))
        .unwrap()
        .in_bucket(store.bucket("evidence"));
    let mut digests: Vec<Digest> = (0..3).map(|n| all.keep(&png(n)).unwrap().digest).collect();
    let name = digests[0].to_string();
    let key = format!("yard/2026/{}/{}/{name}", &name[..2], &name[2..4]);
    let read = format!(
        "import hashlib\nprint(hashlib.sha256(s3.get_object(Bucket='evidence', Key='{key}')['Body'].read()).hexdigest())"
    );
    assert_eq!(store.boto(&read), name);
    assert_eq!(all.read(digests[0]).unwrap(), png(0));
    assert!(all.verify(digests[1]).is_ok() && all.exists(digests[2]));
    // Once more, and then with other bytes in its place.
    assert_eq!(all.keep(&png(0)).unwrap().digest, digests[0]);
    store.boto(&format!(
        "s3.put_object(Bucket='evidence', Key='{key}', Body=b'other bytes')"
    ));
    assert!(matches!(
        all.keep(&png(0)),
        Err(OriginalsError::Altered { .. })
    ));
    let more =
        "for n in range(1200): s3.put_object(Bucket='evidence', Key=f'yard/2026/0/{n}', Body=b'x')";
    store.boto(more);
    digests.sort();
    let listed: Vec<Digest> = all.list().map(Result::unwrap).collect();
    assert_eq!(listed, digests);
    store.boto(&format!("s3.delete_object(Bucket='evidence', Key='{key}')"));
    assert!(matches!(
        all.stored(Digest::of(&png(0))),
        Err(OriginalsError::Missing(_))
    ));
    // A bucket that is not there keeps nothing, and says so.
    let none = Originals::open(dir.path().join("none"))
        .unwrap()
        .in_bucket(store.bucket("no-such-bucket"));
    assert!(matches!(none.keep(&png(9)), Err(OriginalsError::Away(_))));
}
