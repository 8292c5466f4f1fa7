//! Working copies made: the original read, the recipe carried out away from the async threads, the bytes kept, and only
//! then the event. Nothing here writes an original; a copy is another file, under its own digest.

use std::time::Duration;

use super::papers::By;
use super::reader::{ReadError, Reader};
use super::record::{RecordError, Recorded, Sent};
use crate::custody::copy::AddCopy;
use crate::custody::state::{CopyRef, ImageRef};
use crate::custody::{Act, Command, Rule};
use crate::ids::{CommandId, Digest, Subject};
use crate::imaging::derive::{DeriveError, derive};
use crate::imaging::probe::probe;
use crate::imaging::recipe::Recipe;
use crate::imaging::view::suggest_for;
use crate::originals::OriginalsError;
use crate::people::Action;

/// How many copies are made at once; each holds a few pictures in memory.
pub const AT_ONCE: usize = 2;
/// How long one waits for its turn.
const PATIENCE: Duration = Duration::from_secs(20);

/// Why there is no working copy.
#[derive(Debug, thiserror::Error)]
pub enum CopyError {
    /// The picture cannot be read by this viewer, or is none.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The original is missing or altered, or the copy cannot be kept.
    #[error(transparent)]
    Original(#[from] OriginalsError),
    /// The recipe cannot be carried out on this picture.
    #[error(transparent)]
    Derive(#[from] DeriveError),
    /// The copy could not be put on the record.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// Which way round the picture reads is not known, so that there is no recipe to suggest.
    #[error(
        "it is not known which way round the picture reads, so no recipe follows from its view steps"
    )]
    NothingSuggested,
    /// Too many copies are being made.
    #[error("other working copies are being made just now")]
    Busy,
    /// A fault of the program.
    #[error("the copy could not be made: {0}")]
    Inner(String),
}

/// A working copy that is on the record.
#[derive(Clone, Debug)]
pub struct Made {
    /// SHA-256 of the copy's bytes.
    pub copy: Digest,
    /// What was recorded; none where the same copy was there before.
    pub recorded: Option<Recorded>,
}

/// Which copy is wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// The one that reads direct, ridges dark, as the view steps ask for it.
    Direct,
    /// By this recipe.
    By(Recipe),
}

/// A picture of a mark or item that the viewer may see.
///
/// # Errors
/// See [`ReadError`].
pub async fn picture(
    reader: &Reader<'_>,
    of: Subject,
    digest: Digest,
) -> Result<ImageRef, ReadError> {
    let list = match of {
        Subject::Mark(id) => reader.mark(id).await?.images,
        Subject::Item(id) => reader.item(id).await?.images,
        _ => Vec::new(),
    };
    list.into_iter()
        .find(|i| i.digest == digest)
        .ok_or(ReadError::NotFound("picture"))
}

/// A working copy's bytes, only where it is one of this picture and the viewer may see that.
///
/// # Errors
/// See [`CopyError`].
pub async fn bytes(
    reader: &Reader<'_>,
    of: Subject,
    digest: Digest,
    copy: Digest,
) -> Result<(CopyRef, Vec<u8>), CopyError> {
    let image = picture(reader, of, digest).await?;
    let found = image.copies.into_iter().find(|c| c.digest == copy);
    let found = found.ok_or(ReadError::NotFound("working copy"))?;
    let bytes = reader.house().originals.read_aside(copy).await?;
    Ok((found, bytes))
}

/// Makes a working copy, keeps it, records it. The same copy is kept once: made again, it is the one that is there.
///
/// # Errors
/// See [`CopyError`].
pub async fn make(
    reader: &Reader<'_>,
    by: By,
    id: CommandId,
    of: Subject,
    digest: Digest,
    wanted: &Wanted,
) -> Result<Made, CopyError> {
    reader.must(Action::WorkImages)?;
    let image = picture(reader, of, digest).await?;
    let recipe = match wanted {
        Wanted::By(recipe) => recipe.clone(),
        Wanted::Direct => suggest_for(&image.view).ok_or(CopyError::NothingSuggested)?,
    };
    recipe.check().map_err(DeriveError::from)?;
    let same = |c: &&CopyRef| c.recipe == recipe && c.scale == image.scale;
    let add = match image.copies.iter().find(same) {
        // Not made twice; the recorder still answers a form that was sent before as it did then.
        Some(copy) => AddCopy {
            of,
            digest,
            copy: copy.digest,
            recipe,
            scale: copy.scale,
            bytes: copy.bytes,
            width: copy.width,
            height: copy.height,
            grey: copy.grey,
            ppi: copy.ppi,
            pixels: copy.pixels,
        },
        None => made(reader, of, &image, recipe).await?,
    };
    let copy = add.copy;
    let sent = Sent {
        person: reader.viewer().id(),
        signed: by.signed,
        beside: None,
        source: by.source,
        command: Command {
            id,
            claimed_at: None,
            late_reason: None,
            paper_sheet: None,
            act: Act::AddCopy(add),
        },
    };
    match reader.house().recorder.record(sent).await {
        Ok(recorded) => Ok(Made {
            copy,
            recorded: Some(recorded),
        }),
        Err(RecordError::Refused(r)) if r.code == Rule::Taken.code() => Ok(Made {
            copy,
            recorded: None,
        }),
        Err(e) => Err(e.into()),
    }
}

async fn made(
    reader: &Reader<'_>,
    of: Subject,
    image: &ImageRef,
    recipe: Recipe,
) -> Result<AddCopy, CopyError> {
    let house = reader.house();
    let turn = tokio::time::timeout(PATIENCE, house.copying.clone().acquire_owned()).await;
    let turn = turn
        .map_err(|_| CopyError::Busy)?
        .map_err(|e| CopyError::Inner(e.to_string()))?;
    let (originals, digest, scale) = (house.originals.clone(), image.digest, image.scale);
    let work = move || {
        // Held until the work is done, also when nobody waits for it any more.
        let _turn = turn;
        let original = originals.read(digest)?;
        let copy = derive(&original, &recipe, scale.as_ref())?;
        drop(original);
        let kept = originals.keep(&copy.png)?;
        Ok(AddCopy {
            of,
            digest,
            copy: kept.digest,
            recipe,
            scale,
            bytes: kept.bytes,
            width: copy.width,
            height: copy.height,
            grey: copy.grey,
            ppi: copy.ppi,
            pixels: copy.pixels,
        })
    };
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|e| CopyError::Inner(e.to_string()))?
}

/// Whether the file's orientation tag exchanges left and right, which counts as one flip among the view steps: as it
/// stands on the record, or in the file of a picture whose record says nothing of its tag.
///
/// # Errors
/// See [`CopyError`]. A file that cannot be read as a picture has no tag.
pub async fn tag_mirrors(reader: &Reader<'_>, image: &ImageRef) -> Result<bool, CopyError> {
    if image.says.orientation_tag.is_some() {
        return Ok(image.says.tag_mirrors());
    }
    let (originals, digest) = (reader.house().originals.clone(), image.digest);
    let read = move || {
        let file = originals.stored(digest)?;
        let seen = probe(std::io::BufReader::new(file));
        Ok::<_, OriginalsError>(seen.is_ok_and(|p| p.says.tag_mirrors()))
    };
    let answer = tokio::task::spawn_blocking(read).await;
    Ok(answer.map_err(|e| CopyError::Inner(e.to_string()))??)
}
