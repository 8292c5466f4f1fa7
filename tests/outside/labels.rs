//! Printed codes read back by programs that we did not write: zbarimg (Debian zbar-tools) and zxing-cpp (PyPI), at 300 dpi,
//! level and turned by 5 degrees.

use std::path::{Path, PathBuf};
use std::process::Command;

use liftledger::reports::label::{box_label, card_back, card_front, envelope_label, sheet};
use liftledger::reports::paper::{Card, Paper};

use super::reports_sample::{CODE, label};

/// Runs a program and gives back what it printed; a missing program or a failure fails the test.
pub fn run(program: &str, args: &[&str]) -> String {
    let out = Command::new(program)
        .args(args)
        .output()
        .unwrap_or_else(|e| panic!("{program} can't be run: {e}"));
    assert!(
        out.status.success(),
        "{program} {args:?}: {}{}",
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr)
    );
    String::from_utf8(out.stdout).unwrap()
}

fn python() -> String {
    let venv = std::env::var("LIFTLEDGER_VENV").unwrap_or_else(|_| "target/venv".into());
    Path::new(&venv).join("bin/python").display().to_string()
}

pub fn raster(folder: &Path, name: &str, pdf: &[u8]) -> (PathBuf, PathBuf) {
    let file = folder.join(format!("{name}.pdf"));
    std::fs::write(&file, pdf).unwrap();
    run("qpdf", &["--check", file.to_str().unwrap()]);
    let stem = folder.join(name);
    run(
        "pdftoppm",
        &[
            "-r",
            "300",
            "-png",
            "-singlefile",
            file.to_str().unwrap(),
            stem.to_str().unwrap(),
        ],
    );
    let level = folder.join(format!("{name}.png"));
    let turned = folder.join(format!("{name}-turned.png"));
    run(
        &python(),
        &[
            "-c",
            "import sys; from PIL import Image; Image.open(sys.argv[1]).convert('L').rotate(5, expand=True, fillcolor=255, resample=Image.Resampling.BICUBIC).save(sys.argv[2])",
            level.to_str().unwrap(),
            turned.to_str().unwrap(),
        ],
    );
    (level, turned)
}

/// What both readers find, as `format text` lines.
pub fn read(picture: &Path) -> (String, String) {
    let picture = picture.to_str().unwrap();
    (run("zbarimg", &["-q", picture]), zxing(picture))
}

/// What zxing-cpp finds, as `format text` lines.
pub fn zxing(picture: &str) -> String {
    run(
        &python(),
        &[
            "-c",
            "import sys, zxingcpp; from PIL import Image\nfor b in zxingcpp.read_barcodes(Image.open(sys.argv[1]).convert('L')): print(str(b.format).replace(' ', '').split('.')[-1], b.text)",
            picture,
        ],
    )
}

fn qr_reads(name: &str, (zbar, zxing): &(String, String)) {
    assert!(
        zbar.contains(&format!("QR-Code:{CODE}")),
        "{name}, zbarimg: {zbar}"
    );
    assert!(
        zxing.contains(&format!("QRCode {CODE}")),
        "{name}, zxing-cpp: {zxing}"
    );
}

fn both_read(name: &str, found: &(String, String)) {
    qr_reads(name, found);
    let (zbar, zxing) = found;
    assert!(
        zbar.contains(&format!("CODE-128:{CODE}")),
        "{name}, zbarimg: {zbar}"
    );
    assert!(
        zxing.contains(&format!("Code128 {CODE}")),
        "{name}, zxing-cpp: {zxing}"
    );
}

#[test]
fn both_codes_read_back_level_and_turned() {
    let folder = tempfile::tempdir().unwrap();
    let l = label();
    for (name, pdf) in [
        ("front-3x5", card_front(&l, Card::ThreeByFive).unwrap()),
        ("front-4x6", card_front(&l, Card::FourBySix).unwrap()),
        ("box", box_label(&l).unwrap()),
        ("envelope", envelope_label(&l).unwrap()),
        (
            "sheet",
            sheet(std::slice::from_ref(&l), Card::ThreeByFive, Paper::A4).unwrap(),
        ),
    ] {
        let (level, turned) = raster(folder.path(), name, &pdf);
        both_read(name, &read(&level));
        both_read(&format!("{name}, turned"), &read(&turned));
    }
}

#[test]
fn the_back_of_a_card_carries_its_code() {
    let folder = tempfile::tempdir().unwrap();
    let pdf = card_back(&label(), Card::ThreeByFive).unwrap();
    let (level, turned) = raster(folder.path(), "back", &pdf);
    qr_reads("back", &read(&level));
    qr_reads("back, turned", &read(&turned));
}

/// Prints the darkest pixel (0 black, 255 white) in the quiet zone around the QR code that zxing-cpp finds: four modules on each
/// side by ISO/IEC 18004 (from memory), less half a module on either edge, since the place is found to about a pixel.
const QUIET: &str = "
import sys, zxingcpp
from PIL import Image, ImageDraw
picture = Image.open(sys.argv[1]).convert('L')
[code] = [b for b in zxingcpp.read_barcodes(picture) if 'QR' in str(b.format)]
p = code.position
points = [p.top_left, p.top_right, p.bottom_left, p.bottom_right]
l, r = min(q.x for q in points), max(q.x for q in points)
t, b = min(q.y for q in points), max(q.y for q in points)
module = (r - l) / 21
ImageDraw.Draw(picture).rectangle([l - module / 2, t - module / 2, r + module / 2, b + module / 2], fill=255)
far = 3.5 * module
print(picture.crop((int(l - far), int(t - far), int(r + far), int(b + far))).getextrema()[0])
";

#[test]
fn nothing_stands_in_the_quiet_zone_of_the_code() {
    let folder = tempfile::tempdir().unwrap();
    let mut l = label();
    for packing in [l.packing.clone(), Vec::new()] {
        l.packing = packing;
        // It reaches below the code where there are no packing words above it.
        let mut long = l.clone();
        long.description = "Latent print from the cabin door of the sloop".into();
        for (name, pdf) in [
            ("front", card_front(&l, Card::ThreeByFive).unwrap()),
            ("back", card_back(&l, Card::ThreeByFive).unwrap()),
            ("box", box_label(&long).unwrap()),
            ("envelope", envelope_label(&long).unwrap()),
        ] {
            let (level, _) = raster(folder.path(), name, &pdf);
            let darkest = run(&python(), &["-c", QUIET, level.to_str().unwrap()]);
            let darkest: u8 = darkest.trim().parse().unwrap();
            assert!(darkest > 200, "{name}, packing {:?}: {darkest}", l.packing);
        }
    }
}
