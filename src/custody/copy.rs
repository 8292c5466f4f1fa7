//! Working copies of pictures. The server makes them and keeps their bytes before the event; nobody sends one.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::image::{copy_reading, picture, picture_mut};
use super::refusal::{Refusal, Rule};
use super::rules::{Context, Meta, Misfit};
use super::state::{CopyRef, State};
use crate::ids::{Digest, Subject};
use crate::imaging::recipe::Recipe;
use crate::imaging::resolution::Scale;

/// How many working copies a picture may have.
pub const MAX_COPIES: usize = 50;

/// Add a working copy that the server made and keeps.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AddCopy {
    /// The mark or item that the picture shows.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// SHA-256 of the copy's bytes.
    pub copy: Digest,
    /// What was done to the original.
    pub recipe: Recipe,
    /// The scale by which it was made.
    #[serde(default)]
    pub scale: Option<Scale>,
    /// Bytes.
    pub bytes: u64,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Whether it has no colour.
    pub grey: bool,
    /// Pixels an inch at 1:1, where that is known.
    #[serde(default)]
    pub ppi: Option<u32>,
    /// SHA-256 of its pixels.
    pub pixels: Digest,
}

/// A working copy was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CopyMade {
    /// A mark or an item.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// SHA-256 of the copy's bytes, a PNG.
    pub copy: Digest,
    /// What was done to the original.
    pub recipe: Recipe,
    /// The same in words.
    pub done: String,
    /// The scale by which it was made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<Scale>,
    /// The picture's view steps.
    pub view: Vec<String>,
    /// `direct`, `reversed` or `unknown`: by the view steps and the recipe.
    pub reads: String,
    /// Why, in a sentence.
    pub because: String,
    /// Bytes.
    pub bytes: u64,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Whether it has no colour.
    pub grey: bool,
    /// Pixels an inch at 1:1, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ppi: Option<u32>,
    /// SHA-256 of its pixels.
    pub pixels: Digest,
}

pub(super) fn add(ctx: &Context<'_>, x: &AddCopy) -> Result<Vec<Draft>, Refusal> {
    let (case, image) = picture(ctx, x.of, x.digest)?;
    if let Err(e) = x.recipe.check() {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("The recipe cannot be carried out: {e}."),
            "Change the recipe.",
        )
        .on("recipe"));
    }
    if x.bytes == 0 || x.width == 0 || x.height == 0 {
        return Err(Refusal::new(
            Rule::BadValue,
            "A working copy has bytes and pixels.",
            "Make it again.",
        )
        .on("bytes"));
    }
    if image.scale != x.scale {
        return Err(Refusal::new(
            Rule::BadValue,
            "The picture's scale was set anew while the copy was made.",
            "Make the copy again.",
        )
        .on("scale"));
    }
    if image.copies.len() >= MAX_COPIES {
        return Err(Refusal::new(
            Rule::BadValue,
            "There are 50 working copies of this picture already.",
            "Use one of them.",
        ));
    }
    if image.copies.iter().any(|c| c.digest == x.copy) || x.copy == x.digest {
        return Err(Refusal::new(
            Rule::Taken,
            "The same working copy is here already.",
            "Nothing is left to do.",
        )
        .on("copy"));
    }
    let (reads, because) = copy_reading(ctx, &image.view, &x.recipe)?;
    let fact = Fact::CopyMade(CopyMade {
        of: x.of,
        digest: x.digest,
        copy: x.copy,
        recipe: x.recipe.clone(),
        done: x.recipe.to_string(),
        scale: x.scale,
        view: image.view.clone(),
        reads,
        because,
        bytes: x.bytes,
        width: x.width,
        height: x.height,
        grey: x.grey,
        ppi: x.ppi,
        pixels: x.pixels,
    });
    Ok(ctx.draft(Some(case), vec![x.of], fact))
}

pub(super) fn made(state: &mut State, x: &CopyMade, meta: &Meta) -> Result<(), Misfit> {
    picture_mut(state, x.of, x.digest, meta)?
        .copies
        .push(CopyRef {
            digest: x.copy,
            recipe: x.recipe.clone(),
            scale: x.scale,
            view: x.view.clone(),
            width: x.width,
            height: x.height,
            grey: x.grey,
            ppi: x.ppi,
            reads: x.reads.clone(),
            bytes: x.bytes,
            pixels: x.pixels,
            made_at: meta.at,
            by: meta.actor,
        });
    Ok(())
}
