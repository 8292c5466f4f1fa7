//! Reports looked at with Debian's qpdf and poppler-utils: sound structure, text in order, embedded fonts.

use liftledger::reports::custody_report::custody_report;
use liftledger::reports::label::{card_back, seal_strip, sheet};
use liftledger::reports::paper::{Card, Paper};

use super::labels::run;
use super::reports_sample::{label, report};

#[test]
fn the_text_of_a_report_reads_back_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("report.pdf");
    std::fs::write(&file, custody_report(&report(200)).unwrap()).unwrap();
    let file = file.to_str().unwrap();
    run("qpdf", &["--check", file]);
    let text = run("pdftotext", &["-layout", file, "-"]);
    let mut from = 0;
    for n in 1..=200 {
        let word = format!("Count-{n:04}");
        let place = text[from..]
            .find(&word)
            .unwrap_or_else(|| panic!("{word} is missing or out of order"));
        from += place;
    }
    for name in [
        "Zofia Wąsik",
        "Ελένη Δράκου",
        "Фёдор Жуков",
        "Integrity of the record",
    ] {
        assert!(text.contains(name), "{name}");
    }
    let fonts = run("pdffonts", &[file]);
    for line in fonts.lines().skip(2) {
        assert!(line.contains("yes"), "a font is not embedded: {line}");
    }
    assert_eq!(fonts.lines().count(), 5, "{fonts}");
    let info = run("pdfinfo", &[file]);
    assert!(info.contains("Custody report, case 26-00417"), "{info}");
}

#[test]
fn cards_carry_every_element() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("back.pdf");
    std::fs::write(&file, card_back(&label(), Card::ThreeByFive).unwrap()).unwrap();
    let text = run("pdftotext", &["-raw", file.to_str().unwrap(), "-"]);
    // ASTM E1459-92(2005) 4.1.4.1 to 4.1.4.5.
    for element in [
        "Item 3",
        "26-00417",
        "Zofia Wąsik",
        "14 Mar 2026",
        "Latent print from the cabin",
    ] {
        assert!(text.contains(element), "{element} in {text}");
    }
}

#[test]
fn sheets_and_strips_are_sound() {
    let folder = tempfile::tempdir().unwrap();
    for (name, pdf) in [
        (
            "sheet",
            sheet(&vec![label(); 9], Card::FourBySix, Paper::Letter).unwrap(),
        ),
        ("strip", seal_strip(&label()).unwrap()),
    ] {
        let file = folder.path().join(name);
        std::fs::write(&file, pdf).unwrap();
        run("qpdf", &["--check", file.to_str().unwrap()]);
    }
}
