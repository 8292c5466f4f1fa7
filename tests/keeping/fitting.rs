//! The smallest box, against a search by brute force: every box, every one of the six ways in which a thing can lie.

use liftledger::keeping::Reason;
use liftledger::keeping::StockLine;
use liftledger::keeping::fitting::{self, Passed, Sides};
use proptest::prelude::*;

/// The six orders of three sides, written out: nothing here is shared with the program.
fn lies(size: Sides) -> [Sides; 6] {
    let [a, b, c] = size;
    [
        [a, b, c],
        [a, c, b],
        [b, a, c],
        [b, c, a],
        [c, a, b],
        [c, b, a],
    ]
}

fn fits(size: Sides, inner: Sides, clearance: u32) -> bool {
    lies(size).iter().any(|[a, b, c]| {
        a + 2 * clearance <= inner[0]
            && b + 2 * clearance <= inner[1]
            && c + 2 * clearance <= inner[2]
    })
}

fn side() -> impl Strategy<Value = u32> {
    // Small numbers, so that things nearly fit, and now and then a long one.
    prop_oneof![9 => 1..40_u32, 1 => 1..3000_u32]
}

fn sides() -> impl Strategy<Value = Sides> {
    [side(), side(), side()]
}

fn line() -> impl Strategy<Value = StockLine> {
    (sides(), 0..3_u32, any::<bool>()).prop_map(|(inner_mm, count, rigid)| StockLine {
        kind: String::new(),
        container: if rigid { "rigid" } else { "soft" }.into(),
        inner_mm,
        count,
    })
}

fn rigid_only(line: &StockLine) -> Result<(), Reason> {
    if line.container == "rigid" {
        return Ok(());
    }
    Err(Reason {
        rule: "rigid".into(),
        sentence: String::new(),
        next: String::new(),
        source: String::new(),
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, ..ProptestConfig::default() })]

    #[test]
    fn the_smallest_box_is_that_of_a_search_by_brute_force(
        size in sides(),
        clearance in 0..6_u32,
        mut stock in prop::collection::vec(line(), 0..12),
    ) {
        for (i, line) in stock.iter_mut().enumerate() {
            line.kind = format!("B{i:02}");
        }
        let volume = |l: &StockLine| l.inner_mm.iter().map(|s| u128::from(*s)).product::<u128>();
        let takes = |l: &&StockLine| l.container == "rigid" && l.count > 0 && fits(size, l.inner_mm, clearance);
        let least = stock.iter().filter(takes).map(volume).min();
        let found = fitting::smallest(&stock, &[size], clearance, rigid_only);
        prop_assert_eq!(found.smallest.map(volume), least);
        if let Some(line) = found.smallest {
            prop_assert!(takes(&line));
            // How it is said to lie is how it fits.
            let turn = fitting::turned(size, line.inner_mm, clearance).unwrap();
            for (along, inside) in turn.iter().zip(line.inner_mm) {
                prop_assert!(size[*along] + 2 * clearance <= inside);
            }
            let mut used = turn;
            used.sort_unstable();
            prop_assert_eq!(used, [0, 1, 2]);
        }
        // The one before it is smaller or as large, is of an allowed kind, and really is not the one.
        if let Some((line, why)) = found.next_smaller {
            prop_assert_eq!(&line.container, "rigid");
            prop_assert!(least.is_none_or(|least| volume(line) <= least));
            match why {
                Passed::NoneLeft => prop_assert!(line.count == 0 && fits(size, line.inner_mm, clearance)),
                Passed::Rule(reason) => {
                    prop_assert!(!fits(size, line.inner_mm, clearance));
                    let lacks = fitting::lacking(size, line.inner_mm, clearance);
                    let words = format!("{lacks} mm too little");
                    prop_assert!(lacks > 0 && reason.sentence.contains(&words));
                    // That much more on every side, and it would fit.
                    let grown = line.inner_mm.map(|s| s + u32::try_from(lacks).unwrap());
                    prop_assert!(fits(size, grown, clearance));
                    let less = line.inner_mm.map(|s| s + u32::try_from(lacks - 1).unwrap());
                    prop_assert!(!fits(size, less, clearance));
                }
            }
        } else {
            let smaller = stock.iter().filter(|l| l.container == "rigid" && least.is_none_or(|x| volume(l) < x));
            prop_assert_eq!(smaller.count(), 0);
        }
    }

    #[test]
    fn several_things_go_in_only_if_each_does(
        all in prop::collection::vec(sides(), 1..5),
        inner in sides(),
        clearance in 0..6_u32,
    ) {
        let each = all.iter().all(|s| fits(*s, inner, clearance));
        let room = |s: &Sides| s.iter().map(|x| u128::from(x + 2 * clearance)).product::<u128>();
        let inside: u128 = inner.iter().map(|s| u128::from(*s)).product();
        let by_volume = all.len() < 2 || all.iter().map(room).sum::<u128>() <= inside;
        prop_assert_eq!(fitting::goes_in(&all, inner, clearance).is_ok(), each && by_volume);
    }
}

#[test]
fn boundaries() {
    // Exactly as large is large enough; a millimetre more is not. Geometry.
    assert_eq!(
        fitting::turned([100, 75, 40], [100, 75, 40], 0),
        Some([0, 1, 2])
    );
    assert_eq!(fitting::turned([101, 75, 40], [100, 75, 40], 0), None);
    assert_eq!(
        fitting::turned([96, 71, 36], [100, 75, 40], 2),
        Some([0, 1, 2])
    );
    assert_eq!(fitting::turned([96, 71, 37], [100, 75, 40], 2), None);
    // On its end: its height along the box's length.
    assert_eq!(
        fitting::turned([10, 20, 90], [100, 75, 40], 0),
        Some([2, 1, 0])
    );
    // A diagonal is no right angle: 105 mm would lie across the corners of 100 by 75.
    assert_eq!(fitting::turned([105, 5, 5], [100, 75, 40], 0), None);
    assert!(fitting::goes_in(&[], [1, 1, 1], 9).is_ok());
    assert_eq!(
        fitting::lacking([u32::MAX, 1, 1], [1, 1, 1], u32::MAX),
        u64::from(u32::MAX) * 3 - 1
    );
}
