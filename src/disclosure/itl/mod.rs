//! Latent print transactions after ANSI/NIST-ITL 1-2011, its Update:2013 and its Update:2015 (NIST SP 500-290e3), in the
//! traditional (tagged-field) encoding.
//!
//! A [`Transaction`] is written by [`write()`]: Type-1 (what is in the file, from whom to whom), Type-2 (what the receiver asks
//! for in fields of its own), Type-13 (the image), Type-9 (which way round it reads, how it was developed, on what),
//! Type-21 (a picture that shows where it was, when asked for). [`check()`] reads a file as strictly as the standard
//! allows and says what is wrong with it: nothing is handed out that it does not take.
//!
//! Reading order: [`text`] (which characters may stand in a field), [`record`] (fields to bytes, the exact length),
//! [`codes`], then one file a record type, then [`read`] and [`mod@check`].
//!
//! Sources of the fields and their limits: the table of field conditions of the Update:2013 draft; codes and the changes of
//! 2015 as two public readers have them (NIST's own biometric library; a second one that names the editions of each code).
//! A limit remembered and not looked up says so where it stands.

pub mod check;
pub mod codes;
pub mod read;
pub mod record;
pub mod refusal;
pub mod text;
pub mod type1;
pub mod type13;
pub mod type2;
pub mod type21;
pub mod type9;

pub use check::{Fault, check};
pub use codes::{Capture, Edition, Tone};
pub use refusal::{ItlRefusal, ItlRule};
pub use type1::{Domain, Header};
pub use type2::Descriptive;
pub use type9::{Assessment, Features};
pub use type13::{Coding, Density, Latent, Operation, ResolutionMethod};
pub use type21::ContextPicture;

/// The designation (IDC) of the Type-2 record.
const IDC_DESCRIPTIVE: u8 = 0;
/// The designation that the image and its features share.
const IDC_IMAGE: u8 = 1;
/// The designation of the context picture.
const IDC_CONTEXT: u8 = 2;

/// One image for one receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct Transaction {
    /// The edition that it is written for.
    pub edition: Edition,
    /// From whom to whom, and when.
    pub header: Header,
    /// What the receiver asks for in fields of its own.
    pub descriptive: Descriptive,
    /// The image.
    pub latent: Latent,
    /// Which way round it reads, and how the mark was developed; none writes no Type-9 at all, and only a file of which the
    /// receiver asked for none may be without.
    pub features: Option<Features>,
    /// A picture that shows where the mark was.
    pub context: Option<ContextPicture>,
}

/// A transaction as bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// The file.
    pub bytes: Vec<u8>,
    /// What could not be said in it, one sentence each: without a known density, Type-9 has no region of interest, and
    /// then neither methods nor substrate.
    pub left_out: Vec<String>,
}

/// Writes the file.
///
/// # Errors
/// [`ItlRefusal`], one rule each; nothing is written then.
pub fn write(t: &Transaction) -> Result<Written, ItlRefusal> {
    type1::agencies(&t.header)?;
    let mut records = vec![type2::record(&t.descriptive)?];
    records.push(type13::record(t)?);
    let mut left_out = Vec::new();
    records.extend(type9::record(t, &mut left_out)?);
    if let Some(context) = &t.context {
        records.push(type21::record(context, t)?);
    }
    let beyond_ascii = records.iter().any(record::Record::beyond_ascii);
    let first = type1::record(t, &records, beyond_ascii)?;
    let mut bytes = first.close()?;
    for one in records {
        bytes.extend(one.close()?);
    }
    Ok(Written { bytes, left_out })
}
