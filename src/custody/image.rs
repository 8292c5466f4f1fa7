//! Photographs and scans of marks and items. The bytes are kept before the event that names their digest.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{ImageRef, State};
use crate::ids::{Digest, Subject};

/// How many images a mark or an item may have.
pub const MAX_IMAGES: usize = 100;
/// The largest original, in bytes: 200 MB.
pub const MAX_BYTES: u64 = 200_000_000;

/// Add a photograph whose bytes are already kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AddImage {
    /// A mark or an item.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// The file's name as it came.
    pub name: String,
    /// Media type.
    pub media_type: String,
    /// Bytes.
    pub bytes: u64,
    /// Width in pixels, where it could be read.
    #[serde(default)]
    pub width: Option<u32>,
    /// Height in pixels.
    #[serde(default)]
    pub height: Option<u32>,
    /// View steps by name; empty takes the recovery's, and `front` for a mark.
    #[serde(default)]
    pub view: Vec<String>,
}

/// An image was added.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ImageAdded {
    /// A mark or an item.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// The file's name as it came.
    pub name: String,
    /// Media type.
    pub media_type: String,
    /// Bytes.
    pub bytes: u64,
    /// Width in pixels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<u32>,
    /// Height in pixels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height: Option<u32>,
    /// View steps.
    pub view: Vec<String>,
    /// `direct`, `reversed` or `unknown`, as computed from the steps.
    pub reads: String,
    /// Why, in a sentence.
    pub because: String,
}

pub(super) fn add(ctx: &Context<'_>, x: &AddImage) -> Result<Vec<Draft>, Refusal> {
    let (case, images, usual) = match x.of {
        Subject::Mark(id) => {
            let mark = ctx.state.marks.get(&id).ok_or_else(|| not_found("mark"))?;
            (mark.case, &mark.images, vec!["front".to_owned()])
        }
        Subject::Item(id) => {
            let item = ctx.state.items.get(&id).ok_or_else(|| not_found("item"))?;
            (item.case, &item.images, item.recovered.view.clone())
        }
        _ => return Err(not_found("mark or item").on("of")),
    };
    ctx.case(case)?;
    text("name", &x.name, 200, true)?;
    text("media_type", &x.media_type, 100, true)?;
    if x.bytes == 0 || x.bytes > MAX_BYTES {
        return Err(Refusal::new(
            Rule::BadValue,
            "An image file has between 1 byte and 200 MB.",
            "Choose the file again.",
        )
        .on("bytes"));
    }
    if images.len() >= MAX_IMAGES {
        return Err(Refusal::new(
            Rule::BadValue,
            "There are 100 pictures here already.",
            "Note another mark.",
        ));
    }
    let view = if x.view.is_empty() {
        usual
    } else {
        x.view.clone()
    };
    let (reads, because) = match ctx.trade.reading(&view) {
        Some(reading) if view.len() <= 20 => reading,
        _ => {
            return Err(Refusal::new(
                Rule::BadValue,
                "One of the view steps is not known.",
                "Choose the steps from the list; unknown is one of them.",
            )
            .on("view"));
        }
    };
    if images.iter().any(|i| i.digest == x.digest) {
        return Err(Refusal::new(
            Rule::Taken,
            "The same picture is here already.",
            "Nothing is left to do.",
        )
        .on("digest"));
    }
    let fact = Fact::ImageAdded(ImageAdded {
        of: x.of,
        digest: x.digest,
        name: x.name.clone(),
        media_type: x.media_type.clone(),
        bytes: x.bytes,
        width: x.width,
        height: x.height,
        view,
        reads,
        because,
    });
    Ok(ctx.draft(Some(case), vec![x.of], fact))
}

pub(super) fn added(state: &mut State, x: &ImageAdded, meta: &Meta) -> Result<(), Misfit> {
    let images = match x.of {
        Subject::Mark(id) => state.marks.get_mut(&id).map(|m| &mut m.images),
        Subject::Item(id) => state.items.get_mut(&id).map(|i| &mut i.images),
        _ => None,
    };
    images
        .ok_or_else(|| meta.misfit("no such mark or item"))?
        .push(ImageRef {
            digest: x.digest,
            name: x.name.clone(),
            media_type: x.media_type.clone(),
            bytes: x.bytes,
            width: x.width,
            height: x.height,
            view: x.view.clone(),
            reads: x.reads.clone(),
            because: x.because.clone(),
            taken_at: meta.at,
        });
    Ok(())
}
