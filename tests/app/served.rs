//! The real server process on a data folder, and somebody who sends it forms without a browser.
#![allow(dead_code)]

use std::io::{BufRead, BufReader, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

/// The server; killed when dropped.
pub struct Server {
    child: Child,
    // Kept open: a server whose output nobody reads ends with an error.
    output: BufReader<ChildStdout>,
    pub address: String,
}

impl Server {
    /// `liftledger serve` or `liftledger demo` over a folder, on a free port.
    pub fn start(what: &str, data: &Path) -> Self {
        Self::start_on(what, data, None)
    }

    /// The same with a PostgreSQL database.
    pub fn start_on(what: &str, data: &Path, database: Option<&str>) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_liftledger"));
        command
            .args([what, "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .env("LIFTLEDGER_DATABASE", database.unwrap_or_default())
            .stderr(Stdio::null());
        Self::run(command)
    }

    /// `liftledger serve` for which every file ends at so many blocks of 512 bytes: beyond that a write fails as on a full
    /// disk. (The shell's limit, with its signal ignored.)
    pub fn start_with_little_room(data: &Path, blocks: u32) -> Self {
        let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        let mut command = Command::new("sh");
        command
            .args(["-c", &script, env!("CARGO_BIN_EXE_liftledger")])
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .env("LIFTLEDGER_DATABASE", "")
            .stderr(Stdio::null());
        Self::run(command)
    }

    /// Another command line of the server.
    pub fn run(mut command: Command) -> Self {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        let address = loop {
            line.clear();
            assert_ne!(output.read_line(&mut line).unwrap(), 0, "no server");
            if let Some((_, at)) = line.trim().rsplit_once("http://") {
                break format!("http://{at}");
            }
        };
        Self {
            child,
            output,
            address,
        }
    }

    /// The most memory that the process has had so far, in bytes; Linux says so.
    pub fn peak_memory(&self) -> Option<u64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).ok()?;
        let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
        let kb: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
        Some(kb * 1024)
    }

    /// The process.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Waits for its end.
    pub fn wait(&mut self) -> std::process::ExitStatus {
        self.child.wait().unwrap()
    }

    /// SIGKILL: no handler runs, nothing is flushed.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A stream of notes of a page that is kept up to date.
pub struct Notes(BufReader<TcpStream>);

impl Notes {
    pub fn open(address: &str, cookie: &str, of: &str) -> Self {
        let at = address.strip_prefix("http://").unwrap();
        let mut stream = TcpStream::connect(at).unwrap();
        let request =
            format!("GET /live?of={of} HTTP/1.1\r\nhost: {at}\r\ncookie: {cookie}\r\n\r\n");
        stream.write_all(request.as_bytes()).unwrap();
        let mut reader = BufReader::new(stream);
        let mut line = String::new();
        reader.read_line(&mut line).unwrap();
        assert!(line.starts_with("HTTP/1.1 200"), "{line}");
        Self(reader)
    }

    /// The word of the next note; none where none comes in time or the stream ends.
    pub fn next(&mut self, within: Duration) -> Option<String> {
        let until = std::time::Instant::now() + within;
        loop {
            let left = until.checked_duration_since(std::time::Instant::now())?;
            let left = left.max(Duration::from_millis(1));
            self.0.get_ref().set_read_timeout(Some(left)).unwrap();
            let mut line = String::new();
            match self.0.read_line(&mut line) {
                Ok(0) | Err(_) => return None,
                Ok(_) => {}
            }
            if let Some(word) = line.strip_prefix("event: ") {
                return Some(word.trim().to_owned());
            }
        }
    }
}

/// What a form was answered with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// On the record, with the first event's number.
    Done(u64),
    /// Another status, and the rule's code where the page names one.
    Refused(u16, String),
    /// No answer: nobody knows yet whether it was carried out.
    Lost,
}

/// A form, filled in.
#[derive(Clone, Debug)]
pub struct Sheet {
    pub word: &'static str,
    pub id: String,
    pub fields: Vec<(&'static str, String)>,
}

/// A session.
#[derive(Clone, Debug)]
pub struct Visit {
    agent: ureq::Agent,
    pub cookie: String,
    csrf: String,
    password: String,
}

fn agent() -> ureq::Agent {
    ureq::Agent::new_with_config(
        ureq::Agent::config_builder()
            .max_redirects(0)
            .http_status_as_error(false)
            .timeout_global(Some(Duration::from_secs(60)))
            .build(),
    )
}

/// What stands between two texts, the first time.
pub fn between<'a>(text: &'a str, before: &str, after: &str) -> Option<&'a str> {
    let (_, rest) = text.split_once(before)?;
    rest.split_once(after).map(|(found, _)| found)
}

impl Visit {
    /// Signs in; `page` is one with a form, for the token that forms carry.
    pub fn begin(address: &str, user_name: &str, password: &str, page: &str) -> Self {
        let agent = agent();
        let answer = agent
            .post(format!("{address}/sign-in"))
            .send_form([("user_name", user_name), ("password", password)])
            .unwrap();
        let cookie = answer.headers()["set-cookie"].to_str().unwrap();
        let cookie = cookie.split(';').next().unwrap().to_owned();
        let mut page = agent
            .get(format!("{address}{page}"))
            .header("cookie", &cookie)
            .call()
            .unwrap();
        let text = page.body_mut().read_to_string().unwrap();
        let csrf = between(&text, "name=\"csrf\" value=\"", "\"").expect(&text);
        Self {
            agent,
            csrf: csrf.to_owned(),
            cookie,
            password: password.to_owned(),
        }
    }

    /// Sends a form with the password that signs it.
    pub fn send(&self, address: &str, sheet: &Sheet) -> Answer {
        let around = [
            ("csrf", self.csrf.as_str()),
            ("sent", "1"),
            ("id", sheet.id.as_str()),
            ("password", self.password.as_str()),
        ];
        let fields = sheet.fields.iter().map(|(n, v)| (*n, v.as_str()));
        let sent = self
            .agent
            .post(format!("{address}/do/{}", sheet.word))
            .header("cookie", &self.cookie)
            .send_form(around.into_iter().chain(fields));
        let Ok(mut answer) = sent else {
            return Answer::Lost;
        };
        let status = answer.status().as_u16();
        if status == 303 {
            let to = answer.headers()["location"].to_str().unwrap();
            // To sign in again would be another answer: a session that was begun survives what servers and databases do.
            let (_, seq) = to.rsplit_once("done=").expect(to);
            return Answer::Done(seq.parse().unwrap());
        }
        // A body that breaks off tells as little as none.
        let Ok(text) = answer.body_mut().read_to_string() else {
            return Answer::Lost;
        };
        let code = between(&text, "<dt>Rule</dt><dd><code>", "<").unwrap_or(&text);
        Answer::Refused(status, code.to_owned())
    }
}
