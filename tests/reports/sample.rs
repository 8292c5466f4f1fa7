//! Invented labels and reports: a boatyard break-in in a county that doesn't exist.
#![allow(dead_code)]

use chrono::{DateTime, FixedOffset, TimeDelta, Utc};
use liftledger::custody::thread::{Knot, KnotKind, SealMark, Stretch, StretchKind, Thread};
use liftledger::reports::custody_report::*;
use liftledger::reports::label::{Label, Orientation};
use liftledger::reports::paper::Paper;
use liftledger::zone::Zone;

pub const CODE: &str = "I4K79Q2MXW3A";

pub fn at() -> DateTime<Utc> {
    DateTime::from_timestamp(1_773_480_000, 0).unwrap()
}

pub fn label() -> Label {
    Label {
        agency: "Tamarack County Sheriff, Evidence Unit".into(),
        case_number: "26-00417".into(),
        item_number: "3".into(),
        part: "lift 2 of 5".into(),
        code: CODE.into(),
        code_grouped: "I4K7 9Q2M XW3A".into(),
        when: "14 Mar 2026 09:20 -05:00".into(),
        place: "Boatyard, 4 Slip Road, Port Ellery".into(),
        object: "Cabin door of the sloop, varnished mahogany".into(),
        spot: "Inner face, 12 cm below the latch, 3 cm from the edge".into(),
        up: "toward the hinge of the upper panel".into(),
        lifter: "Zofia Wąsik".into(),
        badge: "1182".into(),
        development: "Black powder, brush".into(),
        medium: "Black gelatin lifter".into(),
        mark: "Latent print".into(),
        tone: "dark powder".into(),
        description: "Latent print from the cabin door".into(),
        orientation: Orientation::Mirrored,
        packing: vec!["DO NOT OPEN: LATENT PRINTS".into(), "FRAGILE".into()],
        cautions: vec!["Powder residue: gloves; follow local safety rules".into()],
        package_number: "P-12".into(),
        container: "cardboard box".into(),
        contents: vec![
            "Item 3, gel lift".into(),
            "Item 4, tape lift on card".into(),
        ],
        seal_number: "004217".into(),
        printed_at: at(),
        print_id: String::new(),
    }
}

pub fn thread() -> Thread {
    let t = |hours: i64| at() + TimeDelta::hours(hours);
    let knot = |h: i64, kind, filled, row: usize, flagged| Knot {
        at: t(h),
        kind,
        filled,
        label: String::new(),
        row,
        seq: row as u64 * 7,
        flagged,
    };
    let stretch = |holder: &str, kind, a, b| Stretch {
        holder: holder.into(),
        kind,
        from: t(a),
        to: t(b),
    };
    Thread {
        title: "Item 3".into(),
        from: t(0),
        to: t(700),
        stretches: vec![
            stretch("Z. Wąsik", StretchKind::Person, 0, 6),
            stretch("Evidence desk", StretchKind::Place, 6, 520),
            stretch("carrier", StretchKind::Transit, 520, 540),
            stretch("", StretchKind::Break, 540, 560),
            stretch("State laboratory", StretchKind::Outside, 560, 700),
        ],
        knots: vec![
            knot(0, KnotKind::Start, true, 1, false),
            knot(5, KnotKind::Offer, false, 2, false),
            knot(6, KnotKind::Receipt, true, 3, false),
            knot(520, KnotKind::CheckedOut, true, 4, false),
            knot(560, KnotKind::Receipt, true, 5, true),
        ],
        seals: vec![SealMark {
            number: "004217".into(),
            at: t(2),
            cut_at: Some(t(570)),
            mismatch: false,
        }],
    }
}

pub fn row(n: u64) -> CustodyRow {
    CustodyRow {
        row: n as usize,
        through: String::new(),
        n,
        seq: n * 3 + 100,
        claimed: "14 Mar 2026 09:20 -05:00".into(),
        recorded: "14 Mar 2026 14:21:07 UTC".into(),
        act: format!("Count-{n:04}"),
        from: "Zofia Wąsik".into(),
        to: "Shelf D-12".into(),
        seal_seen: "004217 intact".into(),
        condition: "dry, flat".into(),
        note: if n.is_multiple_of(10) {
            "Counted at the yearly inventory; label legible, box undamaged".into()
        } else {
            String::new()
        },
        attested: "password".into(),
        late: n == 7,
        flag: if n == 9 {
            "seal number differs".into()
        } else {
            String::new()
        },
    }
}

pub fn report(rows: u64) -> CustodyReport {
    let digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    CustodyReport {
        agency: "Tamarack County Sheriff, Evidence Unit".into(),
        case_number: "26-00417".into(),
        case_title: "Boatyard break-in, Port Ellery".into(),
        printed_by: "Ελένη Δράκου, court liaison".into(),
        printed_when: "2 Apr 2026 10:00 -05:00".into(),
        printed_at: at(),
        print_id: "R0001".into(),
        withheld: String::new(),
        paper: Paper::A4,
        zone: Zone::Fixed(FixedOffset::west_opt(5 * 3600).unwrap()),
        items: vec![
            ReportItem {
                number: "3".into(),
                code: "I4K7 9Q2M XW3A".into(),
                description: "Gel lift of a latent print from the cabin door".into(),
                facts: vec![
                    ("Recovered by".into(), "Zofia Wąsik, no. 1182".into()),
                    ("Witness".into(), "Фёдор Жуков".into()),
                    ("Medium".into(), "Black gelatin lifter".into()),
                ],
                orientation: Orientation::Mirrored,
                orientation_steps: "The mark was taken onto an opaque gel (mirrored) and photographed on the gel side: \
                                    one mirror step, so the picture reads mirrored."
                    .into(),
                images: vec![ReportImage {
                    file: "IMG_0031.png".into(),
                    media_type: "image/png".into(),
                    size: "24 117 248 bytes".into(),
                    sha256: digest.into(),
                    viewed: "gel side".into(),
                    reads: "mirrored".into(),
                    thumbnail: Some(picture()),
                }],
                packaging: vec![("Package".into(), "P-12, cardboard box".into())],
                keep_rules: vec![KeepRule {
                    rule: "Keep flat, cover sheet on, not in the freezer".into(),
                    reason: "Gel spreads and ridges blur when pressed or warmed".into(),
                    source: "common practice, no source".into(),
                }],
                seals: vec![SealRow {
                    number: "004217".into(),
                    applied: "14 Mar 2026 11:20 -05:00, Zofia Wąsik".into(),
                    cut: "7 Apr 2026, State laboratory: examination".into(),
                }],
                thread: Some(thread()),
                custody: (1..=rows).map(row).collect(),
                findings: vec![
                    FindingRow {
                        severity: "break".into(),
                        grave: true,
                        title: "Time not accounted for".into(),
                        sentence: "Nobody vouches for 20 h.".into(),
                        row: Some(5),
                        events: vec![121, 131],
                        answer: "It lay in the locked drawer of the counter.".into(),
                        answered: "Ελένη Δράκου, 1 Apr 2026, event 140".into(),
                        would_answer: "Who had it.".into(),
                    },
                    FindingRow {
                        severity: "note".into(),
                        title: "Entered late".into(),
                        sentence: "It was entered late.".into(),
                        events: vec![118],
                        would_answer: "What was written down then.".into(),
                        ..FindingRow::default()
                    },
                ],
                flags: vec!["20 h not accounted for between rows 4 and 5".into()],
                amendments: vec!["Event 121 corrects event 118: the place was the inner face, not the outer.".into()],
            },
            ReportItem {
                number: "4".into(),
                description: "Tape lift on a white card".into(),
                orientation: Orientation::Direct,
                custody: vec![row(1)],
                ..ReportItem::default()
            },
        ],
        integrity: Integrity {
            signature: String::new(),
            checkpoint: format!("ledger.tamarack.example\n412\n{digest}"),
            ledger_size: 412,
            tree_head: digest.into(),
            counts: vec![("Item 3".into(), rows), ("Item 4".into(), 1)],
            witnesses: Vec::new(),
        },
    }
}

pub fn picture() -> Vec<u8> {
    let image = image::RgbImage::from_fn(120, 80, |x, y| {
        let v = if (x + y / 3) % 9 < 4 { 40 } else { 220 };
        image::Rgb([v, v, v])
    });
    let mut out = std::io::Cursor::new(Vec::new());
    image.write_to(&mut out, image::ImageFormat::Png).unwrap();
    out.into_inner()
}
