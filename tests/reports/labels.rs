//! Cards and labels: sizes, refusals, the same bytes twice.

use super::sample::label;
use liftledger::reports::ReportError;
use liftledger::reports::label::*;
use liftledger::reports::paper::{Card, Paper};

/// Width and height of each page, mm.
fn sizes(pdf: &[u8]) -> Vec<(f64, f64)> {
    let d = lopdf::Document::load_mem(pdf).unwrap();
    d.get_pages()
        .values()
        .map(|&p| {
            let b = d
                .get_dictionary(p)
                .unwrap()
                .get(b"MediaBox")
                .unwrap()
                .as_array()
                .unwrap();
            let n = |i: usize| f64::from(b[i].as_float().unwrap());
            ((n(2) - n(0)) / 72.0 * 25.4, (n(3) - n(1)) / 72.0 * 25.4)
        })
        .collect()
}

fn near(have: &[(f64, f64)], want: &[(f64, f64)]) {
    assert_eq!(have.len(), want.len());
    for (h, w) in have.iter().zip(want) {
        assert!(
            (h.0 - w.0).abs() < 0.05 && (h.1 - w.1).abs() < 0.05,
            "{h:?} {w:?}"
        );
    }
}

#[test]
fn pages_have_the_size_of_the_card() {
    let l = label();
    near(
        &sizes(&card_front(&l, Card::ThreeByFive).unwrap()),
        &[(127.0, 76.2)],
    );
    near(
        &sizes(&card_back(&l, Card::ThreeByFive).unwrap()),
        &[(127.0, 76.2)],
    );
    near(
        &sizes(&card_front(&l, Card::FourBySix).unwrap()),
        &[(152.4, 101.6)],
    );
    near(
        &sizes(&card_back(&l, Card::FourBySix).unwrap()),
        &[(152.4, 101.6)],
    );
    near(&sizes(&box_label(&l).unwrap()), &[(100.0, 62.0)]);
    near(&sizes(&envelope_label(&l).unwrap()), &[(105.0, 74.0)]);
    near(&sizes(&seal_strip(&l).unwrap()), &[(150.0, 30.0)]);
}

#[test]
fn five_cards_make_two_sheets_front_and_back() {
    let pdf = sheet(&vec![label(); 5], Card::ThreeByFive, Paper::A4).unwrap();
    near(&sizes(&pdf), &[(297.0, 210.0); 4]);
    let pdf = sheet(&vec![label(); 2], Card::FourBySix, Paper::Letter).unwrap();
    near(&sizes(&pdf), &[(215.9, 279.4); 2]);
}

#[test]
fn a_back_lies_behind_its_front() {
    for (card, paper) in [
        (Card::ThreeByFive, Paper::A4),
        (Card::ThreeByFive, Paper::Letter),
        (Card::FourBySix, Paper::A4),
        (Card::FourBySix, Paper::Letter),
    ] {
        let p = Imposition::best(card.size(), paper.size());
        for i in 0..p.per_sheet() {
            let (f, b) = (p.place(i, false), p.place(i, true));
            // Turned over the long edge, x counts from the other side of an upright page, y of one across.
            let behind = if p.page.h >= p.page.w {
                (p.page.w - f.0 - p.card.w, f.1)
            } else {
                (f.0, p.page.h - f.1 - p.card.h)
            };
            assert!((b.0 - behind.0).abs() < 1e-9 && (b.1 - behind.1).abs() < 1e-9);
            assert!(f.0 >= 3.0 && f.1 >= 3.0);
        }
    }
}

#[test]
fn a_character_without_a_shape_is_refused_by_name() {
    let mut l = label();
    l.lifter = "Zofia 漢".into();
    let refused = card_back(&l, Card::ThreeByFive).unwrap_err();
    assert_eq!(
        refused,
        ReportError::Glyph {
            ch: '漢',
            field: "Lifted by".into()
        }
    );
}

#[test]
fn a_text_that_does_not_fit_is_refused_by_name() {
    let mut l = label();
    l.spot = "between the third and the fourth rib of the planking, ".repeat(40);
    assert_eq!(
        card_back(&l, Card::ThreeByFive).unwrap_err(),
        ReportError::TooLong {
            field: "Where on it".into()
        }
    );
}

#[test]
fn the_same_label_gives_the_same_bytes() {
    let one = card_back(&label(), Card::ThreeByFive).unwrap();
    assert_eq!(one, card_back(&label(), Card::ThreeByFive).unwrap());
    let mut other = label();
    other.item_number = "4".into();
    assert_ne!(one, card_back(&other, Card::ThreeByFive).unwrap());
}
