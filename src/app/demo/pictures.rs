//! The story's photographs, drawn by code and kept as originals before any event names them.
//!
//! How a picture is turned and toned follows from the view steps that the story gives with it, so that what is seen
//! agrees with what the ledger says of it.

use std::io::Cursor;

use rayon::prelude::*;
use serde::Deserialize;

use super::DemoError;
use super::story::Story;
use crate::imaging::ridge::{self, Mirror, Motif, Picture};
use crate::lifting::handedness::{self, Lateral, Step};
use crate::originals::{Kept, Originals};

/// Pixels a millimetre: enough to see ridges end and fork, few enough to be drawn in a moment.
const PX_PER_MM: u32 = 14;

/// A picture as the story asks for it.
#[derive(Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Draw {
    motif: DrawMotif,
    /// One seed, one mark: the photograph of a mark and that of its lift have the same.
    seed: u64,
    /// How strongly the mark stands out, in per cent.
    #[serde(default = "full")]
    strength: u32,
    #[serde(default = "width")]
    width_mm: u32,
    #[serde(default = "height")]
    height_mm: u32,
}

fn full() -> u32 {
    100
}

fn width() -> u32 {
    20
}

fn height() -> u32 {
    24
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum DrawMotif {
    Ridges,
    Striations,
    Tread,
}

/// A picture that was drawn and kept.
pub(super) struct Drawn {
    pub kept: Kept,
    pub width: u32,
    pub height: u32,
}

/// Draws and keeps all of them, on all processors.
pub(super) async fn all(story: &Story, originals: Originals) -> Result<Vec<Drawn>, DemoError> {
    let pictures = story.pictures.clone();
    let shots = u32::try_from(pictures.len()).unwrap_or(u32::MAX);
    let drawn = tokio::task::spawn_blocking(move || {
        pictures
            .par_iter()
            .zip(0..shots)
            .map(|((draw, view), shot)| one(draw, view, shot, &originals))
            .collect()
    });
    drawn.await.map_err(|e| DemoError::Picture(e.to_string()))?
}

fn one(draw: &Draw, view: &[String], shot: u32, originals: &Originals) -> Result<Drawn, DemoError> {
    let steps = view
        .iter()
        .map(|s| s.parse())
        .collect::<Result<Vec<Step>, _>>()
        .map_err(|e| DemoError::Picture(e.to_string()))?;
    let reading = handedness::read(&steps);
    let whole = steps.iter().any(|s| matches!(s, Step::Mirror | Step::Flip));
    let motif = match draw.motif {
        DrawMotif::Ridges => Motif::Ridges,
        DrawMotif::Striations => Motif::Striations,
        DrawMotif::Tread => Motif::Tread,
    };
    let picture = Picture {
        motif,
        tone: match reading.tone {
            handedness::Tone::Reversed => ridge::Tone::LightOnDark,
            _ => ridge::Tone::DarkOnLight,
        },
        // The scale lies beside the mark; only a mirror or a program turns it, too.
        mirror: match reading.lateral {
            Lateral::Reversed if whole => Mirror::Whole,
            Lateral::Reversed => Mirror::Mark,
            _ => Mirror::None,
        },
        seed: draw.seed,
        shot,
        strength: draw.strength,
        width_mm: draw.width_mm,
        height_mm: draw.height_mm,
        px_per_mm: PX_PER_MM,
    };
    let bytes = ridge::draw(&picture).map_err(|e| DemoError::Picture(e.to_string()))?;
    let seen = crate::imaging::probe::probe(Cursor::new(&bytes));
    let seen = seen.map_err(|e| DemoError::Picture(e.to_string()))?;
    let (width, height) = seen
        .pixels
        .ok_or_else(|| DemoError::Picture("what was drawn is no picture".into()))?;
    Ok(Drawn {
        kept: originals.keep(&bytes)?,
        width,
        height,
    })
}
