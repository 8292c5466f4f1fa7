//! The rules in force as lists for people: what there is, what it says, where it comes from.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Kind, TradeRules};
use crate::lifting::advise::Effect;

/// One entry in a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Row {
    /// Identifier or code.
    pub id: String,
    /// What it is called; for a rule, what it says.
    pub name: String,
    /// More about it, or empty.
    pub about: String,
    /// Where it comes from.
    pub source: String,
    /// Whether it stands in the agency's own file.
    pub agency: bool,
}

/// A kind of entry, listed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Shelf {
    /// The kind.
    pub kind: Kind,
    /// Its entries in force.
    pub rows: Vec<Row>,
}

/// A word of the data: `light-on-dark`.
fn word(value: impl Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(s)) => s,
        _ => String::new(),
    }
}

fn words(list: &[impl Serialize]) -> String {
    list.iter().map(word).collect::<Vec<_>>().join(", ")
}

impl TradeRules {
    /// The entries of a kind that are in force.
    #[must_use]
    pub fn shelf(&self, kind: Kind) -> Shelf {
        let row = |id: &str, name: &str, about: String, source: &str| Row {
            id: id.to_owned(),
            name: name.to_owned(),
            about,
            source: source.to_owned(),
            agency: self.is_of_agency(kind, id),
        };
        let k = self.keeping();
        let rows = match kind {
            Kind::Medium => self
                .media()
                .iter()
                .map(|x| row(&x.id, &x.name, x.description.clone(), &x.source))
                .collect(),
            Kind::Method => self
                .methods()
                .iter()
                .map(|x| {
                    let mut about = format!("Tone: {} ({}).", word(x.tone), x.tone_source);
                    if let Some(note) = &x.note {
                        about = format!("{about} {note}");
                    }
                    row(&x.id, &x.name, about, &x.source)
                })
                .collect(),
            Kind::Substrate => self
                .substrates()
                .iter()
                .map(|x| row(&x.id, &x.name, word(x.class), &x.source))
                .collect(),
            Kind::Matrix => self
                .matrices()
                .iter()
                .map(|x| {
                    let about = if x.biological { "of the body" } else { "" };
                    row(&x.id, &x.name, about.to_owned(), &x.source)
                })
                .collect(),
            Kind::Container => k
                .containers
                .iter()
                .map(|x| {
                    let about = format!("{} It is: {}.", x.description, words(&x.properties));
                    row(&x.id, &x.name, about, &x.source)
                })
                .collect(),
            Kind::Climate => k
                .climates
                .iter()
                .map(|x| row(&x.id, &x.name, x.description.clone(), &x.source))
                .collect(),
            Kind::Packing => k
                .packing
                .iter()
                .map(|x| {
                    let mut holds = [
                        words(&x.forms),
                        x.media.join(", "),
                        words(&x.surfaces),
                        words(&x.when),
                    ];
                    holds.iter_mut().for_each(|h| *h = h.trim().to_owned());
                    let holds: Vec<String> = holds.into_iter().filter(|h| !h.is_empty()).collect();
                    row(&x.id, &x.sentence, holds_for(&holds), &x.source)
                })
                .collect(),
            Kind::Place => k
                .places
                .iter()
                .map(|x| {
                    let holds = [
                        words(&x.forms),
                        x.media.join(", "),
                        x.containers.join(", "),
                        words(&x.when),
                    ];
                    let holds: Vec<String> = holds.into_iter().filter(|h| !h.is_empty()).collect();
                    row(&x.id, &x.sentence, holds_for(&holds), &x.source)
                })
                .collect(),
            Kind::Sheet => self
                .sheets()
                .iter()
                .map(|x| {
                    let rows = format!("{} rows. {}", x.rows.len(), x.note);
                    row(&x.id, &x.medium, rows.trim_end().to_owned(), &x.source)
                })
                .collect(),
            Kind::Caution => k
                .cautions
                .iter()
                .map(|x| row(&x.id, &x.text, x.defers_to.clone(), &x.source))
                .collect(),
            Kind::Advice => self
                .advice()
                .rules
                .iter()
                .map(|x| {
                    let about = match x.effect {
                        Effect::Note => "A note.".to_owned(),
                        effect => {
                            let of = [x.media.join(", "), words(&x.forms)];
                            let of: Vec<String> =
                                of.into_iter().filter(|o| !o.is_empty()).collect();
                            format!("{}: {}.", word(effect), of.join("; "))
                        }
                    };
                    row(&x.id, &x.sentence, about, &x.source)
                })
                .collect(),
            Kind::Checklist => self
                .advice()
                .checklists
                .iter()
                .map(|x| {
                    let name = self.medium(&x.id).map_or(x.id.as_str(), |m| &m.name);
                    let at = x.at.iter().map(|(caution, steps)| {
                        let steps: Vec<String> = steps.iter().map(usize::to_string).collect();
                        format!("{caution} at step {}", steps.join(" and "))
                    });
                    let about = at.collect::<Vec<_>>().join("; ");
                    row(&x.id, name, about, &x.source)
                })
                .collect(),
        };
        Shelf { kind, rows }
    }

    /// All entries in force, by kind.
    #[must_use]
    pub fn shelves(&self) -> Vec<Shelf> {
        Kind::ALL.iter().map(|kind| self.shelf(*kind)).collect()
    }
}

fn holds_for(selectors: &[String]) -> String {
    if selectors.is_empty() {
        "Holds for everything that can be packed.".into()
    } else {
        format!("Holds for: {}.", selectors.join("; "))
    }
}
