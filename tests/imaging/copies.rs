//! Working copies: what each step does to pixels, that the same recipe gives the same bytes, and what is refused.

use image::{
    DynamicImage, ExtendedColorType, GenericImageView, ImageEncoder, codecs::png::PngEncoder,
};
use liftledger::imaging::decode::{DecodeError, Limits, decode};
use liftledger::imaging::derive::{Copy, DeriveError, derive, derive_within, pixels_digest};
use liftledger::imaging::recipe::{Op, Recipe};
use liftledger::imaging::resolution::{Scale, Span};

/// A picture of which no two pixels are alike.
fn colours(width: u32, height: u32) -> Vec<u8> {
    let samples: Vec<u8> = (0..height)
        .flat_map(|y| (0..width).flat_map(move |x| [(x * 3) as u8, (y * 5) as u8, (x + y) as u8]))
        .collect();
    png(&samples, width, height, ExtendedColorType::Rgb8)
}

fn png(samples: &[u8], width: u32, height: u32, kind: ExtendedColorType) -> Vec<u8> {
    let mut out = Vec::new();
    PngEncoder::new(&mut out)
        .write_image(samples, width, height, kind)
        .unwrap();
    out
}

fn made(bytes: &[u8], ops: &[Op]) -> Copy {
    derive(bytes, &Recipe::new(ops.to_vec()), None).unwrap()
}

fn seen(bytes: &[u8]) -> DynamicImage {
    image::load_from_memory(bytes).unwrap()
}

/// Source: the operations of the crate `image`, which were not written here.
#[test]
fn steps_do_what_the_image_library_does() {
    let original = colours(7, 5);
    let picture = seen(&original);
    let rows: [(&[Op], DynamicImage); 6] = [
        (&[], picture.clone()),
        (&[Op::Flip], picture.fliph()),
        (&[Op::QuarterTurns { turns: 1 }], picture.rotate90()),
        (&[Op::QuarterTurns { turns: 2 }], picture.rotate180()),
        (&[Op::QuarterTurns { turns: 3 }], picture.rotate270()),
        (
            &[Op::Crop {
                x: 2,
                y: 1,
                width: 4,
                height: 3,
            }],
            picture.crop_imm(2, 1, 4, 3),
        ),
    ];
    for (ops, want) in rows {
        let copy = made(&original, ops);
        assert_eq!(seen(&copy.png), want, "{ops:?}");
        assert_eq!((copy.width, copy.height), want.dimensions());
        assert!(!copy.grey && copy.ppi.is_none());
    }
    let mut inverted = picture;
    inverted.invert();
    assert_eq!(seen(&made(&original, &[Op::Invert]).png), inverted);
}

/// Large enough for more than one square of the transposition.
#[test]
fn a_large_picture_is_turned_as_a_small_one() {
    let original = colours(150, 70);
    let turned = made(&original, &[Op::QuarterTurns { turns: 1 }]);
    assert_eq!(seen(&turned.png), seen(&original).rotate90());
}

#[test]
fn sixteen_bits_and_opacity_stay() {
    let samples: Vec<u8> = (0..6_u16)
        .flat_map(|v| [v * 10_007, 65_535 - v])
        .flat_map(u16::to_ne_bytes)
        .collect();
    let original = png(&samples, 3, 2, ExtendedColorType::La16);
    assert_eq!(seen(&made(&original, &[]).png), seen(&original));
    assert_eq!(
        seen(&made(&original, &[Op::Flip]).png),
        seen(&original).fliph()
    );
    let inverted = seen(&made(&original, &[Op::Invert]).png);
    let DynamicImage::ImageLumaA16(inverted) = inverted else {
        panic!("{:?}", inverted.color());
    };
    assert_eq!(inverted.get_pixel(1, 0).0, [65_535 - 10_007, 65_534]);
    let grey = made(&original, &[Op::Grey]);
    assert!(grey.grey);
    assert_eq!(seen(&grey.png).color(), image::ColorType::L16);
}

#[test]
fn the_same_recipe_gives_the_same_bytes() {
    let original = colours(90, 60);
    let recipe = Recipe::new(vec![
        Op::Flip,
        Op::Rotate { hundredths: 733 },
        Op::Grey,
        Op::Resample { ppi: 1000 },
        Op::Invert,
    ]);
    let scale = Scale::Scanner { ppi: 640 };
    let copy = derive(&original, &recipe, Some(&scale)).unwrap();
    for _ in 0..3 {
        assert_eq!(derive(&original, &recipe, Some(&scale)).unwrap(), copy);
    }
    // And the same samples on every machine and with every version: what they are is written down here.
    assert_eq!(
        copy.pixels.to_string(),
        "8411efef2ac5a9a84c6c405ebb07172723820d87e74ef8e99a025928e8b5c730"
    );
    let decoded = decode(&copy.png, &Limits::default()).unwrap();
    assert_eq!(pixels_digest(&decoded.raster), copy.pixels);
    assert_eq!(copy.ppi, Some(1000));
    // The density stands in the file: chunk pHYs, 39370 pixels a metre both ways (PNG, third edition, 11.3.4.3).
    let at = copy.png.windows(4).position(|w| w == b"pHYs").unwrap();
    let metre = 39_370_u32.to_be_bytes();
    assert_eq!(copy.png[at + 4..at + 8], metre);
    assert_eq!(copy.png[at + 8..at + 13], [&metre[..], &[1]].concat());
}

#[test]
fn a_rotation_turns_about_the_middle_and_fills_with_white() {
    // A bright square on black, off the middle.
    let mut samples = vec![0_u8; 41 * 41];
    for y in 18..23 {
        for x in 33..38 {
            samples[y * 41 + x] = 200;
        }
    }
    let original = png(&samples, 41, 41, ExtendedColorType::L8);
    // By a quarter it is the quarter turn, to the sample.
    let quarter = made(&original, &[Op::Rotate { hundredths: 9000 }]);
    let turned = made(&original, &[Op::QuarterTurns { turns: 1 }]);
    assert_eq!(seen(&quarter.png), seen(&turned.png));
    // Clockwise by 45 degrees what was right lies to the lower right.
    let askew = made(&original, &[Op::Rotate { hundredths: 4500 }]);
    let image = seen(&askew.png).to_luma8();
    assert_eq!(image.dimensions(), (58, 58));
    assert_eq!(image.get_pixel(0, 0).0, [255]);
    let (dx, dy) = (29 + 10, 29 + 10);
    assert!(image.get_pixel(dx, dy).0[0] > 150);
    // There and back again: what was even is even still.
    let back = made(
        &original,
        &[
            Op::Rotate { hundredths: 3000 },
            Op::Rotate { hundredths: -3000 },
        ],
    );
    let middle = seen(&back.png).to_luma8();
    let (w, h) = middle.dimensions();
    assert!(middle.get_pixel(w / 2 + 15, h / 2).0[0] > 190);
    assert!(middle.get_pixel(w / 2 - 10, h / 2).0[0] < 10);
}

#[test]
fn resampling_keeps_even_areas_and_millimetres() {
    let original = png(&[77; 300 * 200], 300, 200, ExtendedColorType::L8);
    let to = |ppi, scale| {
        derive(
            &original,
            &Recipe::new(vec![Op::Resample { ppi }]),
            Some(&scale),
        )
        .unwrap()
    };
    let copy = to(1000, Scale::Scanner { ppi: 300 });
    assert_eq!((copy.width, copy.height, copy.ppi), (1000, 667, Some(1000)));
    assert!(seen(&copy.png).to_luma8().pixels().all(|p| p.0 == [77]));
    let copy = to(100, Scale::Scanner { ppi: 300 });
    assert_eq!((copy.width, copy.height), (100, 67));
    assert!(seen(&copy.png).to_luma8().pixels().all(|p| p.0 == [77]));
    // Pixels that are not square become square.
    let inch = |x2, y2| Span {
        x1: 0,
        y1: 0,
        x2,
        y2,
        length: "0.25 in".parse().unwrap(),
    };
    let uneven = Scale::Picked {
        first: inch(1500, 0),
        second: Some(inch(0, 750)),
        picking_tenths: 10,
    };
    let copy = to(600, uneven);
    assert_eq!((copy.width, copy.height, copy.ppi), (300, 400, Some(600)));
    let turned = derive(
        &original,
        &Recipe::new(vec![
            Op::QuarterTurns { turns: 1 },
            Op::Resample { ppi: 300 },
        ]),
        Some(&uneven),
    )
    .unwrap();
    assert_eq!((turned.width, turned.height), (200, 150));
    let askew = Recipe::new(vec![Op::Rotate { hundredths: 100 }]);
    assert_eq!(
        derive(&original, &askew, Some(&uneven)),
        Err(DeriveError::Uneven)
    );
}

#[test]
fn what_cannot_be_made_is_refused_with_its_reason() {
    let original = colours(20, 10);
    let of = |ops: Vec<Op>| derive(&original, &Recipe::new(ops), None);
    assert_eq!(
        of(vec![Op::Resample { ppi: 1000 }]),
        Err(DeriveError::NoScale)
    );
    let crop = Op::Crop {
        x: 11,
        y: 0,
        width: 10,
        height: 10,
    };
    assert_eq!(
        of(vec![crop]),
        Err(DeriveError::Crop {
            width: 20,
            height: 10
        })
    );
    // After a quarter turn the same rectangle lies elsewhere.
    assert_eq!(
        of(vec![Op::QuarterTurns { turns: 1 }, crop]),
        Err(DeriveError::Crop {
            width: 10,
            height: 20
        })
    );
    let limits = Limits {
        side: 25,
        ..Limits::default()
    };
    let within = |ops| derive_within(&original, &Recipe::new(ops), None, &limits);
    assert!(within(vec![Op::Flip]).is_ok());
    assert_eq!(
        derive_within(
            &original,
            &Recipe::new(vec![Op::Resample { ppi: 1000 }]),
            Some(&Scale::Scanner { ppi: 100 }),
            &limits
        ),
        Err(DeriveError::TooLarge)
    );
    let small = Limits {
        side: 19,
        ..Limits::default()
    };
    let too_large = derive_within(&original, &Recipe::new(vec![]), None, &small);
    assert_eq!(too_large, Err(DeriveError::Decode(DecodeError::TooLarge)));
    for no_picture in [&b""[..], b"<html>", &original[..20]] {
        assert!(matches!(
            derive(no_picture, &Recipe::new(vec![]), None),
            Err(DeriveError::Decode(_))
        ));
    }
}
