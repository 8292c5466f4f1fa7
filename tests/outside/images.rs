//! Working copies held against Pillow, which decodes, turns and resamples pictures by code that we did not write.
//!
//! Source: PyPI pillow (`ImageOps.exif_transpose`, `ImageOps.mirror`, `Image.convert`, `Image.resize`).

use std::collections::BTreeMap;
use std::fs;
use std::io::Cursor;
use std::path::Path;
use std::process::Command;

use liftledger::imaging::derive::derive;
use liftledger::imaging::probe::probe;
use liftledger::imaging::recipe::{Op, Recipe};
use liftledger::imaging::resolution::Scale;
use liftledger::imaging::view::suggest_for;
use liftledger::lifting::handedness::Step;
use serde_json::{Value, json};

use crate::libraries::python;

/// Runs a script in a folder; a failed assertion of it is a failure here.
fn run(folder: &Path, script: &str) {
    let out = Command::new(python())
        .args(["-c", script])
        .current_dir(folder)
        .output()
        .unwrap();
    assert!(
        out.status.success(),
        "{}{}",
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr)
    );
}

fn read(folder: &Path, name: &str) -> Vec<u8> {
    fs::read(folder.join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// A picture that shows left from right and up from down, as it is on the surface; and as it looks when a step exchanged
/// left and right, or light and dark. Each is stored under all eight orientation tags.
const SCENE: &str = r#"
import json
from PIL import Image, ImageDraw, ImageOps
surface = Image.new("L", (40, 56), 230)
pen = ImageDraw.Draw(surface)
pen.rectangle((8, 6, 13, 49), fill=30)      # an F: stem, long arm, short arm
pen.rectangle((8, 6, 33, 11), fill=30)
pen.rectangle((8, 24, 24, 29), fill=30)
for mirrored in (0, 1):
    for light in (0, 1):
        seen = ImageOps.mirror(surface) if mirrored else surface
        seen = ImageOps.invert(seen) if light else seen
        for tag in range(1, 9):
            exif = Image.Exif()
            exif[0x0112] = tag
            for kind in ("png", "tif"):
                seen.save(f"seen-{mirrored}-{light}-{tag}.{kind}", exif=exif)
surface.save("surface.png")
# What each step does, from the geometry of it, written here a second time.
TURNS = {"contact-face", "through-substrate", "mirror", "set-off", "skin", "flip"}
LIGHT = {"light-powder", "light-residue", "fluorescent", "black-gel", "black-card"}
DARK = {"dark-powder"}
SWAPS = {"furrows", "invert"}
out = []
for chain in json.load(open("chains.json")):
    turns = None if "unknown" in chain else sum(s in TURNS for s in chain) % 2
    light = any(s in LIGHT for s in chain)
    dark = any(s in DARK for s in chain)
    unsure = (light and dark) or "unknown" in chain or "tone-unknown" in chain
    swaps = sum(s in SWAPS for s in chain) % 2
    tone = 0 if unsure else int(light) ^ swaps
    out.append({"chain": chain, "turns": turns, "tone": tone})
json.dump(out, open("expected.json", "w"))
"#;

const CHECK: &str = r#"
import json
from PIL import Image, ImageOps
surface = Image.open("surface.png")
turned = lambda p: [p.rotate(90 * n, expand=True).tobytes() + bytes(str(p.rotate(90 * n, expand=True).size), "ascii") for n in range(4)]
direct, reversed_ = turned(surface), turned(ImageOps.mirror(surface))
assert not set(direct) & set(reversed_), "the picture must show left from right"
answers = {}
rows = json.load(open("made.json"))
for row in rows:
    name = row["copy"]
    if name not in answers:
        copy = Image.open(name)
        assert copy.mode == "L", copy.mode
        me = copy.tobytes() + bytes(str(copy.size), "ascii")
        answers[name] = "direct" if me in direct else "reversed" if me in reversed_ else "neither"
    assert answers[name] == "direct", (row, answers[name])
print(len(rows))
"#;

/// All eight orientation tags times all view steps, alone and in pairs: what the suggested recipe makes reads direct,
/// ridges dark.
#[test]
fn the_suggested_copy_reads_direct_for_every_tag_and_every_view_step() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let names: Vec<String> = Step::ALL.iter().map(|s| s.name().to_owned()).collect();
    let mut chains: Vec<Vec<String>> = names.iter().map(|n| vec![n.clone()]).collect();
    for a in &names {
        chains.extend(names.iter().map(|b| vec![a.clone(), b.clone()]));
    }
    fs::write(at.join("chains.json"), json!(chains).to_string()).unwrap();
    run(at, SCENE);
    let expected: Vec<Value> = serde_json::from_slice(&read(at, "expected.json")).unwrap();
    assert_eq!(expected.len(), 19 + 19 * 19);
    let mut made: BTreeMap<(String, String), String> = BTreeMap::new();
    let mut rows = Vec::new();
    for case in &expected {
        let mut view: Vec<String> = serde_json::from_value(case["chain"].clone()).unwrap();
        for tag in 1..=8_u8 {
            for kind in ["png", "tif"] {
                let Some(turns) = case["turns"].as_u64() else {
                    assert_eq!(suggest_for(&view), None, "{view:?}");
                    continue;
                };
                let file = format!("seen-{turns}-{}-{tag}.{kind}", case["tone"]);
                let bytes = read(at, &file);
                // Whoever shows the file turns it as its tag says; a tag that mirrors counts as one flip.
                let mirrors = matches!(tag, 2 | 4 | 5 | 7);
                let seen = probe(Cursor::new(&bytes)).unwrap();
                assert_eq!(seen.says.tag_mirrors(), mirrors, "{file}");
                if mirrors {
                    view.push("flip".into());
                }
                let recipe = suggest_for(&view).unwrap();
                if mirrors {
                    view.pop();
                }
                let key = (file.clone(), recipe.to_string());
                let next = format!("copy-{}.png", made.len());
                let copy = made.entry(key).or_insert_with(|| {
                    let copy = derive(&bytes, &recipe, None).unwrap();
                    fs::write(at.join(&next), copy.png).unwrap();
                    next
                });
                rows.push(json!({"view": view, "tag": tag, "file": file, "copy": copy}));
            }
        }
    }
    // 18 steps are known as to left and right: alone and in pairs, eight tags, two kinds of file.
    assert_eq!(rows.len(), (18 + 18 * 18) * 8 * 2);
    fs::write(at.join("made.json"), json!(rows).to_string()).unwrap();
    run(at, CHECK);
}

const MAKE: &str = r#"
import random
from PIL import Image
random.seed(417)
noise = lambda mode, n: Image.frombytes(mode, (61, 47), random.randbytes(61 * 47 * n))
for name, mode, n in (("grey", "L", 1), ("colour", "RGB", 3), ("opacity", "RGBA", 4)):
    picture = noise(mode, n)
    picture.save(f"{name}.png")
    picture.save(f"{name}.tif", compression="tiff_lzw")
deep = noise("I;16", 2)
deep.save("deep.png")
deep.save("deep.tif")
smooth = noise("RGB", 3).resize((300, 220), Image.Resampling.BICUBIC)
smooth.save("smooth.png")
"#;

const COMPARE: &str = r#"
import os
from PIL import Image, ImageChops, ImageOps
same = lambda a, b: a.mode == b.mode and a.size == b.size and a.tobytes() == b.tobytes()
for name in ("grey", "colour", "opacity", "deep"):
    for kind in ("png", "tif"):
        original = Image.open(f"{name}.{kind}")
        original.load()
        copy = Image.open(f"{name}-{kind}-plain.png")
        assert same(original, copy), (name, kind, original.mode, copy.mode)
        flipped = Image.open(f"{name}-{kind}-flip.png")
        assert same(original.transpose(Image.Transpose.FLIP_LEFT_RIGHT), flipped), (name, kind, "flip")
        if name != "deep":
            assert same(ImageOps.mirror(original), flipped)
        if name in ("grey", "colour"):
            grey = Image.open(f"{name}-{kind}-grey.png")
            assert same(original.convert("L"), grey), (name, kind, "grey")
            inverted = Image.open(f"{name}-{kind}-invert.png")
            assert same(ImageOps.invert(original), inverted), (name, kind, "invert")
        turned = Image.open(f"{name}-{kind}-turn.png")
        assert same(original.transpose(Image.Transpose.ROTATE_270), turned), (name, kind, "turn")
smooth = Image.open("smooth.png")
for to, size in ((1000, (750, 550)), (120, (90, 66))):
    ours = Image.open(f"smooth-{to}.png")
    assert ours.size == size, ours.size
    theirs = smooth.resize(size, Image.Resampling.BICUBIC)
    most = max(high for _, high in ImageChops.difference(ours, theirs).getextrema())
    assert most <= 2, (to, most)
    dpi = ours.info["dpi"]
    assert abs(dpi[0] - to) < 0.1 and dpi[0] == dpi[1], dpi
"#;

/// Pixel for pixel: the plain copy, Pillow's own mirror, quarter turn, inversion and grey; a resampled copy within two
/// of 255 of Pillow's, whose kernel is the same and whose rounding is another.
#[test]
fn every_step_is_what_pillow_makes_of_the_original() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    run(at, MAKE);
    let steps: [(&str, &[Op]); 5] = [
        ("plain", &[]),
        ("flip", &[Op::Flip]),
        ("grey", &[Op::Grey]),
        ("invert", &[Op::Invert]),
        ("turn", &[Op::QuarterTurns { turns: 1 }]),
    ];
    for name in ["grey", "colour", "opacity", "deep"] {
        for kind in ["png", "tif"] {
            let original = read(at, &format!("{name}.{kind}"));
            for (step, ops) in steps {
                let copy = derive(&original, &Recipe::new(ops.to_vec()), None).unwrap();
                fs::write(at.join(format!("{name}-{kind}-{step}.png")), copy.png).unwrap();
            }
        }
    }
    let smooth = read(at, "smooth.png");
    for ppi in [1000, 120] {
        let recipe = Recipe::new(vec![Op::Resample { ppi }]);
        let copy = derive(&smooth, &recipe, Some(&Scale::Scanner { ppi: 400 })).unwrap();
        fs::write(at.join(format!("smooth-{ppi}.png")), copy.png).unwrap();
    }
    run(at, COMPARE);
}
