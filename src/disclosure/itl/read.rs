//! Reading a transaction back: records and fields, strictly by their lengths. Nothing is searched for, so image bytes may be
//! anything.

use super::check::Fault;
use super::text::{FS, GS, RS, US};

/// How many records a file may have (the standard's bound is 999 after the first).
pub const MOST_RECORDS: usize = 1000;
/// How many fields a record may have (our bound).
pub const MOST_FIELDS: usize = 1000;

/// A field as it stands in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field<'a> {
    /// Number: 3 for `13.003`.
    pub number: u16,
    /// What stands after the colon.
    pub value: &'a [u8],
}

impl<'a> Field<'a> {
    /// The text, where it is one.
    #[must_use]
    pub fn text(&self) -> Option<&'a str> {
        std::str::from_utf8(self.value).ok()
    }

    /// Subfields, each of its items, as texts.
    #[must_use]
    pub fn subfields(&self) -> Option<Vec<Vec<&'a str>>> {
        let text = self.text()?;
        let subfields = text.split(char::from(RS));
        Some(
            subfields
                .map(|s| s.split(char::from(US)).collect())
                .collect(),
        )
    }
}

/// A record as it stands in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadRecord<'a> {
    /// Type.
    pub kind: u8,
    /// Bytes, as its first field says.
    pub len: usize,
    /// Fields in their order, the first one (the length) included.
    pub fields: Vec<Field<'a>>,
}

impl<'a> ReadRecord<'a> {
    /// A field by its number.
    #[must_use]
    pub fn field(&self, number: u16) -> Option<&Field<'a>> {
        self.fields.iter().find(|f| f.number == number)
    }

    /// A field's text by its number.
    #[must_use]
    pub fn text(&self, number: u16) -> Option<&'a str> {
        self.field(number)?.text()
    }
}

fn digits(bytes: &[u8]) -> Option<usize> {
    let text = std::str::from_utf8(bytes).ok()?;
    let plain = !text.is_empty() && text.len() <= 8 && text.bytes().all(|b| b.is_ascii_digit());
    (plain && !text.starts_with('0'))
        .then(|| text.parse().ok())
        .flatten()
}

/// `13.001:` at the beginning: type, number and how many bytes the tag has.
fn tag(bytes: &[u8]) -> Option<(u8, u16, usize)> {
    let head = &bytes[..bytes.len().min(8)];
    let colon = head.iter().position(|b| *b == b':')?;
    let text = std::str::from_utf8(&head[..colon]).ok()?;
    let (kind, number) = text.split_once('.')?;
    let plain = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if !plain(kind) || !plain(number) || kind.starts_with('0') || number.len() != 3 {
        return None;
    }
    Some((kind.parse().ok()?, number.parse().ok()?, colon + 1))
}

/// Reads the records.
///
/// # Errors
/// The first [`Fault`] of form: what follows a wrong length cannot be read.
pub fn records(bytes: &[u8]) -> Result<Vec<ReadRecord<'_>>, Fault> {
    let mut out = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        if out.len() >= MOST_RECORDS {
            return Err(Fault::new(
                at,
                "there are more than 999 records after the first",
            ));
        }
        let record = record(&bytes[at..], at)?;
        at += record.len;
        out.push(record);
    }
    Ok(out)
}

fn record(bytes: &[u8], at: usize) -> Result<ReadRecord<'_>, Fault> {
    let fault = |why: &str| Fault::new(at, why);
    let (kind, first, begin) = tag(bytes).ok_or_else(|| fault("no field begins here"))?;
    if first != 1 {
        return Err(fault("a record begins with its length"));
    }
    let end = bytes[begin..]
        .iter()
        .take(9)
        .position(|b| matches!(*b, GS | FS))
        .ok_or_else(|| fault("the length has no end"))?;
    let len = digits(&bytes[begin..begin + end]).ok_or_else(|| fault("the length is no number"))?;
    let whole = bytes
        .get(..len)
        .ok_or_else(|| fault("the length reaches beyond the end of the file"))?;
    if whole.len() < begin + end + 1 || whole.last() != Some(&FS) {
        return Err(fault("the record does not end where its length says"));
    }
    let body = &whole[..len - 1];
    let mut fields = Vec::new();
    let mut rest = body;
    let mut offset = 0;
    loop {
        let here = |why: &str| Fault::new(at + offset, why);
        if fields.len() >= MOST_FIELDS {
            return Err(here("the record has too many fields"));
        }
        let (of, number, begin) = tag(rest).ok_or_else(|| here("no field begins here"))?;
        if of != kind {
            return Err(here("the field is of another record type"));
        }
        if fields
            .last()
            .is_some_and(|f: &Field<'_>| f.number >= number)
        {
            return Err(here("fields do not ascend"));
        }
        // The image is the last field and may hold any byte.
        let end = if number == 999 {
            rest.len()
        } else {
            let end = rest.iter().position(|b| *b == GS);
            end.unwrap_or(rest.len())
        };
        let value = &rest[begin.min(end)..end];
        if number != 999 && (value.is_empty() || value.contains(&FS)) {
            return Err(here("the field is empty, or holds the end of a record"));
        }
        fields.push(Field { number, value });
        if end == rest.len() {
            break;
        }
        offset += end + 1;
        rest = &rest[end + 1..];
    }
    Ok(ReadRecord { kind, len, fields })
}
