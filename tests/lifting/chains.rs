//! Random chains, held against real flips and inversions of a chiral picture by the `image` crate. The picture knows
//! nothing of parities: it is turned step by step, and then looked at.

use image::{GrayImage, Luma, imageops};
use liftledger::lifting::{Lateral, Relief, Step, Tone, read};

/// A letter F: no mirror image of it, and no turn of its mirror image, is itself.
const F: [&str; 9] = [
    "...........",
    ".#######...",
    ".#.........",
    ".#.........",
    ".#####.....",
    ".#.........",
    ".#.........",
    ".#.........",
    "...........",
];

const DARK: u8 = 30;
const LIGHT: u8 = 225;

/// The mark with ridges of one value on a ground of another.
fn picture(ridge: u8, ground: u8) -> GrayImage {
    GrayImage::from_fn(11, 9, |x, y| {
        Luma([if F[y as usize].as_bytes()[x as usize] == b'#' {
            ridge
        } else {
            ground
        }])
    })
}

/// A small generator with a fixed seed (Lehmer, 48271 modulo 2^31 - 1), so that a failure repeats.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, n: usize) -> usize {
        self.0 = self.0 * 48271 % 0x7fff_ffff;
        usize::try_from(self.0).unwrap() % n
    }
}

/// What is seen at the end: the photograph and a height map of the surface in it.
fn make(chain: &[Step]) -> (GrayImage, GrayImage) {
    let light_mark = chain.iter().any(|s| {
        matches!(
            s,
            Step::LightPowder
                | Step::LightResidue
                | Step::Fluorescent
                | Step::BlackGel
                | Step::BlackCard
        )
    });
    let mut photo = if light_mark {
        picture(LIGHT, DARK)
    } else {
        picture(DARK, LIGHT)
    };
    let mut height = picture(DARK, LIGHT);
    for step in chain {
        match step {
            // Contact lays face to face: what was left is right when the face is turned up.
            Step::ContactFace | Step::SetOff => {
                imageops::flip_horizontal_in_place(&mut photo);
                imageops::flip_horizontal_in_place(&mut height);
            }
            // A far side and a mirror may as well exchange up and down, and turn by half: the same handedness.
            Step::ThroughSubstrate | Step::Mirror => {
                for p in [&mut photo, &mut height] {
                    imageops::flip_vertical_in_place(p);
                    imageops::rotate180_in_place(p);
                }
            }
            Step::Skin | Step::Flip => {
                photo = imageops::flip_horizontal(&photo);
                height = imageops::flip_horizontal(&height);
            }
            Step::Cast => imageops::invert(&mut height),
            Step::Invert | Step::Furrows => imageops::invert(&mut photo),
            _ => {}
        }
    }
    (photo, height)
}

/// Looks at a picture: is it mirrored, and are its strokes the darker part? The ground is what fills the corner.
fn look(p: &GrayImage) -> (bool, bool) {
    let ground = p.get_pixel(0, 0)[0];
    let ink: Vec<bool> = p.pixels().map(|px| px[0] != ground).collect();
    let f: Vec<bool> = F
        .iter()
        .flat_map(|row| row.bytes().map(|b| b == b'#'))
        .collect();
    let mirrored: Vec<bool> = F
        .iter()
        .flat_map(|row| row.bytes().rev().map(|b| b == b'#'))
        .collect();
    assert!(ink == f || ink == mirrored);
    (ink == mirrored, p.pixels().any(|px| px[0] < ground))
}

#[test]
fn a_thousand_random_chains_agree_with_real_flips() {
    let mut dice = Dice(20_261_125);
    let known: Vec<Step> = Step::ALL
        .into_iter()
        .filter(|s| !matches!(s, Step::Unknown | Step::ToneUnknown))
        .collect();
    let (mut reversed, mut inverted, mut light) = (0, 0, 0);
    for n in 0..1000 {
        let mut chain: Vec<Step> = (0..dice.roll(13))
            .map(|_| known[dice.roll(known.len())])
            .collect();
        // Dark powder together with a light mark is a contradiction, which a row of its own covers.
        if n % 2 == 0 {
            chain.retain(|s| *s != Step::DarkPowder);
        } else {
            chain.retain(|s| {
                !matches!(
                    s,
                    Step::LightPowder
                        | Step::LightResidue
                        | Step::Fluorescent
                        | Step::BlackGel
                        | Step::BlackCard
                )
            });
        }
        let reading = read(&chain);
        let (photo, height) = make(&chain);
        let (mirrored, dark) = look(&photo);
        let (height_mirrored, as_found) = look(&height);
        assert_eq!(mirrored, height_mirrored);
        assert_eq!(reading.lateral == Lateral::Reversed, mirrored, "{chain:?}");
        assert_eq!(reading.lateral == Lateral::Direct, !mirrored, "{chain:?}");
        assert_eq!(reading.relief == Relief::Inverted, !as_found, "{chain:?}");
        assert_eq!(reading.tone == Tone::AsInk, dark, "{chain:?}");
        assert_eq!(reading.tone == Tone::Reversed, !dark, "{chain:?}");
        reversed += u32::from(mirrored);
        inverted += u32::from(!as_found);
        light += u32::from(!dark);

        // One unknown step anywhere makes it unknown.
        let at = dice.roll(chain.len() + 1);
        chain.insert(at, Step::Unknown);
        let reading = read(&chain);
        assert_eq!(
            (reading.lateral, reading.relief, reading.tone),
            (Lateral::Unknown, Relief::Unknown, Tone::Unknown)
        );
    }
    // The run has seen enough of each.
    assert!(
        reversed > 200 && inverted > 200 && light > 200,
        "{reversed} {inverted} {light}"
    );
}
