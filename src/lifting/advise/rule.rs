//! What the data says: rules that exclude, prefer, speak against or only say something.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::checklist::Checklist;
use super::question::Seen;
use crate::lifting::medium::{Form, Medium};
use crate::lifting::method::MarkTone;
use crate::lifting::surface::{Curvature, MarkDepth, MarkKind, SubstrateClass, Texture};

/// What a rule does to the media that it names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Effect {
    /// Takes them off the list.
    Exclude,
    /// Moves them up by its weight.
    Prefer,
    /// Moves them down by its weight.
    Against,
    /// Says something about the whole question, and names no medium.
    Note,
}

/// When a rule applies: every condition that is given must hold. A list holds when it has the value; what is not known is
/// in no list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Conditions {
    /// Kinds of mark.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub kinds: Vec<MarkKind>,
    /// Depths.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub depths: Vec<MarkDepth>,
    /// Textures.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub textures: Vec<Texture>,
    /// Textures that it must not be.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub textures_not: Vec<Texture>,
    /// Whether the texture is known at all.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub texture_known: Option<bool>,
    /// Curvatures.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub curvatures: Vec<Curvature>,
    /// Porosity.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub porosity: Vec<SubstrateClass>,
    /// Tones.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub tones: Vec<MarkTone>,
    /// At least one of these methods.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub methods_any: Vec<String>,
    /// None of these methods.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub methods_none: Vec<String>,
    /// Whether any development is recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub developed: Option<bool>,
    /// In a recess.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recess: Option<bool>,
    /// Wet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wet: Option<bool>,
    /// Fragile.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fragile: Option<bool>,
    /// Can be taken away.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub collectable: Option<bool>,
    /// In dry dust.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dusty: Option<bool>,
    /// Air colder than this, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air_below: Option<i16>,
    /// Air warmer than this, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air_above: Option<i16>,
}

fn among<T: PartialEq>(list: &[T], value: Option<T>) -> bool {
    list.is_empty() || value.is_some_and(|v| list.contains(&v))
}

fn as_asked(asked: Option<bool>, is: bool) -> bool {
    asked.is_none_or(|a| a == is)
}

impl Conditions {
    /// Whether all of them hold.
    #[must_use]
    pub fn hold(&self, seen: &Seen<'_>) -> bool {
        among(&self.kinds, Some(seen.kind))
            && among(&self.depths, Some(seen.depth))
            && among(&self.textures, seen.texture)
            && seen.texture.is_none_or(|t| !self.textures_not.contains(&t))
            && as_asked(self.texture_known, seen.texture.is_some())
            && among(&self.curvatures, seen.curvature)
            && among(&self.porosity, seen.porosity)
            && among(&self.tones, seen.tone)
            && (self.methods_any.is_empty()
                || seen.methods.iter().any(|m| self.methods_any.contains(m)))
            && !seen.methods.iter().any(|m| self.methods_none.contains(m))
            && as_asked(self.developed, !seen.methods.is_empty())
            && as_asked(self.recess, seen.recess)
            && as_asked(self.wet, seen.wet)
            && as_asked(self.fragile, seen.fragile)
            && as_asked(self.collectable, seen.collectable)
            && as_asked(self.dusty, seen.dusty)
            && self
                .air_below
                .is_none_or(|t| seen.air_c.is_some_and(|a| a < t))
            && self
                .air_above
                .is_none_or(|t| seen.air_c.is_some_and(|a| a > t))
    }

    /// Plain circumstances under which the rule should speak: each listed value in turn, and nothing special otherwise.
    fn witnesses(&self) -> Vec<Witness> {
        fn each<T: Copy>(list: &[T], otherwise: &[Option<T>]) -> Vec<Option<T>> {
            if list.is_empty() {
                otherwise.to_vec()
            } else {
                list.iter().copied().map(Some).collect()
            }
        }
        const KINDS: [Option<MarkKind>; 4] = [
            Some(MarkKind::FrictionRidge),
            Some(MarkKind::Toolmark),
            Some(MarkKind::Footwear),
            Some(MarkKind::Other),
        ];
        const DEPTHS: [Option<MarkDepth>; 3] = [
            Some(MarkDepth::OnSurface),
            Some(MarkDepth::Pressed),
            Some(MarkDepth::Raised),
        ];
        let mut out = Vec::new();
        let textures = if self.texture_known == Some(true) && self.textures.is_empty() {
            vec![Some(Texture::Smooth)]
        } else {
            each(&self.textures, &[None])
        };
        for kind in each(&self.kinds, &KINDS).into_iter().flatten() {
            for depth in each(&self.depths, &DEPTHS).into_iter().flatten() {
                for &texture in &textures {
                    for curvature in each(&self.curvatures, &[None]) {
                        for porosity in each(&self.porosity, &[None]) {
                            for tone in each(&self.tones, &[None]) {
                                out.push(Witness {
                                    kind,
                                    depth,
                                    texture,
                                    curvature,
                                    porosity,
                                    tone,
                                });
                            }
                        }
                    }
                }
            }
        }
        out
    }

    /// The circumstances of a witness; the bits of `open` (below 32) answer what the conditions leave open, 0 for no.
    fn circumstances<'a>(&'a self, at: &Witness, methods: &'a [String], open: u8) -> Seen<'a> {
        let bit = |asked: Option<bool>, n: u8| asked.unwrap_or(open >> n & 1 == 1);
        Seen {
            kind: at.kind,
            depth: at.depth,
            texture: at.texture,
            curvature: at.curvature,
            porosity: at.porosity,
            tone: at.tone,
            methods,
            recess: bit(self.recess, 0) || at.texture == Some(Texture::Recessed),
            wet: bit(self.wet, 1),
            fragile: bit(self.fragile, 2),
            collectable: bit(self.collectable, 3),
            dusty: bit(self.dusty, 4) || at.texture == Some(Texture::Dusty),
            air_c: self
                .air_below
                .map(|t| t.saturating_sub(1))
                .or(self.air_above.map(|t| t.saturating_add(1))),
        }
    }
}

struct Witness {
    kind: MarkKind,
    depth: MarkDepth,
    texture: Option<Texture>,
    curvature: Option<Curvature>,
    porosity: Option<SubstrateClass>,
    tone: Option<MarkTone>,
}

/// A rule of advice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AdviceRule {
    /// Stable identifier, kebab-case.
    pub id: String,
    /// Where the rule comes from.
    pub source: String,
    /// What it does.
    pub effect: Effect,
    /// The media that it is about.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub media: Vec<String>,
    /// The forms that it is about: every medium that yields one of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub forms: Vec<Form>,
    /// When it applies; always, where nothing is said.
    #[serde(default)]
    pub when: Conditions,
    /// How much it moves up or down; our assumption, no source.
    #[serde(default)]
    pub weight: u16,
    /// Why, in a sentence.
    pub sentence: String,
}

impl AdviceRule {
    /// Whether it is about this medium.
    #[must_use]
    pub fn about(&self, medium: &Medium) -> bool {
        self.forms.contains(&medium.form) || self.media.contains(&medium.id)
    }

    /// Whether it agrees with itself.
    ///
    /// # Errors
    /// A sentence naming what does not agree.
    pub fn check(&self) -> Result<(), String> {
        if self.sentence.trim().is_empty() {
            return Err("the rule says nothing".into());
        }
        let moves = matches!(self.effect, Effect::Prefer | Effect::Against);
        if moves != (self.weight > 0) {
            return Err(
                "a rule that prefers or speaks against has a weight above 0, and no other has one"
                    .into(),
            );
        }
        let names = !self.media.is_empty() || !self.forms.is_empty();
        if names == (self.effect == Effect::Note) {
            return Err("a rule names media or forms, and a note names none".into());
        }
        if [KIT_MISSING, KIT_EXPIRED, KIT_UNDATED].contains(&self.id.as_str()) {
            return Err("this identifier is kept for what the kit itself says".into());
        }
        Ok(())
    }
}

/// Not in the kit.
pub const KIT_MISSING: &str = "kit-missing";
/// Every lot in the kit has expired.
pub const KIT_EXPIRED: &str = "kit-expired";
/// The kit has dates and the question has none.
pub const KIT_UNDATED: &str = "kit-undated";

/// The rules of advice, in the order of the data.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AdviceRules {
    /// Rules.
    pub rules: Vec<AdviceRule>,
    /// Where each caution stands in the steps of each medium.
    pub checklists: Vec<Checklist>,
}

impl AdviceRules {
    /// The rules that can never be seen to do anything, by their places in the list. An exclusion is out of reach when
    /// earlier ones always speak where it would; any other rule, when all media that it names are excluded wherever it
    /// would apply. Only plain circumstances are tried, so a rule must be of use in some of those.
    #[must_use]
    pub fn out_of_reach(&self, media: &[Medium]) -> Vec<usize> {
        let places = self.rules.iter().enumerate();
        places
            .filter(|(_, rule)| !self.reached(rule, media))
            .map(|(i, _)| i)
            .collect()
    }

    fn reached(&self, rule: &AdviceRule, media: &[Medium]) -> bool {
        let when = &rule.when;
        let mut methods: Vec<Vec<String>> =
            when.methods_any.iter().map(|m| vec![m.clone()]).collect();
        if methods.is_empty() {
            methods.push(Vec::new());
            if when.developed == Some(true) {
                methods = vec![vec!["OTH".into()]];
            }
        }
        when.witnesses().iter().any(|at| {
            methods.iter().any(|methods| {
                (0..32).any(|open| self.speaks(rule, media, &when.circumstances(at, methods, open)))
            })
        })
    }

    /// Whether the rule changes anything under these circumstances.
    fn speaks(&self, rule: &AdviceRule, media: &[Medium], seen: &Seen<'_>) -> bool {
        if !rule.when.hold(seen) {
            return false;
        }
        if rule.effect == Effect::Note {
            return true;
        }
        let excludes = |r: &&AdviceRule| r.effect == Effect::Exclude && r.when.hold(seen);
        // Of an exclusion, what stands before it in the data may have said it already.
        let others: Vec<&AdviceRule> = if rule.effect == Effect::Exclude {
            let before = self.rules.iter().take_while(|r| r.id != rule.id);
            before.filter(excludes).collect()
        } else {
            self.rules.iter().filter(excludes).collect()
        };
        media.iter().filter(|m| rule.about(m)).any(|medium| {
            let own = rule.effect != Effect::Exclude && medium_excludes(medium, seen);
            !own && !others.iter().any(|r| r.about(medium))
        })
    }
}

/// Whether the medium's own entry says that it does not suit what is seen.
#[must_use]
pub fn medium_excludes(medium: &Medium, seen: &Seen<'_>) -> bool {
    seen.texture
        .is_some_and(|t| medium.unsuited.textures.contains(&t))
        || seen
            .curvature
            .is_some_and(|c| medium.unsuited.curvatures.contains(&c))
}
