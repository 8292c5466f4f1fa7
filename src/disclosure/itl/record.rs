//! A tagged-field record: fields in ascending order, and a first field that counts every byte, itself included.

use super::refusal::{ItlRefusal, ItlRule};
use super::text::{FS, GS, RS, US};

/// The longest record: its length has eight digits at most in the table of Type-13.
pub const MOST_BYTES: usize = 99_999_999;

/// A record being written. Fields come in ascending order; a reader that sorts them then writes the same bytes again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    kind: u8,
    idc: Option<u8>,
    body: Vec<u8>,
    last: u16,
    beyond_ascii: bool,
}

impl Record {
    /// A record of this type. All but Type-1 have a designation (IDC) as their second field.
    #[must_use]
    pub fn new(kind: u8, idc: Option<u8>) -> Self {
        let mut record = Self {
            kind,
            idc,
            body: Vec::new(),
            last: 1,
            beyond_ascii: false,
        };
        if let Some(idc) = idc {
            record.put(2, &idc.to_string());
        }
        record
    }

    /// The type.
    #[must_use]
    pub fn kind(&self) -> u8 {
        self.kind
    }

    /// The designation.
    #[must_use]
    pub fn idc(&self) -> Option<u8> {
        self.idc
    }

    /// Whether a text in it is not ASCII, so that the transaction must declare its character set.
    #[must_use]
    pub fn beyond_ascii(&self) -> bool {
        self.beyond_ascii
    }

    fn tag(&mut self, number: u16) {
        debug_assert!(number > self.last, "fields are put in ascending order");
        self.last = number;
        self.body.push(GS);
        let tag = format!("{}.{number:03}:", self.kind);
        self.body.extend_from_slice(tag.as_bytes());
    }

    /// A field of one text, which was checked before.
    pub fn put(&mut self, number: u16, text: &str) {
        self.tag(number);
        self.beyond_ascii |= !text.is_ascii();
        self.body.extend_from_slice(text.as_bytes());
    }

    /// A field of subfields, each of items.
    pub fn put_subfields(&mut self, number: u16, subfields: &[Vec<String>]) {
        self.tag(number);
        for (i, items) in subfields.iter().enumerate() {
            if i > 0 {
                self.body.push(RS);
            }
            for (j, item) in items.iter().enumerate() {
                if j > 0 {
                    self.body.push(US);
                }
                self.beyond_ascii |= !item.is_ascii();
                self.body.extend_from_slice(item.as_bytes());
            }
        }
    }

    /// The last field: bytes as they are.
    pub fn put_data(&mut self, bytes: &[u8]) {
        self.tag(999);
        self.body.extend_from_slice(bytes);
    }

    /// The record with its length.
    ///
    /// # Errors
    /// [`ItlRule::TooLarge`].
    pub fn close(self) -> Result<Vec<u8>, ItlRefusal> {
        let tag = format!("{}.001:", self.kind);
        let rest = tag.len() + self.body.len() + 1;
        // The length counts its own digits: more digits may need one more.
        let mut digits = rest.to_string().len();
        while (rest + digits).to_string().len() > digits {
            digits += 1;
        }
        let len = rest + digits;
        if len > MOST_BYTES {
            return Err(ItlRefusal::new(
                ItlRule::TooLarge,
                format!(
                    "The record has {len} bytes; its length field can say {MOST_BYTES} at most."
                ),
                "Crop the image to the mark, or choose a receiver that takes PNG.",
            ));
        }
        let mut out = Vec::with_capacity(len);
        out.extend_from_slice(tag.as_bytes());
        out.extend_from_slice(len.to_string().as_bytes());
        out.extend(self.body);
        out.push(FS);
        Ok(out)
    }
}
