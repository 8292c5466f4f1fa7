//! What is asked: the surface, the mark, the kit, the day.

use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Knowledge;
use crate::lifting::medium::Medium;
use crate::lifting::method::MarkTone;
use crate::lifting::surface::{Curvature, MarkDepth, MarkKind, SubstrateClass, Texture};

/// The most entries of a kit.
pub const MAX_KIT: usize = 200;
/// The most development methods of a mark, as the custody rules have it.
pub const MAX_METHODS: usize = 20;
/// The longest lot, in characters, as on a recovery.
pub const MAX_LOT: usize = 60;

/// The surface that bears the mark. What is left out is not known, and no rule that asks for it applies.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Surface {
    /// Texture.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub texture: Option<Texture>,
    /// How it bends.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub curvature: Option<Curvature>,
    /// The mark lies in a recess or runs into one.
    pub recess: bool,
    /// Substrate code of the open standard, two characters; empty for none. It says the porosity too.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub substrate: String,
    /// Porosity, where no substrate code says it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub porosity: Option<SubstrateClass>,
    /// It is wet.
    pub wet: bool,
    /// It may come away or break: loose paint, thin sheet, a crumbling face.
    pub fragile: bool,
    /// The object, or the piece that bears the mark, can be taken away.
    pub collectable: bool,
    /// The mark is in dry dust.
    pub dusty: bool,
}

/// The mark.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MarkAsked {
    /// What kind.
    pub kind: MarkKind,
    /// Pressed in, raised, or neither. Left out, a toolmark counts as pressed in and everything else as lying on the surface.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth: Option<MarkDepth>,
    /// How it was developed, in order: processing codes of the open standard.
    #[serde(default)]
    pub methods: Vec<String>,
    /// Its tone, where it is not that of the last method.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tone: Option<MarkTone>,
}

/// A lot of a medium, as somebody carries it.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KitLot {
    /// Medium, by the trade rules' identifier.
    pub medium: String,
    /// Lot, as it stands on the package.
    pub lot: String,
    /// The day on which it was opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opened_on: Option<NaiveDate>,
    /// The last day on which it is good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
}

impl KitLot {
    /// Whether it has expired on this day. The day that stands on it is its last good one.
    #[must_use]
    pub fn expired(&self, on: NaiveDate) -> bool {
        self.expires_on.is_some_and(|last| last < on)
    }
}

/// What is asked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Question {
    /// The surface.
    #[serde(default)]
    pub surface: Surface,
    /// The mark.
    pub mark: MarkAsked,
    /// What is at hand; left out, every medium is. What needs no medium (a photograph, the object itself) is always.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kit: Option<Vec<KitLot>>,
    /// The day, for what expires. Left out, nothing counts as expired.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<NaiveDate>,
    /// Air temperature in °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air_c: Option<i16>,
}

/// A question that cannot be answered.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {sentence}")]
pub struct BadQuestion {
    /// The field that is meant: `kit.medium`.
    pub field: &'static str,
    /// What is wrong with it.
    pub sentence: String,
}

impl Question {
    /// Whether every code is known and every list within its bound.
    ///
    /// # Errors
    /// The first field that is not.
    pub fn check(&self, knowledge: &Knowledge<'_>) -> Result<(), BadQuestion> {
        let bad = |field, sentence: String| Err(BadQuestion { field, sentence });
        let code = &self.surface.substrate;
        if !code.is_empty() && knowledge.substrate(code).is_none() {
            return bad(
                "surface.substrate",
                format!("{} is no substrate code.", short(code)),
            );
        }
        if self.mark.methods.len() > MAX_METHODS {
            return bad(
                "mark.methods",
                format!("There are more than {MAX_METHODS} methods."),
            );
        }
        for method in &self.mark.methods {
            if knowledge.method(method).is_none() {
                return bad(
                    "mark.methods",
                    format!("{} is no processing code.", short(method)),
                );
            }
        }
        let kit = self.kit.as_deref().unwrap_or_default();
        if kit.len() > MAX_KIT {
            return bad("kit", format!("The kit has more than {MAX_KIT} entries."));
        }
        for lot in kit {
            if knowledge.medium(&lot.medium).is_none() {
                return bad(
                    "kit.medium",
                    format!("There is no medium {}.", short(&lot.medium)),
                );
            }
            if lot.lot.chars().count() > MAX_LOT {
                return bad(
                    "kit.lot",
                    format!("A lot is longer than {MAX_LOT} characters."),
                );
            }
        }
        if self.air_c.is_some_and(|t| !(-60..=70).contains(&t)) {
            return bad(
                "air_c",
                "The air temperature lies between -60 and 70 °C.".into(),
            );
        }
        Ok(())
    }
}

/// What somebody typed, cut to a length that fits into a sentence.
fn short(text: &str) -> String {
    text.chars().take(60).collect()
}

/// A question with what follows from its parts, as rules look at it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen<'a> {
    /// Kind of mark.
    pub kind: MarkKind,
    /// Depth.
    pub depth: MarkDepth,
    /// Texture, where it is known.
    pub texture: Option<Texture>,
    /// Curvature, where it is known.
    pub curvature: Option<Curvature>,
    /// Porosity, where it is known.
    pub porosity: Option<SubstrateClass>,
    /// Tone, where it is known.
    pub tone: Option<MarkTone>,
    /// Development methods.
    pub methods: &'a [String],
    /// In a recess.
    pub recess: bool,
    /// Wet.
    pub wet: bool,
    /// Fragile.
    pub fragile: bool,
    /// Can be taken away.
    pub collectable: bool,
    /// In dry dust.
    pub dusty: bool,
    /// Air temperature in °C.
    pub air_c: Option<i16>,
}

impl<'a> Seen<'a> {
    /// What follows from the question: porosity from the substrate code, tone from the last method, depth from the kind.
    #[must_use]
    pub fn of(knowledge: &Knowledge<'_>, question: &'a Question) -> Self {
        let Question { surface, mark, .. } = question;
        let pressed =
            mark.kind == MarkKind::Toolmark || surface.texture == Some(Texture::Impressed);
        Self {
            kind: mark.kind,
            depth: mark.depth.unwrap_or(if pressed {
                MarkDepth::Pressed
            } else {
                MarkDepth::OnSurface
            }),
            texture: surface.texture,
            curvature: surface.curvature,
            porosity: knowledge
                .substrate(&surface.substrate)
                .map(|s| s.class)
                .or(surface.porosity),
            tone: mark.tone.or_else(|| {
                let last = mark.methods.last()?;
                Some(knowledge.method(last)?.tone)
            }),
            methods: &mark.methods,
            recess: surface.recess || surface.texture == Some(Texture::Recessed),
            wet: surface.wet,
            fragile: surface.fragile,
            collectable: surface.collectable,
            dusty: surface.dusty || surface.texture == Some(Texture::Dusty),
            air_c: question.air_c,
        }
    }

    /// Whether texture and curvature are among those that a medium suits. An unknown texture suits nothing.
    #[must_use]
    pub fn suits(&self, medium: &Medium) -> bool {
        let bends = &medium.suits.curvatures;
        self.texture
            .is_some_and(|t| medium.suits.textures.contains(&t))
            && (bends.is_empty() || self.curvature.is_none_or(|c| bends.contains(&c)))
    }
}
