//! Type-21: a picture that shows where the mark was, as the camera wrote it. It is not compared, so it may be lossy.
//!
//! Fields from the Update:2013 draft's table: 21.015 file type of 3 to 6 characters, 21.021 the number by which field 13.995
//! refers to it.

use chrono::NaiveDate;
use sha2::{Digest as _, Sha256};

use super::record::Record;
use super::refusal::{ItlRefusal, ItlRule};
use super::text::Room;
use super::{IDC_CONTEXT, Transaction};

/// The number of the only context picture.
pub(super) const NUMBER: u8 = 1;

/// A context picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ContextPicture {
    /// The day on which it was taken.
    pub taken: NaiveDate,
    /// `PNG`, `JPG`, `TIF`.
    pub file_type: String,
    /// What it shows, 126 characters at most.
    pub comment: Option<String>,
    /// The file.
    pub data: Vec<u8>,
}

const SRC: Room = Room::new("21.004 source agency", 100);
const AFT: Room = Room::new("21.015 file type", 6);
const COM: Room = Room::new("21.020 comment", 126);

pub(super) fn record(c: &ContextPicture, t: &Transaction) -> Result<Record, ItlRefusal> {
    if c.data.is_empty() {
        return Err(ItlRefusal::new(
            ItlRule::NoImage,
            "The context picture is empty.",
            "Choose another picture, or none.",
        ));
    }
    let file_type = AFT.ascii(&c.file_type)?;
    if file_type.len() < 3 {
        return Err(ItlRefusal::new(
            ItlRule::UnknownCode,
            format!("{file_type} is no file type of 3 to 6 characters."),
            "Choose a PNG, JPEG or TIFF picture.",
        ));
    }
    let mut r = Record::new(21, Some(IDC_CONTEXT));
    r.put(4, &SRC.text(&t.header.originating)?);
    r.put(5, &c.taken.format("%Y%m%d").to_string());
    r.put(15, &file_type);
    if let Some(comment) = &c.comment {
        r.put(20, &COM.text(comment)?);
    }
    r.put(21, &NUMBER.to_string());
    r.put(996, &hex::encode_upper(Sha256::digest(&c.data)));
    r.put_data(&c.data);
    Ok(r)
}
