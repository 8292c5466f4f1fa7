//! Film and casting material, held against figures worked out by hand.

use liftledger::lifting::film::{FilmRule, MAX_SIDE, film};
use liftledger::lifting::volume::volume;

use super::rules;

#[test]
fn a_film_reaches_an_eighth_of_an_inch_beyond() {
    let rules = rules();
    let liquid = rules
        .medium("film-forming-liquid")
        .unwrap()
        .film
        .clone()
        .unwrap();
    // 1/8 in is 3.175 mm exactly (an inch is 25.4 mm by definition): 3.2 mm is the next tenth above.
    assert!(f64::from(liquid.margin_tenths) / 10.0 >= 25.4 / 8.0);
    assert!(f64::from(liquid.margin_tenths - 1) / 10.0 < 25.4 / 8.0);
    // (mark in tenths of mm; film; area; drops). One or two drops for a finger mark: common practice, no source.
    for (mark, size, area, drops) in [
        ((220, 180), (284, 244), 693, 2),
        ((200, 150), (264, 214), 565, 1),
        ((1, 1), (65, 65), 43, 1),
        ((250, 200), (314, 264), 829, 2),
        ((1000, 600), (1064, 664), 7065, 12),
    ] {
        let f = film(&liquid, mark.0, mark.1);
        assert_eq!((f.length_tenths, f.width_tenths), size);
        assert_eq!((f.area_mm2, f.drops), (area, Some(drops)), "{}", f.sentence);
        assert!(
            f.sentence.contains("common practice, no source"),
            "{}",
            f.sentence
        );
        assert_eq!(
            f.sentence.contains("more than the usual"),
            drops > 2,
            "{}",
            f.sentence
        );
    }
    let glue = rules
        .medium("white-pva-glue")
        .unwrap()
        .film
        .clone()
        .unwrap();
    let f = film(&glue, 220, 180);
    assert_eq!(f.drops, None);
    assert!(f.sentence.contains("our assumption"), "{}", f.sentence);
    // A size out of all measure stays within bounds.
    let f = film(
        &FilmRule {
            margin_tenths: u32::MAX,
            drop_mm2: Some(0),
            source: "s".into(),
        },
        u32::MAX,
        u32::MAX,
    );
    assert_eq!(f.length_tenths, 3 * MAX_SIDE);
    assert!(
        rules.media().iter().all(|m| m.film.is_none() || m.card),
        "films go on a card"
    );
}

#[test]
fn a_cast_takes_its_volume_and_a_quarter_more() {
    // 60 x 25 x 4 mm are 6 ml; with a quarter more 7.5 ml. Two round strips of 8 and 4 mm hold (64 + 16) pi/4 = 62.83 mm³ for
    // each mm: 7500 / 62.83 = 119.4 mm.
    let v = volume(600, 250, 40, Some((80, 40)));
    assert_eq!((v.net_mm3, v.with_allowance_mm3), (6000, 7500));
    assert_eq!(v.strips_mm, Some(120));
    let exact = 7500.0 / (std::f64::consts::PI / 4.0 * (64.0 + 16.0));
    assert!((f64::from(120u32) - exact) < 1.0 && f64::from(120u32) >= exact);
    assert!(
        v.sentence.starts_with("About 7.5 ml: 6.0 ml for the cast")
            && v.sentence.contains("25 per cent")
            && v.sentence.matches("our assumption").count() == 2,
        "{}",
        v.sentence
    );
    // Nothing is rounded down.
    let v = volume(1, 1, 1, None);
    assert_eq!((v.net_mm3, v.with_allowance_mm3, v.strips_mm), (1, 1, None));
    let v = volume(u32::MAX, u32::MAX, u32::MAX, Some((0, 0)));
    assert_eq!(v.net_mm3, 100_000_000);
}
