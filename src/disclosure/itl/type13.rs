//! Type-13: the image of a latent print, always lossless.

use chrono::{DateTime, NaiveDate, Utc};
use sha2::{Digest as _, Sha256};

use super::codes::{self, Capture, Edition};
use super::record::Record;
use super::refusal::{ItlRefusal, ItlRule};
use super::text::Room;
use super::type1::greenwich;
use super::{IDC_IMAGE, Transaction};

/// How many pixels a side may have.
pub const SIDES: std::ops::RangeInclusive<u32> = 10..=99_999;

/// How densely the image was sampled at the mark itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Density {
    /// Pixels per inch, the same across and down.
    PerInch(u32),
    /// Not known, or not the same across and down: only the ratio of the sides of a pixel is said.
    Unknown {
        /// Ratio, across.
        across: u32,
        /// Ratio, down.
        down: u32,
    },
}

impl Density {
    /// Nothing is known: pixels are taken as square.
    pub const UNKNOWN: Self = Self::Unknown { across: 1, down: 1 };
}

/// How the density is known: field 13.019, since 2013.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResolutionMethod {
    /// A flatbed scanner's own.
    Flatbed,
    /// From a scale in the picture.
    Ruler,
}

/// How the pixels are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    /// Row by row, top to bottom, one byte of grey or three of colour a pixel.
    Raw,
    /// PNG.
    Png,
}

impl Coding {
    /// Field 13.011.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Raw => "NONE",
            Self::Png => "PNG",
        }
    }
}

/// One step of the processing log, field 13.902.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Operation {
    /// When.
    pub at: DateTime<Utc>,
    /// Name and version of what did it, 64 characters at most.
    pub program: String,
    /// Whose it is, 64 characters at most.
    pub owner: String,
    /// What it did, 255 characters at most.
    pub what: String,
}

/// The image.
#[derive(Clone, Debug, PartialEq)]
pub struct Latent {
    /// What was imaged.
    pub capture: Capture,
    /// Position codes.
    pub positions: Vec<u8>,
    /// The day on which it was imaged.
    pub captured: NaiveDate,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Density.
    pub density: Density,
    /// How the density is known.
    pub resolution: Option<ResolutionMethod>,
    /// How the pixels are written.
    pub coding: Coding,
    /// 8 for grey, 24 for colour.
    pub bits: u8,
    /// A comment, 126 characters at most.
    pub comment: Option<String>,
    /// What was done to the image since it was taken.
    pub operations: Vec<Operation>,
    /// The name of the agency that sends it, 125 characters at most.
    pub agency: Option<String>,
    /// The bytes.
    pub data: Vec<u8>,
}

const SRC: Room = Room::new("13.004 source agency", 100);
const COM: Room = Room::new("13.020 comment", 126);
const NAV: Room = Room::new("13.902 program", 64);
const OWN: Room = Room::new("13.902 owner", 64);
const PRO: Room = Room::new("13.902 description", 255);
const SAN: Room = Room::new("13.993 source agency name", 125);

/// How many operations are logged (our bound; a recipe is shorter).
pub const MOST_OPERATIONS: usize = 64;

fn no(rule: ItlRule, why: impl Into<String>, next: &str) -> ItlRefusal {
    ItlRefusal::new(rule, why, next)
}

fn whole(l: &Latent) -> Result<(), ItlRefusal> {
    if !SIDES.contains(&l.width) || !SIDES.contains(&l.height) {
        return Err(no(
            ItlRule::Dimension,
            format!(
                "The image has {} by {} pixels; a side has 10 to 99,999.",
                l.width, l.height
            ),
            "Make a working copy of another size.",
        ));
    }
    if !matches!(l.bits, 8 | 24) {
        return Err(no(
            ItlRule::Pixels,
            format!(
                "The image has {} bits a pixel; 8 of grey or 24 of colour are taken.",
                l.bits
            ),
            "Make a working copy in grey.",
        ));
    }
    let pixels = u64::from(l.width) * u64::from(l.height) * u64::from(l.bits / 8);
    let right = match l.coding {
        Coding::Raw => l.data.len() as u64 == pixels,
        Coding::Png => l.data.starts_with(b"\x89PNG\r\n\x1a\n"),
    };
    if l.data.is_empty() {
        return Err(no(
            ItlRule::NoImage,
            "There is no image.",
            "Choose a picture.",
        ));
    }
    if !right {
        return Err(no(
            ItlRule::Lossy,
            "The bytes of the image are not what its size and coding say.",
            "Make a working copy: it is lossless.",
        ));
    }
    Ok(())
}

fn densities(l: &Latent) -> Result<(u8, u32, u32), ItlRefusal> {
    let (units, across, down) = match l.density {
        Density::PerInch(ppi) => (1, ppi, ppi),
        Density::Unknown { across, down } => (0, across, down),
    };
    if [across, down].iter().any(|d| !(1..=99_999).contains(d)) {
        return Err(no(
            ItlRule::Dimension,
            "A density, or the ratio of a pixel's sides, is between 1 and 99,999.",
            "Measure the scale again.",
        ));
    }
    Ok((units, across, down))
}

pub(super) fn record(t: &Transaction) -> Result<Record, ItlRefusal> {
    let l = &t.latent;
    whole(l)?;
    let region = codes::region_of(&l.positions)?;
    let (units, across, down) = densities(l)?;
    let mut r = Record::new(13, Some(IDC_IMAGE));
    r.put(3, &l.capture.impression(t.edition, region).to_string());
    r.put(4, &SRC.text(&t.header.originating)?);
    r.put(5, &l.captured.format("%Y%m%d").to_string());
    r.put(6, &l.width.to_string());
    r.put(7, &l.height.to_string());
    r.put(8, &units.to_string());
    r.put(9, &across.to_string());
    r.put(10, &down.to_string());
    r.put(11, l.coding.word());
    r.put(12, &l.bits.to_string());
    let positions: Vec<Vec<String>> = l.positions.iter().map(|p| vec![p.to_string()]).collect();
    r.put_subfields(13, &positions);
    if let (Some(method), true, 1) = (l.resolution, t.edition >= Edition::Y2013, units) {
        r.put(
            19,
            match method {
                ResolutionMethod::Flatbed => "FLATBED",
                ResolutionMethod::Ruler => "RULER",
            },
        );
    }
    if let Some(comment) = &l.comment {
        r.put(20, &COM.text(comment)?);
    }
    if let Some(technology) = l.capture.technology(t.edition) {
        r.put(901, &technology.to_string());
    }
    if l.operations.len() > MOST_OPERATIONS {
        return Err(no(
            ItlRule::TooLarge,
            format!("More than {MOST_OPERATIONS} steps were done to the image."),
            "Make a working copy in fewer steps.",
        ));
    }
    if !l.operations.is_empty() {
        let log = l
            .operations
            .iter()
            .map(|o| {
                Ok(vec![
                    greenwich(o.at),
                    NAV.text(&o.program)?,
                    OWN.text(&o.owner)?,
                    PRO.text(&o.what)?,
                ])
            })
            .collect::<Result<Vec<_>, ItlRefusal>>()?;
        r.put_subfields(902, &log);
    }
    if let Some(agency) = &l.agency {
        r.put(993, &SAN.text(agency)?);
    }
    if t.context.is_some() {
        r.put(995, &super::type21::NUMBER.to_string());
    }
    r.put(996, &hex::encode_upper(Sha256::digest(&l.data)));
    r.put_data(&l.data);
    Ok(r)
}
