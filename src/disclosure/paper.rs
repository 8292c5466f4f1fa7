//! What a PDF itself says of which print it is: nothing that is believed, only where to look in the record.
//!
//! Reports and certificates bear their print's identifier in the properties (keywords) of the PDF, as
//! `liftledger-print:` and the identifier. Files that turn up may be broken or made to do harm, so no parser of PDF
//! touches them: the mark is looked for in the bytes as they are, and, where it is not there, in what their compressed
//! streams hold, within bounds.

use std::io::Read as _;

use memchr::memmem;

use crate::ids::CommandId;

/// What stands before a print's identifier.
pub const MARK: &str = "liftledger-print:";
/// The largest file that is looked at: 32 MB. The largest report that can be printed is smaller.
pub const MAX_BYTES: usize = 32 * 1024 * 1024;
/// How many different marks are taken from one file.
const MAX_MARKS: usize = 8;
/// How many compressed streams are opened.
const MAX_STREAMS: usize = 5_000;
/// How much of one stream is looked at, opened.
const MAX_OPENED: u64 = 1024 * 1024;
/// How much of all streams together.
const MAX_OPENED_ALL: usize = 64 * 1024 * 1024;
/// The characters of an identifier.
const ID: usize = 36;

/// Whether it begins as a PDF does: the header within the first 1024 bytes, as readers take it.
/// Source: ISO 32000-1:2008, 7.5.2 and the implementation note to it, from memory.
#[must_use]
pub fn is_pdf(bytes: &[u8]) -> bool {
    let begin = bytes.get(..bytes.len().min(1024)).unwrap_or_default();
    begin.windows(5).any(|w| w == b"%PDF-")
}

fn marks_in(bytes: &[u8], out: &mut Vec<CommandId>) {
    for at in memmem::find_iter(bytes, MARK) {
        let from = at + MARK.len();
        let id = bytes
            .get(from..from + ID)
            .and_then(|id| std::str::from_utf8(id).ok())
            .and_then(|id| id.parse::<CommandId>().ok());
        if let Some(id) = id
            && !out.contains(&id)
            && out.len() < MAX_MARKS
        {
            out.push(id);
        }
    }
}

/// The print identifiers that a file bears, in the order in which they stand in it, at most eight.
#[must_use]
pub fn prints_in(bytes: &[u8]) -> Vec<CommandId> {
    let mut out = Vec::new();
    marks_in(bytes, &mut out);
    if !out.is_empty() {
        return out;
    }
    // Some programs that write a PDF again put its properties into compressed streams of objects.
    let mut opened = 0;
    for at in memmem::find_iter(bytes, "stream").take(MAX_STREAMS) {
        let mut body = bytes.get(at + "stream".len()..).unwrap_or_default();
        while let [b'\r' | b'\n', rest @ ..] = body {
            body = rest;
        }
        let mut text = Vec::new();
        // What breaks off was read up to there.
        let _ = flate2::read::ZlibDecoder::new(body)
            .take(MAX_OPENED)
            .read_to_end(&mut text);
        marks_in(&text, &mut out);
        opened += text.len();
        if opened > MAX_OPENED_ALL {
            break;
        }
    }
    out
}
