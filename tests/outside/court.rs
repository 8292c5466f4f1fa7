//! The papers of the court file looked at with programs that we did not write: Debian's qpdf and poppler-utils for structure
//! and text, zbarimg (Debian zbar-tools) and zxing-cpp (PyPI) for the codes of a hand-over sheet. What they look like lies in
//! `target/papers`.

use std::path::Path;

use chrono::{TimeZone as _, Utc};
use liftledger::app::papers::court::sheet::Sheet;
use liftledger::app::papers::court::{Asked, compose};
use liftledger::app::papers::report;
use liftledger::app::papers::{By, Layout};
use liftledger::app::views::package_file;
use liftledger::custody::{Act, hand_over};
use liftledger::ids::{Code, CommandId, Piece, Subject};
use liftledger::reports::paper::Paper;

use super::boatyard::{Boatyard, act};
use super::court_file::{all, with_exhibits};
use super::labels::{run, zxing};

fn layout(paper: Paper) -> Layout {
    Layout {
        paper: Some(paper),
        agency: Some("Harrow County Evidence Unit".into()),
    }
}

fn looked(folder: &Path, name: &str, pdf: &[u8]) -> String {
    std::fs::create_dir_all(folder).unwrap();
    let file = folder.join(format!("{name}.pdf"));
    std::fs::write(&file, pdf).unwrap();
    let file = file.to_str().unwrap();
    run("qpdf", &["--check", file]);
    let stem = folder.join(name);
    run(
        "pdftoppm",
        &["-r", "80", "-png", file, stem.to_str().unwrap()],
    );
    let fonts = run("pdffonts", &[file]);
    for line in fonts.lines().skip(2) {
        assert!(
            line.contains("yes"),
            "{name}: a font is not embedded: {line}"
        );
    }
    run("pdftotext", &["-layout", file, "-"])
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_paper_is_sound_on_letter_and_a4() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(&dir.path().join("ledger")).await;
    with_exhibits(&b).await;
    let viewer = b.viewer(b.supervisor).await;
    let reader = b.house.reader(&viewer);
    let then = Utc.with_ymd_and_hms(2026, 11, 26, 14, 0, 0).unwrap();
    let folder = Path::new("target/papers");
    for asked in all(&b) {
        for (paper, size) in [(Paper::Letter, "letter"), (Paper::A4, "a4")] {
            let layout = layout(paper);
            let id = CommandId::new();
            let made = compose(&reader, b.case, &asked, &layout, id, then)
                .await
                .unwrap();
            let word = asked.kind().word();
            let text = looked(folder, &format!("{word}-{size}"), &made.bytes);
            assert!(text.contains(asked.kind().title()), "{word}: {text}");
            assert!(text.contains(&id.to_string()), "{word}: {text}");
        }
    }
    b.house.close().await;
}

/// Each code that stands on a sheet is read by both readers, at 300 dpi, and finds the thing in the ledger; the QR code is
/// the print's identifier.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_codes_of_a_hand_over_sheet_read_back() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(&dir.path().join("ledger")).await;
    let viewer = b.viewer(b.tech).await;
    let reader = b.house.reader(&viewer);
    for (paper, size) in [(Paper::Letter, "letter"), (Paper::A4, "a4")] {
        let asked = Asked::HandOverSheet(Sheet {
            empty: 1,
            ..Sheet::default()
        });
        let id = CommandId::new();
        let layout = layout(paper);
        let made = compose(&reader, b.case, &asked, &layout, id, Utc::now())
            .await
            .unwrap();
        let file = dir.path().join(format!("{size}.pdf"));
        std::fs::write(&file, &made.bytes).unwrap();
        let stem = dir.path().join(size);
        let args = ["-r", "300", "-png", "-singlefile"];
        let paths = [file.to_str().unwrap(), stem.to_str().unwrap()];
        run("pdftoppm", &[&args[..], &paths[..]].concat());
        let picture = stem.with_extension("png");
        let picture = picture.to_str().unwrap();
        let (zbar, zxing) = (run("zbarimg", &["-q", picture]), zxing(picture));
        assert!(zxing.contains(&format!("QRCode {id}")), "{size}: {zxing}");
        assert!(zbar.contains(&format!("QR-Code:{id}")), "{size}: {zbar}");
        let mut found = Vec::new();
        for line in zxing.lines() {
            let Some(text) = line.strip_prefix("Code128 ") else {
                continue;
            };
            assert!(zbar.contains(&format!("CODE-128:{text}")), "{size}: {zbar}");
            let code: Code = text.parse().unwrap();
            found.push(reader.subject_of_code(&code).await.unwrap());
        }
        found.sort_unstable();
        let mut listed = vec![
            Subject::Package(b.package),
            Subject::Item(b.items[0]),
            Subject::Item(b.items[2]),
        ];
        listed.sort_unstable();
        assert_eq!(found, listed, "{size}: {zxing}");
    }
    b.house.close().await;
}

/// A package that went to and fro until its item has 300 events: the report has every one of them, in order.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_report_of_three_hundred_events_reads_back_in_order() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(&dir.path().join("ledger")).await;
    let piece = Piece::Package(b.package);
    let fetch = liftledger::custody::place::Fetch {
        piece,
        purpose: "to examine it".into(),
    };
    act(&b.house, Some(b.custodian), None, Act::Fetch(fetch))
        .await
        .unwrap();
    let mut hands = [b.custodian, b.tech];
    for n in 0..150 {
        let release = hand_over::Release {
            piece,
            to: hands[1],
            purpose: format!("round {n:03}"),
            authority: String::new(),
            due_at: None,
            unsealed_reason: None,
        };
        act(&b.house, Some(hands[0]), None, Act::Release(release))
            .await
            .unwrap();
        let receive = hand_over::Receive {
            piece,
            seal_seen: "004217".into(),
            condition: hand_over::Condition::Intact,
            note: String::new(),
        };
        act(&b.house, Some(hands[1]), None, Act::Receive(receive))
            .await
            .unwrap();
        hands.swap(0, 1);
    }
    let viewer = b.viewer(b.supervisor).await;
    let reader = b.house.reader(&viewer);
    let file = package_file::load(&reader, b.package).await.unwrap();
    assert!(file.rows.len() > 300, "{}", file.rows.len());
    let printed = report::report(
        &reader,
        By::session(),
        Subject::Package(b.package),
        &layout(Paper::Letter),
        |_, _| {},
    )
    .await
    .unwrap();
    let path = dir.path().join("report.pdf");
    std::fs::write(&path, printed.bytes).unwrap();
    let path = path.to_str().unwrap();
    run("qpdf", &["--check", path]);
    let text = run("pdftotext", &["-raw", path, "-"]);
    let mut from = text.find("Claimed, recorded").unwrap();
    for row in &file.rows {
        let word = format!("seq {}\n", row.seq);
        let place = text[from..]
            .find(&word)
            .unwrap_or_else(|| panic!("{word} ({}) is missing or out of order", row.act));
        from += place + word.len();
    }
    b.house.close().await;
}
