//! Finding: what was typed or scanned, and what it can be. Nothing of a case that the viewer may not see is found, and
//! what belongs to a restricted case only by its number, code or seal, as it is written.
//!
//! First what can only be meant ([`find`] ends there): a whole code, case number, number within a case, seal number. Then
//! the beginnings of codes and of words (`find_words`). Whatever is asked, the work is bounded by how much is
//! shown, not by how much there is.

use schemars::JsonSchema;
use serde::Serialize;

use super::case_row::{CaseRow, RESTRICTED};
use super::{find_words, words};
use crate::app::reader::{Part, ReadError, Reader, Thing};
use crate::custody::package::seal_number;
use crate::custody::state::{Case, Mark, Person, Place};
use crate::ids::{Code, PersonId, Subject};
use crate::people::Action;

/// How many hits at the most.
pub const MOST_HITS: usize = 50;
/// How many hits at the most while somebody types.
pub const MOST_TYPED: usize = 8;
/// From how many characters on the beginning of a code is looked for.
const LEAST_CODE: usize = 3;
/// The longest question, in characters; what is longer is cut.
const MOST_TEXT: usize = 200;

/// Something found.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Hit {
    /// What.
    pub subject: Subject,
    /// `Item 3`, `Case HC-26-0117`.
    pub name: String,
    /// What it is, in a few words.
    pub words: String,
    /// Why it was found: `label code`, `seal 004217`.
    pub why: String,
}

/// What was found.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Found {
    /// The surest first.
    pub hits: Vec<Hit>,
    /// Whether there is or may be more.
    pub more: bool,
}

impl Found {
    /// Adds what is not there yet, up to `most`.
    fn add(&mut self, hits: impl IntoIterator<Item = Hit>, most: usize) {
        for hit in hits {
            if self.hits.iter().any(|h| h.subject == hit.subject) {
                continue;
            }
            if self.hits.len() >= most {
                self.more = true;
                return;
            }
            self.hits.push(hit);
        }
    }
}

/// What there is under something that was typed or scanned, at most `most` of it.
///
/// # Errors
/// See [`ReadError`].
pub async fn find(reader: &Reader<'_>, q: &str, most: usize) -> Result<Found, ReadError> {
    reader.must(Action::ReadEvidence)?;
    let q: String = q.trim().chars().take(MOST_TEXT).collect();
    let mut found = Found::default();
    if q.is_empty() {
        return Ok(found);
    }
    found.add(sure(reader, &q).await?, most);
    if !found.hits.is_empty() {
        return Ok(found);
    }
    found.add(by_code(reader, &q, most).await?, most);
    let in_words = find_words::find(reader, &q, most).await?;
    found.more |= in_words.more;
    found.add(in_words.hits, most);
    Ok(found)
}

/// A person, and what they have in hand, at most [`MOST_HITS`] of it.
///
/// # Errors
/// See [`ReadError`].
pub async fn held(reader: &Reader<'_>, person: PersonId) -> Result<(Person, Found), ReadError> {
    reader.must(Action::ReadEvidence)?;
    let person = reader.person(person).await?;
    let part = Part::first(u32::try_from(MOST_HITS).unwrap_or_default());
    let page = reader.held_by(person.id, &part).await?;
    let mut found = Found {
        hits: Vec::new(),
        more: page.next.is_some(),
    };
    let cases = reader.cases_of(page.rows.iter().map(Thing::case)).await?;
    for thing in page.rows {
        if let Some(case) = cases.get(&thing.case()) {
            found.hits.push(thing_hit(&thing, case, "in hand"));
        }
    }
    Ok((person, found))
}

/// What can only be meant.
async fn sure(reader: &Reader<'_>, q: &str) -> Result<Vec<Hit>, ReadError> {
    let mut hits = Vec::new();
    if let Ok(code) = q.parse::<Code>()
        && let Some(subject) = seen(reader.subject_of_code(&code).await)?
    {
        hits.extend(hit(reader, subject, "label code").await?);
    }
    if let Some(case) = seen(reader.case_by_number(q).await)? {
        hits.push(case_hit(&case, "case number"));
    }
    hits.extend(numbered(reader, q).await?);
    let number = seal_number(q);
    if let Some(row) = reader.house().store.seal(&number).await?
        && let Ok(subject) = row.package.parse::<Subject>()
    {
        hits.extend(hit(reader, subject, &format!("seal {number}")).await?);
    }
    Ok(hits)
}

/// What bears a code that begins so. A code has a figure among its first characters more often than not, a word has none.
async fn by_code(reader: &Reader<'_>, q: &str, most: usize) -> Result<Vec<Hit>, ReadError> {
    let begin: String = q.chars().filter(|c| !matches!(c, ' ' | '-')).collect();
    let begin = begin.to_uppercase();
    let fits = (LEAST_CODE..12).contains(&begin.len())
        && begin.starts_with(['I', 'P', 'S'])
        && begin.bytes().all(|b| b.is_ascii_alphanumeric())
        && begin.bytes().any(|b| b.is_ascii_digit());
    let mut hits = Vec::new();
    if fits {
        let limit = u32::try_from(most + 1).unwrap_or(u32::MAX);
        let store = &reader.house().store;
        for row in store.docs_by_code_from(&begin, limit).await? {
            if let Ok(subject) = row.subject.parse() {
                hits.extend(hit(reader, subject, "label code begins so").await?);
            }
        }
    }
    Ok(hits)
}

/// What may not be seen is not there.
fn seen<T>(answer: Result<T, ReadError>) -> Result<Option<T>, ReadError> {
    match answer {
        Ok(x) => Ok(Some(x)),
        Err(ReadError::NotFound(_) | ReadError::Restricted) => Ok(None),
        Err(e) => Err(e),
    }
}

/// What a thing is, and its case; of a restricted case only its number, since nobody has opened it yet.
fn of_case(case: &Case, what: impl FnOnce() -> String) -> String {
    let what = if case.restricted {
        RESTRICTED.to_owned()
    } else {
        what()
    };
    format!("{what}; case {}", case.number)
}

pub(super) fn case_hit(case: &Case, why: &str) -> Hit {
    Hit {
        subject: Subject::Case(case.id),
        name: format!("Case {}", case.number),
        words: CaseRow::from(case).words().to_owned(),
        why: why.into(),
    }
}

pub(super) fn mark_hit(mark: &Mark, case: &Case, why: &str) -> Hit {
    Hit {
        subject: Subject::Mark(mark.id),
        name: format!("Mark M{}", mark.number),
        words: of_case(case, || {
            format!("{}, {}", mark.noted.object, mark.noted.exact_place)
        }),
        why: why.into(),
    }
}

pub(super) fn thing_hit(thing: &Thing, case: &Case, why: &str) -> Hit {
    let what = || match thing {
        Thing::Item(i) => i.recovered.description.clone(),
        Thing::Package(p) => words::counted(p.contents.len(), "piece"),
    };
    Hit {
        subject: thing.piece().into(),
        name: words::capital(&thing.name()),
        words: of_case(case, what),
        why: why.into(),
    }
}

pub(super) fn place_hit(place: &Place, why: &str) -> Hit {
    Hit {
        subject: Subject::Place(place.id),
        name: words::capital(&words::place(&place.added.name)),
        words: words::place_kind(place.added.place_kind).into(),
        why: why.into(),
    }
}

pub(super) fn person_hit(person: &Person, why: &str) -> Hit {
    let off = if person.active { "" } else { ", account off" };
    Hit {
        subject: Subject::Person(person.id),
        name: person.name.clone(),
        words: format!("staff number {}{off}", person.number),
        why: why.into(),
    }
}

async fn hit(reader: &Reader<'_>, subject: Subject, why: &str) -> Result<Option<Hit>, ReadError> {
    let thing = match subject {
        Subject::Item(id) => seen(reader.item(id).await)?.map(|i| Thing::Item(Box::new(i))),
        Subject::Package(id) => {
            seen(reader.package(id).await)?.map(|p| Thing::Package(Box::new(p)))
        }
        Subject::Place(id) => {
            return Ok(seen(reader.place(id).await)?.map(|p| place_hit(&p, why)));
        }
        _ => None,
    };
    let Some(thing) = thing else { return Ok(None) };
    let case = reader.case(thing.case()).await?;
    Ok(Some(thing_hit(&thing, &case, why)))
}

/// What kind of thing a number within a case names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Item,
    Package,
    Mark,
}

/// `3`, `item 3`, `P2`, `package P2`, `M4`, `mark 4`.
fn number_of(text: &str) -> Option<(Kind, u32)> {
    let text = text.trim().to_lowercase();
    let (kind, rest) = if let Some(rest) = text.strip_prefix("item") {
        (Kind::Item, rest)
    } else if let Some(rest) = text.strip_prefix("package") {
        (Kind::Package, rest.trim_start().trim_start_matches('p'))
    } else if let Some(rest) = text.strip_prefix("mark") {
        (Kind::Mark, rest.trim_start().trim_start_matches('m'))
    } else if let Some(rest) = text.strip_prefix('p') {
        (Kind::Package, rest)
    } else if let Some(rest) = text.strip_prefix('m') {
        (Kind::Mark, rest)
    } else {
        (Kind::Item, text.as_str())
    };
    let number = rest.trim();
    if number.is_empty() || !number.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    Some((kind, number.parse().ok()?))
}

/// `HC-26-0117/3`, `HC-26-0117 P2`: a thing within a case.
async fn numbered(reader: &Reader<'_>, q: &str) -> Result<Option<Hit>, ReadError> {
    let splits = q
        .char_indices()
        .filter(|(_, c)| *c == '/' || c.is_whitespace())
        .map(|(i, c)| (i, i + c.len_utf8()));
    for (end, begin) in splits.take(8) {
        let (Some(number), Some(rest)) = (q.get(..end), q.get(begin..)) else {
            continue;
        };
        let Some((kind, n)) = number_of(rest) else {
            continue;
        };
        let Some(case) = seen(reader.case_by_number(number.trim()).await)? else {
            continue;
        };
        return by_number(reader, &case, kind, n).await;
    }
    Ok(None)
}

async fn by_number(
    reader: &Reader<'_>,
    case: &Case,
    kind: Kind,
    n: u32,
) -> Result<Option<Hit>, ReadError> {
    Ok(match kind {
        Kind::Item => {
            let found = reader.item_numbered(case.id, n).await?;
            found.map(|x| thing_hit(&Thing::Item(Box::new(x)), case, "number"))
        }
        Kind::Package => {
            let found = reader.package_numbered(case.id, n).await?;
            found.map(|x| thing_hit(&Thing::Package(Box::new(x)), case, "number"))
        }
        Kind::Mark => {
            let found = reader.mark_numbered(case.id, n).await?;
            found.map(|x| mark_hit(&x, case, "number"))
        }
    })
}
