//! Random chains of steps, held against real flips of a chiral picture. Source: PyPI pillow. The script knows nothing of
//! parities: it flips, inverts and then looks at the pixels.

use std::fmt::Write as _;

use liftledger::lifting::{Step, read};
use serde_json::{Value, json};

use super::libraries::ask;

const SCRIPT: &str = r##"
import json, sys
from PIL import Image, ImageOps

F = ["...........", ".#######...", ".#.........", ".#.........", ".#####.....", ".#.........", ".#.........", ".#.........", "..........."]
DARK, LIGHT = 30, 225

def picture(ridge, ground):
    im = Image.new("L", (11, 9), ground)
    for y, row in enumerate(F):
        for x, c in enumerate(row):
            if c == "#":
                im.putpixel((x, y), ridge)
    return im

def far_side(im):
    # From the far side up may stay up or not: turned by half it is the same handedness.
    return im.transpose(Image.Transpose.FLIP_TOP_BOTTOM).rotate(180)

TURNS = {"contact-face": ImageOps.mirror, "set-off": ImageOps.mirror, "skin": ImageOps.mirror, "flip": ImageOps.mirror,
         "mirror": far_side, "through-substrate": far_side}
LIGHT_MARKS = {"light-powder", "light-residue", "fluorescent", "black-gel", "black-card"}
STRAIGHT = sorted(picture(1, 0).tobytes()), picture(1, 0).tobytes(), ImageOps.mirror(picture(1, 0)).tobytes()

def look(im):
    ground = im.getpixel((0, 0))
    ink = bytes(int(p != ground) for p in im.tobytes())
    assert ink in STRAIGHT[1:], "no F any more"
    return ink == STRAIGHT[2], any(p < ground for p in im.tobytes())

out = {"looked": 0, "wrong": []}
for case in json.load(sys.stdin):
    steps = case["steps"]
    light = any(s in LIGHT_MARKS for s in steps)
    photo = picture(LIGHT, DARK) if light else picture(DARK, LIGHT)
    height = picture(DARK, LIGHT)
    for s in steps:
        if s in TURNS:
            photo, height = TURNS[s](photo), TURNS[s](height)
        elif s == "cast":
            height = ImageOps.invert(height)
        elif s in ("invert", "furrows"):
            photo = ImageOps.invert(photo)
    (mirrored, dark), (also, found) = look(photo), look(height)
    assert mirrored == also
    lateral = "reversed" if mirrored else "direct"
    relief = "as-found" if found else "inverted"
    tone = "as-ink" if dark else "reversed"
    if "unknown" in steps:
        lateral = relief = tone = "unknown"
    if "tone-unknown" in steps or (light and "dark-powder" in steps):
        tone = "unknown"
    if [lateral, relief, tone] != [case["lateral"], case["relief"], case["tone"]]:
        out["wrong"].append([steps, lateral, relief, tone])
    out["looked"] += 1
    for key, value in (("lateral", lateral), ("relief", relief), ("tone", tone)):
        out[key + " " + value] = out.get(key + " " + value, 0) + 1
print(json.dumps(out))
"##;

/// A small generator with a fixed seed (Lehmer, 48271 modulo 2^31 - 1), so that a failure repeats.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, n: usize) -> usize {
        self.0 = self.0 * 48271 % 0x7fff_ffff;
        usize::try_from(self.0).unwrap() % n
    }
}

#[test]
fn a_thousand_random_chains_agree_with_an_independent_library() {
    let mut dice = Dice(20_261_126);
    let known: Vec<Step> = Step::ALL
        .into_iter()
        .filter(|s| !matches!(s, Step::Unknown | Step::ToneUnknown))
        .collect();
    let cases: Vec<Value> = (0..1000)
        .map(|n| {
            // One chain in eight may have a step that is not known.
            let from = if n % 8 == 0 {
                Step::ALL.to_vec()
            } else {
                known.clone()
            };
            let mut chain: Vec<Step> = (0..dice.roll(13))
                .map(|_| from[dice.roll(from.len())])
                .collect();
            // Dark powder on what is light is a contradiction: kept in some, so that the others have a tone.
            if n % 3 != 0 {
                chain.retain(|s| *s != Step::DarkPowder);
            }
            let r = read(&chain);
            json!({"steps": chain, "lateral": r.lateral, "relief": r.relief, "tone": r.tone})
        })
        .collect();
    let answer = ask(SCRIPT, &serde_json::to_vec(&cases).unwrap());
    let answer: Value = serde_json::from_slice(&answer).unwrap();
    let mut said = String::new();
    for wrong in answer["wrong"].as_array().unwrap() {
        writeln!(said, "{wrong}").unwrap();
    }
    assert_eq!(said, "");
    assert_eq!(answer["looked"], 1000);
    // The run has seen enough of each answer.
    for of in [
        "lateral direct",
        "lateral reversed",
        "relief as-found",
        "relief inverted",
        "tone as-ink",
        "tone reversed",
        "tone unknown",
        "lateral unknown",
    ] {
        assert!(answer[of].as_u64().unwrap_or(0) >= 20, "{of}: {answer}");
    }
}
