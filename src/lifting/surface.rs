//! What bears the mark (substrate), what the mark is made of (matrix), and how the surface is shaped.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a surface takes up what is put on it.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum SubstrateClass {
    /// Takes it up: paper, board, raw wood.
    Porous,
    /// Keeps it on top: glass, metal, plastic.
    Nonporous,
    /// Between the two: leather, glossy board.
    Semiporous,
    /// Something else, or not known.
    Other,
}

/// A substrate code of ANSI/NIST-ITL field 9.355.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Substrate {
    /// The two-character code.
    pub id: String,
    /// Where the code was read.
    pub source: String,
    /// What it stands for.
    pub name: String,
    /// Its class.
    pub class: SubstrateClass,
}

/// A matrix code of ANSI/NIST-ITL field 9.356: what the mark seems to be made of. Apparent, never proven by the code.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Matrix {
    /// The number, as text.
    pub id: String,
    /// Where the code was read.
    pub source: String,
    /// What it stands for.
    pub name: String,
    /// True where the matrix is of the body, so that biological keeping rules are asked about.
    #[serde(default)]
    pub biological: bool,
}

/// The texture of a surface, as far as it decides what can lift from it.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Texture {
    /// Smooth: glass, gloss paint, polished metal.
    Smooth,
    /// A fine grain into which powder settles: panels, tiles, textured paint.
    FineGrain,
    /// A deep grain moulded into plastic.
    MouldedGrain,
    /// Ribs or grooves.
    Ribbed,
    /// Small regular dimples.
    Dimpled,
    /// Coarse: rough concrete, cast stone.
    Rough,
    /// Bare wood.
    BareWood,
    /// Paper, board, cloth.
    Absorbent,
    /// An adhesive side.
    Sticky,
    /// A dusty floor or seat, where the dust itself holds the mark.
    Dusty,
    /// A mark pressed into the surface: a toolmark, a footwear impression.
    Impressed,
    /// A recess or an inside corner.
    Recessed,
}

/// How a surface bends.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Curvature {
    /// Flat.
    Flat,
    /// A wide bend in one direction: a bottle, a bumper.
    Gentle,
    /// A narrow bend in one direction: a handle, a wire.
    Tight,
    /// Bends in two directions at once: a knob, a ball.
    Compound,
}

/// What kind of mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MarkKind {
    /// A friction ridge mark: finger, palm or sole.
    FrictionRidge,
    /// A toolmark.
    Toolmark,
    /// A footwear mark.
    Footwear,
    /// Anything else.
    Other,
}

/// Whether a mark has depth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MarkDepth {
    /// It lies on the surface: powder, dust, grease.
    OnSurface,
    /// It is pressed in.
    Pressed,
    /// It stands out, as in something that has set.
    Raised,
}
