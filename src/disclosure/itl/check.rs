//! The checker: what a file must keep to, said of each thing that it does not. Common readers take a wrong record type in the
//! table of contents, and find the image by searching for `999:`; this one looks.

use sha2::{Digest as _, Sha256};

use super::codes::{self, Edition, METHODS, SUBSTRATES};
use super::read::{ReadRecord, records};
use super::text::MARKER;

/// Something that is wrong with a file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("at byte {at}: {why}")]
pub struct Fault {
    /// Where, in bytes from the beginning.
    pub at: usize,
    /// What.
    pub why: String,
}

impl Fault {
    /// A fault.
    pub fn new(at: usize, why: impl Into<String>) -> Self {
        Self {
            at,
            why: why.into(),
        }
    }
}

/// Reads the file and checks it: lengths, the table of contents against what is there, mandatory fields, codes of its
/// edition, the digest of the image.
///
/// # Errors
/// Every fault that was found; where the form itself is broken, that one.
pub fn check(bytes: &[u8]) -> Result<Vec<ReadRecord<'_>>, Vec<Fault>> {
    let all = records(bytes).map_err(|f| vec![f])?;
    let mut faults = Vec::new();
    let mut at = 0;
    for (i, record) in all.iter().enumerate() {
        let mut say = |why: String| faults.push(Fault::new(at, why));
        if (i == 0) != (record.kind == 1) {
            say("the first record, and no other, is Type-1".into());
        }
        each(record, &mut say);
        at += record.len;
    }
    let mut say = |why: String| faults.push(Fault::new(0, why));
    match all.first() {
        None => say("the file is empty".into()),
        Some(first) => {
            contents(first, &all, &mut say);
            together(first, &all, &mut say);
        }
    }
    if faults.is_empty() {
        Ok(all)
    } else {
        Err(faults)
    }
}

fn mandatory(kind: u8) -> &'static [u16] {
    match kind {
        1 => &[2, 3, 4, 5, 7, 8, 9, 11, 12],
        9 => &[2, 3, 4],
        13 => &[2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 999],
        21 => &[2, 4, 5, 15, 21, 999],
        _ => &[2],
    }
}

fn number(record: &ReadRecord<'_>, field: u16) -> Option<u64> {
    let text = record.text(field)?;
    let plain = text.bytes().all(|b| b.is_ascii_digit());
    let leading = text.len() > 1 && text.starts_with('0');
    (plain && !leading).then(|| text.parse().ok()).flatten()
}

fn each(r: &ReadRecord<'_>, say: &mut impl FnMut(String)) {
    for field in mandatory(r.kind) {
        if r.field(*field).is_none() {
            say(format!("field {}.{field:03} is missing", r.kind));
        }
    }
    for f in r.fields.iter().filter(|f| f.number != 999) {
        match f.text() {
            None => say(format!("field {}.{:03} is no text", r.kind, f.number)),
            Some(text) if text.contains(MARKER) => {
                say(format!("field {}.{:03} holds {MARKER}", r.kind, f.number))
            }
            Some(text) if r.kind == 1 && !text.is_ascii() => {
                say(format!("field 1.{:03} is not ASCII", f.number));
            }
            Some(_) => {}
        }
    }
    if r.kind != 1 && number(r, 2).is_none_or(|idc| idc > 99) {
        say(format!(
            "field {}.002 is no designation from 0 to 99",
            r.kind
        ));
    }
    if let (Some(said), Some(data)) = (r.text(996), r.field(999))
        && !said.eq_ignore_ascii_case(&hex::encode(Sha256::digest(data.value)))
    {
        say(format!(
            "field {}.996 is not the SHA-256 of the image",
            r.kind
        ));
    }
    match r.kind {
        9 => features(r, say),
        13 => latent(r, say),
        _ => {}
    }
}

fn latent(r: &ReadRecord<'_>, say: &mut impl FnMut(String)) {
    let sides = [number(r, 6), number(r, 7)];
    if sides
        .iter()
        .any(|s| s.is_none_or(|s| !(10..=99_999).contains(&s)))
    {
        say("a side of the image is not 10 to 99,999 pixels".into());
    }
    let (units, across, down) = (number(r, 8), number(r, 9), number(r, 10));
    if units.is_none_or(|u| u > 2) || across.is_none_or(|d| d == 0) || down.is_none_or(|d| d == 0) {
        say("the density is not stated".into());
    } else if units != Some(0) && across != down {
        say("the densities across and down differ".into());
    }
    let (coding, bits) = (r.text(11), number(r, 12));
    if !matches!(coding, Some("NONE" | "PNG" | "JPEGL" | "JP2L")) {
        say("a latent print is coded NONE, PNG, JPEGL or JP2L".into());
    }
    if !matches!(bits, Some(8 | 24)) {
        say("a pixel has neither 8 nor 24 bits".into());
    }
    if let (Some("NONE"), [Some(w), Some(h)], Some(bits), Some(data)) =
        (coding, sides, bits, r.field(999))
        && w * h * (bits / 8) != data.value.len() as u64
    {
        say("the image has not as many bytes as its size says".into());
    }
    if coding == Some("PNG")
        && let Some(data) = r.field(999)
    {
        png(data.value, sides, bits, say);
    }
    let positions = r.field(13).and_then(super::read::Field::subfields);
    let positions: Option<Vec<u8>> = positions.and_then(|all| {
        all.iter()
            .map(|p| p.first().and_then(|p| p.parse().ok()))
            .collect()
    });
    if positions.is_none_or(|p| codes::region_of(&p).is_err()) {
        say("the positions are none that a latent print can have".into());
    }
}

/// The header of the PNG says what the record says (W3C PNG, IHDR).
fn png(data: &[u8], sides: [Option<u64>; 2], bits: Option<u64>, say: &mut impl FnMut(String)) {
    let side = |at: usize| {
        let four = data.get(at..at + 4)?;
        four.try_into()
            .ok()
            .map(|b| u64::from(u32::from_be_bytes(b)))
    };
    let kind = match bits {
        Some(8) => 0,
        _ => 2,
    };
    let same = data.starts_with(b"\x89PNG\r\n\x1a\n")
        && data.get(12..16) == Some(b"IHDR")
        && [side(16), side(20)] == sides
        && data.get(24) == Some(&8)
        && data.get(25) == Some(&kind);
    if !same {
        say("the PNG is of another size or depth than the record says".into());
    }
}

fn features(r: &ReadRecord<'_>, say: &mut impl FnMut(String)) {
    if r.text(4) != Some("U") {
        say("field 9.004 is not U".into());
    }
    let extended = r.fields.iter().any(|f| (301..400).contains(&f.number));
    if extended && (r.field(300).is_none() || r.field(302).is_none()) {
        say("fields of the extended set stand without a region and its positions".into());
    }
    if r.text(314).is_some_and(|t| !matches!(t, "N" | "P" | "U")) {
        say("field 9.314 is not N, P or U".into());
    }
    if r.text(315).is_some_and(|t| !matches!(t, "L" | "U")) {
        say("field 9.315 is not L or U".into());
    }
    let first_items = |field: u16| -> Vec<String> {
        let all = r.field(field).and_then(super::read::Field::subfields);
        let all = all.unwrap_or_default();
        all.iter()
            .filter_map(|s| s.first().map(|i| (*i).to_owned()))
            .collect()
    };
    let methods = first_items(352);
    if methods.len() > 9 || methods.iter().any(|m| !METHODS.contains(&m.as_str())) {
        say("field 9.352 has more than 9 methods, or one that the table does not have".into());
    }
    let substrates = first_items(355);
    if substrates.len() > 3 || substrates.iter().any(|s| !SUBSTRATES.contains(&s.as_str())) {
        say("field 9.355 has a substrate that the table does not have".into());
    }
}

/// The table of contents is what the file holds, in its order.
fn contents(first: &ReadRecord<'_>, all: &[ReadRecord<'_>], say: &mut impl FnMut(String)) {
    let mut there = vec![vec!["1".to_owned(), (all.len() - 1).to_string()]];
    for r in &all[1..] {
        there.push(vec![
            r.kind.to_string(),
            r.text(2).unwrap_or_default().to_owned(),
        ]);
    }
    let said = first.field(3).and_then(super::read::Field::subfields);
    if said.is_none_or(|said| said != there) {
        say("field 1.003 does not list the records that follow, in their order".into());
    }
}

fn together(first: &ReadRecord<'_>, all: &[ReadRecord<'_>], say: &mut impl FnMut(String)) {
    let edition = first.text(2);
    if !Edition::ALL.iter().any(|e| Some(e.version()) == edition) {
        say("field 1.002 is no edition that this reader knows".into());
    }
    if all.iter().filter(|r| r.kind == 2).count() != 1 || all.get(1).is_none_or(|r| r.kind != 2) {
        say("one Type-2 record follows the first".into());
    }
    let beyond = all[1..].iter().any(|r| {
        let mut texts = r.fields.iter().filter(|f| f.number != 999);
        texts.any(|f| !f.value.is_ascii())
    });
    if beyond && first.text(15) != Some("3\u{1f}UTF-8") {
        say("a text is not ASCII and field 1.015 does not say so".into());
    }
    for r in all.iter().filter(|r| r.kind == 9) {
        let pair = all.iter().find(|i| i.kind == 13 && i.text(2) == r.text(2));
        match pair {
            None => say("a Type-9 record has no image of its designation".into()),
            Some(image) if image.text(3) != r.text(3) => {
                say("a Type-9 record and its image differ in the impression".into());
            }
            Some(_) => {}
        }
    }
    for r in all.iter().filter(|r| r.kind == 13) {
        let old = edition != Some(Edition::Y2015.version());
        let impression = number(r, 3);
        let right = match impression {
            Some(4) => true,
            Some(5..=7 | 12..=15 | 32..=39) => old,
            _ => false,
        };
        if !right {
            say("field 13.003 is no latent print of this edition".into());
        }
        if r.field(901).is_some() && old {
            say("field 13.901 came with the edition of 2015".into());
        }
        let refers = r.text(995);
        let context = all.iter().find(|c| c.kind == 21);
        if refers.is_some() && context.is_none_or(|c| c.text(21) != refers) {
            say("field 13.995 refers to a picture that is not there".into());
        }
    }
}
