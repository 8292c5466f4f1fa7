//! What a mark was recovered with.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{
    contrast::Ground,
    film::FilmRule,
    handedness::{Relief, Step, Tone, read},
    method::MarkTone,
    set_window::{SetRow, row_problems},
    surface::{Curvature, Texture},
};

/// What a recovery yields.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// A lift laid on a backing card.
    CardLift,
    /// A gelatin or rubber lifter under its cover.
    Gel,
    /// A free film.
    Film,
    /// A cast.
    Cast,
    /// The object itself, collected.
    Object,
    /// An image and nothing to hold.
    Image,
}

/// Whether one can look through a medium.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Clarity {
    /// Clear enough to read the mark through it.
    Clear,
    /// Not.
    Opaque,
    /// There is no medium.
    None,
}

/// What a medium does to depth by being what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ReliefEffect {
    /// Depth plays no part or stays as found.
    AsFound,
    /// The contact face shows hollows as heights.
    Inverted,
}

/// What a medium does to tone by being what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ToneEffect {
    /// The mark keeps the tone that development gave it.
    AsDeveloped,
    /// The mark stands light on the medium's own dark ground.
    LightOnDark,
}

/// One way to look at a recovery, and the steps it adds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct View {
    /// Identifier within the medium.
    pub id: String,
    /// What the technician chooses, in words.
    pub name: String,
    /// The steps of handedness.
    pub steps: Vec<Step>,
    /// Where the steps come from.
    pub source: String,
    /// The view taken when nobody says otherwise; exactly one in each medium.
    #[serde(default)]
    pub usual: bool,
}

/// Which figure of a [`SetWindow`] is ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SetFigure {
    /// The earliest.
    Earliest,
    /// The usual.
    Usual,
    /// The limit.
    Limit,
}

/// How long a medium sets before it is taken off, in minutes from the moment it was laid on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetWindow {
    /// Not before.
    #[serde(default)]
    pub earliest: Option<u32>,
    /// Usually by then.
    #[serde(default)]
    pub usual: Option<u32>,
    /// Not left on longer.
    #[serde(default)]
    pub limit: Option<u32>,
    /// Figures that are our assumption, interpolated from the source.
    #[serde(default)]
    pub assumed: Vec<SetFigure>,
    /// What the time depends on.
    pub note: String,
    /// Where the figures come from.
    pub source: String,
    /// Figures by temperature and thickness. What stands above is then what all of them take in together.
    #[serde(default, rename = "row", skip_serializing_if = "Vec::is_empty")]
    pub rows: Vec<SetRow>,
}

impl SetWindow {
    /// What does not agree, each in a sentence.
    fn problems(&self) -> Vec<String> {
        let mut out = Vec::new();
        if self.source.trim().is_empty() {
            out.push("the setting time names no source".to_owned());
        }
        let order: Vec<u32> = [self.earliest, self.usual, self.limit]
            .into_iter()
            .flatten()
            .collect();
        if !order.is_sorted() {
            out.push("earliest, usual and limit are out of order".into());
        }
        let there = |figure: &SetFigure| match figure {
            SetFigure::Earliest => self.earliest.is_some(),
            SetFigure::Usual => self.usual.is_some(),
            SetFigure::Limit => self.limit.is_some(),
        };
        if !self.assumed.iter().all(there) {
            out.push("a figure of the setting time is said to be assumed and is not there".into());
        }
        out.extend(row_problems(&self.rows));
        let whole =
            [self.earliest, self.usual, self.limit].map(|m| m.map(|m| m.saturating_mul(60)));
        let least = self.rows.iter().map(|r| r.earliest_s).min().flatten();
        let most = |of: fn(&SetRow) -> Option<u32>| self.rows.iter().map(of).max().flatten();
        if !self.rows.is_empty() && whole != [least, most(|r| r.usual_s), most(|r| r.limit_s)] {
            out.push(
                "earliest, usual and limit are not what the rows of set times take in together"
                    .into(),
            );
        }
        out
    }
}

/// Surfaces a medium suits, or does not.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Suits {
    /// Textures.
    pub textures: Vec<Texture>,
    /// Curvatures.
    pub curvatures: Vec<Curvature>,
    /// Anything else, in words.
    pub notes: Vec<String>,
}

/// A recovery medium.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Medium {
    /// Stable identifier, kebab-case.
    pub id: String,
    /// Where the entry comes from.
    pub source: String,
    /// Its plain name.
    pub name: String,
    /// What it is, in a sentence or two.
    pub description: String,
    /// What it yields.
    pub form: Form,
    /// Whether one can look through it.
    pub clarity: Clarity,
    /// Its own ground, where it has one.
    #[serde(default)]
    pub ground: Option<Ground>,
    /// What its contact face does to depth.
    pub relief: ReliefEffect,
    /// What it does to tone.
    pub tone: ToneEffect,
    /// Whether it is laid on a contrasting backing card.
    pub card: bool,
    /// Whether there is something to pack.
    pub container: bool,
    /// Setting time, where it sets.
    #[serde(default)]
    pub set: Option<SetWindow>,
    /// What it asks of its film, where it dries to one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film: Option<FilmRule>,
    /// Cautions by identifier.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// How to do it, in order.
    pub how: Vec<String>,
    /// What it suits.
    pub suits: Suits,
    /// What it does not suit.
    #[serde(default)]
    pub unsuited: Suits,
    /// Ways to look at it.
    #[serde(rename = "view")]
    pub views: Vec<View>,
}

impl Medium {
    /// The view taken when nobody says otherwise.
    #[must_use]
    pub fn usual_view(&self) -> Option<&View> {
        self.views.iter().find(|v| v.usual)
    }

    /// A view by its identifier.
    #[must_use]
    pub fn view(&self, id: &str) -> Option<&View> {
        self.views.iter().find(|v| v.id == id)
    }

    /// What in the entry does not agree with itself, each in a sentence; empty for a sound one.
    #[must_use]
    pub fn problems(&self) -> Vec<String> {
        let mut out = Vec::new();
        if self.views.iter().filter(|v| v.usual).count() != 1 {
            out.push("exactly one view must be the usual one".to_owned());
        }
        for (i, view) in self.views.iter().enumerate() {
            if self.views[..i].iter().any(|v| v.id == view.id) {
                out.push(format!("the view \"{}\" is there twice", view.id));
            }
            out.extend(self.view_problem(view));
        }
        if self.how.is_empty() {
            out.push("it does not say how it is done".into());
        }
        if let Some(set) = &self.set {
            out.extend(set.problems());
        }
        if let Some(film) = &self.film {
            if film.source.trim().is_empty() {
                out.push("the film names no source".into());
            }
            if !(1..=1000).contains(&film.margin_tenths) || film.drop_mm2 == Some(0) {
                out.push(
                    "a film reaches 0.1 to 100 mm beyond the mark, and a drop covers something"
                        .into(),
                );
            }
        }
        let both = self
            .suits
            .textures
            .iter()
            .any(|t| self.unsuited.textures.contains(t))
            || self
                .suits
                .curvatures
                .iter()
                .any(|c| self.unsuited.curvatures.contains(c));
        if both {
            out.push("a surface is both suited and not".into());
        }
        if (self.form == Form::Image) == self.container {
            out.push("an image needs no container and everything else does".into());
        }
        out
    }

    fn view_problem(&self, view: &View) -> Option<String> {
        let id = &view.id;
        if view.steps.is_empty() {
            return Some(format!("the view \"{id}\" has no step"));
        }
        if view.source.trim().is_empty() {
            return Some(format!("the view \"{id}\" names no source"));
        }
        let through = view.steps.contains(&Step::ThroughMedium);
        if through && self.clarity != Clarity::Clear {
            return Some("nothing can be seen through a medium that is not clear".into());
        }
        let reading = read(&view.steps);
        if (reading.relief == Relief::Inverted)
            != (self.relief == ReliefEffect::Inverted && !through)
        {
            return Some(format!(
                "the view \"{id}\" and the medium disagree about depth"
            ));
        }
        if (reading.tone == Tone::Reversed) != (self.tone == ToneEffect::LightOnDark) {
            return Some(format!(
                "the view \"{id}\" and the medium disagree about tone"
            ));
        }
        None
    }
}

/// The steps of a recovery looked at in one of the medium's ways; its usual way when none is named. Nothing when the
/// medium has no such view.
#[must_use]
pub fn view_steps<'a>(medium: &'a Medium, how_viewed: Option<&str>) -> Option<&'a [Step]> {
    let view = match how_viewed {
        Some(id) => medium.view(id),
        None => medium.usual_view(),
    };
    view.map(|v| v.steps.as_slice())
}

/// The chain of a developed mark on a medium: the view's steps, the card where it is black, and the tone of the mark.
/// A mark that was not developed adds no tone. Nothing when the medium has no such view.
#[must_use]
pub fn chain(
    medium: &Medium,
    how_viewed: Option<&str>,
    tone: Option<MarkTone>,
    card: Option<Ground>,
) -> Option<Vec<Step>> {
    let mut steps = view_steps(medium, how_viewed)?.to_vec();
    if medium.card && card == Some(Ground::Black) {
        steps.push(Step::BlackCard);
    }
    if let Some(tone) = tone {
        steps.push(tone.step());
    }
    Some(steps)
}
