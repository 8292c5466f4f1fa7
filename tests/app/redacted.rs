//! Papers printed for a disclosure: what is withheld stands nowhere on them, in no form, and the reason stands in its place.

use std::collections::BTreeMap;

use liftledger::app::Viewer;
use liftledger::app::papers::By;
use liftledger::app::papers::bundle::{Bundled, Wanted, Withhold, bundle, redaction};
use liftledger::app::papers::redact::Redaction;
use liftledger::app::reader::opened;
use liftledger::custody::paper::PaperKind;
use liftledger::custody::{Act, Fact, amendment};
use liftledger::disclosure::contents::Contents;
use liftledger::ids::Subject;

use super::boatyard::{Boatyard, act};
use super::bundle::{bare, text_of};
use super::court_file::with_exhibits;

async fn made(b: &Boatyard, withhold: &[&str]) -> (Bundled, BTreeMap<String, Vec<u8>>) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.zip");
    let viewer = b.viewer(b.liaison).await;
    let reader = b.house.reader(&viewer);
    let wanted = Wanted {
        to: "Defence counsel".into(),
        authority: "order of 4 March".into(),
        withhold: withhold.iter().map(|w| w.parse().unwrap()).collect(),
        without_images: None,
    };
    let made = bundle(&reader, By::session(), b.case, &wanted, &path, |_, _| ())
        .await
        .unwrap();
    let mut zip = zip::ZipArchive::new(std::fs::File::open(&path).unwrap()).unwrap();
    let mut files = BTreeMap::new();
    for n in 0..zip.len() {
        let mut file = zip.by_index(n).unwrap();
        let mut bytes = Vec::new();
        std::io::Read::read_to_end(&mut file, &mut bytes).unwrap();
        let name = file.name().unwrap().into_owned();
        let (_, name) = name.split_once('/').unwrap();
        files.insert(name.trim_start_matches("data/").to_owned(), bytes);
    }
    (made, files)
}

/// A description was corrected, a person is protected, a place is nobody's business: none of it stands on a paper, neither
/// as it was recorded nor as it was corrected, in whatever words the paper has it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_withheld_stands_on_no_paper() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    with_exhibits(&b).await;
    let viewer = Viewer::operator();
    let reader = b.house.reader(&viewer);
    let past = reader.history(Subject::Item(b.items[0])).await.unwrap();
    let amend = amendment::Amend {
        event: past[0].event.header.seq,
        field: "description".into(),
        value: "print of a child's hand".into(),
        reason: "seen under the microscope".into(),
    };
    act(&b.house, Some(b.tech), None, Act::Amend(amend))
        .await
        .unwrap();
    // Without anything withheld all of it is there, so the test can fail.
    let told = [
        "print of a child's hand",
        "recovered with thick-pliable-tape",
        "Tess Odell",
        "4 Slip Road, Harrow Cove",
    ];
    let (open, files) = made(&b, &[]).await;
    assert_eq!(open.papers_left_out, None);
    let report = text_of(&files["papers/custody-report.pdf"]);
    let list = text_of(&files["papers/exhibit-list.pdf"]);
    for words in told {
        // As it was recorded it stands among the corrections.
        assert!(report.contains(&bare(words)), "{words}");
    }
    assert!(list.contains(&bare("print of a child's hand")));
    let (shut, files) = made(
        &b,
        &[
            "description=a child is concerned",
            "by=threatened",
            "address=somebody lives there",
        ],
    )
    .await;
    assert_eq!(shut.papers_left_out, None);
    let contents = Contents::parse(&files["contents.json"]).unwrap();
    let papers: Vec<&str> = contents.papers.keys().map(String::as_str).collect();
    assert_eq!(
        papers,
        ["papers/custody-report.pdf", "papers/exhibit-list.pdf"]
    );
    for path in papers {
        let said = text_of(&files[path]);
        for words in told {
            assert!(!said.contains(&bare(words)), "{path}: {words}");
        }
        assert!(
            said.contains(&bare("[withheld: a child is concerned]")),
            "{path}"
        );
        assert!(said.contains(&bare("are withheld in this print")), "{path}");
    }
    let report = text_of(&files["papers/custody-report.pdf"]);
    for reason in ["threatened", "somebody lives there"] {
        assert!(report.contains(&bare(&format!("[withheld: {reason}]"))));
    }
    // Nor in the events: what it was corrected to is withheld with it.
    let events = String::from_utf8_lossy(&files["ledger/events.jsonl"]).into_owned();
    assert!(
        !events.contains("a child's hand") && !events.contains("recovered with thick-pliable-tape")
    );
    // The prints are on the record with what they leave out.
    let size = b.house.store.head().await.unwrap().size;
    let mut kinds = Vec::new();
    for seq in 1..=size {
        let raw = b.house.store.event(seq).await.unwrap().unwrap();
        let event = opened(raw).unwrap();
        if let Ok(Fact::ReportPrinted(x)) = Fact::from_fields(&event.header.kind, &event.fields) {
            kinds.push((x.paper.unwrap(), x.withheld.is_empty()));
        }
    }
    assert_eq!(
        kinds,
        [
            (PaperKind::CustodyReport, true),
            (PaperKind::ExhibitList, true),
            (PaperKind::CustodyReport, false),
            (PaperKind::ExhibitList, false),
        ]
    );
    b.house.close().await;
}

/// What papers tell in other words than the field's own cannot be found on them: then they stay out, and it is said why.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn papers_stay_out_where_they_cannot_be_cleared() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    for (withhold, why) in [
        ("condition=not asked for", "is no free text"),
        ("piece=not asked for", "is an identifier"),
        ("started_at=not asked for", "is no free text"),
    ] {
        let (out, files) = made(&b, &[withhold]).await;
        let said = out.papers_left_out.unwrap();
        assert!(said.contains(why), "{withhold}: {said}");
        assert!(!files.keys().any(|p| p.ends_with(".pdf")), "{withhold}");
        let index = String::from_utf8_lossy(&files["index.html"]).into_owned();
        assert!(index.contains("No papers: the field"), "{index}");
    }
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_text_is_found_however_it_is_written() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = Viewer::operator();
    let reader = b.house.reader(&viewer);
    let wanted = Wanted {
        withhold: vec!["address=home".parse::<Withhold>().unwrap()],
        ..Wanted::default()
    };
    let redaction = redaction(&reader, b.case, &wanted).await.unwrap().unwrap();
    for (text, clear) in [
        ("4 Slip Road, Harrow Cove", "[withheld: home]"),
        ("at 4 SLIP ROAD,\nHarrow Cove.", "at [withheld: home]."),
        ("4 slip road harrow cove", "[withheld: home]"),
        (
            "4 Slip Road, Harrow Cove and 4 Slip Road, Harrow Cove",
            "[withheld: home] and [withheld: home]",
        ),
        ("Slip Road", "Slip Road"),
        ("", ""),
    ] {
        let mut said = text.to_owned();
        assert_eq!(redaction.stands_in(text), text != clear, "{text:?}");
        redaction.clear(&mut said);
        assert_eq!(said, clear, "{text:?}");
    }
    // A reason that says what is withheld is not put on the paper either.
    let mut events = Vec::new();
    for past in reader.history(Subject::Case(b.case)).await.unwrap() {
        events.push(past.event);
    }
    let scene = events
        .iter()
        .find(|e| e.header.kind == "case.scene-opened")
        .unwrap();
    let withheld = BTreeMap::from([(
        scene.header.seq.to_string(),
        BTreeMap::from([(
            "address".to_owned(),
            "4 Slip Road, Harrow Cove is a home".to_owned(),
        )]),
    )]);
    let careless = Redaction::of(&events, &withheld).unwrap();
    let mut said = "at 4 Slip Road, Harrow Cove".to_owned();
    careless.clear(&mut said);
    assert_eq!(said, "[withheld]");
    b.house.close().await;
}
