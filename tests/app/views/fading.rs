//! A lift that fades: on the desks and on its page until it is photographed, and on the record when that came late.
//!
//! Gelatin lifts are no lasting store of a mark (University of South Florida course notes); late after an hour is our
//! assumption.

use chrono::Utc;
use liftledger::app::papers::report::report;
use liftledger::app::papers::{By, Layout};
use liftledger::app::views::desk::{self, Desk, Which};
use liftledger::app::views::item_file::{self, ItemFile};
use liftledger::custody::{Act, image, package};
use liftledger::ids::{Piece, Subject};
use liftledger::keeping::Stand;

use crate::app::boatyard::{Boatyard, act};

async fn file(b: &Boatyard) -> ItemFile {
    let viewer = b.viewer(b.tech).await;
    item_file::load(&b.house.reader(&viewer), b.items[2])
        .await
        .unwrap()
}

async fn desk(b: &Boatyard) -> Desk {
    let viewer = b.viewer(b.tech).await;
    desk::load(&b.house.reader(&viewer), Which::Field)
        .await
        .unwrap()
}

fn has(file: &ItemFile, code: &str) -> bool {
    file.findings.iter().any(|f| f.code == code)
}

async fn report_says(b: &Boatyard) -> String {
    let viewer = b.viewer(b.supervisor).await;
    let reader = b.house.reader(&viewer);
    let of = Subject::Item(b.items[2]);
    let printed = report(&reader, By::session(), of, &Layout::default(), |_, _| {})
        .await
        .unwrap();
    let pdf = lopdf::Document::load_mem(&printed.bytes).unwrap();
    let pages: Vec<u32> = pdf.get_pages().keys().copied().collect();
    // Without spaces: where lines are broken is not looked at.
    let text = pdf.extract_text(&pages).unwrap();
    text.split_whitespace().collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_lift_that_fades_calls_until_it_is_photographed() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    // The third item is a gelatin lift, recovered more than an hour ago and not photographed.
    let of = Subject::Item(b.items[2]);
    let found = file(&b).await;
    assert_eq!(found.times[0].stand, Stand::Late);
    assert_eq!(found.times[0].badge, "photograph now");
    assert!(has(&found, "not-done-at-once"));
    assert_eq!(found.next_acts[0].act, "add-image");
    assert!(found.next_acts[0].first);
    let line = |d: &Desk, subject: Subject| {
        let line = d.now.lines.iter().find(|l| l.subject == subject);
        line.map(|l| (l.badge.clone(), l.why.clone()))
    };
    let (badge, why) = line(&desk(&b).await, of).unwrap();
    assert_eq!(badge, "photograph now");
    assert!(
        why.contains("no photograph of it is on the record"),
        "{why}"
    );

    // Packed without it: the record warns, and the package stands on the desk in its place.
    let pack = package::Pack {
        case: b.case,
        container: "mailing-box-flat".into(),
        stock: None,
        inner_mm: None,
        contents: vec![Piece::Item(b.items[2])],
        note: String::new(),
    };
    let made = act(&b.house, Some(b.tech), None, Act::Pack(pack)).await;
    let created = made.unwrap().created.unwrap();
    let found = file(&b).await;
    assert!(has(&found, "packed-too-soon"));
    let row = found
        .rows
        .iter()
        .find(|r| r.kind == "package.made")
        .unwrap();
    assert_eq!(row.flag.as_deref(), Some("packed-too-soon"));
    let now = desk(&b).await;
    assert_eq!(line(&now, created).unwrap().0, "photograph now");
    assert_eq!(line(&now, of), None);
    assert!(
        report_says(&b)
            .await
            .contains("nophotographofitisontherecord")
    );

    // Photographed at last: late, and nobody is called any more.
    let kept = b
        .house
        .originals
        .keep(&crate::app::boatyard::png(9))
        .unwrap();
    let add = image::AddImage {
        of,
        digest: kept.digest,
        name: "gel.png".into(),
        media_type: "image/png".into(),
        bytes: kept.bytes,
        width: Some(900),
        height: Some(600),
        view: vec!["contact-face".into()],
        says: liftledger::imaging::metadata::FileSays::default(),
    };
    act(&b.house, Some(b.tech), None, Act::AddImage(add))
        .await
        .unwrap();
    let found = file(&b).await;
    assert_eq!(found.times[0].stand, Stand::MetLate);
    assert!(has(&found, "photographed-late") && !has(&found, "not-done-at-once"));
    let now = desk(&b).await;
    assert_ne!(
        line(&now, created).map(|l| l.0).as_deref(),
        Some("photograph now")
    );
    assert!(report_says(&b).await.contains("itwasdoneat"));
    assert!(found.as_of <= Utc::now());
    b.house.close().await;
}
