//! The agency's retention schedule: `retention.toml` in its data folder. The program has none of its own.
//!
//! ```toml
//! version = "2026-1"
//! source = "Records schedule of the agency, section 4"
//!
//! [[class]]
//! id = "burglary"
//! name = "Burglary"
//! months = 72                      # or: for_good = true
//! counted_from = "the day on which the case was closed"
//! source = "section 4.2"
//! ```

use std::path::Path;

use serde::Deserialize;
use toml::Spanned;

use super::source::SourceFile;
use super::{MAX_FILE, TradeError};
use crate::custody::retention::{MAX_MONTHS, RetentionClass};

/// The schedule's file in a data folder.
pub const SCHEDULE: &str = "retention.toml";
/// How many classes a schedule may have.
const MAX_CLASSES: usize = 500;
/// The longest text in it, in characters.
const MAX_TEXT: usize = 300;

/// An agency's retention schedule; empty where it has given none.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Schedule {
    /// Its version, as the agency calls it; empty for none.
    pub version: String,
    /// Where it comes from.
    pub source: String,
    /// Classes of offence, in the order of the file.
    pub classes: Vec<RetentionClass>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: Spanned<String>,
    source: Spanned<String>,
    #[serde(default)]
    class: Vec<Spanned<Class>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Class {
    id: Spanned<String>,
    name: Spanned<String>,
    months: Option<Spanned<u32>>,
    #[serde(default)]
    for_good: bool,
    counted_from: Spanned<String>,
    source: Spanned<String>,
}

impl Schedule {
    /// The schedule of a data folder; an empty one where there is no file.
    ///
    /// # Errors
    /// The first thing wrong with the file, with its line, or that it cannot be read.
    pub fn of_folder(folder: &Path) -> Result<Self, TradeError> {
        let path = folder.join(SCHEDULE);
        if !path.exists() {
            return Ok(Self::default());
        }
        let name = path.display().to_string();
        let fail = |problem: String| TradeError {
            file: name.clone(),
            line: 1,
            problem,
        };
        let size = std::fs::metadata(&path)
            .map_err(|e| fail(format!("the file cannot be read: {e}")))?
            .len();
        if size > MAX_FILE as u64 {
            return Err(fail(format!("the file is larger than {MAX_FILE} bytes")));
        }
        let text = std::fs::read_to_string(&path)
            .map_err(|e| fail(format!("the file cannot be read: {e}")))?;
        Self::parse(&name, &text)
    }

    /// The schedule from a file's text.
    ///
    /// # Errors
    /// The first thing wrong with it, with its line.
    pub fn parse(name: &str, text: &str) -> Result<Self, TradeError> {
        let file = SourceFile { name, text };
        let at = |offset: usize, problem: String| TradeError {
            file: name.to_owned(),
            line: file.line_of(offset),
            problem,
        };
        let read: File = toml::from_str(text)
            .map_err(|e| at(e.span().map_or(0, |s| s.start), e.message().to_owned()))?;
        let said = |value: &Spanned<String>, what: &str| -> Result<String, TradeError> {
            let text = value.get_ref().trim();
            if text.is_empty() || text.chars().count() > MAX_TEXT {
                let problem = format!("{what} has 1 to {MAX_TEXT} characters");
                return Err(at(value.span().start, problem));
            }
            Ok(text.to_owned())
        };
        let version = said(&read.version, "the version")?;
        let source = said(&read.source, "the source")?;
        if let Some(one_more) = read.class.get(MAX_CLASSES) {
            let problem = format!("a schedule has at most {MAX_CLASSES} classes");
            return Err(at(one_more.span().start, problem));
        }
        let mut classes: Vec<RetentionClass> = Vec::with_capacity(read.class.len());
        for class in &read.class {
            let c = class.get_ref();
            let id = said(&c.id, "the id of a class")?;
            let word = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
            if id.len() > 60 || !id.bytes().all(word) {
                let problem = format!(
                    "the id {id:?} has other characters than a to z, 0 to 9, hyphen, or more than 60"
                );
                return Err(at(c.id.span().start, problem));
            }
            if classes.iter().any(|k| k.id == id) {
                return Err(at(
                    c.id.span().start,
                    format!("the class {id} is there twice"),
                ));
            }
            let months = match (&c.months, c.for_good) {
                (Some(n), false) if (1..=MAX_MONTHS).contains(n.get_ref()) => Some(*n.get_ref()),
                (Some(n), false) => {
                    let problem = format!("months is between 1 and {MAX_MONTHS}");
                    return Err(at(n.span().start, problem));
                }
                (None, true) => None,
                _ => {
                    let problem = format!("the class {id} has either months or for_good = true");
                    return Err(at(class.span().start, problem));
                }
            };
            classes.push(RetentionClass {
                id,
                name: said(&c.name, "the name of a class")?,
                months,
                counted_from: said(&c.counted_from, "counted_from")?,
                source: said(&c.source, "the source of a class")?,
                schedule: version.clone(),
            });
        }
        Ok(Self {
            version,
            source,
            classes,
        })
    }

    /// A class by its identifier.
    #[must_use]
    pub fn class(&self, id: &str) -> Option<&RetentionClass> {
        self.classes.iter().find(|c| c.id == id)
    }
}
