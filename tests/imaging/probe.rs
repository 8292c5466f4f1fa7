//! What a file says of itself.

use std::io::Cursor;

use liftledger::imaging::metadata::{FileSays, StatedDensity};
use liftledger::imaging::probe::{OPAQUE, Probe, ProbeError, probe};
use liftledger::imaging::ridge::{Picture, draw};

use super::files::{self, Tiff};

fn see(bytes: &[u8]) -> Result<Probe, ProbeError> {
    probe(Cursor::new(bytes))
}

fn opaque(bytes: &[u8]) -> String {
    let seen = see(bytes).unwrap();
    assert_eq!((seen.media_type, seen.pixels), (OPAQUE, None));
    seen.says.opaque.unwrap()
}

#[test]
fn a_png_is_known_by_its_bytes() {
    let seen = see(&draw(&Picture::ridges(1)).unwrap()).unwrap();
    assert_eq!(
        (seen.media_type, seen.pixels),
        ("image/png", Some((400, 580)))
    );
    assert_eq!(seen.says.orientation_tag, None);
    assert!(!seen.says.tag_mirrors());
}

#[test]
fn the_orientation_tag_of_a_jpeg_is_read() {
    for tag in 1..=8 {
        let exif = files::exif(&[files::short(0x0112, u16::from(tag))], &[]);
        let seen = see(&files::jpeg(40, 30, 3, Some(&exif))).unwrap();
        assert_eq!(
            (seen.media_type, seen.pixels),
            ("image/jpeg", Some((40, 30)))
        );
        assert_eq!(seen.says.orientation_tag, Some(tag));
        assert_eq!(
            seen.says.tag_mirrors(),
            [2, 4, 5, 7].contains(&tag),
            "{tag}"
        );
    }
}

/// Tag numbers: Exif 2.32, tables 4 to 8 (from memory).
#[test]
fn when_and_with_what_it_was_taken_is_read() {
    let tags = [
        files::ascii(0x010f, "Harrow"),
        files::ascii(0x0110, "HARROW One\u{7}  Mark 2"),
        files::ratio(0x011a, 1000, 1),
        files::ratio(0x011b, 2000, 2),
        files::short(0x0128, 2),
    ];
    let said = |times: &[files::Entry]| {
        let exif = files::exif(&tags, times);
        see(&files::jpeg(40, 30, 3, Some(&exif))).unwrap().says
    };
    let taken = files::ascii(0x9003, "2026:03:14 10:22:03");
    let zone = files::ascii(0x9011, "+02:00");
    assert_eq!(
        said(&[taken.clone(), zone]),
        FileSays {
            captured_at: Some("2026-03-14T10:22:03+02:00".into()),
            camera: Some("HARROW One Mark 2".into()),
            orientation_tag: None,
            density: Some(StatedDensity {
                across: 1_000_000,
                down: 1_000_000
            }),
            opaque: None,
        }
    );
    let clock = Some("2026-03-14T10:22:03".to_owned());
    assert_eq!(said(&[taken]).captured_at, clock);
    for nothing in [
        "0000:00:00 00:00:00",
        "    :  :     :  :  ",
        "2026:02:30 10:00:00",
        "2026:03:14 25:00:00",
        "yesterday",
    ] {
        assert_eq!(
            said(&[files::ascii(0x9003, nothing)]).captured_at,
            None,
            "{nothing}"
        );
    }
    let digitized = files::ascii(0x9004, "2026:03:15 08:00:00");
    assert_eq!(
        said(&[digitized]).captured_at.as_deref(),
        Some("2026-03-15T08:00:00")
    );
}

#[test]
fn an_endless_camera_name_is_cut() {
    let tags = [files::ascii(0x0110, &"x".repeat(5_000))];
    let exif = files::exif(&tags, &[]);
    let says = see(&files::jpeg(4, 3, 1, Some(&exif))).unwrap().says;
    assert_eq!(says.camera.unwrap().len(), 100);
}

#[test]
fn broken_exif_counts_as_none() {
    for exif in [
        &b"II*\0\xff\xff\xff\xff"[..],
        b"",
        b"MM\0*\0\0\0\x08\xff\xff",
    ] {
        let seen = see(&files::jpeg(40, 30, 3, Some(exif))).unwrap();
        assert_eq!(seen.says, FileSays::default());
    }
}

/// 39 370 pixels a metre are 999.998 an inch: PNG specification, third edition, 11.3.4.3.
#[test]
fn a_png_says_its_density_and_its_exif() {
    let exif = files::exif(&[files::short(0x0112, 5)], &[]);
    let density = [
        &39_370_u32.to_be_bytes()[..],
        &39_370_u32.to_be_bytes(),
        &[1],
    ]
    .concat();
    let png = files::png(8, 4, 0, 8, &[(*b"pHYs", density), (*b"eXIf", exif)]);
    let says = see(&png).unwrap().says;
    assert_eq!(says.orientation_tag, Some(5));
    assert_eq!(
        says.density.map(|d| (d.across, d.down)),
        Some((999_998, 999_998))
    );
}

#[test]
fn tiff_of_eight_and_sixteen_bits_is_read_in_both_byte_orders() {
    for little in [true, false] {
        for bits in [8, 16] {
            let mut tiff = Tiff::grey(7, 5, bits);
            tiff.little = little;
            tiff.entries.push(files::short(0x0112, 4));
            tiff.entries.push(files::ascii(0x0110, "flatbed 7"));
            tiff.entries.push(files::ratio(0x011a, 1200, 1));
            let seen = see(&tiff.bytes()).unwrap();
            assert_eq!((seen.media_type, seen.pixels), ("image/tiff", Some((7, 5))));
            assert_eq!(seen.says.orientation_tag, Some(4));
            assert_eq!(seen.says.camera.as_deref(), Some("flatbed 7"));
            assert_eq!(seen.says.density.unwrap().across, 1_200_000);
        }
    }
}

#[test]
fn what_is_no_picture_or_more_than_one_is_kept_as_bytes() {
    assert!(opaque(b"%PDF-1.7").contains("neither"));
    assert!(opaque(b"<html><script>alert(1)</script>").contains("neither"));
    assert!(opaque(b"x").contains("neither"));
    assert!(opaque(b"GIF89a\x01\0\x01\0").contains("GIF"));
    assert!(opaque(b"IIRO\x08\0\0\0").contains("raw"));
    let animated = files::png(8, 4, 0, 8, &[(*b"acTL", vec![0, 0, 0, 2, 0, 0, 0, 0])]);
    assert!(opaque(&animated).contains("animated"));
    let mut pages = Tiff::grey(7, 5, 8);
    pages.pages = 2;
    assert!(opaque(&pages.bytes()).contains("several pages"));
    // The thumbnail of camera raw is no picture of the mark, and a mosaic of colour filters is none yet.
    let mut lesser = Tiff::grey(7, 5, 8);
    lesser.entries.push(files::long(254, 1));
    assert!(opaque(&lesser.bytes()).contains("raw"));
    let mut mosaic = Tiff::grey(7, 5, 16);
    mosaic.set(files::short(262, 32_803));
    assert!(opaque(&mosaic.bytes()).contains("raw"));
    // Lossless and 12-bit JPEG are pictures, but none that is decoded here.
    for (marker, bits) in [(0xc3, 8), (0xc9, 8), (0xc1, 12)] {
        let mut jpeg = files::jpeg(40, 30, 3, None);
        let at = jpeg.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
        jpeg[at + 1] = marker;
        jpeg[at + 4] = bits;
        assert!(opaque(&jpeg).contains("not decoded"), "{marker:x}");
    }
}

#[test]
fn what_is_cut_off_or_damaged_is_refused() {
    let png = draw(&Picture::ridges(1)).unwrap();
    for length in [8, 20, 40, 1000, png.len() - 1] {
        assert_eq!(see(&png[..length]), Err(ProbeError::CutOff), "{length}");
    }
    let jpeg = files::jpeg(40, 30, 3, None);
    for length in [2, 10, jpeg.len() - 1] {
        assert_eq!(see(&jpeg[..length]), Err(ProbeError::CutOff), "{length}");
    }
    let tiff = Tiff::grey(7, 5, 8).bytes();
    for length in [4, 8, 30, tiff.len() - 1] {
        assert_eq!(see(&tiff[..length]), Err(ProbeError::CutOff), "{length}");
    }
    let mut circle = Tiff::grey(7, 5, 8);
    circle.next_is_itself = true;
    assert!(matches!(see(&circle.bytes()), Err(ProbeError::Damaged(_))));
    let mut strips = Tiff::grey(7, 5, 8);
    strips.set(files::Entry {
        count: Some(u32::MAX),
        ..files::long(273, 8)
    });
    assert!(matches!(see(&strips.bytes()), Err(ProbeError::Damaged(_))));
}

#[test]
fn a_picture_that_is_too_large_is_refused_by_its_head() {
    for (width, height) in [(60_000, 10), (20_000, 20_000), (0, 5)] {
        let jpeg = files::jpeg(width, height, 3, None);
        assert_eq!(see(&jpeg), Err(ProbeError::Size), "{width} {height}");
    }
    for (width, height) in [(60_000, 60_000), (1, 100_000), (0, 0), (u32::MAX, u32::MAX)] {
        let png = files::png_head(width, height);
        assert_eq!(see(&png), Err(ProbeError::Size), "{width} {height}");
        let mut tiff = Tiff::grey(7, 5, 8);
        tiff.set(files::long(256, width));
        tiff.set(files::long(257, height));
        assert_eq!(
            see(&tiff.bytes()),
            Err(ProbeError::Size),
            "{width} {height}"
        );
    }
}
