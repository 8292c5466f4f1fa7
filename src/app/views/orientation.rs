//! Which way round something reads, and why: computed from the steps that are on the record, never remembered.

use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::lifting::handedness::{self, Lateral, Relief, Tone};

/// One step from the mark to the picture.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ViewStep {
    /// The step's name on the record.
    pub name: String,
    /// In words.
    pub words: String,
    /// Whether it exchanges left and right; none where that is not known.
    pub turns: Option<bool>,
}

/// Which way round something reads.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Orientation {
    /// `direct`, `reversed` or `unknown`.
    pub reads: String,
    /// In words.
    pub words: String,
    /// What stands over it wherever it is shown; none where it reads direct.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub banner: Option<String>,
    /// The steps.
    pub steps: Vec<ViewStep>,
    /// Why, in a sentence, as it was computed when it was recorded.
    pub because: String,
    /// Depth: `as-found`, `inverted` or `unknown`.
    pub relief: Relief,
    /// The same in words.
    pub relief_words: String,
    /// Light and dark: `as-ink`, `reversed` or `unknown`.
    pub tone: Tone,
    /// The same in words.
    pub tone_words: String,
}

/// From what is on the record.
#[must_use]
pub fn orientation(view: &[String], reads: &str, because: &str) -> Orientation {
    let known: Option<Vec<handedness::Step>> = view.iter().map(|s| s.parse().ok()).collect();
    let reading = known.as_deref().map(handedness::read);
    let steps = view
        .iter()
        .map(|name| match name.parse::<handedness::Step>() {
            Ok(step) => ViewStep {
                name: name.clone(),
                words: step.words().to_owned(),
                turns: match handedness::read(&[step]).lateral {
                    Lateral::Direct => Some(false),
                    Lateral::Reversed => Some(true),
                    Lateral::Unknown => None,
                },
            },
            Err(_) => ViewStep {
                name: name.clone(),
                words: format!("a step that this version does not know ({name})"),
                turns: None,
            },
        })
        .collect();
    let relief = reading.as_ref().map_or(Relief::Unknown, |r| r.relief);
    let tone = reading.as_ref().map_or(Tone::Unknown, |r| r.tone);
    Orientation {
        reads: reads.to_owned(),
        words: words::reads(reads).to_owned(),
        banner: banner(reads).map(ToOwned::to_owned),
        steps,
        because: because.to_owned(),
        relief,
        relief_words: match relief {
            Relief::AsFound => "hollows are hollows",
            Relief::Inverted => "hollows and heights are exchanged",
            Relief::Unknown => "depth not known",
        }
        .into(),
        tone,
        tone_words: match tone {
            Tone::AsInk => "ridges dark on light",
            Tone::Reversed => "ridges light on dark",
            Tone::Unknown => "tone not known",
        }
        .into(),
    }
}

/// What stands over something that reads so; none for direct.
#[must_use]
pub fn banner(reads: &str) -> Option<&'static str> {
    match reads {
        "direct" => None,
        "reversed" => Some(words::MIRRORED),
        _ => Some(words::NOT_ESTABLISHED),
    }
}
