//! Which column of the file is which field of ours.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::Deserialize;

use super::file::{MOST_CELL, Row};
use super::{ImportError, Problem};
use crate::custody::import::{ImportRow, derived};
use crate::ids::ItemId;

/// How much of a cell a problem shows, in characters.
const SHOWN: usize = 60;

/// A field of ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Field {
    /// Case number.
    Case,
    /// Title of a case that is opened.
    CaseTitle,
    /// The thing's number.
    Item,
    /// What it is.
    Description,
    /// What kind of thing.
    Kind,
    /// Medium.
    Medium,
    /// Method.
    Method,
    /// The object that bore the mark.
    Object,
    /// Place, by name.
    Place,
    /// Somebody outside who has it.
    Holder,
    /// Container.
    Container,
    /// Seal number.
    Seal,
    /// When it was received.
    Received,
    /// Anything else.
    Note,
}

impl Field {
    /// By the name that the command's row gives it.
    fn of(field: &str) -> Option<Self> {
        Some(match field {
            "case" => Self::Case,
            "case_title" => Self::CaseTitle,
            "former" | "item" => Self::Item,
            "description" => Self::Description,
            "form" => Self::Kind,
            "medium" => Self::Medium,
            "method" => Self::Method,
            "object" => Self::Object,
            "place" => Self::Place,
            "holder" => Self::Holder,
            "container" => Self::Container,
            "seal" => Self::Seal,
            "received_on" => Self::Received,
            "note" => Self::Note,
            _ => return None,
        })
    }
}

/// Why a mapping cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MappingError {
    /// Not TOML, or a word that it does not have.
    #[error("{0}")]
    Toml(String),
    /// A field that every row needs has neither a column nor a value.
    #[error(
        "no column and no constant for {0}; under [columns] say, for example, {0} = \"Heading\""
    )]
    Missing(&'static str),
    /// A field has both.
    #[error("{0:?} has a column and a constant; leave one out")]
    Both(Field),
    /// The separator is no single character of ASCII.
    #[error("the separator is one character: a comma, a semicolon, a tab")]
    Separator,
}

/// A mapping, as it is read from TOML.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mapping {
    /// Field and heading of its column.
    pub columns: BTreeMap<Field, String>,
    /// Field and the value that it has in every row.
    #[serde(default)]
    pub constant: BTreeMap<Field, String>,
    /// For a field: what stands in the file, and what it is in the ledger.
    #[serde(default)]
    pub values: BTreeMap<Field, BTreeMap<String, String>>,
    /// How days are written, as chrono's `format` describes it.
    #[serde(default = "iso")]
    pub date: String,
    /// What stands between two cells.
    #[serde(default = "comma")]
    pub separator: String,
}

fn iso() -> String {
    "%Y-%m-%d".into()
}

fn comma() -> String {
    ",".into()
}

impl Mapping {
    /// Reads a mapping.
    ///
    /// # Errors
    /// [`MappingError`] says what is wrong with it.
    pub fn parse(text: &str) -> Result<Self, MappingError> {
        let mapping: Self = toml::from_str(text).map_err(|e| MappingError::Toml(e.to_string()))?;
        for (field, name) in [
            (Field::Case, "case"),
            (Field::Item, "item"),
            (Field::Description, "description"),
        ] {
            if !mapping.columns.contains_key(&field) && !mapping.constant.contains_key(&field) {
                return Err(MappingError::Missing(name));
            }
        }
        let both = mapping.columns.keys();
        if let Some(field) = both.into_iter().find(|f| mapping.constant.contains_key(f)) {
            return Err(MappingError::Both(*field));
        }
        mapping.separator()?;
        Ok(mapping)
    }

    /// The separator as a byte.
    ///
    /// # Errors
    /// [`MappingError::Separator`].
    pub fn separator(&self) -> Result<u8, MappingError> {
        match self.separator.as_bytes() {
            [one] if one.is_ascii() && !matches!(one, b'"' | b'\n' | b'\r' | 0) => Ok(*one),
            _ => Err(MappingError::Separator),
        }
    }

    /// Where the columns stand in a file of this heading.
    pub(super) fn places(&self, heading: &[String]) -> Result<BTreeMap<Field, usize>, ImportError> {
        let mut out = BTreeMap::new();
        for (field, name) in &self.columns {
            let mut at = heading.iter().enumerate().filter(|(_, h)| *h == name);
            match (at.next(), at.next()) {
                (Some((i, _)), None) => out.insert(*field, i),
                (Some(_), Some(_)) => return Err(ImportError::TwoColumns(name.clone())),
                (None, _) => {
                    return Err(ImportError::NoColumn(name.clone(), heading.join(", ")));
                }
            };
        }
        Ok(out)
    }
}

/// A row with what the mapping made of it.
pub(super) struct Mapped {
    pub(super) row: ImportRow,
    pub(super) line: u64,
    /// What stands in the file, for what is said of it.
    shown: BTreeMap<Field, String>,
    pub(super) problems: Vec<Problem>,
}

/// Makes rows by a mapping.
pub(super) struct Mapper<'a> {
    pub(super) mapping: &'a Mapping,
    pub(super) places: BTreeMap<Field, usize>,
    pub(super) columns: usize,
    /// The ledger's name.
    pub(super) origin: &'a str,
}

impl Mapper<'_> {
    pub(super) fn row(&self, row: &Row<'_>) -> Mapped {
        let mut problems = Vec::new();
        let mut shown = BTreeMap::new();
        let mut say = |field: Option<Field>, value: &str, sentence: &str, next: &str| {
            problems.push(Problem {
                row: row.row,
                line: row.line,
                column: field.and_then(|f| self.mapping.columns.get(&f)).cloned(),
                value: shorter(value),
                sentence: sentence.into(),
                next: next.into(),
            });
        };
        if row.cells.len() != self.columns {
            let sentence = format!(
                "The row has {} cells, the heading {}.",
                row.cells.len(),
                self.columns
            );
            let next =
                "Put texts with separators in them in quotation marks, or add what is missing.";
            say(None, "", &sentence, next);
        }
        let mut values: BTreeMap<Field, String> = self.mapping.constant.clone();
        for (field, at) in &self.places {
            let cell = row.cells.get(*at).unwrap_or_default();
            if cell.len() > MOST_CELL {
                let sentence = format!("The cell has {} bytes.", cell.len());
                let begin = String::from_utf8_lossy(&cell[..SHOWN]).into_owned();
                say(Some(*field), &begin, &sentence, "Shorten it.");
                continue;
            }
            let Ok(text) = std::str::from_utf8(cell) else {
                let lossy = String::from_utf8_lossy(cell).into_owned();
                let next = "Save the file as UTF-8.";
                say(Some(*field), &lossy, "The cell is not UTF-8.", next);
                continue;
            };
            let text = text.trim();
            shown.insert(*field, shorter(text));
            let words = self.mapping.values.get(field);
            let meant = words.and_then(|w| w.get(text)).map_or(text, String::as_str);
            values.insert(*field, meant.to_owned());
        }
        let received_on = match values.get(&Field::Received).map(String::as_str) {
            None | Some("") => None,
            Some(text) => match NaiveDate::parse_from_str(text, &self.mapping.date) {
                Ok(day) => Some(day),
                Err(_) => {
                    let next = format!(
                        "Write it as {}, or say under `date` how days are written.",
                        self.mapping.date
                    );
                    say(Some(Field::Received), text, "This is no day.", &next);
                    None
                }
            },
        };
        let mut take = |field: Field| values.remove(&field).unwrap_or_default();
        let (case, former) = (take(Field::Case), take(Field::Item));
        let item = derived(&format!("item\n{}\n{case}\n{former}", self.origin));
        Mapped {
            row: ImportRow {
                row: row.row,
                item: ItemId(item),
                case,
                case_title: take(Field::CaseTitle),
                former,
                description: take(Field::Description),
                form: take(Field::Kind),
                medium: take(Field::Medium),
                method: take(Field::Method),
                object: take(Field::Object),
                place: take(Field::Place),
                holder: take(Field::Holder),
                container: take(Field::Container),
                seal: take(Field::Seal),
                received_on,
                note: take(Field::Note),
            },
            line: row.line,
            shown,
            problems,
        }
    }

    /// Adds what a rule of custody says of the row. Where a cell could not be read, nothing more is said of it.
    pub(super) fn add(&self, mapped: &mut Mapped, field: Option<&str>, sentence: &str, next: &str) {
        let field = field.and_then(Field::of);
        let column = field.and_then(|f| self.mapping.columns.get(&f)).cloned();
        let said: BTreeSet<&String> = mapped
            .problems
            .iter()
            .filter_map(|p| p.column.as_ref())
            .collect();
        if column.as_ref().is_some_and(|c| said.contains(c))
            && field.is_some_and(|f| !mapped.shown.contains_key(&f))
        {
            return;
        }
        let shown = field.and_then(|f| mapped.shown.get(&f)).cloned();
        let constant = || field.and_then(|f| self.mapping.constant.get(&f)).cloned();
        mapped.problems.push(Problem {
            row: mapped.row.row,
            line: mapped.line,
            column,
            value: shown.or_else(constant).unwrap_or_default(),
            sentence: sentence.into(),
            next: next.into(),
        });
    }
}

fn shorter(text: &str) -> String {
    let mut out: String = text.chars().take(SHOWN).collect();
    if text.chars().nth(SHOWN).is_some() {
        out.push('…');
    }
    out
}
