//! The invented marks.

use image::GrayImage;
use liftledger::imaging::ridge::{Mirror, Motif, Picture, Tone, draw};

fn image(picture: &Picture) -> GrayImage {
    image::load_from_memory(&draw(picture).unwrap())
        .unwrap()
        .to_luma8()
}

/// Mean difference of two pictures over rows `from..to`, 0 to 255.
fn difference(a: &GrayImage, b: &GrayImage, from: u32, to: u32) -> f64 {
    let mut sum = 0.0;
    for y in from..to {
        for x in 0..a.width() {
            sum += (f64::from(a.get_pixel(x, y)[0]) - f64::from(b.get_pixel(x, y)[0])).abs();
        }
    }
    sum / f64::from(a.width() * (to - from))
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let p = Picture::ridges(5);
    assert_eq!(draw(&p).unwrap(), draw(&p).unwrap());
    assert_ne!(draw(&p).unwrap(), draw(&Picture::ridges(6)).unwrap());
}

#[test]
fn every_mark_shows_left_from_right() {
    for motif in [Motif::Ridges, Motif::Striations, Motif::Tread] {
        let plain = Picture {
            motif,
            ..Picture::ridges(3)
        };
        let (a, b) = (
            image(&plain),
            image(&Picture {
                mirror: Mirror::Mark,
                ..plain
            }),
        );
        assert!(difference(&a, &b, 0, 480) > 15.0, "{motif:?}");
        // The scale beside it is left as it is.
        assert!(difference(&a, &b, 480, 580) < 1.0, "{motif:?}");
        let flipped = image::imageops::flip_horizontal(&b);
        assert!(difference(&a, &flipped, 0, 480) < 8.0, "{motif:?}");
    }
}

#[test]
fn flipping_the_whole_picture_flips_the_scale_too() {
    let plain = Picture::ridges(3);
    let (a, b) = (
        image(&plain),
        image(&Picture {
            mirror: Mirror::Whole,
            ..plain
        }),
    );
    assert!(difference(&a, &b, 480, 580) > 5.0);
    assert!(difference(&a, &image::imageops::flip_horizontal(&b), 0, 580) < 8.0);
}

#[test]
fn tone_turns_dark_into_light() {
    let dark = image(&Picture::ridges(3));
    let light = image(&Picture {
        tone: Tone::LightOnDark,
        ..Picture::ridges(3)
    });
    assert!(dark.get_pixel(2, 2)[0] > 200);
    assert!(light.get_pixel(2, 2)[0] < 50);
}

#[test]
fn the_scale_has_a_tick_every_millimetre() {
    let a = image(&Picture::ridges(3));
    // 0.5 mm below the bar: ticks are thin and dark, 20 pixels apart, beginning 2 mm inside.
    let row: Vec<u32> = (0..a.width())
        .filter(|&x| a.get_pixel(x, 480 + 10)[0] < 100)
        .collect();
    let starts: Vec<u32> = row
        .iter()
        .copied()
        .filter(|x| !row.contains(&x.wrapping_sub(1)))
        .collect();
    assert_eq!(starts, (0..=14).map(|mm| 40 + mm * 20).collect::<Vec<_>>());
}
