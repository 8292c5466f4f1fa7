//! The agency's own file, laid over the entries that came with the program.
//!
//! ```toml
//! format = 1
//! agency = "who stands behind this file"
//!
//! [[add.caution]]        # an identifier that is not there yet
//! [[replace.medium]]     # one that is there: the whole entry, anew
//! [[disable.container]]  # one that is there: id, and a source that says why
//! ```
//!
//! Every entry is held to the same checks as the program's own, its source included. Codes of the open standard may be
//! replaced or disabled, but not added.

use serde::Deserialize;
use serde::de::DeserializeOwned;
use toml::Spanned;
use toml::de::DeValue;

use super::draft::{self, Entries, Entry, Off, Placed, entries, file_error, named, tables};
use super::error::TradeErrors;
use super::kind::{Draft, Kind};
use super::source::SourceFile;

/// The shape of the file that is understood.
const FORMAT: u32 = 1;
/// The longest name of the agency, characters.
const MAX_AGENCY: usize = 200;

/// What the agency's file does with an entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Laid {
    Add,
    Replace,
    Disable,
}

impl Laid {
    fn of_word(word: &str) -> Option<Self> {
        match word {
            "add" => Some(Self::Add),
            "replace" => Some(Self::Replace),
            "disable" => Some(Self::Disable),
            _ => None,
        }
    }
}

/// What is said of an entry that is switched off.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Disable {
    id: String,
    source: String,
}

/// Lays the file over the entries; the answer is who stands behind it.
pub(super) fn over<'a>(
    draft: &mut Draft<'a>,
    file: SourceFile<'a>,
    errors: &mut TradeErrors,
) -> String {
    let (mut agency, mut format) = (None, None);
    let before = errors.0.len();
    let mut parts = tables(file, errors);
    // A file that cannot be read has said so already.
    let readable = errors.0.len() == before;
    // What is disabled and replaced must be there before the file; what is added comes last.
    parts.sort_by_key(|(key, _)| Laid::of_word(key.get_ref()) == Some(Laid::Add));
    for (key, value) in parts {
        let at = value.span().start;
        match key.get_ref().as_str() {
            "format" => {
                format = draft::read::<u32>(file, value, errors);
                if format.is_some_and(|f| f != FORMAT) {
                    let known = format!("only format = {FORMAT} is understood");
                    errors.add(file_error(file, at, known));
                }
            }
            "agency" => {
                agency = draft::read::<String>(file, value, errors);
                if agency
                    .as_ref()
                    .is_some_and(|a| a.trim().is_empty() || a.chars().count() > MAX_AGENCY)
                {
                    let long = format!(
                        "agency says who stands behind this file, in at most {MAX_AGENCY} characters"
                    );
                    errors.add(file_error(file, at, long));
                }
            }
            word => match (Laid::of_word(word), value.into_inner()) {
                (Some(laid), DeValue::Table(kinds)) => {
                    for (key, value) in named(kinds) {
                        match Kind::of_word(key.get_ref()) {
                            Some(kind) => draft.lay(kind, laid, file, value, errors),
                            None => errors.add(draft::unknown_kind(file, &key)),
                        }
                    }
                }
                (Some(_), _) => errors.add(file_error(
                    file,
                    at,
                    format!("entries stand under [[{word}.KIND]], such as [[{word}.medium]]"),
                )),
                (None, _) => errors.add(file_error(
                    file,
                    key.span().start,
                    format!(
                        "there is no \"{word}\" in an agency's file: it has format, agency, and entries under add, replace and disable"
                    ),
                )),
            },
        }
    }
    if readable {
        if format.is_none() {
            errors.add(file_error(
                file,
                0,
                format!("the file does not say format = {FORMAT}"),
            ));
        }
        if agency.is_none() {
            errors.add(file_error(
                file,
                0,
                "the file does not say who stands behind it: agency = \"…\"".into(),
            ));
        }
    }
    agency.unwrap_or_default()
}

/// Lays entries of one kind over those that are there.
pub(super) fn lay<'a, T: Entry + DeserializeOwned>(
    there: &mut Entries<'a, T>,
    laid: Laid,
    file: SourceFile<'a>,
    value: Spanned<DeValue<'_>>,
    errors: &mut TradeErrors,
) {
    if laid == Laid::Disable {
        disable(there, file, value, errors);
        return;
    }
    let (list, broken) = entries::<T>(file, value, true, errors);
    there.broken.extend(broken);
    for entry in list {
        let id = entry.value.id();
        let twice = there.list.iter().any(|p| p.agency && p.value.id() == id);
        match (there.at(id), laid) {
            _ if twice || there.is_disabled(id) => {
                errors.add(entry.error("the file changes this entry more than once"));
            }
            (None, Laid::Add) => match T::KIND.standard() {
                Some(list) => errors.add(entry.error(&format!(
                    "it is no code of {list}, and codes of the open standard cannot be invented: use one of the list, whose other and unknown codes stand for what it does not name"
                ))),
                None => there.list.push(entry),
            },
            (Some(_), Laid::Add) => errors.add(entry.error(&format!(
                "there is one already: put it under [[replace.{}]], or give it another identifier",
                T::KIND.word()
            ))),
            (Some(at), _) => {
                if let Some(slot) = there.list.get_mut(at) {
                    *slot = entry;
                }
            }
            (None, _) => errors.add(entry.error(&format!(
                "there is none to replace: put it under [[add.{}]]",
                T::KIND.word()
            ))),
        }
    }
}

fn disable<'a, T: Entry>(
    there: &mut Entries<'a, T>,
    file: SourceFile<'a>,
    value: Spanned<DeValue<'_>>,
    errors: &mut TradeErrors,
) {
    let start = value.span().start;
    let DeValue::Array(array) = value.into_inner() else {
        let word = T::KIND.word();
        errors.add(file_error(
            file,
            start,
            format!("what is disabled stands under [[disable.{word}]]"),
        ));
        return;
    };
    for value in array {
        let span = value.span();
        let Some(off) = draft::read::<Disable>(file, value, errors) else {
            continue;
        };
        let mut wrong = |problem: String| {
            let said = format!("\"{}\": {problem}", off.id);
            errors.add(file_error(file, span.start, said));
        };
        if off.source.trim().is_empty() {
            wrong("the source is missing or blank".into());
        }
        match there.at(&off.id) {
            Some(at) if there.list.get(at).is_some_and(|p| !p.agency) => {
                let gone = there.list.remove(at);
                // It stands where it is switched off, so that what follows from that is told of this line.
                let entry = Placed {
                    value: gone.value,
                    file,
                    span,
                    agency: true,
                };
                there.disabled.push(Off {
                    entry,
                    why: off.source,
                });
            }
            None if !there.is_disabled(&off.id) => wrong(format!(
                "there is no {} of this identifier to disable",
                T::KIND.word()
            )),
            _ => wrong("the file changes this entry more than once".into()),
        }
    }
}
