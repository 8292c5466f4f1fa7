//! What a picture file says of itself beside its pixels: when, with which camera, how it is to be turned, how dense.
//!
//! All of it is a claim of whatever wrote the file. Exif blocks are read by a library; of a TIFF file the few directory
//! entries that matter are read where they lie (`probe/tiff.rs`), since the library would need the whole file in memory.
//! Tag numbers: Exif 2.32 and TIFF 6.0.

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime};
use exif::{In, Tag, Value};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The longest name of a camera that is kept, in characters.
pub const MAX_CAMERA: usize = 100;
/// The longest Exif block that is read, in bytes. In a JPEG file it cannot be longer than 64 KB.
pub const MAX_EXIF: usize = 1024 * 1024;

/// How a capture time without a zone is written.
const CLOCK: &str = "%Y-%m-%dT%H:%M:%S";

/// How dense a file says that it is: pixels an inch, in thousandths. A scanner's is worth something; a camera's is not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StatedDensity {
    /// Across, in thousandths of a pixel an inch.
    pub across: u32,
    /// Down, in thousandths of a pixel an inch.
    pub down: u32,
}

/// What a file says of itself. A claim of whatever wrote it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FileSays {
    /// When it was taken: RFC 3339 where the file says the zone, else the camera's own clock, `2026-03-14T10:22:03`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub captured_at: Option<String>,
    /// Make and model of the camera or scanner.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera: Option<String>,
    /// The orientation tag, 1 to 8 (Exif 2.32, 4.6.4): how whoever shows the file turns it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub orientation_tag: Option<u8>,
    /// How dense it says that it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density: Option<StatedDensity>,
    /// Why the bytes are kept without being decoded; absent for a picture that can be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opaque: Option<String>,
}

impl FileSays {
    /// Whether nothing is said.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        *self == Self::default()
    }

    /// Whether the orientation tag turns left into right: tags 2, 4, 5 and 7.
    #[must_use]
    pub fn tag_mirrors(&self) -> bool {
        matches!(self.orientation_tag, Some(2 | 4 | 5 | 7))
    }
}

/// A capture time, as [`FileSays::captured_at`] has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Captured {
    /// With its zone.
    At(DateTime<FixedOffset>),
    /// The camera's own clock, zone unknown.
    Clock(NaiveDateTime),
}

impl Captured {
    /// Reads one; none where it is of neither form.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        DateTime::parse_from_rfc3339(text)
            .map(Self::At)
            .or_else(|_| NaiveDateTime::parse_from_str(text, CLOCK).map(Self::Clock))
            .ok()
    }
}

/// Tags as they stand in the file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Tags {
    pub make: Vec<u8>,
    pub model: Vec<u8>,
    pub orientation: Option<u32>,
    /// Pixels a unit as numerator and denominator, across and down.
    pub resolution: [Option<(u32, u32)>; 2],
    /// 2 for inches, 3 for centimetres.
    pub resolution_unit: Option<u32>,
    /// `YYYY:MM:DD HH:MM:SS`.
    pub original: Vec<u8>,
    /// `+HH:MM`.
    pub original_zone: Vec<u8>,
    pub digitized: Vec<u8>,
    pub digitized_zone: Vec<u8>,
}

impl Tags {
    /// From an Exif block (it begins with a TIFF header). A damaged one gives what could still be read.
    pub fn of_exif(block: Vec<u8>) -> Self {
        if block.len() > MAX_EXIF {
            return Self::default();
        }
        let mut reader = exif::Reader::new();
        reader.continue_on_error(true);
        let read = reader.read_raw(block);
        read.or_else(|e| e.distill_partial_result(|_| {}))
            .map(|exif| Self::of(&exif))
            .unwrap_or_default()
    }

    /// From what the library found.
    pub fn of(exif: &exif::Exif) -> Self {
        let value = |tag: Tag| exif.get_field(tag, In::PRIMARY).map(|f| &f.value);
        let text = |tag: Tag| match value(tag) {
            Some(Value::Ascii(parts)) => parts.first().cloned().unwrap_or_default(),
            _ => Vec::new(),
        };
        let number = |tag: Tag| value(tag).and_then(|v| v.get_uint(0));
        let ratio = |tag: Tag| match value(tag) {
            Some(Value::Rational(list)) => list.first().map(|r| (r.num, r.denom)),
            _ => None,
        };
        Self {
            make: text(Tag::Make),
            model: text(Tag::Model),
            orientation: number(Tag::Orientation),
            resolution: [ratio(Tag::XResolution), ratio(Tag::YResolution)],
            // Inches where nothing is said: Exif 2.32, 4.6.4.
            resolution_unit: number(Tag::ResolutionUnit).or(Some(2)),
            original: text(Tag::DateTimeOriginal),
            original_zone: text(Tag::OffsetTimeOriginal),
            digitized: text(Tag::DateTimeDigitized),
            digitized_zone: text(Tag::OffsetTimeDigitized),
        }
    }

    /// What goes on the record. Whatever is not of the form that the standard gives it counts as not said.
    pub fn said(&self) -> FileSays {
        let captured = captured(&self.original, &self.original_zone)
            .or_else(|| captured(&self.digitized, &self.digitized_zone));
        FileSays {
            captured_at: captured,
            camera: camera(&self.make, &self.model),
            orientation_tag: self
                .orientation
                .and_then(|n| u8::try_from(n).ok())
                .filter(|n| (1..=8).contains(n)),
            density: self.density(),
            opaque: None,
        }
    }

    fn density(&self) -> Option<StatedDensity> {
        let inches = match self.resolution_unit? {
            2 => 1.0,
            3 => 2.54,
            _ => return None,
        };
        let [across, down] = self.resolution;
        let (a, d) = (across?, down.or(across)?);
        let ppi = |(n, of): (u32, u32)| f64::from(n) / f64::from(of) * inches;
        density(ppi(a), ppi(d))
    }
}

/// A density in pixels an inch, where it is one that a camera or scanner could mean.
pub(super) fn density(across: f64, down: f64) -> Option<StatedDensity> {
    let thousandths = |ppi: f64| {
        // In this range nothing is cut off or negative.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        (1.0..=100_000.0)
            .contains(&ppi)
            .then(|| (ppi * 1000.0).round() as u32)
    };
    Some(StatedDensity {
        across: thousandths(across)?,
        down: thousandths(down)?,
    })
}

/// RFC 3339 with the zone that the file says, or the camera's own clock without any.
fn captured(time: &[u8], zone: &[u8]) -> Option<String> {
    let mut read = exif::DateTime::from_ascii(time).ok()?;
    let date = NaiveDate::from_ymd_opt(
        i32::from(read.year),
        u32::from(read.month),
        u32::from(read.day),
    )?;
    let clock = date.and_hms_opt(
        u32::from(read.hour),
        u32::from(read.minute),
        u32::from(read.second),
    )?;
    if !(1970..=2200).contains(&read.year) {
        return None;
    }
    let zone = read
        .parse_offset(zone)
        .ok()
        .and(read.offset)
        .and_then(|minutes| FixedOffset::east_opt(i32::from(minutes) * 60));
    Some(
        match zone.and_then(|z| clock.and_local_timezone(z).single()) {
            Some(at) => at.to_rfc3339(),
            None => clock.format(CLOCK).to_string(),
        },
    )
}

/// Make and model on one line. A maker's name that begins the model's is not said twice.
fn camera(make: &[u8], model: &[u8]) -> Option<String> {
    let plain = |bytes: &[u8]| -> String {
        let text = String::from_utf8_lossy(bytes);
        let text: String = text
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let (make, model) = (plain(make), plain(model));
    let both = if model.to_lowercase().starts_with(&make.to_lowercase()) {
        model
    } else {
        format!("{make} {model}")
    };
    let both: String = both.trim().chars().take(MAX_CAMERA).collect();
    let both = both.trim();
    (!both.is_empty()).then(|| both.to_owned())
}
