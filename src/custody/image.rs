//! Photographs and scans of marks and items. The bytes are kept before the event that names their digest.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, LATE_SCENE, Meta, Misfit, not_found};
use super::state::{ImageRef, State};
use crate::ids::{CaseId, Digest, Subject};
use crate::imaging::clock::{self, Against};
use crate::imaging::metadata::{Captured, FileSays, MAX_CAMERA};
use crate::imaging::resolution::{self, Scale};
use crate::imaging::view::with_recipe;
use crate::lifting::handedness::Step;

/// How many images a mark or an item may have.
pub const MAX_IMAGES: usize = 100;
/// How many view steps a picture may have.
pub const MAX_VIEW: usize = 20;
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
    /// View steps by name; empty takes the recovery's, and `front` for a mark. Where the file's orientation tag mirrors
    /// the picture, the step `flip` is added to them.
    #[serde(default)]
    pub view: Vec<String>,
    /// What the file says of itself.
    #[serde(default, skip_serializing_if = "FileSays::is_silent")]
    pub says: FileSays,
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
    /// What the file says of itself.
    #[serde(default, skip_serializing_if = "FileSays::is_silent")]
    pub says: FileSays,
    /// How the camera's clock differs from the time stated, where that is to be looked into.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_note: Option<String>,
}

/// Set how a picture was taken: which way round it reads follows from that.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetView {
    /// The mark or item that it shows.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// View steps by name, in order, of the picture as viewers show it.
    pub view: Vec<String>,
    /// Why they are set otherwise than they were.
    pub reason: String,
}

/// It was set how a picture was taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ViewSet {
    /// A mark or an item.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// View steps until now.
    pub was: Vec<String>,
    /// View steps.
    pub view: Vec<String>,
    /// `direct`, `reversed` or `unknown`, as computed from the steps.
    pub reads: String,
    /// Why, in a sentence.
    pub because: String,
    /// Why it was set.
    pub reason: String,
    /// How the working copies made until now read by these steps.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub copies: Vec<CopyReads>,
}

/// How a working copy reads.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CopyReads {
    /// SHA-256 of the copy.
    pub copy: Digest,
    /// `direct`, `reversed` or `unknown`.
    pub reads: String,
}

/// Set the scale of a picture, or take a wrong one away.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetScale {
    /// The mark or item that it shows.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// The scale; none says that the density is not known.
    #[serde(default)]
    pub scale: Option<Scale>,
    /// Why; needed where a scale was set before.
    #[serde(default)]
    pub reason: String,
}

/// The scale of a picture was set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScaleSet {
    /// A mark or an item.
    pub of: Subject,
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// The scale; none where it was taken away.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<Scale>,
    /// Pixels an inch at 1:1, where both axes have the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ppi: Option<u32>,
    /// The density with its uncertainty, in words.
    pub density: String,
    /// What is to be said about it; empty for nothing.
    pub warning: String,
    /// Why it was set.
    pub reason: String,
}

/// The case and the pictures of a mark or item, if they may be seen.
pub(super) fn pictures<'a>(
    ctx: &'a Context<'_>,
    of: Subject,
) -> Result<(CaseId, &'a [ImageRef]), Refusal> {
    let (case, images) = match of {
        Subject::Mark(id) => ctx.state.marks.get(&id).map(|m| (m.case, &m.images)),
        Subject::Item(id) => ctx.state.items.get(&id).map(|i| (i.case, &i.images)),
        _ => None,
    }
    .ok_or_else(|| not_found("mark or item").on("of"))?;
    ctx.case(case)?;
    Ok((case, images))
}

/// A picture of a mark or item, if it may be seen.
pub(super) fn picture<'a>(
    ctx: &'a Context<'_>,
    of: Subject,
    digest: Digest,
) -> Result<(CaseId, &'a ImageRef), Refusal> {
    let (case, images) = pictures(ctx, of)?;
    let found = images.iter().find(|i| i.digest == digest);
    Ok((
        case,
        found.ok_or_else(|| not_found("picture").on("digest"))?,
    ))
}

fn pictures_mut(state: &mut State, of: Subject) -> Option<&mut Vec<ImageRef>> {
    match of {
        Subject::Mark(id) => state.marks.get_mut(&id).map(|m| &mut m.images),
        Subject::Item(id) => state.items.get_mut(&id).map(|i| &mut i.images),
        _ => None,
    }
}

pub(super) fn picture_mut<'a>(
    state: &'a mut State,
    of: Subject,
    digest: Digest,
    meta: &Meta,
) -> Result<&'a mut ImageRef, Misfit> {
    pictures_mut(state, of)
        .and_then(|images| images.iter_mut().find(|i| i.digest == digest))
        .ok_or_else(|| meta.misfit("no such picture"))
}

/// How a picture reads that was taken so, and why.
pub(super) fn reading(ctx: &Context<'_>, view: &[String]) -> Result<(String, String), Refusal> {
    match ctx.trade.reading(view) {
        Some(reading) if (1..=MAX_VIEW).contains(&view.len()) => Ok(reading),
        _ => Err(Refusal::new(
            Rule::BadValue,
            "One of the view steps is not known, or there are none or more than 20.",
            "Choose the steps from the list; unknown is one of them.",
        )
        .on("view")),
    }
}

/// How a working copy by this recipe reads, and why.
pub(super) fn copy_reading(
    ctx: &Context<'_>,
    view: &[String],
    recipe: &crate::imaging::recipe::Recipe,
) -> Result<(String, String), Refusal> {
    let steps: Option<Vec<Step>> = view.iter().map(|s| s.parse().ok()).collect();
    let names: Vec<String> = match steps {
        Some(steps) => with_recipe(&steps, recipe)
            .iter()
            .map(|s| s.name().to_owned())
            .collect(),
        // A step of another version of the program: nothing is known of the copy either.
        None => vec![Step::Unknown.name().to_owned()],
    };
    ctx.trade
        .reading(&names)
        .ok_or_else(|| not_found("view step"))
}

/// What a file says of itself must be of the form in which it is kept.
fn check(says: &FileSays) -> Result<(), Refusal> {
    let or_empty = |t: &Option<String>| t.clone().unwrap_or_default();
    text("camera", &or_empty(&says.camera), MAX_CAMERA, false)?;
    text("opaque", &or_empty(&says.opaque), 300, false)?;
    let captured = says.captured_at.as_deref();
    let is_time = captured.is_none_or(|t| Captured::read(t).is_some());
    let is_tag = says.orientation_tag.is_none_or(|n| (1..=8).contains(&n));
    if is_time && is_tag {
        return Ok(());
    }
    Err(Refusal::new(
        Rule::BadValue,
        "What the file says of itself is not of the form that this record takes.",
        "Send the file again.",
    )
    .on("says"))
}

fn clock_note(ctx: &Context<'_>, says: &FileSays) -> Option<String> {
    let captured = Captured::read(says.captured_at.as_deref()?)?;
    let against = match ctx.command.claimed_at {
        Some(_) => Against::Stated(ctx.at),
        // As old as an entry may be that is not late.
        None => Against::Entered(ctx.at, LATE_SCENE),
    };
    clock::note(captured, against)
}

pub(super) fn add(ctx: &Context<'_>, x: &AddImage) -> Result<Vec<Draft>, Refusal> {
    let (case, images) = pictures(ctx, x.of)?;
    let usual = match x.of {
        Subject::Item(id) => ctx.state.items.get(&id).map(|i| i.recovered.view.clone()),
        _ => None,
    };
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
    check(&x.says)?;
    let mut view = if x.view.is_empty() {
        usual.unwrap_or_else(|| vec!["front".to_owned()])
    } else {
        x.view.clone()
    };
    if x.says.tag_mirrors() {
        // Whoever shows the file turns it as its orientation tag says.
        view.push(Step::Flip.name().to_owned());
    }
    let (reads, because) = reading(ctx, &view)?;
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
        says: x.says.clone(),
        clock_note: clock_note(ctx, &x.says),
    });
    Ok(ctx.draft(Some(case), vec![x.of], fact))
}

pub(super) fn added(state: &mut State, x: &ImageAdded, meta: &Meta) -> Result<(), Misfit> {
    pictures_mut(state, x.of)
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
            says: x.says.clone(),
            clock_note: x.clock_note.clone(),
            taken_at: meta.at,
            scale: None,
            copies: Vec::new(),
            assessed: None,
        });
    Ok(())
}

/// The steps with the flip that a mirroring orientation tag asks for: it belongs to the file and not to how the picture was
/// taken, so nobody takes it away. Where a flip is named already, that one is meant.
fn with_tag(view: &[String], says: &FileSays) -> Vec<String> {
    let flip = Step::Flip.name();
    let mut view = view.to_vec();
    if says.tag_mirrors() && !view.is_empty() && view.iter().all(|s| s != flip) {
        view.push(flip.to_owned());
    }
    view
}

pub(super) fn set_view(ctx: &Context<'_>, x: &SetView) -> Result<Vec<Draft>, Refusal> {
    let (case, image) = picture(ctx, x.of, x.digest)?;
    text("reason", &x.reason, 500, true)?;
    let view = with_tag(&x.view, &image.says);
    let (reads, because) = reading(ctx, &view)?;
    if image.view == view {
        return Err(Refusal::new(
            Rule::BadValue,
            "These are the view steps on record already.",
            "Nothing is left to do.",
        )
        .on("view"));
    }
    let copies = image.copies.iter().map(|c| {
        let (reads, _) = copy_reading(ctx, &view, &c.recipe)?;
        Ok(CopyReads {
            copy: c.digest,
            reads,
        })
    });
    let fact = Fact::ViewSet(ViewSet {
        of: x.of,
        digest: x.digest,
        was: image.view.clone(),
        reads,
        because,
        reason: x.reason.clone(),
        copies: copies.collect::<Result<_, Refusal>>()?,
        view: view.clone(),
    });
    Ok(ctx.draft(Some(case), vec![x.of], fact))
}

pub(super) fn view_set(state: &mut State, x: &ViewSet, meta: &Meta) -> Result<(), Misfit> {
    let image = picture_mut(state, x.of, x.digest, meta)?;
    image.view.clone_from(&x.view);
    image.reads.clone_from(&x.reads);
    image.because.clone_from(&x.because);
    for read in &x.copies {
        let copy = image.copies.iter_mut().find(|c| c.digest == read.copy);
        copy.ok_or_else(|| meta.misfit("no such working copy"))?
            .reads
            .clone_from(&read.reads);
    }
    Ok(())
}

pub(super) fn set_scale(ctx: &Context<'_>, x: &SetScale) -> Result<Vec<Draft>, Refusal> {
    let (case, image) = picture(ctx, x.of, x.digest)?;
    text("reason", &x.reason, 500, image.scale.is_some())?;
    if image.scale == x.scale {
        return Err(Refusal::new(
            Rule::BadValue,
            match x.scale {
                Some(_) => "This is the scale on record already.",
                None => "There is no scale on record that could be taken away.",
            },
            "Nothing is left to do.",
        )
        .on("scale"));
    }
    let bad = |sentence: String| {
        Refusal::new(
            Rule::BadValue,
            sentence,
            "Pick both ends of the scale again and give its length; without a scale the density stays unknown.",
        )
        .on("scale")
    };
    let density = match &x.scale {
        None => None,
        Some(scale) => {
            // Which side is the longer one depends on the file's orientation tag; the longer holds for both.
            if let (Some(w), Some(h), Scale::Picked { first, second, .. }) =
                (image.width, image.height, scale)
            {
                let most = w.max(h).saturating_mul(10);
                let spans = std::iter::once(first).chain(second);
                if spans
                    .flat_map(|s| [s.x1, s.y1, s.x2, s.y2])
                    .any(|v| v > most)
                {
                    return Err(bad("A point lies outside the picture.".into()));
                }
            }
            let measured = resolution::measure(scale);
            Some(measured.map_err(|e| bad(format!("This scale gives no density: {e}.")))?)
        }
    };
    let fact = Fact::ScaleSet(ScaleSet {
        of: x.of,
        digest: x.digest,
        scale: x.scale,
        ppi: density.as_ref().and_then(resolution::Density::ppi),
        density: density
            .as_ref()
            .map_or_else(|| "not known".to_owned(), resolution::Density::words),
        warning: density
            .as_ref()
            .and_then(resolution::Density::warning)
            .unwrap_or_default(),
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(Some(case), vec![x.of], fact))
}

pub(super) fn scale_set(state: &mut State, x: &ScaleSet, meta: &Meta) -> Result<(), Misfit> {
    picture_mut(state, x.of, x.digest, meta)?.scale = x.scale;
    Ok(())
}
