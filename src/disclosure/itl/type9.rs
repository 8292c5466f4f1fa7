//! Type-9, of the extended feature set only what goes with the image: region, reversal, processing, value, substrate and
//! matrix. No minutiae: comparison is no part of this.
//!
//! Fields 9.301 and up may stand only beside a region of interest (9.300), which is measured in hundredths of a
//! millimetre. Without a known density it would be a guess, so then this record has nothing: methods and substrate are left
//! out, and an image whose reversal must be stated is refused.

use chrono::{DateTime, Utc};

use super::codes::{self, MATRICES, METHODS, SUBSTRATES, Tone, lateral_letter};
use super::record::Record;
use super::refusal::{ItlRefusal, ItlRule};
use super::text::Room;
use super::type1::greenwich;
use super::type13::Density;
use super::{IDC_IMAGE, Transaction};
use crate::custody::value::Value;
use crate::lifting::handedness::Lateral;

/// How many processing methods a file names.
pub const MOST_METHODS: usize = 9;
/// The widest and highest region, in units of 10 µm: half a metre.
pub const MOST_UNITS: u64 = 50_000;

/// An examiner's word on the value of the image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Assessment {
    /// The value.
    pub value: Value,
    /// The examiner's last name.
    pub last_name: String,
    /// The examiner's first name.
    pub first_name: String,
    /// The examiner's agency.
    pub affiliation: String,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub comment: Option<String>,
}

/// What goes with the image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Features {
    /// Which way round the image in this file reads.
    pub lateral: Lateral,
    /// Whether its ridges are dark.
    pub tone: Tone,
    /// Processing methods that contributed, in order, each once; for a mark seen as it is, `VIS`.
    pub methods: Vec<String>,
    /// The substrate's code and what it was.
    pub substrate: Option<(String, String)>,
    /// The matrix.
    pub matrix: Option<u8>,
    /// What an examiner found it worth.
    pub assessment: Option<Assessment>,
}

const OSD: Room = Room::new("9.355 substrate", 1000);
// Lengths of 9.353 from memory of the 2011 table.
const LAST: Room = Room::new("9.353 examiner's last name", 40);
const FIRST: Room = Room::new("9.353 examiner's first name", 40);
const AFFILIATION: Room = Room::new("9.353 examiner's affiliation", 99);
const COMMENT: Room = Room::new("9.353 comment", 200);

fn unknown(what: &str, code: &str) -> ItlRefusal {
    ItlRefusal::new(
        ItlRule::UnknownCode,
        format!("{code} is no {what} code of the standard."),
        "Correct the record, or choose another code.",
    )
}

fn codes_known(f: &Features) -> Result<(), ItlRefusal> {
    if f.methods.len() > MOST_METHODS {
        return Err(ItlRefusal::new(
            ItlRule::TooManyMethods,
            format!(
                "The mark has {} processing methods; a file names {MOST_METHODS} at most.",
                f.methods.len()
            ),
            "Choose those that contributed to what is seen.",
        ));
    }
    for (i, m) in f.methods.iter().enumerate() {
        if !METHODS.contains(&m.as_str()) || f.methods[..i].contains(m) {
            return Err(unknown("processing", m));
        }
    }
    if let Some((code, _)) = &f.substrate
        && !SUBSTRATES.contains(&code.as_str())
    {
        return Err(unknown("substrate", code));
    }
    if let Some(m) = f.matrix
        && !MATRICES.contains(&m)
    {
        return Err(unknown("matrix", &m.to_string()));
    }
    Ok(())
}

/// Pixels at this density in units of 10 µm, to the nearest.
fn units(pixels: u32, ppi: u32) -> Result<u64, ItlRefusal> {
    let ppi = u64::from(ppi.max(1));
    let units = (u64::from(pixels) * 2540 + ppi / 2) / ppi;
    if (1..=MOST_UNITS).contains(&units) {
        return Ok(units);
    }
    Err(ItlRefusal::new(
        ItlRule::Dimension,
        "At its density the image is wider or higher than half a metre.",
        "Crop a working copy to the mark, or measure the scale again.",
    ))
}

pub(super) fn record(
    t: &Transaction,
    left_out: &mut Vec<String>,
) -> Result<Option<Record>, ItlRefusal> {
    let Some(f) = &t.features else {
        return Ok(None);
    };
    codes_known(f)?;
    let Density::PerInch(ppi) = t.latent.density else {
        if lateral_letter(f.lateral).is_some() || f.tone.letter().is_some() {
            return Err(ItlRefusal::new(
                ItlRule::ReversalWithoutScale,
                "The density is not known, and without it the file cannot state that the image is or may be reversed.",
                "Measure the scale in the picture, or make a working copy that reads direct with dark ridges.",
            ));
        }
        left_out.push(
            "The density is not known, so there is no region of interest, and without one neither methods, substrate nor value can be stated."
                .into(),
        );
        return Ok(None);
    };
    let region = codes::region_of(&t.latent.positions)?;
    let mut r = Record::new(9, Some(IDC_IMAGE));
    r.put(
        3,
        &t.latent.capture.impression(t.edition, region).to_string(),
    );
    r.put(4, "U");
    let (width, height) = (units(t.latent.width, ppi)?, units(t.latent.height, ppi)?);
    r.put_subfields(300, &[vec![width.to_string(), height.to_string()]]);
    let positions: Vec<Vec<String>> = t
        .latent
        .positions
        .iter()
        .map(|p| vec![p.to_string()])
        .collect();
    r.put_subfields(302, &positions);
    if let Some(letter) = f.tone.letter() {
        r.put(314, letter);
    }
    if let Some(letter) = lateral_letter(f.lateral) {
        r.put(315, letter);
    }
    if !f.methods.is_empty() {
        let methods: Vec<Vec<String>> = f.methods.iter().map(|m| vec![m.clone()]).collect();
        r.put_subfields(352, &methods);
    }
    if let Some(a) = &f.assessment {
        let mut items = vec![
            codes::value_code(a.value).to_owned(),
            LAST.shortened(&a.last_name)?,
            FIRST.shortened(&a.first_name)?,
            AFFILIATION.shortened(&a.affiliation)?,
            greenwich(a.at),
        ];
        if let Some(comment) = &a.comment {
            items.push(COMMENT.shortened(comment)?);
        }
        r.put_subfields(353, &[items]);
    }
    if let Some((code, what)) = &f.substrate {
        r.put_subfields(355, &[vec![code.clone(), OSD.shortened(what)?]]);
    }
    if let Some(matrix) = f.matrix {
        r.put(356, &matrix.to_string());
    }
    Ok(Some(r))
}
