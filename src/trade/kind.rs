//! The kinds of entries, each named once here: what is read from a file, laid over, checked and shown goes by this list.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use toml::Spanned;
use toml::de::DeValue;

use super::draft::{Entries, Entry, entries};
use super::error::TradeErrors;
use super::overlay::{Laid, lay};
use super::source::SourceFile;
use crate::keeping::{Climate, Container, PackingRule, PlaceRule};
use crate::lifting::advise::{AdviceRule, Checklist};
use crate::lifting::{Caution, Matrix, Medium, Method, Sheet, Substrate};

macro_rules! kinds {
    ($($kind:ident $field:ident $type:ty, $word:literal, $many:literal;)*) => {
        /// A kind of entry.
        #[derive(
            Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
        )]
        #[serde(rename_all = "kebab-case")]
        pub enum Kind {
            $(#[doc = $many] $kind,)*
        }

        impl Kind {
            /// Every kind there is, in the order in which they are shown.
            pub const ALL: &[Self] = &[$(Self::$kind),*];

            /// The word for it in data files and addresses: `[[medium]]`.
            #[must_use]
            pub fn word(self) -> &'static str {
                match self { $(Self::$kind => $word,)* }
            }

            /// What several of them are called.
            #[must_use]
            pub fn many(self) -> &'static str {
                match self { $(Self::$kind => $many,)* }
            }
        }

        /// All entries, as read.
        #[derive(Clone, Debug, Default)]
        pub(super) struct Draft<'a> {
            $(pub $field: Entries<'a, $type>,)*
        }

        impl<'a> Draft<'a> {
            /// Takes in the entries of a kind from a file that came with the program.
            pub fn take(
                &mut self,
                kind: Kind,
                file: SourceFile<'a>,
                value: Spanned<DeValue<'_>>,
                errors: &mut TradeErrors,
            ) {
                match kind {
                    $(Kind::$kind => {
                        let (list, broken) = entries::<$type>(file, value, false, errors);
                        for entry in list {
                            if self.$field.at(entry.value.id()).is_some() {
                                errors.add(entry.error("the identifier is there twice"));
                            } else {
                                self.$field.list.push(entry);
                            }
                        }
                        self.$field.broken.extend(broken);
                    })*
                }
            }

            /// Lays entries of a kind from the agency's file over what is there.
            pub fn lay(
                &mut self,
                kind: Kind,
                laid: Laid,
                file: SourceFile<'a>,
                value: Spanned<DeValue<'_>>,
                errors: &mut TradeErrors,
            ) {
                match kind {
                    $(Kind::$kind => lay(&mut self.$field, laid, file, value, errors),)*
                }
            }

            /// Whether some entry could not be read.
            pub fn has_broken(&self) -> bool {
                false $(|| !self.$field.broken.is_empty())*
            }

            /// What the agency's file switches off: kind, identifier, and the source that says why.
            pub fn off(&self) -> Vec<(Kind, String, String)> {
                let mut out = Vec::new();
                $(for o in &self.$field.disabled {
                    out.push((Kind::$kind, o.entry.value.id().to_owned(), o.why.clone()));
                })*
                out
            }

            /// Identifiers of entries of the agency's own file that are in force.
            pub fn of_agency(&self) -> std::collections::BTreeSet<(Kind, String)> {
                let mut out = std::collections::BTreeSet::new();
                $(for p in self.$field.list.iter().filter(|p| p.agency) {
                    out.insert((Kind::$kind, p.value.id().to_owned()));
                })*
                out
            }
        }

        $(impl Entry for $type {
            const KIND: Kind = Kind::$kind;
            fn id(&self) -> &str {
                &self.id
            }
            fn source(&self) -> &str {
                &self.source
            }
        })*
    };
}

kinds! {
    Medium media Medium, "medium", "recovery media";
    Method methods Method, "method", "development methods";
    Substrate substrates Substrate, "substrate", "substrates";
    Matrix matrices Matrix, "matrix", "matrices";
    Container containers Container, "container", "containers";
    Climate climates Climate, "climate", "climate classes";
    Packing packing PackingRule, "packing", "packing rules";
    Place places PlaceRule, "place", "place rules";
    Sheet sheets Sheet, "sheet", "makers' sheets of set times";
    Caution cautions Caution, "caution", "cautions";
    Advice advice AdviceRule, "advice", "rules of advice";
    Checklist checklists Checklist, "checklist", "checklists";
}

impl Kind {
    /// The kind of this word.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|k| k.word() == word)
    }

    /// The list of the open standard that identifiers of this kind are the codes of, if they are codes.
    #[must_use]
    pub fn standard(self) -> Option<&'static str> {
        match self {
            Self::Method => Some("ANSI/NIST-ITL field 9.352"),
            Self::Substrate => Some("ANSI/NIST-ITL field 9.355"),
            Self::Matrix => Some("ANSI/NIST-ITL field 9.356"),
            _ => None,
        }
    }
}

/// A word that names no kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("there is no such kind of rule")]
pub struct NotAKind;

impl std::str::FromStr for Kind {
    type Err = NotAKind;

    fn from_str(word: &str) -> Result<Self, NotAKind> {
        Self::of_word(word).ok_or(NotAKind)
    }
}
