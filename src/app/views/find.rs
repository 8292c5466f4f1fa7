//! Finding: what was typed or scanned, and what it can be. Nothing of a case that the viewer may not see is found.

use schemars::JsonSchema;
use serde::Serialize;

use super::case_row::{CaseRow, RESTRICTED};
use super::words;
use crate::app::reader::{Part, ReadError, Reader, Thing};
use crate::custody::package::seal_number;
use crate::custody::state::{Case, Mark};
use crate::ids::{Code, Subject};
use crate::people::Action;
use crate::store::LIST_MAX;

/// How many hits at the most.
pub const MOST_HITS: usize = 50;
/// How many of the newest cases are searched for words.
pub const MOST_CASES: u32 = LIST_MAX;
/// In how many of the newest cases the objects of marks are searched for words.
pub const MOST_MARKED: usize = 20;
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

/// What there is under something that was typed or scanned, the surest first, at most [`MOST_HITS`].
///
/// # Errors
/// See [`ReadError`].
pub async fn find(reader: &Reader<'_>, q: &str) -> Result<Vec<Hit>, ReadError> {
    reader.must(Action::ReadEvidence)?;
    let q: String = q.trim().chars().take(MOST_TEXT).collect();
    let mut hits = Vec::new();
    if q.is_empty() {
        return Ok(hits);
    }
    if let Ok(code) = q.parse::<Code>()
        && let Some(subject) = seen(reader.subject_of_code(&code).await)?
    {
        hits.extend(hit(reader, subject, "label code").await?);
    }
    if let Some(case) = seen(reader.case_by_number(&q).await)? {
        hits.push(case_hit(&case, "case number"));
    }
    hits.extend(numbered(reader, &q).await?);
    let number = seal_number(&q);
    if let Some(row) = reader.house().store.seal(&number).await?
        && let Ok(subject) = row.package.parse::<Subject>()
    {
        hits.extend(hit(reader, subject, &format!("seal {number}")).await?);
    }
    if q.chars().count() >= 2 {
        in_words(reader, &q.to_lowercase(), &mut hits).await?;
    }
    let mut out: Vec<Hit> = Vec::new();
    for hit in hits {
        if out.len() < MOST_HITS && !out.iter().any(|h| h.subject == hit.subject) {
            out.push(hit);
        }
    }
    Ok(out)
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

fn case_hit(case: &Case, why: &str) -> Hit {
    Hit {
        subject: Subject::Case(case.id),
        name: format!("Case {}", case.number),
        words: CaseRow::from(case).words().to_owned(),
        why: why.into(),
    }
}

fn mark_hit(mark: &Mark, case: &Case, why: &str) -> Hit {
    Hit {
        subject: Subject::Mark(mark.id),
        name: format!("Mark M{}", mark.number),
        words: of_case(case, || {
            format!("{}, {}", mark.noted.object, mark.noted.exact_place)
        }),
        why: why.into(),
    }
}

fn thing_hit(thing: &Thing, case: &Case, why: &str) -> Hit {
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

async fn hit(reader: &Reader<'_>, subject: Subject, why: &str) -> Result<Option<Hit>, ReadError> {
    let thing = match subject {
        Subject::Item(id) => seen(reader.item(id).await)?.map(|i| Thing::Item(Box::new(i))),
        Subject::Package(id) => {
            seen(reader.package(id).await)?.map(|p| Thing::Package(Box::new(p)))
        }
        Subject::Place(id) => {
            return Ok(seen(reader.place(id).await)?.map(|p| Hit {
                subject,
                name: words::capital(&words::place(&p.added.name)),
                words: words::place_kind(p.added.place_kind).into(),
                why: why.into(),
            }));
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
    // Numbers run without a gap, so the wanted one is the last of the first n: at most 40 parts of a list.
    let mut part = Part::default();
    for _ in 0..40 {
        let (found, next) = match kind {
            Kind::Item => {
                let page = reader.items_of(case.id, &part).await?;
                let found = page.rows.into_iter().find(|x| x.number == n);
                let found = found.map(|x| thing_hit(&Thing::Item(Box::new(x)), case, "number"));
                (found, page.next)
            }
            Kind::Package => {
                let page = reader.packages_of(case.id, &part).await?;
                let found = page.rows.into_iter().find(|x| x.number == n);
                let found = found.map(|x| thing_hit(&Thing::Package(Box::new(x)), case, "number"));
                (found, page.next)
            }
            Kind::Mark => {
                let page = reader.marks_of(case.id, &part).await?;
                let found = page.rows.iter().find(|x| x.number == n);
                (found.map(|x| mark_hit(x, case, "number")), page.next)
            }
        };
        if found.is_some() || next.is_none() {
            return Ok(found);
        }
        part.after = next;
    }
    Ok(None)
}

/// Whether every word of the question begins a word of the text.
fn fits(q: &str, text: &str) -> bool {
    let text = text.to_lowercase();
    let mut words = q.split_whitespace();
    words.all(|w| {
        text.split(|c: char| !c.is_alphanumeric() && c != '-')
            .any(|t| t.starts_with(w))
    })
}

async fn in_words(reader: &Reader<'_>, q: &str, hits: &mut Vec<Hit>) -> Result<(), ReadError> {
    let cases = reader.cases(&Part::first(MOST_CASES)).await?.rows;
    for case in &cases {
        if case.number.to_lowercase().starts_with(q) || fits(q, &case.title) {
            hits.push(case_hit(case, "in the case's number or title"));
        }
    }
    for case in cases.iter().take(MOST_MARKED) {
        for mark in reader.marks_of(case.id, &Part::default()).await?.rows {
            if fits(q, &mark.noted.object) {
                hits.push(mark_hit(&mark, case, "the object of a mark"));
            }
            if hits.len() >= MOST_HITS * 4 {
                return Ok(());
            }
        }
    }
    Ok(())
}
