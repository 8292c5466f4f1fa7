//! QR codes read off photographs: the symbol that the labels draw, put on a table by the camera of `photo.rs`.

use liftledger::imaging::codes::{MOST_CODES, MOST_TEXT, codes};
use liftledger::imaging::raster::{Raster, Samples};

use super::photo::{Dice, Photo, drawn};

const CODE: &str = "I4K79Q2MXW3A";

#[test]
fn a_level_picture_is_read() {
    assert_eq!(codes(drawn(CODE, 6)), [CODE]);
    assert_eq!(
        codes(drawn("case HC-26-0117, package 2", 5)),
        ["case HC-26-0117, package 2"]
    );
}

#[test]
fn depth_and_colour_do_not_matter() {
    let grey = drawn(CODE, 4);
    let Samples::Eight(samples) = &grey.samples else {
        panic!("8 bits")
    };
    let sixteen = samples.iter().map(|&s| u16::from(s) * 257).collect();
    let coloured = samples.iter().flat_map(|&s| [s, s / 2 + 20, s]).collect();
    let clear = samples.iter().flat_map(|&s| [s, 255]).collect();
    for (channels, samples) in [
        (1, Samples::Sixteen(sixteen)),
        (3, Samples::Eight(coloured)),
        (2, Samples::Eight(clear)),
    ] {
        let raster = Raster {
            channels,
            samples,
            ..grey.clone()
        };
        assert_eq!(codes(raster), [CODE]);
    }
}

#[test]
fn nothing_is_read_where_nothing_is() {
    for value in [0, 90, 255] {
        for (width, height) in [(1, 1), (20, 400), (640, 480)] {
            let raster = Raster {
                width,
                height,
                channels: 1,
                samples: Samples::Eight(vec![value; (width * height) as usize]),
            };
            assert!(codes(raster).is_empty());
        }
    }
    let mut dice = Dice(7);
    let noise = (0..640 * 480)
        .map(|_| dice.next().to_le_bytes()[3])
        .collect();
    let raster = Raster {
        width: 640,
        height: 480,
        channels: 1,
        samples: Samples::Eight(noise),
    };
    assert!(codes(raster).is_empty());
}

/// Three codes beside each other, one of them twice.
#[test]
fn several_codes_are_each_told_once() {
    let all = ["I4K79Q2MXW3A", "P000000000AB", "I4K79Q2MXW3A", "another"];
    let each = all.map(|text| drawn(text, 5));
    let height = each.iter().map(|r| r.height).max().unwrap();
    let width: u32 = each.iter().map(|r| r.width).sum();
    let mut pixels = vec![255_u8; (width * height) as usize];
    let mut left = 0;
    for raster in &each {
        let Samples::Eight(samples) = &raster.samples else {
            panic!("8 bits")
        };
        for y in 0..raster.height {
            for x in 0..raster.width {
                pixels[(y * width + left + x) as usize] = samples[(y * raster.width + x) as usize];
            }
        }
        left += raster.width;
    }
    let raster = Raster {
        width,
        height,
        channels: 1,
        samples: Samples::Eight(pixels),
    };
    let mut found = codes(raster);
    found.sort();
    assert_eq!(found, ["I4K79Q2MXW3A", "P000000000AB", "another"]);
    assert!(found.len() <= MOST_CODES);
}

#[test]
fn what_cannot_be_shown_is_not_told() {
    assert_eq!(codes(drawn("a\u{1b}[2Jb\n", 6)), ["a [2Jb"]);
    let long = "x".repeat(150);
    let found = codes(drawn(&long, 4));
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].chars().count(), MOST_TEXT);
}

/// A sheet of corner patterns: a reader that tries every three of them would not come to an end.
#[test]
fn a_picture_made_to_hold_the_server_up_does_not() {
    let (width, height) = (1_440_u32, 1_080_u32);
    let mut pixels = vec![255_u8; (width * height) as usize];
    for y in 0..height {
        for x in 0..width {
            let (a, b) = (x % 18, y % 18);
            let out = |v: u32| v < 2 || (12..14).contains(&v);
            let within = a < 14 && b < 14;
            let stone = (4..10).contains(&a) && (4..10).contains(&b);
            if within && (out(a) || out(b) || stone) {
                pixels[(y * width + x) as usize] = 0;
            }
        }
    }
    let raster = Raster {
        width,
        height,
        channels: 1,
        samples: Samples::Eight(pixels),
    };
    let begun = std::time::Instant::now();
    assert!(codes(raster).is_empty());
    assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
}

/// What a hand and a lamp do to a picture. Every one of the mild ones must be read, and most of the strong ones; how many
/// were is printed (`cargo test photographs_of_labels -- --nocapture`).
#[test]
fn photographs_of_labels_are_read() {
    let mut dice = Dice(20_261_126);
    for (name, strength, least) in [("mild", 0.5, 12), ("strong", 1.0, 10)] {
        let mut read = 0;
        for _ in 0..12 {
            let photo = Photo::of(&mut dice, strength);
            let found = codes(photo.take(&drawn(CODE, 8), 640, 480, &mut dice));
            assert!(found.is_empty() || found == [CODE], "{photo:?}: {found:?}");
            read += usize::from(!found.is_empty());
        }
        eprintln!("{name}: {read} of 12 photographs read");
        assert!(read >= least, "{name}: {read} of 12");
    }
}
