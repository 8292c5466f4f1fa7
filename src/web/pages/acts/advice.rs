//! Advice on the form of a recovery: what else is to be said of the surface, the media in order with reasons, what is not
//! advised and why. Choosing is a link or a field: any medium can be chosen.

use crate::app::views::advice::{AdviceTold, Choice as Advised};
use crate::custody::advice::SurfaceSaid;
use crate::ids::MarkId;
use crate::lifting::advise::{CheckStep, Nothing, Why};
use crate::lifting::surface::MarkDepth;
use crate::web::form::{Choice, Input, Kind, Typed};

/// How many media are shown in full; the rest is folded.
const SHOWN: usize = 4;
/// What may be said of a surface: the field and its words.
const BOXES: [(&str, &str); 5] = [
    (
        "advice.recess",
        "The mark lies in a recess or runs into one",
    ),
    ("advice.wet", "The surface is wet"),
    (
        "advice.fragile",
        "The surface may come away or break: loose paint, a crumbling face",
    ),
    (
        "advice.collectable",
        "The thing, or the piece that bears the mark, can be taken away",
    ),
    ("advice.dusty", "The mark is in dry dust"),
];
const DEPTH: &str = "advice.depth";

/// A medium that is advised.
#[derive(Clone, Debug)]
pub struct Line {
    /// Its place.
    pub n: usize,
    /// Chooses it.
    pub href: String,
    /// Its name.
    pub name: String,
    /// Whether it is the one chosen now.
    pub chosen: bool,
    /// What follows: how it reads, how long it sets, which card.
    pub after: Vec<String>,
    /// Lots in the kit; empty where the kit is.
    pub lots: String,
    /// What speaks for it.
    pub reasons: Vec<Why>,
    /// What speaks against it.
    pub against: Vec<Why>,
    /// What it must be packed in.
    pub packing: Vec<String>,
    /// Its steps as a page.
    pub steps: String,
}

/// A medium that is not advised.
#[derive(Clone, Debug)]
pub struct Out {
    /// Chooses it all the same.
    pub href: String,
    /// Its name.
    pub name: String,
    /// Why not.
    pub reasons: Vec<Why>,
}

/// The medium that is chosen: its steps, each caution where its step is taken.
#[derive(Clone, Debug)]
pub struct Chosen {
    /// Its name.
    pub name: String,
    /// Why it is not advised; empty where it is.
    pub not_advised: Vec<Why>,
    /// Its steps.
    pub steps: Vec<CheckStep>,
    /// The same as a page for printing.
    pub href: String,
}

/// Advice on a form.
#[derive(Clone, Debug)]
pub struct AdviceBlock {
    /// The mark.
    pub mark: MarkId,
    /// The medium that was chosen, or empty.
    pub medium: String,
    /// What else may be said of the surface.
    pub asks: Vec<Input>,
    /// That it never decides.
    pub advisory: String,
    /// What was at hand.
    pub kit: String,
    /// What comes first.
    pub first: Vec<CheckStep>,
    /// What should be known besides.
    pub notes: Vec<Why>,
    /// The first of what is advised.
    pub lines: Vec<Line>,
    /// What comes after those.
    pub further: Vec<Line>,
    /// What is not advised.
    pub out: Vec<Out>,
    /// Why nothing can be taken away.
    pub nothing: Option<Nothing>,
    /// The one that is chosen.
    pub chosen: Option<Chosen>,
    /// The version of the trade rules.
    pub rules: String,
}

/// Reads what was said of the surface.
pub fn said(typed: &Typed) -> SurfaceSaid {
    let yes = |field: &str| typed.get(field) == "yes";
    SurfaceSaid {
        recess: yes("advice.recess"),
        wet: yes("advice.wet"),
        fragile: yes("advice.fragile"),
        collectable: yes("advice.collectable"),
        dusty: yes("advice.dusty"),
        depth: serde_json::from_value(serde_json::Value::String(typed.get(DEPTH).to_owned())).ok(),
    }
}

fn depth_word(depth: MarkDepth) -> &'static str {
    match depth {
        MarkDepth::OnSurface => "on-surface",
        MarkDepth::Pressed => "pressed",
        MarkDepth::Raised => "raised",
    }
}

/// What was said, as fields of a form: names and values.
fn fields(said: &SurfaceSaid) -> Vec<(&'static str, &'static str)> {
    let is = [
        said.recess,
        said.wet,
        said.fragile,
        said.collectable,
        said.dusty,
    ];
    BOXES
        .iter()
        .zip(is)
        .filter(|(_, is)| *is)
        .map(|((name, _), _)| (*name, "yes"))
        .chain(said.depth.map(|d| (DEPTH, depth_word(d))))
        .collect()
}

/// What was said, carried along to the command.
pub fn carried(said: &SurfaceSaid) -> Vec<Input> {
    fields(said)
        .into_iter()
        .map(|(name, value)| Input::hidden(name, value))
        .collect()
}

fn asks(said: &SurfaceSaid) -> Vec<Input> {
    let now = fields(said);
    let value = |name: &str| now.iter().find(|(n, _)| *n == name).map(|(_, v)| *v);
    let mut out: Vec<Input> = BOXES
        .iter()
        .map(|(name, label)| {
            let field = Input::new(name, label, Kind::Yes);
            match value(name) {
                Some(v) => field.value(v),
                None => field,
            }
        })
        .collect();
    let depths = vec![
        Choice::new("on-surface", "it lies on the surface"),
        Choice::new("pressed", "it is pressed in"),
        Choice::new("raised", "it stands out"),
    ];
    let depth = Input::new(DEPTH, "Depth of the mark", Kind::One(depths))
        .hint("Left empty, a toolmark counts as pressed in and everything else as lying on the surface.")
        .optional();
    out.push(match value(DEPTH) {
        Some(v) => depth.value(v),
        None => depth,
    });
    out
}

/// The address of the form with a medium chosen and what was said of the surface.
fn choose(mark: MarkId, medium: &str, said: &SurfaceSaid) -> String {
    let mut href = format!("/do/recover?mark={mark}&medium={medium}");
    for (name, value) in fields(said) {
        href.push_str(&format!("&{name}={value}"));
    }
    href
}

fn line(mark: MarkId, n: usize, choice: &Advised, said: &SurfaceSaid, chosen: &str) -> Line {
    let ranked = &choice.ranked;
    let mut after = vec![choice.reads_words.clone()];
    if !choice.card_words.is_empty() {
        after.push(choice.card_words.clone());
    }
    if !choice.set_words.is_empty() {
        after.push(format!("sets: {}", choice.set_words));
    }
    let lots: Vec<String> = ranked
        .lots
        .iter()
        .map(|l| match l.expires_on {
            Some(day) => format!("{} (good until {day})", l.lot),
            None => l.lot.clone(),
        })
        .collect();
    Line {
        n,
        href: choose(mark, &ranked.medium, said),
        name: ranked.name.clone(),
        chosen: ranked.medium == chosen,
        after,
        lots: lots.join(", "),
        reasons: ranked.reasons.clone(),
        against: ranked.against.clone(),
        packing: choice.packing.iter().map(|r| r.sentence.clone()).collect(),
        steps: format!("/checklists/{}", ranked.medium),
    }
}

/// Makes the block. `steps` are those of the chosen medium, where one is chosen.
pub fn block(
    mark: MarkId,
    said: &SurfaceSaid,
    told: &AdviceTold,
    chosen: Option<(&str, &str, Vec<CheckStep>)>,
) -> AdviceBlock {
    let medium = chosen.as_ref().map_or("", |(id, ..)| *id);
    let mut lines: Vec<Line> = told
        .ranked
        .iter()
        .enumerate()
        .map(|(i, c)| line(mark, i + 1, c, said, medium))
        .collect();
    let further = lines.split_off(SHOWN.min(lines.len()));
    AdviceBlock {
        mark,
        medium: medium.to_owned(),
        asks: asks(said),
        advisory: told.advisory.clone(),
        kit: match &told.question.kit {
            None => "Your kit is empty on record, so everything counts as at hand.".into(),
            Some(kit) if kit.len() == 1 => "At hand: the one lot in your kit.".into(),
            Some(kit) => format!("At hand: the {} lots in your kit.", kit.len()),
        },
        first: told.first.clone(),
        notes: told.notes.clone(),
        lines,
        further,
        out: told
            .excluded
            .iter()
            .map(|e| Out {
                href: choose(mark, &e.medium, said),
                name: e.name.clone(),
                reasons: e.reasons.clone(),
            })
            .collect(),
        nothing: told.nothing.clone(),
        chosen: chosen.map(|(id, name, steps)| Chosen {
            name: name.to_owned(),
            not_advised: told
                .excluded
                .iter()
                .find(|e| e.medium == id)
                .map(|e| e.reasons.clone())
                .unwrap_or_default(),
            steps,
            href: format!("/checklists/{id}"),
        }),
        rules: told.rules.clone(),
    }
}
