//! A mark in words: where it was, on what, how it was developed.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Serialize;

use super::images::{Image, images};
use super::words;
use crate::custody::State;
use crate::custody::mark::MarkKind;
use crate::custody::state::{Case, Mark};
use crate::ids::{MarkId, SceneId, Subject};
use crate::trade::TradeRules;
use crate::zone::Zone;

/// A development in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Developed {
    /// Processing code of the open standard.
    pub code: String,
    /// What it stands for.
    pub name: String,
    /// The usual tone of a mark so developed, as the trade rules have it; empty where they don't know the code.
    pub tone: String,
    /// Note.
    pub note: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The same in words.
    pub when: String,
    /// By whom.
    pub by_name: String,
}

/// A mark in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MarkWords {
    /// Which.
    pub id: MarkId,
    /// Number in the case.
    pub number: u32,
    /// `Mark M4`.
    pub name: String,
    /// The scene.
    pub scene: SceneId,
    /// Its short name.
    pub scene_name: String,
    /// Its address.
    pub scene_address: String,
    /// What kind of mark.
    pub kind: MarkKind,
    /// The same in words.
    pub kind_words: String,
    /// The object that bears it.
    pub object: String,
    /// The exact place on it.
    pub exact_place: String,
    /// Which way is up.
    pub up: String,
    /// Substrate code of the open standard.
    pub substrate: String,
    /// What it stands for.
    pub substrate_name: String,
    /// Texture.
    pub texture: String,
    /// Curvature.
    pub curvature: String,
    /// Note.
    pub note: String,
    /// When it was noted.
    pub noted_at: DateTime<FixedOffset>,
    /// The same in words.
    pub noted: String,
    /// By whom.
    pub noted_by: String,
    /// How it was developed, in order.
    pub developments: Vec<Developed>,
    /// Photographs of the mark.
    pub images: Vec<Image>,
}

/// A mark in words.
#[must_use]
pub fn mark_words(
    mark: &Mark,
    case: Option<&Case>,
    state: &State,
    rules: &TradeRules,
    zone: Zone,
) -> MarkWords {
    let noted = &mark.noted;
    let scene = case.and_then(|c| c.scenes.iter().find(|s| s.id == noted.scene));
    let who = |p: Option<_>| p.map(|p| words::person_in(state, p)).unwrap_or_default();
    MarkWords {
        id: mark.id,
        number: mark.number,
        name: format!("Mark M{}", mark.number),
        scene: noted.scene,
        scene_name: scene.map(|s| s.name.clone()).unwrap_or_default(),
        scene_address: scene.map(|s| s.address.clone()).unwrap_or_default(),
        kind: noted.mark_kind,
        kind_words: words::mark_kind(noted.mark_kind).into(),
        object: noted.object.clone(),
        exact_place: noted.exact_place.clone(),
        up: noted.up.clone(),
        substrate: noted.substrate.clone(),
        substrate_name: rules
            .substrate(&noted.substrate)
            .map(|s| s.name.clone())
            .unwrap_or_default(),
        texture: noted.texture.replace('-', " "),
        curvature: noted.curvature.replace('-', " "),
        note: noted.note.clone(),
        noted_at: mark.noted_at,
        noted: words::minute(&mark.noted_at, zone),
        noted_by: who(mark.noted_by),
        developments: mark
            .developments
            .iter()
            .map(|d| {
                let method = rules.method_ever(&d.method);
                Developed {
                    code: d.method.clone(),
                    name: method.map_or_else(|| d.method.clone(), |m| m.name.clone()),
                    tone: method.map(|m| tone(m.tone)).unwrap_or_default().to_owned(),
                    note: d.note.clone(),
                    at: d.at,
                    when: words::minute(&d.at, zone),
                    by_name: who(d.by),
                }
            })
            .collect(),
        images: images(Subject::Mark(mark.id), &mark.images, zone),
    }
}

fn tone(tone: crate::lifting::method::MarkTone) -> &'static str {
    use crate::lifting::method::MarkTone::{Dark, Fluorescent, Light, Varies};
    match tone {
        Dark => "dark",
        Light => "light",
        Fluorescent => "fluorescent",
        Varies => "depends on how it was lit",
    }
}
