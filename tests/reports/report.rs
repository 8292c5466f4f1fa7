//! The custody report: text of all scripts, tables over pages, the same bytes twice.

use super::sample::{report, row};
use liftledger::reports::ReportError;
use liftledger::reports::custody_report::custody_report;

fn pages(pdf: &[u8]) -> Vec<String> {
    let d = lopdf::Document::load_mem(pdf).unwrap();
    d.get_pages()
        .keys()
        .map(|&n| d.extract_text(&[n]).unwrap())
        .collect()
}

#[test]
fn names_in_latin_greek_and_cyrillic_come_out() {
    let text = pages(&custody_report(&report(3)).unwrap()).concat();
    for name in ["Zofia Wąsik", "Ελένη Δράκου", "Фёдор Жуков"] {
        assert!(text.contains(name), "{name} is missing in {text}");
    }
}

#[test]
fn two_hundred_rows_keep_their_order_and_every_page_its_head() {
    let pages = pages(&custody_report(&report(200)).unwrap());
    let text = pages.concat();
    let mut before = 0;
    for n in 1..=200 {
        let place = text.find(&format!("Count-{n:04}")).unwrap();
        assert!(place > before || n == 1, "row {n} is out of order");
        before = place;
    }
    let mut with_rows = 0;
    for page in &pages {
        if page.contains("Count-") {
            with_rows += 1;
            assert!(page.contains("Claimed, recorded"));
        }
    }
    assert!(with_rows > 5);
    for (i, page) in pages.iter().enumerate() {
        assert!(page.contains(&format!("page {} of {}", i + 1, pages.len())));
        assert!(page.contains("26-00417"));
    }
}

#[test]
fn flags_stand_in_words() {
    let text = pages(&custody_report(&report(12)).unwrap()).concat();
    assert!(text.contains("LATE ENTRY"));
    assert!(text.contains("FLAG: seal"));
    // Findings stand with who answered, when and in which event, or with what would answer them.
    assert!(text.contains("Findings and answers") && text.contains("Time not accounted for"));
    assert!(text.contains("locked drawer") && text.contains("event 140"));
    assert!(text.contains("NO ANSWER"));
    assert!(text.contains("MIRRORED IMAGE: flip before comparison"));
}

#[test]
fn a_row_higher_than_a_page_loses_nothing() {
    let mut r = report(1);
    let mut high = row(1);
    high.note = (0..900).map(|i| format!("word{i:03} ")).collect();
    r.items[0].custody = vec![high];
    let text = pages(&custody_report(&r).unwrap()).concat();
    for i in 0..900 {
        assert!(text.contains(&format!("word{i:03}")), "{i}");
    }
}

#[test]
fn refusals_name_the_field() {
    let mut r = report(1);
    r.items[0].custody[0].note = "漢".into();
    assert_eq!(
        custody_report(&r).unwrap_err(),
        ReportError::Glyph {
            ch: '漢',
            field: "Custody, Note".into()
        }
    );
    let mut r = report(1);
    r.items[0].images[0].thumbnail = Some(b"not a picture".to_vec());
    assert!(matches!(
        custody_report(&r),
        Err(ReportError::Picture { .. })
    ));
}

#[test]
fn the_same_report_gives_the_same_bytes() {
    assert_eq!(
        custody_report(&report(20)).unwrap(),
        custody_report(&report(20)).unwrap()
    );
}
