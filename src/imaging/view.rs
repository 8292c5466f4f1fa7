//! From how a picture was taken to what is to be done with it, and to how a working copy of it reads.

use super::recipe::{Op, Recipe};
use crate::lifting::handedness::{Lateral, Reading, Step, Tone, read};

/// The steps from the mark to a working copy: those of the picture, and what the recipe adds to them.
#[must_use]
pub fn with_recipe(view: &[Step], recipe: &Recipe) -> Vec<Step> {
    let mut steps = view.to_vec();
    if recipe.flips() {
        steps.push(Step::Flip);
    }
    if recipe.inverts() {
        steps.push(Step::Invert);
    }
    steps
}

/// The recipe that makes the copy that reads direct, ridges dark: a flip where the picture reads reversed, an inversion
/// where its ridges are light. None where it is not known which way round the picture reads.
#[must_use]
pub fn suggest(reading: &Reading) -> Option<Recipe> {
    let mut ops = Vec::new();
    match reading.lateral {
        Lateral::Direct => {}
        Lateral::Reversed => ops.push(Op::Flip),
        Lateral::Unknown => return None,
    }
    if reading.tone == Tone::Reversed {
        ops.push(Op::Invert);
    }
    Some(Recipe::new(ops))
}

/// The same, from view steps by their names; none where one of them is not known here either.
#[must_use]
pub fn suggest_for(view: &[String]) -> Option<Recipe> {
    let steps: Option<Vec<Step>> = view.iter().map(|s| s.parse().ok()).collect();
    suggest(&read(&steps?))
}
