//! What a picture says of itself.

use liftledger::imaging::{
    probe::{ProbeError, probe},
    ridge::{Picture, draw},
};

#[test]
fn a_png_is_known_by_its_bytes() {
    let png = draw(&Picture::ridges(1)).unwrap();
    let p = probe(&png).unwrap();
    assert_eq!((p.media_type, p.width, p.height), ("image/png", 400, 580));
    assert_eq!((p.orientation, p.tag_mirrors()), (1, false));
}

/// A JPEG head made by hand: SOI, an Exif segment with orientation 2, and a frame header of 40 by 30 pixels.
/// Marker layout: ITU-T T.81 annex B; tag 0x0112: Exif 2.3 (from memory).
fn jpeg(orientation: u8, width: u16, height: u16) -> Vec<u8> {
    let mut out = vec![0xff, 0xd8, 0xff, 0xe1, 0, 34];
    out.extend(b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0");
    out.extend([orientation, 0, 0, 0, 0, 0, 0]);
    out.extend([0xff, 0xc0, 0, 11, 8]);
    out.extend(height.to_be_bytes());
    out.extend(width.to_be_bytes());
    out.extend([1, 1, 0x11, 0]);
    out.extend([0xff, 0xda, 0, 8, 1, 1, 0, 0, 63, 0, 0, 0xff, 0xd9]);
    out
}

#[test]
fn the_orientation_tag_of_a_jpeg_is_read() {
    for tag in 1..=8 {
        let p = probe(&jpeg(tag, 40, 30)).unwrap();
        assert_eq!((p.media_type, p.width, p.height), ("image/jpeg", 40, 30));
        assert_eq!(p.orientation, tag);
        assert_eq!(p.tag_mirrors(), [2, 4, 5, 7].contains(&tag), "{tag}");
    }
}

#[test]
fn what_is_no_picture_is_refused() {
    assert_eq!(probe(b""), Err(ProbeError::NotAPicture));
    assert_eq!(probe(b"%PDF-1.7"), Err(ProbeError::NotAPicture));
    let png = draw(&Picture::ridges(1)).unwrap();
    assert_eq!(probe(&png[..20]), Err(ProbeError::Damaged));
}

#[test]
fn a_picture_that_is_too_large_is_refused_by_its_head() {
    assert_eq!(probe(&jpeg(1, 60_000, 10)), Err(ProbeError::Size));
    assert_eq!(probe(&jpeg(1, 20_000, 20_000)), Err(ProbeError::Size));
}
