//! A photograph of a label: what is written in the codes on it. It is no evidence, and nothing of it is kept.

use tokio::sync::Semaphore;

use crate::custody::Refusal;
use crate::imaging::codes::codes;
use crate::imaging::decode::{DecodeError, Limits, decode};

/// The largest file, in bytes.
pub const MAX_BYTES: usize = 25 * 1024 * 1024;
/// What decoding it may cost: the cameras of phones have up to 50 million pixels and a few more.
const LIMITS: Limits = Limits {
    side: 12_000,
    pixels: 64_000_000,
    bytes: 256_000_000,
};
/// How many are decoded at once, and how many may be on their way in; who comes then waits.
static READ_AT_ONCE: Semaphore = Semaphore::const_new(2);
static IN_AT_ONCE: Semaphore = Semaphore::const_new(8);

/// The field of a form that such a photograph comes in.
pub const FIELD: &str = "photo";

/// A refusal of a photograph.
pub fn refused(code: &str, sentence: &str, next: &str) -> Refusal {
    Refusal::coded(code, sentence, next).on(FIELD)
}

/// More bytes than are taken.
#[must_use]
pub fn too_large() -> Refusal {
    refused(
        "too-large",
        "The photograph is larger than 25 MB or 64 million pixels.",
        "Take the picture with a smaller size set in the camera; a label needs no more than 2 million pixels.",
    )
}

/// A turn to have a photograph in memory, until it is dropped.
pub type Turn = tokio::sync::SemaphorePermit<'static>;

/// Waits for a turn. Whoever reads a photograph takes one before its bytes come in.
///
/// # Errors
/// [`Refusal`] where the server is about to end.
pub async fn turn() -> Result<Turn, Refusal> {
    IN_AT_ONCE.acquire().await.map_err(|_| ending())
}

fn ending() -> Refusal {
    refused(
        "ending",
        "The server is about to end.",
        "Try again in a minute.",
    )
}

/// What is written in the codes of a photograph, each text once.
///
/// # Errors
/// [`Refusal`]: no picture, too large, or no code on it.
pub async fn texts(bytes: Vec<u8>, _turn: &Turn) -> Result<Vec<String>, Refusal> {
    let _read = READ_AT_ONCE.acquire().await.map_err(|_| ending())?;
    let work = move || {
        let decoded = decode(&bytes, &LIMITS)?;
        Ok(codes(decoded.raster))
    };
    let found = match tokio::task::spawn_blocking(work).await {
        Ok(Ok(found)) => found,
        Ok(Err(DecodeError::TooLarge)) => return Err(too_large()),
        Ok(Err(DecodeError::NotAPicture | DecodeError::Kind(_))) => {
            return Err(refused(
                "not-a-picture",
                "The file is no JPEG, PNG or TIFF picture.",
                "Take a photograph of the label. Some phones write other files unless their camera is set to JPEG.",
            ));
        }
        Ok(Err(DecodeError::Damaged(_))) => {
            return Err(refused(
                "not-a-picture",
                "The picture is damaged, or did not come in whole.",
                "Take it once more.",
            ));
        }
        // A library that panics on a picture has read nothing in it; the panic itself has been logged.
        Err(_) => Vec::new(),
    };
    if found.is_empty() {
        return Err(refused(
            "no-code-seen",
            "No code was seen on the photograph.",
            "Take it again: closer, so that the square code fills a third of the picture; straight above it, the label \
             flat; sharp, with light from the side and no glare. Or type the code that stands beside it.",
        ));
    }
    Ok(found)
}

/// The one text where a photograph is to show one label. Codes that look like none of ours count only where there is
/// nothing else: packaging bears codes of shops.
///
/// # Errors
/// [`Refusal`]: several labels.
pub fn one(texts: Vec<String>) -> Result<String, Refusal> {
    let ours = |text: &&String| text.parse::<crate::ids::Code>().is_ok();
    let labels: Vec<&String> = texts.iter().filter(ours).collect();
    match (labels.as_slice(), texts.as_slice()) {
        ([one], _) => Ok((*one).clone()),
        ([], [one]) => Ok(one.clone()),
        _ => Err(several(if labels.is_empty() {
            texts.iter().collect()
        } else {
            labels
        })),
    }
}

fn several(texts: Vec<&String>) -> Refusal {
    let named: Vec<String> = texts.iter().map(|t| format!("“{t}”")).collect();
    refused(
        "several-codes",
        &format!(
            "{} codes are on the photograph: {}.",
            texts.len(),
            named.join(", ")
        ),
        "Photograph one label at a time, or cover the others.",
    )
}
