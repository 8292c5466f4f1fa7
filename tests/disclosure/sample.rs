//! A transaction to begin with: the facts of the two files beside this one.

use chrono::{NaiveDate, TimeZone as _, Utc};
use liftledger::disclosure::itl::{
    Capture, Coding, Density, Descriptive, Domain, Edition, Features, Header, Latent, Tone,
    Transaction,
};
use liftledger::lifting::handedness::Lateral;

/// Made for this project, read by two independent readers. SHA-256
/// b226bcb61caadb7a37fd296674fc8923e2e84f866f91a619b43a359cc711d361.
pub const RAW: &[u8] = include_bytes!("rt_none.an2");
/// Made for this project, read by one independent reader. SHA-256
/// 11d61269892718ef506f6ed6963358018083eec2ea3223eae23d10cc9a71fc15.
pub const PNG: &[u8] = include_bytes!("rt_png_efs.an2");

/// The pixels of both: 16 across, 12 down, a ramp that wraps around, so that all four separators are among them.
pub fn pixels() -> Vec<u8> {
    (0..12u32)
        .flat_map(|y| (0..16u32).map(move |x| ((x * 16 + y * 5) % 256) as u8))
        .collect()
}

/// The facts of the raw one.
pub fn raw() -> Transaction {
    let day = NaiveDate::from_ymd_opt(2026, 11, 25).unwrap();
    Transaction {
        edition: Edition::Y2015,
        header: Header {
            destination: "DEST00000".into(),
            originating: "XX0000000".into(),
            transaction: "LFFS".into(),
            control: "TCN0000001".into(),
            date: day,
            moment: Utc.with_ymd_and_hms(2026, 11, 25, 8, 45, 0).unwrap(),
            priority: None,
            domain: Some(Domain {
                name: "NORAM".into(),
                version: "11.0".into(),
            }),
        },
        descriptive: Descriptive {
            fields: [(3, "CASE 2026-0001".to_owned())].into(),
        },
        latent: Latent {
            capture: Capture::Lift,
            positions: vec![0],
            captured: day,
            width: 16,
            height: 12,
            density: Density::PerInch(1000),
            resolution: None,
            coding: Coding::Raw,
            bits: 8,
            comment: Some("lift L-1".into()),
            operations: vec![],
            agency: None,
            data: pixels(),
        },
        features: None,
        context: None,
    }
}

/// The facts of the one with PNG and Type-9, with this PNG.
pub fn with_features(png: &[u8]) -> Transaction {
    let mut t = raw();
    t.latent.coding = Coding::Png;
    t.latent.data = png.to_vec();
    t.features = Some(Features {
        lateral: Lateral::Reversed,
        tone: Tone::Negative,
        methods: vec!["SGF".into(), "BLP".into()],
        substrate: Some(("2B".into(), "window pane".into())),
        matrix: None,
        assessment: None,
    });
    t
}

/// A small grey PNG of these pixels.
pub fn png(width: u32, height: u32, pixels: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    let encoder = image::codecs::png::PngEncoder::new(&mut out);
    image::ImageEncoder::write_image(encoder, pixels, width, height, image::ExtendedColorType::L8)
        .unwrap();
    out
}
