//! The place for a signature in a PDF that this program made: an incremental update with one invisible signature field on
//! the first page and the signature's dictionary, whose /Contents is filled in when everything else stands (ISO 32000-1, 12.7.4.5
//! and 12.8.1).

use lopdf::{Dictionary, Document, IncrementalDocument, Object, StringFormat};
use memchr::memmem;
use sha2::{Digest as _, Sha256};

use super::SignatureError;
use crate::ids::Digest;

/// What a reader of PDF shows beside the signature.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// Who signs.
    pub name: String,
    /// Why.
    pub reason: String,
}

/// A number that no real one is longer than; it stands in for those that are known last.
const WIDE: i64 = 9_999_999_999;

/// A PDF with room for a signature.
pub struct Room {
    bytes: Vec<u8>,
    /// Where `<` stands.
    from: usize,
    /// Behind `>`.
    to: usize,
}

fn wrong(e: impl std::fmt::Display) -> SignatureError {
    SignatureError::Pdf(e.to_string())
}

/// A text as PDF has it: plain where that is enough, else UTF-16 with its mark (ISO 32000-1, 7.9.2.2).
fn text(text: &str) -> Object {
    if text.bytes().all(|b| (b' '..=b'~').contains(&b)) {
        return Object::string_literal(text);
    }
    let units = text.encode_utf16().flat_map(u16::to_be_bytes);
    let bytes = [0xFE, 0xFF].into_iter().chain(units).collect();
    Object::String(bytes, StringFormat::Hexadecimal)
}

fn dictionary(entries: Vec<(&str, Object)>) -> Dictionary {
    Dictionary::from_iter(entries)
}

fn name(name: &str) -> Object {
    Object::Name(name.as_bytes().to_vec())
}

impl Room {
    /// Adds the update, with so many bytes for the signature. The time in it is the one at which the PDF says it was made.
    ///
    /// # Errors
    /// [`SignatureError::Pdf`] for a PDF that is not of this program's making.
    pub fn make(pdf: Vec<u8>, room: usize, said: &Said) -> Result<Self, SignatureError> {
        let length = pdf.len();
        let before = Document::load_mem(&pdf).map_err(wrong)?;
        let page = before.get_pages().into_values().next();
        let page = page.ok_or_else(|| wrong("it has no page"))?;
        let root = before.trailer.get(b"Root").and_then(Object::as_reference);
        let root = root.map_err(wrong)?;
        let made_at = before
            .trailer
            .get(b"Info")
            .and_then(Object::as_reference)
            .and_then(|id| before.get_object(id))
            .and_then(Object::as_dict)
            .and_then(|info| info.get(b"CreationDate"))
            .map_err(wrong)?
            .clone();
        if before.catalog().map_err(wrong)?.has(b"AcroForm") {
            return Err(wrong("it has a form already"));
        }
        let digest = Sha256::digest(&pdf);
        let mut update = IncrementalDocument::create_from(pdf, before);
        for id in [root, page] {
            update.opt_clone_object_to_new_document(id).map_err(wrong)?;
        }
        let new = &mut update.new_document;
        let signature = new.add_object(dictionary(vec![
            ("Type", name("Sig")),
            ("Filter", name("Adobe.PPKLite")),
            ("SubFilter", name("ETSI.CAdES.detached")),
            (
                "ByteRange",
                Object::Array([0, WIDE, WIDE, WIDE].map(Object::Integer).to_vec()),
            ),
            (
                "Contents",
                Object::String(vec![0; room], StringFormat::Hexadecimal),
            ),
            ("M", made_at),
            ("Name", text(&said.name)),
            ("Reason", text(&said.reason)),
        ]));
        let field = new.add_object(dictionary(vec![
            ("Type", name("Annot")),
            ("Subtype", name("Widget")),
            ("FT", name("Sig")),
            ("T", text("Signature of the ledger")),
            // Printed, and locked: ISO 32000-1, table 165.
            ("F", Object::Integer(4 + 128)),
            ("Rect", Object::Array(vec![Object::Integer(0); 4])),
            ("P", Object::Reference(page)),
            ("V", Object::Reference(signature)),
        ]));
        let leaf = new.get_object_mut(page).and_then(Object::as_dict_mut);
        let leaf = leaf.map_err(wrong)?;
        match leaf.get_mut(b"Annots") {
            Ok(Object::Array(all)) => all.push(Object::Reference(field)),
            Ok(_) => return Err(wrong("the annotations of its first page lie elsewhere")),
            Err(_) => leaf.set("Annots", Object::Array(vec![Object::Reference(field)])),
        }
        let catalog = new.get_object_mut(root).and_then(Object::as_dict_mut);
        let catalog = catalog.map_err(wrong)?;
        let form = dictionary(vec![
            ("Fields", Object::Array(vec![Object::Reference(field)])),
            // Signatures are there, and what follows may only be appended: ISO 32000-1, table 219.
            ("SigFlags", Object::Integer(3)),
        ]);
        catalog.set("AcroForm", Object::Dictionary(form));
        catalog.set("Version", name("1.7"));
        if let Ok(Object::Array(ids)) = new.trailer.get_mut(b"ID")
            && let Some(second) = ids.get_mut(1)
        {
            // The second half of the identifier is that of this revision: ISO 32000-1, 14.4.
            *second = Object::String(digest[..16].to_vec(), StringFormat::Hexadecimal);
        }
        let mut bytes = Vec::with_capacity(length + 2 * room + 4096);
        update.save_to(&mut bytes).map_err(wrong)?;
        Self::ranged(bytes, length, room)
    }

    /// Writes what the signature covers into the update.
    fn ranged(mut bytes: Vec<u8>, length: usize, room: usize) -> Result<Self, SignatureError> {
        let added = bytes.get(length..).unwrap_or_default();
        let empty = format!("/Contents<{}>", "0".repeat(2 * room));
        let contents = memmem::find(added, empty.as_bytes());
        let contents = contents.ok_or_else(|| wrong("there is no room in it"))?;
        let from = length + contents + "/Contents".len();
        let to = from + 2 * room + 2;
        let wide = format!("[0 {WIDE} {WIDE} {WIDE}]");
        let range = memmem::find(added, wide.as_bytes());
        let range = length + range.ok_or_else(|| wrong("there is no range in it"))?;
        let told = format!("[0 {from} {to} {}", bytes.len() - to);
        let told = format!("{told:<width$}]", width = wide.len() - 1);
        bytes
            .get_mut(range..range + wide.len())
            .filter(|_| told.len() == wide.len())
            .ok_or_else(|| wrong("it is too long"))?
            .copy_from_slice(told.as_bytes());
        Ok(Self { bytes, from, to })
    }

    /// SHA-256 of everything but the place of the signature.
    #[must_use]
    pub fn digest(&self) -> Digest {
        let mut hash = Sha256::new();
        hash.update(self.bytes.get(..self.from).unwrap_or_default());
        hash.update(self.bytes.get(self.to..).unwrap_or_default());
        Digest(hash.finalize().into())
    }

    /// Puts the signature into its place.
    ///
    /// # Errors
    /// [`SignatureError::Room`].
    pub fn fill(mut self, signature: &[u8]) -> Result<Vec<u8>, SignatureError> {
        let room = (self.to - self.from - 2) / 2;
        let tight = SignatureError::Room {
            has: signature.len(),
            room,
        };
        let place = self.bytes.get_mut(self.from + 1..self.to - 1);
        match place.and_then(|p| p.get_mut(..2 * signature.len())) {
            Some(place) => place.copy_from_slice(hex::encode(signature).as_bytes()),
            None => return Err(tight),
        }
        Ok(self.bytes)
    }
}
