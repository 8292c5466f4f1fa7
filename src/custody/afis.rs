//! Images handed off to an AFIS or another laboratory: the server makes the file, puts it on the record, and hands it out.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::image::picture;
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, not_found};
use crate::ids::{Digest, Subject};

/// A latent print was handed off.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AfisExported {
    /// The item or mark that it was asked of.
    pub of: Subject,
    /// The item or mark whose picture it is: of an item also a photograph of its mark may go.
    pub shown: Subject,
    /// SHA-256 of the picture's original bytes.
    pub image: Digest,
    /// SHA-256 of the working copy in the file; none where the original went.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub copy: Option<Digest>,
    /// The picture that shows where it was, if one went along.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub context: Option<Digest>,
    /// The edition of ANSI/NIST-ITL: `2011`, `2013`, `2015`.
    pub edition: String,
    /// The receiver, by its identifier in the agency's list.
    pub receiver: String,
    /// How it was called then.
    pub receiver_name: String,
    /// The transaction control number in the file.
    pub control: String,
    /// SHA-256 of the file.
    pub digest: Digest,
    /// Its size in bytes.
    pub bytes: u64,
    /// Which way round the image in the file reads: `direct`, `reversed`, `unknown`.
    pub reads: String,
    /// What the file states about left and right, and about light and dark.
    pub statement: String,
    /// What could not be stated in it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<String>,
}

const TEXTS: [(&str, usize); 7] = [
    ("edition", 10),
    ("receiver", 40),
    ("receiver_name", 100),
    ("control", 40),
    ("reads", 10),
    ("statement", 500),
    ("left_out", 500),
];

pub(super) fn exported(ctx: &Context<'_>, x: &AfisExported) -> Result<Vec<Draft>, Refusal> {
    let (case, image) = picture(ctx, x.shown, x.image)?;
    let of = ctx.state.case_of(x.of);
    if of != Some(case) {
        return Err(not_found("item or mark of this case").on("of"));
    }
    let own = match (x.of, x.shown) {
        (Subject::Item(item), Subject::Mark(mark)) => {
            ctx.state.items.get(&item).is_some_and(|i| i.mark == mark)
        }
        (of, shown) => of == shown,
    };
    if !own {
        return Err(not_found("picture of that").on("shown"));
    }
    if let Some(copy) = x.copy
        && !image.copies.iter().any(|c| c.digest == copy)
    {
        return Err(not_found("working copy").on("copy"));
    }
    let values = [
        &x.edition,
        &x.receiver,
        &x.receiver_name,
        &x.control,
        &x.reads,
        &x.statement,
    ];
    for ((field, most), value) in TEXTS.iter().zip(values) {
        text(field, value, *most, true)?;
    }
    let (field, most) = TEXTS[6];
    x.left_out
        .iter()
        .try_for_each(|one| text(field, one, most, true))?;
    if x.bytes == 0 || x.left_out.len() > 20 {
        return Err(Refusal::new(
            Rule::BadValue,
            "A file that is handed off has bytes.",
            "Make it again.",
        )
        .on("bytes"));
    }
    let mut subjects = vec![x.of];
    if x.shown != x.of {
        subjects.push(x.shown);
    }
    Ok(ctx.draft(Some(case), subjects, Fact::AfisExported(x.clone())))
}
