//! Entries as read from the files, each with the place where it stands, before anything is checked across them.

use std::ops::Range;

use serde::de::DeserializeOwned;
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

use super::error::{TradeError, TradeErrors};
use super::kind::{Draft, Kind};
use super::source::{MAX_FILE, SourceFile};

/// The most entries of one kind in one file.
const MAX_ENTRIES: usize = 1000;
/// The longest text of an identifier.
const MAX_ID: usize = 60;

/// What every entry has.
pub(super) trait Entry {
    /// Its kind.
    const KIND: Kind;
    /// Its identifier.
    fn id(&self) -> &str;
    /// Where it comes from.
    fn source(&self) -> &str;
}

/// An entry and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Placed<'a, T> {
    pub value: T,
    pub file: SourceFile<'a>,
    pub span: Range<usize>,
    /// Whether the agency's own file holds it.
    pub agency: bool,
}

impl<T: Entry> Placed<'_, T> {
    pub fn error(&self, problem: &str) -> TradeError {
        self.error_at(self.span.start, problem)
    }

    pub fn error_at(&self, offset: usize, problem: &str) -> TradeError {
        TradeError {
            file: self.file.name.to_owned(),
            line: self.file.line_of(offset),
            problem: format!("\"{}\": {problem}", self.value.id()),
        }
    }

    /// As [`Placed::error`], on the line of the entry that holds this text.
    pub fn error_near(&self, text: &str, problem: &str) -> TradeError {
        let rest = self.file.text.get(self.span.start..).unwrap_or_default();
        self.error_at(self.span.start + rest.find(text).unwrap_or(0), problem)
    }
}

/// An entry that is switched off, and the source that says why.
#[derive(Clone, Debug)]
pub(super) struct Off<'a, T> {
    pub entry: Placed<'a, T>,
    pub why: String,
}

/// The entries of one kind.
#[derive(Clone, Debug)]
pub(super) struct Entries<'a, T> {
    /// Those in force.
    pub list: Vec<Placed<'a, T>>,
    /// Those that the agency's file disables. Each stands where it is switched off.
    pub disabled: Vec<Off<'a, T>>,
    /// Identifiers of entries that cannot be read, so that what names them is not an error of its own.
    pub broken: Vec<String>,
}

impl<T> Default for Entries<'_, T> {
    fn default() -> Self {
        Self {
            list: Vec::new(),
            disabled: Vec::new(),
            broken: Vec::new(),
        }
    }
}

impl<T: Entry> Entries<'_, T> {
    /// Where the entry stands in the list.
    pub fn at(&self, id: &str) -> Option<usize> {
        self.list.iter().position(|p| p.value.id() == id)
    }

    pub fn is_disabled(&self, id: &str) -> bool {
        self.disabled.iter().any(|o| o.entry.value.id() == id)
    }

    /// Whether there is such an entry, in force, disabled or unreadable.
    pub fn knows(&self, id: &str) -> bool {
        self.at(id).is_some() || self.is_disabled(id) || self.broken.iter().any(|b| b == id)
    }
}

/// The tables of a file by their names; nothing of a file that is too large.
pub(super) fn tables<'a>(
    file: SourceFile<'a>,
    errors: &mut TradeErrors,
) -> Vec<(Spanned<String>, Spanned<DeValue<'a>>)> {
    if file.text.len() > MAX_FILE {
        errors.add(TradeError {
            file: file.name.to_owned(),
            line: 1,
            problem: format!("the file is larger than {MAX_FILE} bytes"),
        });
        return Vec::new();
    }
    let (table, wrong) = DeTable::parse_recoverable(file.text);
    for e in &wrong {
        errors.add(read_error(file, 0, e));
    }
    named(table.into_inner())
}

/// A table's values, each with its name.
pub(super) fn named<'a>(table: DeTable<'a>) -> Vec<(Spanned<String>, Spanned<DeValue<'a>>)> {
    let mut out: Vec<_> = table
        .into_iter()
        .map(|(key, value)| {
            let span = key.span();
            (Spanned::new(span, key.into_inner().into_owned()), value)
        })
        .collect();
    out.sort_by_key(|(key, _)| key.span().start);
    out
}

pub(super) fn read_error(file: SourceFile<'_>, fallback: usize, e: &toml::de::Error) -> TradeError {
    TradeError {
        file: file.name.to_owned(),
        line: file.line_of(e.span().map_or(fallback, |span| span.start)),
        problem: e.message().to_owned(),
    }
}

pub(super) fn file_error(file: SourceFile<'_>, offset: usize, problem: String) -> TradeError {
    TradeError {
        file: file.name.to_owned(),
        line: file.line_of(offset),
        problem,
    }
}

/// Reads one value where it stands.
pub(super) fn read<T: DeserializeOwned>(
    file: SourceFile<'_>,
    value: Spanned<DeValue<'_>>,
    errors: &mut TradeErrors,
) -> Option<T> {
    let start = value.span().start;
    match T::deserialize(ValueDeserializer::from(value)) {
        Ok(read) => Some(read),
        Err(e) => {
            errors.add(read_error(file, start, &e));
            None
        }
    }
}

/// The entries of one kind in a file, and the identifiers of those that cannot be read.
pub(super) fn entries<'a, T: Entry + DeserializeOwned>(
    file: SourceFile<'a>,
    value: Spanned<DeValue<'_>>,
    agency: bool,
    errors: &mut TradeErrors,
) -> (Vec<Placed<'a, T>>, Vec<String>) {
    let (mut list, mut broken) = (Vec::<Placed<'a, T>>::new(), Vec::new());
    let start = value.span().start;
    let DeValue::Array(array) = value.into_inner() else {
        let word = T::KIND.word();
        errors.add(file_error(
            file,
            start,
            format!("entries of this kind stand each under [[{word}]]"),
        ));
        return (list, broken);
    };
    if array.len() > MAX_ENTRIES {
        errors.add(file_error(
            file,
            start,
            format!("there are more than {MAX_ENTRIES} entries"),
        ));
        return (list, broken);
    }
    for value in array {
        let span = value.span();
        let id = value
            .get_ref()
            .get("id")
            .and_then(|v| v.get_ref().as_str())
            .map(str::to_owned);
        let Some(entry) = read::<T>(file, value, errors) else {
            broken.extend(id);
            continue;
        };
        let placed = Placed {
            value: entry,
            file,
            span,
            agency,
        };
        let id = placed.value.id();
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-';
        if id.is_empty() || id.len() > MAX_ID || !id.chars().all(plain) {
            errors.add(placed.error("an identifier is letters, digits and hyphens"));
        }
        if placed.value.source().trim().is_empty() {
            errors.add(placed.error("the source is missing or blank"));
        }
        if list.iter().any(|e| e.value.id() == id) {
            errors.add(placed.error("the identifier is there twice"));
            continue;
        }
        list.push(placed);
    }
    (list, broken)
}

/// Reads the files that came with the program.
pub(super) fn built_in<'a>(files: &[SourceFile<'a>], errors: &mut TradeErrors) -> Draft<'a> {
    let mut draft = Draft::default();
    for file in files {
        for (key, value) in tables(*file, errors) {
            match Kind::of_word(key.get_ref()) {
                Some(kind) => draft.take(kind, *file, value, errors),
                None => errors.add(unknown_kind(*file, &key)),
            }
        }
    }
    draft
}

pub(super) fn unknown_kind(file: SourceFile<'_>, key: &Spanned<String>) -> TradeError {
    let words: Vec<&str> = Kind::ALL.iter().map(|k| k.word()).collect();
    file_error(
        file,
        key.span().start,
        format!(
            "there is no kind \"{}\"; the kinds are {}",
            key.get_ref(),
            words.join(", ")
        ),
    )
}
