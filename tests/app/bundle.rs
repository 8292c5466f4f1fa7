//! Disclosure bundles of the demo's case: what is in them, what is withheld, what is refused, and that anything changed is
//! found.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{Cursor, Read as _, Write as _};
use std::path::Path;
use std::sync::{Mutex, OnceLock};

use liftledger::app::papers::By;
use liftledger::app::papers::bundle::{BundleError, Bundled, Wanted, bundle};
use liftledger::app::{Part, Sent, Viewer};
use liftledger::custody::count::{BeginCount, EndCount};
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, Command, Fact, Signed};
use liftledger::disclosure::bag::Bag;
use liftledger::disclosure::bundle::{BundleReport, check};
use liftledger::disclosure::contents::Contents;
use liftledger::ids::{CaseId, CountId, Digest, Subject};
use liftledger::ledger::event::Source;
use sha2::{Digest as _, Sha256};

use crate::web::world::{World, runtime};

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| World::load("bundle-demo"))
}

/// One after the other: each of these tests discloses the same case, and counts what that adds.
fn on<T>(work: impl Future<Output = T>) -> T {
    static ONE: Mutex<()> = Mutex::new(());
    let _ = world();
    let _one = ONE
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    runtime().block_on(work)
}

fn wanted() -> Wanted {
    Wanted {
        to: "Defence counsel".into(),
        authority: "order of the county court of 4 March".into(),
        ..Wanted::default()
    }
}

async fn made(case: CaseId, wanted: &Wanted, out: &Path) -> Result<Bundled, BundleError> {
    let viewer = Viewer::operator();
    let reader = world().house.reader(&viewer);
    bundle(&reader, By::operator(), case, wanted, out, |_, _| ()).await
}

fn checked(path: &Path) -> BundleReport {
    check(File::open(path).unwrap(), Some(&world().house.verifying))
}

/// The files of a bundle under `data/`.
fn files(path: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut zip = zip::ZipArchive::new(File::open(path).unwrap()).unwrap();
    let mut out = BTreeMap::new();
    for n in 0..zip.len() {
        let mut file = zip.by_index(n).unwrap();
        let name = file.name().unwrap().into_owned();
        if let Some((_, path)) = name.split_once("/data/") {
            let mut bytes = Vec::new();
            file.read_to_end(&mut bytes).unwrap();
            out.insert(path.to_owned(), bytes);
        }
    }
    out
}

/// A bundle of these files, whose manifests fit them.
fn bagged(files: &BTreeMap<String, Vec<u8>>) -> BundleReport {
    let mut bag = Bag::new(Cursor::new(Vec::new()), "forged").unwrap();
    for (path, bytes) in files {
        bag.add(path, bytes).unwrap();
    }
    let zip = bag.finish(&[]).unwrap();
    check(zip, Some(&world().house.verifying))
}

#[test]
fn a_bundle_is_whole_and_on_the_record_before_it_is_handed_out() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.zip");
    on(async {
        let case = world().demo.cases["boatyard"];
        let made = made(case, &wanted(), &path).await.unwrap();
        let bytes = fs::read(&path).unwrap();
        assert_eq!(made.digest, Digest(Sha256::digest(&bytes).into()));
        assert_eq!(made.bytes, bytes.len() as u64);
        assert!(made.file_name.ends_with(".zip"));
        let report = checked(&path);
        assert_eq!(report.findings, []);
        assert_eq!(report.events, made.events);
        assert_eq!(report.images as u64, made.images);
        assert!(made.events > 100 && made.images > 10);

        let viewer = Viewer::operator();
        let reader = world().house.reader(&viewer);
        let past = reader.history(Subject::Case(case)).await.unwrap();
        let Some(Fact::CaseDisclosed(fact)) = past.iter().rev().find_map(|p| {
            p.fact
                .clone()
                .filter(|f| matches!(f, Fact::CaseDisclosed(_)))
        }) else {
            panic!("no disclosure on the record")
        };
        assert_eq!((fact.digest, fact.events), (made.digest, made.events));
        assert_eq!(fact.to, "Defence counsel");

        // What comes next says what is new since.
        let again = dir.path().join("again.zip");
        self::made(case, &wanted(), &again).await.unwrap();
        let contents = Contents::parse(&files(&again)["contents.json"]).unwrap();
        let since = contents.since.unwrap();
        assert_eq!(since.ledger_size, fact.ledger_size);
        assert!(!since.new_events.is_empty() && since.new_images.is_empty());
        assert!(checked(&again).is_clean());
    });
}

#[test]
fn a_withheld_field_is_nowhere_in_the_bundle_and_the_rest_still_verifies() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.zip");
    on(async {
        let case = world().demo.cases["boatyard"];
        let viewer = Viewer::operator();
        let reader = world().house.reader(&viewer);
        let address = reader.case(case).await.unwrap().scenes[0].address.clone();
        let wanted = Wanted {
            withhold: vec!["address=somebody lives there".parse().unwrap()],
            without_images: Some("they show a house number".into()),
            ..wanted()
        };
        let made = made(case, &wanted, &path).await.unwrap();
        assert!(made.withheld > 0 && made.images == 0);
        let report = checked(&path);
        assert_eq!(report.findings, []);
        assert_eq!(report.withheld, made.withheld);
        let files = files(&path);
        let papers: Vec<_> = files.iter().filter(|(p, _)| p.ends_with(".pdf")).collect();
        assert_eq!(papers.len(), 1, "no item is an exhibit yet");
        for (path, bytes) in papers {
            let said = text_of(bytes);
            assert!(!said.contains(&bare(&address)), "{path}");
            assert!(
                said.contains(&bare("[withheld: somebody lives there]")),
                "{path}"
            );
            assert!(said.contains(&bare("they show a house number")), "{path}");
            assert!(!has_pictures(bytes), "{path}");
        }
        for (path, bytes) in &files {
            let text = String::from_utf8_lossy(bytes);
            assert!(!text.contains(&address), "{path}");
        }
        let index = String::from_utf8_lossy(&files["index.html"]).into_owned();
        assert!(index.contains("address: withheld: somebody lives there"));

        // A reason too few, one too many, and an address made up in its place.
        let mut contents = Contents::parse(&files["contents.json"]).unwrap();
        let (seq, fields) = contents.withheld.pop_first().unwrap();
        let mut forged = files.clone();
        forged.insert("contents.json".into(), contents.to_bytes().unwrap());
        assert_eq!(codes(&bagged(&forged)), ["withheld-without-reason"]);
        contents.withheld.insert(seq.clone(), fields);
        contents
            .withheld
            .entry(seq)
            .or_default()
            .insert("name".into(), "no reason".into());
        forged.insert("contents.json".into(), contents.to_bytes().unwrap());
        assert_eq!(codes(&bagged(&forged)), ["reason-without-withheld"]);
    });
}

/// Letters and digits of a text, whatever lines it was broken into.
pub fn bare(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).collect()
}

/// What a PDF says, as letters and digits.
pub fn text_of(pdf: &[u8]) -> String {
    let d = lopdf::Document::load_mem(pdf).unwrap();
    let pages: Vec<u32> = d.get_pages().keys().copied().collect();
    bare(&d.extract_text(&pages).unwrap())
}

fn has_pictures(pdf: &[u8]) -> bool {
    let d = lopdf::Document::load_mem(pdf).unwrap();
    d.objects.values().any(|o| {
        let subtype = o.as_stream().and_then(|s| s.dict.get(b"Subtype"));
        subtype.is_ok_and(|n| n.as_name().is_ok_and(|n| n == b"Image"))
    })
}

fn codes(report: &BundleReport) -> Vec<&str> {
    report.findings.iter().map(|f| f.code.as_str()).collect()
}

#[test]
fn what_was_changed_is_found_even_when_the_manifests_were_made_to_fit() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.zip");
    on(async {
        let case = world().demo.cases["boatyard"];
        made(case, &wanted(), &path).await.unwrap();
        let good = files(&path);
        assert_eq!(codes(&bagged(&good)), Vec::<&str>::new());
        let forge = |path: &str, bytes: Vec<u8>| {
            let mut forged = good.clone();
            assert_ne!(forged.insert(path.into(), bytes.clone()), Some(bytes));
            bagged(&forged)
        };
        let lines = |path: &str| -> Vec<String> {
            let text = String::from_utf8(good[path].clone()).unwrap();
            text.lines().map(|l| format!("{l}\n")).collect()
        };
        let events = lines("ledger/events.jsonl");
        let without: String = events
            .iter()
            .enumerate()
            .filter(|(n, _)| *n != 5)
            .map(|(_, l)| l.as_str())
            .collect();
        let found = forge("ledger/events.jsonl", without.into_bytes());
        assert!(codes(&found).contains(&"proof-extra"), "{found:?}");
        let mut swapped = events.clone();
        swapped.swap(3, 4);
        let found = forge("ledger/events.jsonl", swapped.concat().into_bytes());
        assert!(codes(&found).contains(&"out-of-order"), "{found:?}");
        let mut subjects: BTreeMap<String, u64> =
            serde_json::from_slice(&good["ledger/subjects.json"]).unwrap();
        let (of_item, _) = subjects
            .iter()
            .find(|(s, _)| s.starts_with("item:"))
            .map(|(s, n)| (s.clone(), *n))
            .unwrap();
        subjects.remove(&of_item);
        let found = forge(
            "ledger/subjects.json",
            serde_json::to_vec(&subjects).unwrap(),
        );
        assert_eq!(codes(&found), ["subject-not-stated"]);
        let (image, bytes) = good.iter().find(|(p, _)| p.starts_with("images/")).unwrap();
        let mut altered = bytes.clone();
        altered[40] ^= 1;
        assert_eq!(codes(&forge(image, altered)), ["image-differs"]);
        let mut contents = Contents::parse(&good["contents.json"]).unwrap();
        contents.case = world().demo.cases["outboard"];
        let found = forge("contents.json", contents.to_bytes().unwrap());
        assert!(codes(&found).iter().all(|c| *c == "other-case") && found.findings.len() > 100);

        // A byte anywhere in the file's contents, manifests left as they were.
        let bytes = fs::read(&path).unwrap();
        let at = bytes
            .windows(12)
            .position(|w| w == b"\"withheld\":{")
            .unwrap();
        let mut altered = bytes.clone();
        altered[at + 3] ^= 1;
        let mut file = File::create(dir.path().join("altered.zip")).unwrap();
        file.write_all(&altered).unwrap();
        let found = checked(&dir.path().join("altered.zip"));
        assert!(codes(&found).contains(&"file-altered"), "{found:?}");
        let mut file = File::create(dir.path().join("cut.zip")).unwrap();
        file.write_all(&bytes[..bytes.len() / 2]).unwrap();
        assert_eq!(
            codes(&checked(&dir.path().join("cut.zip"))),
            ["bag-unreadable"]
        );
    });
}

/// A difference that a count found belongs to the thing's case, and to a count that is of no case.
#[test]
fn what_a_count_found_is_in_the_bundle_of_the_case() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.zip");
    on(async {
        let w = world();
        let send = async |act: Act| {
            let command = Command::now(act);
            let id = command.id.0;
            let sent = Sent {
                person: Some(w.demo.people["nour"].id),
                signed: Signed::Session,
                beside: None,
                source: Source::Desk,
                command,
            };
            w.house.recorder.record(sent).await.unwrap();
            id
        };
        let case = w.demo.cases["boatyard"];
        let viewer = Viewer::operator();
        let reader = w.house.reader(&viewer);
        let packages = reader.packages_of(case, &Part::default()).await.unwrap();
        let place = packages
            .rows
            .iter()
            .find_map(|p| match p.custody.holder {
                Holder::Place { place } => Some(place),
                _ => None,
            })
            .expect("something of the case is on a shelf");
        let begin = BeginCount {
            places: vec![place],
            sample: None,
        };
        let count = CountId(send(Act::BeginCount(begin)).await);
        send(Act::EndCount(EndCount { count })).await;
        made(case, &wanted(), &path).await.unwrap();
        let events = String::from_utf8(files(&path)["ledger/events.jsonl"].clone()).unwrap();
        assert!(
            events.contains(&format!("count:{count}")),
            "nothing was missing"
        );
        assert_eq!(checked(&path).findings, []);
    });
}

#[test]
fn a_bundle_needs_the_right_to_disclose_and_to_be_told_for_whom() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.zip");
    on(async {
        let w = world();
        let case = w.demo.cases["boatyard"];
        for (wanted, what) in [
            (
                Wanted {
                    to: " ".into(),
                    ..wanted()
                },
                "To whom",
            ),
            (
                Wanted {
                    authority: String::new(),
                    ..wanted()
                },
                "Under which",
            ),
            (
                Wanted {
                    withhold: vec!["adress=a slip".parse().unwrap()],
                    ..wanted()
                },
                "has a field adress",
            ),
        ] {
            let refused = made(case, &wanted, &path).await.unwrap_err().to_string();
            assert!(refused.contains(what), "{refused}");
            assert!(!path.exists());
        }
        assert!(
            "address"
                .parse::<liftledger::app::papers::bundle::Withhold>()
                .is_err()
        );
        let custodian = w
            .house
            .reader(&Viewer::operator())
            .person(w.demo.people["nour"].id)
            .await
            .unwrap();
        let viewer = Viewer {
            person: Some(custodian),
        };
        let refused = bundle(
            &w.house.reader(&viewer),
            By::session(),
            case,
            &wanted(),
            &path,
            |_, _| (),
        )
        .await;
        assert!(refused.unwrap_err().to_string().contains("disclose"));
    });
}
