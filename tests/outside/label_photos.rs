//! Labels as they are printed, photographed by the camera of `imaging/photo.rs`, and read by the server; and codes drawn by
//! a library that we did not write (zxing-cpp, PyPI). How many are read is printed.

use liftledger::imaging::codes::codes;
use liftledger::imaging::decode::{Limits, decode};
use liftledger::imaging::raster::Raster;
use liftledger::reports::label::{box_label, card_back, card_front, envelope_label};
use liftledger::reports::paper::Card;

use super::labels::{raster, run};
use super::photo::{Dice, Photo, drawn};
use super::reports_sample::{CODE, label};

/// Photographs of each kind and strength; `LIFTLEDGER_LABEL_PHOTOS` says how many.
fn many() -> usize {
    std::env::var("LIFTLEDGER_LABEL_PHOTOS").map_or(40, |n| n.parse().unwrap())
}

fn picture(path: &std::path::Path) -> Raster {
    let bytes = std::fs::read(path).unwrap();
    let mut raster = decode(&bytes, &Limits::default()).unwrap().raster;
    raster.grey();
    raster
}

/// The whole label, at 300 dpi and as a phone sees it: 1600 by 1200 pixels.
#[test]
fn labels_as_they_are_printed_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let card = Card::ThreeByFive;
    let of = label();
    let all = [
        ("card-front", card_front(&of, card)),
        ("card-back", card_back(&of, card)),
        ("box", box_label(&of)),
        ("envelope", envelope_label(&of)),
    ];
    let mut dice = Dice(1_126);
    for (name, pdf) in all {
        let (level, turned) = raster(folder.path(), name, &pdf.unwrap());
        for file in [&level, &turned] {
            let found = codes(picture(file));
            eprintln!("{}: {found:?}", file.display());
            assert_eq!(found, [CODE], "{}", file.display());
        }
        let flat = picture(&level);
        let n = many() / 4;
        let mut read = 0;
        for _ in 0..n {
            // The label fills the picture, which makes its code a quarter of it or less.
            let photo = Photo::of(&mut dice, 0.4);
            let found = codes(photo.take(&flat, 1600, 1200, &mut dice));
            assert!(found.is_empty() || found == [CODE], "{found:?}");
            read += usize::from(!found.is_empty());
        }
        eprintln!("{name}: {read} of {n} photographs of the whole label read");
        // All 10 of each were read when this was written.
        assert!(read * 10 >= n * 9, "{name}: {read} of {n}");
    }
}

#[test]
fn photographs_of_codes_are_read() {
    let mut dice = Dice(2_026);
    for (name, strength, least) in [("mild", 0.5, 98), ("strong", 1.0, 95), ("harsh", 1.5, 70)] {
        let n = many();
        let mut read = 0;
        for _ in 0..n {
            let photo = Photo::of(&mut dice, strength);
            let found = codes(photo.take(&drawn(CODE, 8), 800, 600, &mut dice));
            assert!(found.is_empty() || found == [CODE], "{found:?}");
            read += usize::from(!found.is_empty());
        }
        eprintln!("{name}: {read} of {n} photographs of a code read");
        assert!(read * 100 >= n * least, "{name}: {read} of {n}");
    }
}

/// QR symbols of another hand: several sizes and levels of error correction.
#[test]
fn codes_of_another_generator_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let venv = std::env::var("LIFTLEDGER_VENV").unwrap_or_else(|_| "target/venv".into());
    let python = std::path::Path::new(&venv).join("bin/python");
    let script = "import sys, zxingcpp\nfrom PIL import Image\n\
                  for i, (text, level) in enumerate([(sys.argv[2], 'L'), (sys.argv[2], 'H'), (sys.argv[3], 'M')]):\n \
                  code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level=level).to_image(scale=6)\n \
                  size = (code.shape[1], code.shape[0])\n \
                  Image.frombuffer('L', size, memoryview(code).tobytes()).save(f'{sys.argv[1]}/{i}.png')";
    let other = "case HC-26-0117, box 3 of 9; röntgen";
    let folder_name = folder.path().to_str().unwrap();
    run(
        python.to_str().unwrap(),
        &["-c", script, folder_name, CODE, other],
    );
    let mut dice = Dice(5);
    for (i, text) in [CODE, CODE, other].iter().enumerate() {
        let flat = picture(&folder.path().join(format!("{i}.png")));
        assert_eq!(codes(flat.clone()), [*text]);
        let photo = Photo::of(&mut dice, 0.4);
        assert_eq!(codes(photo.take(&flat, 900, 700, &mut dice)), [*text]);
    }
}
