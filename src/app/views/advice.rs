//! Advice with what it brings in packing, and the words in which pages and commands say it.

use schemars::JsonSchema;
use serde::Serialize;

use crate::custody::advice::AdviceShown;
use crate::keeping::packaging::Facts;
use crate::keeping::{KeepNeeds, Reason};
use crate::lifting::advise::{
    BadQuestion, CheckStep, Excluded, Nothing, Question, Ranked, Seen, Why, advise,
};
use crate::lifting::handedness::{Lateral, Relief};
use crate::lifting::medium::{Medium, SetFigure, SetWindow};
use crate::trade::TradeRules;

/// What stands over all advice.
pub const ADVISORY: &str = "Advice never decides: any medium may be chosen, and what was advised goes on the record beside \
                            the choice. Local rules and safety data sheets come first.";

/// A medium that can be used, with what follows in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Choice {
    /// The choice.
    #[serde(flatten)]
    pub ranked: Ranked,
    /// `reads direct`, `reads reversed: flip before comparison`, with depth where it is inverted.
    pub reads_words: String,
    /// The set time in words; empty where it does not set.
    pub set_words: String,
    /// The card in words; empty where it has none.
    pub card_words: String,
    /// What it must be packed in, and why.
    pub packing: Vec<Reason>,
}

/// Advice as pages, the interface for programs and the command line show it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct AdviceTold {
    /// The version of the trade rules that it was computed by.
    pub rules: String,
    /// What was asked.
    pub question: Question,
    /// That it never decides, and what it defers to.
    pub advisory: String,
    /// What comes before everything else: the photograph.
    pub first: Vec<CheckStep>,
    /// What takes the mark away, the best first.
    pub ranked: Vec<Choice>,
    /// What is not advised, and why.
    pub excluded: Vec<Excluded>,
    /// Why nothing can be taken away, where nothing can.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nothing: Option<Nothing>,
    /// What should be known besides.
    pub notes: Vec<Why>,
}

/// How something will read, in words.
#[must_use]
pub fn reads_words(lateral: Lateral, relief: Relief) -> String {
    let side = match lateral {
        Lateral::Direct => "reads direct",
        Lateral::Reversed => "reads reversed: flip before comparison",
        Lateral::Unknown => "which way round it reads is not known",
    };
    match relief {
        Relief::Inverted => format!("{side}; depth inverted"),
        _ => side.to_owned(),
    }
}

/// A set time in words: `not before 5 min, usually 10 min, not longer than 15 min (our assumption)`.
#[must_use]
pub fn set_words(set: &SetWindow) -> String {
    let said = |words: &str, minutes: Option<u32>, which: SetFigure| {
        let minutes = minutes?;
        let ours = if set.assumed.contains(&which) {
            " (our assumption)"
        } else {
            ""
        };
        Some(format!("{words} {minutes} min{ours}"))
    };
    let figures: Vec<String> = [
        said("not before", set.earliest, SetFigure::Earliest),
        said("usually", set.usual, SetFigure::Usual),
        said("not longer than", set.limit, SetFigure::Limit),
    ]
    .into_iter()
    .flatten()
    .collect();
    if figures.is_empty() {
        set.note.clone()
    } else {
        format!("{}. {}", figures.join(", "), set.note)
    }
}

/// What the rules say of the packing of a recovery by this medium, before it is made.
#[must_use]
pub fn packing(rules: &TradeRules, medium: &Medium, seen: &Seen<'_>) -> Vec<Reason> {
    let facts = Facts {
        wet: seen.wet,
        surface: seen.porosity,
        ..Facts::default()
    };
    KeepNeeds::derive(rules.keeping(), medium, &facts)
        .packing
        .reasons
}

/// The advice that is on the record, in words.
#[must_use]
pub fn shown_words(shown: &AdviceShown) -> String {
    let mut out = format!("The choice was {}.", shown.choice.words());
    if !shown.because.is_empty() {
        out.push_str(&format!(" {}", shown.because.join(" ")));
    }
    if shown.ranked.is_empty() {
        out.push_str(" Nothing was advised.");
    } else {
        out.push_str(&format!(
            " Advised, the best first: {}.",
            shown.ranked.join(", ")
        ));
    }
    if !shown.said.is_empty() {
        out.push_str(&format!(" Said of the surface: {}.", shown.said.join(", ")));
    }
    out.push_str(&format!(" Trade rules {}.", shown.rules));
    out
}

/// The answer to a question.
///
/// # Errors
/// [`BadQuestion`] where it names what there is not, or too much.
pub fn told(rules: &TradeRules, question: Question) -> Result<AdviceTold, BadQuestion> {
    question.check(&rules.knowledge())?;
    Ok(tell(rules, question))
}

/// The answer to a question made from the record: what it names and the rules no longer have is passed over.
#[must_use]
pub fn tell(rules: &TradeRules, question: Question) -> AdviceTold {
    let knowledge = rules.knowledge();
    let seen = Seen::of(&knowledge, &question);
    let advice = advise(&knowledge, &question);
    let choice = |ranked: Ranked| {
        let medium = rules.medium(&ranked.medium);
        let after = &ranked.consequences;
        Choice {
            reads_words: reads_words(after.reading.lateral, after.reading.relief),
            set_words: after.set.as_ref().map(set_words).unwrap_or_default(),
            card_words: after
                .card
                .map(|c| format!("{} card", c.word()))
                .unwrap_or_default(),
            packing: medium.map_or_else(Vec::new, |m| packing(rules, m, &seen)),
            ranked,
        }
    };
    AdviceTold {
        rules: rules.version().to_owned(),
        advisory: ADVISORY.to_owned(),
        first: advice.first,
        ranked: advice.ranked.into_iter().map(choice).collect(),
        excluded: advice.excluded,
        nothing: advice.nothing,
        notes: advice.notes,
        question,
    }
}
