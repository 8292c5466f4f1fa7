//! Marks on surfaces: latent prints, toolmarks, footwear impressions; where exactly, and how they were developed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, TextRule, text, text_by};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Development, Key, Mark, State};
use crate::ids::{CaseId, MarkId, SceneId, Subject};

pub use crate::lifting::surface::MarkKind;

/// How many developments a mark may have.
pub const MAX_DEVELOPMENTS: usize = 20;
/// How many marks a case may have.
pub const MAX_MARKS: u32 = 20_000;
/// The texts of a mark: field, most characters, whether it must be filled in. An amendment keeps to the same.
pub const TEXTS: &[TextRule] = &[
    ("object", 200, true),
    ("exact_place", 300, true),
    ("up", 200, true),
    ("texture", 40, false),
    ("curvature", 40, false),
    ("note", 2000, false),
];

/// Note a mark on a surface.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NoteMark {
    /// Case.
    pub case: CaseId,
    /// Scene.
    pub scene: SceneId,
    /// Kind of mark.
    pub kind: MarkKind,
    /// The object that bears it.
    pub object: String,
    /// The exact place on the object.
    pub exact_place: String,
    /// Which way is up.
    pub up: String,
    /// Substrate code of the open standard, two characters.
    pub substrate: String,
    /// Texture, by the trade rules' word.
    pub texture: String,
    /// Curvature, by the trade rules' word.
    pub curvature: String,
    /// Note.
    #[serde(default)]
    pub note: String,
}

/// Record how a mark was developed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DevelopMark {
    /// Mark.
    pub mark: MarkId,
    /// Processing code of the open standard, three characters.
    pub method: String,
    /// Note.
    #[serde(default)]
    pub note: String,
}

/// A mark was noted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct MarkNoted {
    /// Mark.
    pub mark: MarkId,
    /// Case.
    pub case: CaseId,
    /// Number in the case.
    pub number: u32,
    /// Scene.
    pub scene: SceneId,
    /// Kind.
    pub mark_kind: MarkKind,
    /// Object.
    pub object: String,
    /// Exact place on it.
    pub exact_place: String,
    /// Which way is up.
    pub up: String,
    /// Substrate code.
    pub substrate: String,
    /// Texture.
    pub texture: String,
    /// Curvature.
    pub curvature: String,
    /// Note.
    pub note: String,
}

/// A mark was developed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MarkDeveloped {
    /// Mark.
    pub mark: MarkId,
    /// Processing code.
    pub method: String,
    /// Note.
    pub note: String,
}

pub(super) fn note(ctx: &Context<'_>, x: &NoteMark) -> Result<Vec<Draft>, Refusal> {
    let case = ctx.case(x.case)?;
    text_by(TEXTS, "object", &x.object)?;
    text_by(TEXTS, "exact_place", &x.exact_place)?;
    text_by(TEXTS, "up", &x.up)?;
    text_by(TEXTS, "texture", &x.texture)?;
    text_by(TEXTS, "curvature", &x.curvature)?;
    text_by(TEXTS, "note", &x.note)?;
    if !ctx.trade.knows_substrate(&x.substrate) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("{} is no substrate code.", x.substrate),
            "Choose one of the list; 4B is unknown.",
        )
        .on("substrate"));
    }
    if case.marks >= MAX_MARKS {
        return Err(Refusal::new(
            Rule::BadValue,
            "The case is full.",
            "Open another case.",
        ));
    }
    let mark = MarkId(ctx.command.id.0);
    let fact = Fact::MarkNoted(MarkNoted {
        mark,
        case: x.case,
        number: case.marks + 1,
        scene: x.scene,
        mark_kind: x.kind,
        object: x.object.clone(),
        exact_place: x.exact_place.clone(),
        up: x.up.clone(),
        substrate: x.substrate.clone(),
        texture: x.texture.clone(),
        curvature: x.curvature.clone(),
        note: x.note.clone(),
    });
    Ok(ctx.draft(
        Some(x.case),
        vec![Subject::Case(x.case), Subject::Mark(mark)],
        fact,
    ))
}

pub(super) fn develop(ctx: &Context<'_>, x: &DevelopMark) -> Result<Vec<Draft>, Refusal> {
    let mark = ctx
        .state
        .marks
        .get(&x.mark)
        .ok_or_else(|| not_found("mark"))?;
    ctx.case(mark.case)?;
    text("note", &x.note, 2000, false)?;
    if !ctx.trade.knows_method(&x.method) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("{} is no processing code.", x.method),
            "Choose one of the list; OTH is any other.",
        )
        .on("method"));
    }
    if mark.developments.len() >= MAX_DEVELOPMENTS {
        return Err(Refusal::new(
            Rule::BadValue,
            "The mark has 20 developments already.",
            "Amend one of them.",
        ));
    }
    let fact = Fact::MarkDeveloped(MarkDeveloped {
        mark: x.mark,
        method: x.method.clone(),
        note: x.note.clone(),
    });
    Ok(ctx.draft(Some(mark.case), vec![Subject::Mark(x.mark)], fact))
}

pub(super) fn noted(state: &mut State, x: &MarkNoted, meta: &Meta) -> Result<(), Misfit> {
    let case = state
        .cases
        .get_mut(&x.case)
        .ok_or_else(|| meta.misfit("no such case"))?;
    if x.number != case.marks + 1 {
        return Err(meta.misfit("the mark's number is not the next one"));
    }
    case.marks = x.number;
    state.known.insert(Key::Subject(Subject::Mark(x.mark)));
    state.marks.insert(
        x.mark,
        Mark {
            id: x.mark,
            case: x.case,
            number: x.number,
            noted: x.clone(),
            noted_at: meta.at,
            noted_by: meta.actor,
            developments: Vec::new(),
            images: Vec::new(),
            items: Vec::new(),
            answers: Vec::new(),
            expunged: None,
        },
    );
    Ok(())
}

pub(super) fn developed(state: &mut State, x: &MarkDeveloped, meta: &Meta) -> Result<(), Misfit> {
    let mark = state
        .marks
        .get_mut(&x.mark)
        .ok_or_else(|| meta.misfit("no such mark"))?;
    mark.developments.push(Development {
        method: x.method.clone(),
        note: x.note.clone(),
        at: meta.at,
        by: meta.actor,
    });
    Ok(())
}
