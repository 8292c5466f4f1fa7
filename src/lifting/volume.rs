//! How much casting material an area and a thickness take.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::film::MAX_SIDE;
use super::thickness::{MAX_TENTHS, tenths_words};

/// What is added for what stays on the card, in the tip and at the rim, per cent (our assumption, no source).
pub const ALLOWANCE: u32 = 25;
/// The widest strip of a two-part material, tenths of a millimetre (our assumption, to catch a wrong unit).
pub const MAX_STRIP: u32 = 500;

/// The material for a cast.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Volume {
    /// What the cast itself holds, mm³, rounded up.
    pub net_mm3: u64,
    /// With the allowance, mm³, rounded up.
    pub with_allowance_mm3: u64,
    /// How long each of the two strips is, mm, where their widths were given.
    pub strips_mm: Option<u32>,
    /// The same in words, with what is our assumption.
    pub sentence: String,
}

/// The material for a cast of this length, width and thickness (tenths of a millimetre; what is larger than the limits is
/// taken as those). `strips` are the widths at which the two parts leave their tubes, tenths of a millimetre: equal lengths of
/// the two, taken as round, then hold the volume.
#[must_use]
pub fn volume(length: u32, width: u32, thickness: u32, strips: Option<(u32, u32)>) -> Volume {
    let (length, width, thickness) = (
        u64::from(length.min(MAX_SIDE)),
        u64::from(width.min(MAX_SIDE)),
        u64::from(thickness.min(MAX_TENTHS)),
    );
    let cubes = length * width * thickness;
    let net = cubes.div_ceil(1000);
    let all = (cubes * u64::from(100 + ALLOWANCE)).div_ceil(100_000);
    let mut sentence = format!(
        "About {} ml: {} ml for the cast, and {ALLOWANCE} per cent for what stays on the card, in the tip and at the rim (our assumption).",
        millilitres(all),
        millilitres(net)
    );
    let strips_mm = strips.map(|(base, hardener)| {
        let square = |w: u32| {
            let w = u64::from(w.clamp(1, MAX_STRIP));
            w * w
        };
        // A round strip of width w holds w² π/4 for each length; 355/113 is π to the seventh figure.
        let per_length = (square(base) + square(hardener)) * 355;
        let mm = (all * 100 * 4 * 113).div_ceil(per_length);
        let mm = u32::try_from(mm).unwrap_or(u32::MAX);
        sentence.push_str(&format!(
            " Two strips of {mm} mm each, {} and {} mm wide, taken as round (our assumption).",
            tenths_words(base),
            tenths_words(hardener)
        ));
        mm
    });
    Volume {
        net_mm3: net,
        with_allowance_mm3: all,
        strips_mm,
        sentence,
    }
}

/// mm³ as millilitres with one decimal, rounded up.
fn millilitres(mm3: u64) -> String {
    let tenths = mm3.div_ceil(100);
    format!("{}.{}", tenths / 10, tenths % 10)
}
