//! Disclosure bundles of the demo against a stranger's verifier, the page in a real browser, our own command and PyPI
//! `bagit`: all accept the good ones and refuse each of two hundred that were tampered with.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::browser::driver::{Browser, Size};

/// How many are tampered with.
const MUTANTS: usize = 200;

fn venv() -> PathBuf {
    std::env::var_os("LIFTLEDGER_VENV").map_or_else(|| PathBuf::from("target/venv"), PathBuf::from)
}

fn python(script: &str, input: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/outside")
        .join(script);
    let mut child = Command::new(venv().join("bin/python"))
        .arg(path)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("tests/run makes the environment");
    child
        .stdin
        .take()
        .unwrap()
        .write_all(input.as_bytes())
        .unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(out.status.success(), "{script}");
    String::from_utf8(out.stdout).unwrap()
}

fn liftledger(args: &[&str]) -> (Option<i32>, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(args)
        .output()
        .unwrap();
    let said =
        String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
    (out.status.code(), said)
}

struct Made {
    folder: tempfile::TempDir,
    key: String,
}

impl Made {
    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    /// The demo, and three bundles of it by the command line.
    fn begin() -> Self {
        let mut made = Self {
            folder: tempfile::tempdir().unwrap(),
            key: String::new(),
        };
        let data = made.path("demo");
        let (code, said) = liftledger(&["demo", "--once", "--data", &data]);
        assert_eq!(code, Some(0), "{said}");
        for (name, case, more) in [
            ("good.zip", "HR-26-0417", vec![]),
            (
                "withheld.zip",
                "HR-26-0417",
                vec![
                    "--withhold",
                    "address=somebody lives there",
                    "--withhold",
                    "note=not asked for",
                ],
            ),
            ("other.zip", "HR-26-0433", vec![]),
        ] {
            let out = made.path(name);
            let mut args = vec![
                "bundle",
                case,
                "--to",
                "Defence counsel",
                "--authority",
                "order of 4 March",
                "--out",
                &out,
                "--data",
                &data,
            ];
            args.extend(more);
            let (code, said) = liftledger(&args);
            assert_eq!(code, Some(0), "{said}");
        }
        let folder = made.path("export");
        let (code, said) = liftledger(&[
            "export",
            "--case",
            "HR-26-0417",
            "--out",
            &folder,
            "--data",
            &data,
        ]);
        assert_eq!(code, Some(0), "{said}");
        made.key = std::fs::read_to_string(format!("{folder}/vkey.txt"))
            .unwrap()
            .trim()
            .to_owned();
        made
    }

    /// What the stranger says of these files.
    fn stranger(&self, files: &[String]) -> Vec<String> {
        let asked: String = files
            .iter()
            .map(|f| format!("{f}\t{}\n", self.key))
            .collect();
        python("stranger.py", &asked)
            .lines()
            .map(str::to_owned)
            .collect()
    }

    fn ours(&self, file: &str) -> (bool, String) {
        let (code, said) = liftledger(&["verify", "--bundle", file, "--key", &self.key]);
        assert!(matches!(code, Some(0 | 2)), "{file}: {said}");
        (code == Some(0), said)
    }
}

/// The page out of a bundle, opened from the disk as whoever gets a bundle opens it.
struct Page(Browser);

impl Page {
    fn open(made: &Made) -> Self {
        let script = "import zipfile,sys\nz=zipfile.ZipFile(sys.argv[1])\nn=[n for n in z.namelist() if n.endswith('/data/verify.html')][0]\nopen(sys.argv[2],'wb').write(z.read(n))\n";
        let (from, to) = (made.path("good.zip"), made.path("verify.html"));
        let done = Command::new(venv().join("bin/python"))
            .args(["-c", script, &from, &to])
            .status()
            .unwrap();
        assert!(done.success());
        let browser = Browser::start(&format!("file://{to}"), Size::Desk, true);
        browser.go("");
        browser.type_into(&browser.must("#key"), &made.key);
        Self(browser)
    }

    fn says(&self, file: &str) -> (bool, String) {
        self.0.run("document.getElementById('said').removeAttribute('data-result'); document.getElementById('file').value = ''; return null;");
        self.0.type_into(&self.0.must("#file"), file);
        let result = self.0.must("#said[data-result]");
        let said = self.0.text_of(&result);
        (self.0.attribute(&result, "data-result") == "well", said)
    }
}

/// Sources: the format page, from which `stranger.py` was written; PyPI `cryptography` for Ed25519; PyPI `bagit`.
#[test]
fn a_stranger_a_browser_and_our_command_agree_on_each_bundle() {
    let made = Made::begin();
    let good = [
        made.path("good.zip"),
        made.path("withheld.zip"),
        made.path("other.zip"),
    ];
    let page = Page::open(&made);
    for (file, stranger) in good.iter().zip(made.stranger(&good)) {
        assert_eq!(stranger, "accepted", "{file}");
        assert!(made.ours(file).0, "{}", made.ours(file).1);
        let (well, said) = page.says(file);
        assert!(well, "{file}: {said}");
    }
    let bags = "import bagit,sys,zipfile,tempfile,os\nfor p in sys.argv[1:]:\n    d=tempfile.mkdtemp()\n    zipfile.ZipFile(p).extractall(d)\n    bagit.Bag(os.path.join(d,os.listdir(d)[0])).validate()\n    print('valid')\n";
    let out = Command::new(venv().join("bin/python"))
        .args(["-c", bags])
        .args(&good)
        .output()
        .unwrap();
    assert_eq!(
        String::from_utf8_lossy(&out.stdout),
        "valid\n".repeat(3),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );

    let folder = made.path("mutants");
    std::fs::create_dir(&folder).unwrap();
    let asked = format!("{}\n{folder}\n{MUTANTS}\n", good.join("\n"));
    let how: Vec<String> = python("mutants.py", &asked)
        .lines()
        .map(str::to_owned)
        .collect();
    assert_eq!(how.len(), MUTANTS);
    let files: Vec<String> = (0..MUTANTS)
        .map(|n| format!("{folder}/mutant-{n:03}.zip"))
        .collect();
    let strangers = made.stranger(&files);
    assert_eq!(strangers.len(), MUTANTS);
    for ((file, how), stranger) in files.iter().zip(&how).zip(&strangers) {
        assert!(
            stranger.starts_with("refused"),
            "the stranger took {file}: {how}"
        );
        let (taken, said) = made.ours(file);
        assert!(!taken, "our command took {file}: {how}: {said}");
        let (taken, said) = page.says(file);
        assert!(!taken, "the page took {file}: {how}: {said}");
    }
}

/// Events of the demo's first case are expunged by two people; its bundle then has marks in the place of their payloads.
fn expunged(made: &Made) -> String {
    use liftledger::app::Sent;
    use liftledger::app::house::House;
    use liftledger::custody::expungement::{CarryOutExpungement, OrderExpungement};
    use liftledger::custody::{Act, Command as Asked, Signed};
    use liftledger::ids::{CommandId, Subject};
    use liftledger::ledger::event::Source;
    let data = made.path("demo");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let house = House::open(Path::new(&data)).await.unwrap();
        let viewer = liftledger::app::Viewer::operator();
        let reader = house.reader(&viewer);
        let case = reader.case_by_number("HR-26-0417").await.unwrap().id;
        let marks = reader.marks_of(case, &Default::default()).await.unwrap();
        let of = Subject::Mark(marks.rows[0].id);
        let history = reader.history(of).await.unwrap();
        let goes = |kind: &str| matches!(kind, "mark.noted" | "image.added");
        let events: Vec<u64> = history
            .iter()
            .filter(|p| goes(&p.event.header.kind))
            .map(|p| p.event.header.seq)
            .collect();
        assert!(events.len() > 1);
        let order = Act::OrderExpungement(OrderExpungement {
            of: Subject::Case(case),
            events,
            court: "Hollin County Court".into(),
            order: "26-EX-14".into(),
            dated: "2026-03-01".parse().unwrap(),
        });
        let carry_out = Act::CarryOutExpungement(CarryOutExpungement { case, number: 1 });
        for (user, act) in [("milena", order), ("ivo", carry_out)] {
            let person = house.person_by_user_name(user).await.unwrap().unwrap().id;
            let command = Asked {
                id: CommandId::new(),
                claimed_at: None,
                late_reason: None,
                paper_sheet: None,
                act,
            };
            let sent = Sent {
                person: Some(person),
                signed: Signed::Password,
                beside: None,
                source: Source::Desk,
                command,
            };
            house.recorder.record(sent).await.unwrap();
        }
        house.close().await;
    });
    let out = made.path("expunged.zip");
    let (code, said) = liftledger(&[
        "bundle",
        "HR-26-0417",
        "--to",
        "Defence counsel",
        "--authority",
        "order of 4 March",
        "--out",
        &out,
        "--data",
        &data,
    ]);
    assert_eq!(code, Some(0), "{said}");
    out
}

/// The same three and the mark of an expunged event: taken where an expungement of the ledger part names the event, and
/// nowhere else. Source: chapter 10 of the format page.
#[test]
fn a_mark_of_an_expunged_event_is_taken_only_by_its_expungement() {
    let made = Made::begin();
    let file = expunged(&made);
    let page = Page::open(&made);
    assert_eq!(made.stranger(std::slice::from_ref(&file)), ["accepted"]);
    assert!(made.ours(&file).0, "{}", made.ours(&file).1);
    let (well, said) = page.says(&file);
    assert!(well && said.contains("events expunged by order"), "{said}");

    let folder = made.path("mutants");
    std::fs::create_dir(&folder).unwrap();
    let how: Vec<String> = python("expunged.py", &format!("{file}\n{folder}\n"))
        .lines()
        .map(str::to_owned)
        .collect();
    assert_eq!(how.len(), 7);
    let files: Vec<String> = (0..how.len())
        .map(|n| format!("{folder}/expunged-{n}.zip"))
        .collect();
    for ((file, how), stranger) in files.iter().zip(&how).zip(made.stranger(&files)) {
        assert!(stranger.starts_with("refused"), "the stranger took: {how}");
        let (taken, said) = made.ours(file);
        assert!(!taken, "our command took: {how}: {said}");
        let (taken, said) = page.says(file);
        assert!(!taken, "the page took: {how}: {said}");
    }
}
