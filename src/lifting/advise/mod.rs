//! Advice: which medium takes this mark off this surface, with what is in the kit.
//!
//! Reading order: [`question`] (what is asked), [`rule`] (what the data says), [`answer`] (what comes back), [`rank`] (the
//! one function that leads from the one to the other), [`checklist`] (the steps, each caution where its step is taken).
//!
//! Advice never decides. Whoever works at the scene may choose any medium; what was advised goes on the record beside it.

pub mod answer;
pub mod checklist;
pub mod question;
pub mod rank;
pub mod rule;

pub use answer::{Advice, Consequences, Excluded, Nothing, NothingCode, Ranked, Why};
pub use checklist::{CheckStep, Checklist};
pub use question::{BadQuestion, KitLot, MarkAsked, Question, Seen, Surface};
pub use rank::{advise, excluded_by};
pub use rule::{AdviceRule, AdviceRules, Conditions, Effect};

use super::{Caution, Medium, Method, Substrate};

/// What advice is computed from.
#[derive(Clone, Copy, Debug)]
pub struct Knowledge<'a> {
    /// The media, in the order of the data.
    pub media: &'a [Medium],
    /// The development methods.
    pub methods: &'a [Method],
    /// The substrates.
    pub substrates: &'a [Substrate],
    /// The cautions.
    pub cautions: &'a [Caution],
    /// The rules of advice.
    pub advice: &'a AdviceRules,
}

impl<'a> Knowledge<'a> {
    /// A medium by its identifier.
    #[must_use]
    pub fn medium(&self, id: &str) -> Option<&'a Medium> {
        self.media.iter().find(|m| m.id == id)
    }

    /// A development method by its code.
    #[must_use]
    pub fn method(&self, id: &str) -> Option<&'a Method> {
        self.methods.iter().find(|m| m.id == id)
    }

    /// A substrate by its code.
    #[must_use]
    pub fn substrate(&self, id: &str) -> Option<&'a Substrate> {
        self.substrates.iter().find(|s| s.id == id)
    }

    /// A caution by its identifier.
    #[must_use]
    pub fn caution(&self, id: &str) -> Option<&'a Caution> {
        self.cautions.iter().find(|c| c.id == id)
    }
}
