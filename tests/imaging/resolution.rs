//! Densities from two picked points, and whether the stated uncertainty holds.

use liftledger::imaging::resolution::{Length, Scale, ScaleError, Span, measure};

/// Numbers that look random and are the same every time (SplitMix64, public domain, from memory).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
    fn within(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.next()
    }
}

fn length(text: &str) -> Length {
    text.parse().unwrap()
}

fn tenths(pixels: f64) -> u32 {
    (pixels * 10.0).round() as u32
}

#[test]
fn a_length_is_what_was_typed() {
    for (typed, kept) in [
        ("10 mm", "10 mm"),
        ("10mm", "10 mm"),
        ("0.0625 in", "0.0625 in"),
        ("2,5 mm", "2.5 mm"),
        ("1.50 in", "1.5 in"),
    ] {
        assert_eq!(length(typed).to_string(), kept);
        assert_eq!(length(kept), length(typed));
    }
    assert!((length("25.4 mm").inches() - 1.0).abs() < 1e-12);
    for wrong in [
        "",
        "10",
        "mm",
        "-1 mm",
        "0 mm",
        "1e3 mm",
        "1.23456 in",
        "12345 mm",
        "1 cm",
        ". mm",
        "١ mm",
    ] {
        assert!(wrong.parse::<Length>().is_err(), "{wrong}");
    }
}

#[test]
fn two_points_give_a_density() {
    let span = |x2, y2, text| Span {
        x1: 0,
        y1: 0,
        x2,
        y2,
        length: length(text),
    };
    let picked = |first, second| Scale::Picked {
        first,
        second,
        picking_tenths: 10,
    };
    // 1000 pixels on an inch; three times the standard uncertainty of the difference of two coordinates known to one pixel.
    let d = measure(&picked(span(10_000, 0, "1 in"), None)).unwrap();
    assert_eq!((d.x, d.ppi(), d.warning()), (d.y, Some(1000), None));
    assert!((d.x.uncertainty.unwrap() - 6.0_f64.sqrt()).abs() < 1e-9);
    // 3, 4, 5: a scale that lies across.
    let d = measure(&picked(span(3000, 4000, "0.5 in"), None)).unwrap();
    assert!((d.x.value - 1000.0).abs() < 1e-9);
    // Pixels that are not square: 600 across, 300 down.
    let d = measure(&picked(span(6000, 0, "1 in"), Some(span(0, 3000, "1 in")))).unwrap();
    assert!((d.x.value - 600.0).abs() < 1e-9 && (d.y.value - 300.0).abs() < 1e-9);
    assert_eq!((d.ppi(), d.least()), (None, 300));
    assert!(d.warning().unwrap().contains("ASTM E3235"));
    // The same pixels, both scales askew: (6·cos, 3·sin) by construction.
    let askew = |degrees: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        Span {
            x1: 50_000,
            y1: 50_000,
            x2: (50_000.0 + 6000.0 * cos).round() as u32,
            y2: (50_000.0 + 3000.0 * sin).round() as u32,
            length: length("1 in"),
        }
    };
    let d = measure(&picked(askew(20.0), Some(askew(115.0)))).unwrap();
    assert!((d.x.value - 600.0).abs() < 0.2 && (d.y.value - 300.0).abs() < 0.2);
    // A scanner is believed.
    let d = measure(&Scale::Scanner { ppi: 1200 }).unwrap();
    assert_eq!((d.ppi(), d.x.uncertainty), (Some(1200), None));
    let no = |scale, why| assert_eq!(measure(&scale), Err(why));
    no(picked(span(199, 0, "1 in"), None), ScaleError::TooClose);
    no(
        picked(span(6000, 0, "1 in"), Some(span(6000, 900, "1 in"))),
        ScaleError::SameDirection,
    );
    no(
        picked(span(6000, 0, "9 in"), Some(span(3000, 6000, "0.01 in"))),
        ScaleError::NoDensity,
    );
    no(Scale::Scanner { ppi: 0 }, ScaleError::NoDensity);
    no(
        Scale::Picked {
            first: span(6000, 0, "1 in"),
            second: None,
            picking_tenths: 0,
        },
        ScaleError::Picking,
    );
}

/// A scale of known density, drawn, at a random place, angle and length; both ends picked up to one pixel off in each
/// coordinate, as the model says. How many of `n` measurements lie within what they state, and how far off they are on the
/// whole (root of the mean square), in thirds of what they state?
fn hits(seed: u64, n: usize, two: bool) -> (usize, f64) {
    let mut chance = Chance(seed);
    let (mut hits, mut squares) = (0, 0.0);
    for i in 0..n {
        let (px, py) = if two {
            (chance.within(300.0, 2400.0), chance.within(300.0, 2400.0))
        } else {
            let p = chance.within(300.0, 2400.0);
            (p, p)
        };
        let mut span = |degrees: f64| {
            let mm = (chance.within(5.0, 50.0) * 10.0).round() / 10.0;
            let (sin, cos) = degrees.to_radians().sin_cos();
            let (x, y) = (chance.within(6000.0, 9000.0), chance.within(6000.0, 9000.0));
            let mut off = || chance.within(-1.0, 1.0);
            Span {
                x1: tenths(x + off()),
                y1: tenths(y + off()),
                x2: tenths(x + mm / 25.4 * px * cos + off()),
                y2: tenths(y + mm / 25.4 * py * sin + off()),
                length: length(&format!("{mm} mm")),
            }
        };
        let scale = if two {
            Scale::Picked {
                first: span(7.0),
                second: Some(span(98.0)),
                picking_tenths: 10,
            }
        } else {
            Scale::Picked {
                first: span((i % 89) as f64 * 2.0),
                second: None,
                picking_tenths: 10,
            }
        };
        let d = measure(&scale).unwrap();
        let within = |p: liftledger::imaging::resolution::Ppi, truth: f64| {
            (p.value - truth).abs() <= p.uncertainty.unwrap()
        };
        squares += ((d.x.value - px) / d.x.uncertainty.unwrap() * 3.0).powi(2);
        hits += usize::from(within(d.x, px) && (!two || within(d.y, py)));
    }
    (hits, (squares / n as f64).sqrt())
}

#[test]
fn a_measurement_lies_within_its_stated_uncertainty() {
    for seed in [1, 26, 417] {
        let (within, _) = hits(seed, 100, false);
        assert!(within >= 95, "{within} of 100");
        let (both, _) = hits(seed, 100, true);
        assert!(both >= 95, "{both} of 100 on both axes");
    }
    // Neither by luck nor by stating too much: a third of what is stated is the standard uncertainty.
    for two in [false, true] {
        let (within, rms) = hits(7, 20_000, two);
        assert!(within >= 19_700, "{within} of 20000");
        assert!((0.97..1.03).contains(&rms), "{rms}");
    }
}
