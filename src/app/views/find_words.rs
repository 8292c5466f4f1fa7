//! Finding by the beginnings of words, from the first letter on.
//!
//! A word's rows lie beside each other in the index, so the first of them are read whatever their number. Of several words
//! the rarest leads, and each subject under it is asked for the others. Where every word is frequent only the first
//! rows of one are gone through ([`LED`]), and the answer says that there may be more.

use std::collections::HashSet;

use super::find::{Found, Hit, case_hit, mark_hit, person_hit, place_hit, thing_hit};
use crate::app::reader::{ReadError, Reader, Thing};
use crate::app::rows;
use crate::app::word_index::asked;
use crate::custody::State;
use crate::custody::state::Case;
use crate::ids::Subject;
use crate::store::{DocFilter, DocOrder, LIST_MAX, WordsAsked};

/// In this order, and why each is found.
const KINDS: [(&str, &str); 6] = [
    ("case", "number or title of the case"),
    ("place", "name of the place"),
    ("person", "name or number of the person"),
    ("package", "number of a seal"),
    ("item", "description or medium"),
    ("mark", "object, or place on it"),
];
/// How many words of a question are looked at.
const MOST_ASKED: usize = 8;
/// How many rows tell whether a word is rare.
const FEW: u32 = 64;
/// How many rows of a frequent word are gone through at the most, of each kind.
const LED: u32 = 100;

/// Subjects, the best first, and whether there may be more of them.
#[derive(Default)]
struct Subjects {
    subjects: Vec<String>,
    more: bool,
}

/// What is found by the words of a question, at most `most` of it, something of each kind.
pub(super) async fn find(reader: &Reader<'_>, q: &str, most: usize) -> Result<Found, ReadError> {
    let mut words = asked(q);
    words.truncate(MOST_ASKED);
    if words.is_empty() {
        return Ok(Found::default());
    }
    let within = if words.len() > 1 {
        case_named(reader, q).await?
    } else {
        None
    };
    let mut found = Found::default();
    let mut of_kinds: Vec<OfKind> = Vec::new();
    for (kind, why) in KINDS {
        let is_case = kind == "case";
        // Cases that may not be seen are passed over, so some more are looked for.
        let want = if is_case { 4 * most } else { most } + 1;
        let mut some = match &within {
            Some((case, rest)) => in_case(reader, case, kind, rest).await?,
            None => of_kind(reader, kind, &words, want).await?,
        };
        found.more |= some.more || some.subjects.len() > want;
        some.subjects.truncate(want);
        let mut of_kind = OfKind {
            hits: Vec::new(),
            subjects: some.subjects.into_iter().map(|s| (s, why)).collect(),
        };
        if is_case {
            for part in std::mem::take(&mut of_kind.subjects).chunks(most + 1) {
                of_kind.hits.extend(hits(reader, part).await?);
                if of_kind.hits.len() > most {
                    break;
                }
            }
        }
        of_kinds.push(of_kind);
    }
    // A fair part of each kind, then whatever there is room for, in the order of kinds.
    let fair = (most / KINDS.len()).max(1);
    let mut room = most;
    let mut take: Vec<usize> = vec![0; of_kinds.len()];
    for least in [fair, most] {
        for (n, of_kind) in take.iter_mut().zip(&of_kinds) {
            let add = least.min(of_kind.len()).saturating_sub(*n).min(room);
            *n += add;
            room -= add;
        }
    }
    // Only what is shown is read, all of it together: each record lies somewhere else.
    let mut shown = Vec::new();
    for (n, of_kind) in take.into_iter().zip(of_kinds) {
        found.more |= of_kind.len() > n;
        found.hits.extend(of_kind.hits.into_iter().take(n));
        shown.extend(of_kind.subjects.into_iter().take(n));
    }
    found.hits.extend(hits(reader, &shown).await?);
    Ok(found)
}

/// What was found of a kind: cases as they are shown, since of these some may not be seen; of others which, each with why.
struct OfKind {
    hits: Vec<Hit>,
    subjects: Vec<(String, &'static str)>,
}

impl OfKind {
    fn len(&self) -> usize {
        self.hits.len() + self.subjects.len()
    }
}

/// A case that the question names by its first or last word, and the other words. Only one that is open to all: of another
/// no words are told.
async fn case_named(
    reader: &Reader<'_>,
    q: &str,
) -> Result<Option<(Case, Vec<String>)>, ReadError> {
    let q = q.trim();
    for (number, rest) in [q.split_once(char::is_whitespace), {
        let last = q.rsplit_once(char::is_whitespace);
        last.map(|(rest, number)| (number, rest))
    }]
    .into_iter()
    .flatten()
    {
        match reader.case_by_number(number).await {
            Ok(case) if !case.restricted => {
                let mut rest = asked(rest);
                rest.truncate(MOST_ASKED);
                return Ok((!rest.is_empty()).then_some((case, rest)));
            }
            Ok(_) | Err(ReadError::NotFound(_) | ReadError::Restricted) => {}
            Err(e) => return Err(e),
        }
    }
    Ok(None)
}

/// What of a case has all the words.
async fn in_case(
    reader: &Reader<'_>,
    case: &Case,
    kind: &str,
    words: &[String],
) -> Result<Subjects, ReadError> {
    if !matches!(kind, "package" | "item" | "mark") {
        return Ok(Subjects::default());
    }
    let filter = DocFilter {
        kind: Some(kind.into()),
        case_id: Some(case.id.to_string()),
        order: DocOrder::Number,
        limit: LIST_MAX,
        ..DocFilter::default()
    };
    let subjects = reader.house().store.list_subjects(&filter).await?;
    let more = subjects.len() >= LIST_MAX as usize;
    let subjects = having(reader, subjects, words).await?;
    Ok(Subjects { subjects, more })
}

/// Subjects of a kind that have all the words.
async fn of_kind(
    reader: &Reader<'_>,
    kind: &str,
    words: &[String],
    want: usize,
) -> Result<Subjects, ReadError> {
    let store = &reader.house().store;
    if let [word] = words {
        // A subject can stand under several words that begin alike.
        let limit = u32::try_from(want * 2 + 2)
            .unwrap_or(LIST_MAX)
            .min(LIST_MAX);
        let rows = store.words_from(kind, word, limit).await?;
        let more = rows.len() >= limit as usize;
        let subjects = once(rows.into_iter().map(|r| r.subject));
        return Ok(Subjects { subjects, more });
    }
    // A word that few subjects have leads, and all of them are looked at.
    let mut rare: Option<Vec<String>> = None;
    for word in words {
        let rows = store.words_from(kind, word, FEW).await?;
        let whole = rows.len() < FEW as usize;
        if whole && rare.as_ref().is_none_or(|r| rows.len() < r.len()) {
            rare = Some(rows.into_iter().map(|r| r.subject).collect());
        }
    }
    if let Some(subjects) = rare {
        return Ok(Subjects {
            subjects: having(reader, once(subjects), words).await?,
            more: false,
        });
    }
    // Of frequent ones the longest, since fewer words begin with it.
    let mut also = words.to_vec();
    also.sort_by_key(|w| w.chars().count());
    let begin = also.pop().unwrap_or_default();
    let limit = u32::try_from(want).unwrap_or(LIST_MAX);
    let rows = store
        .words_with(&WordsAsked {
            kind,
            begin: &begin,
            also: &also,
            through: LED,
            limit,
        })
        .await?;
    Ok(Subjects {
        subjects: once(rows.into_iter().map(|r| r.subject)),
        more: true,
    })
}

fn once(subjects: impl IntoIterator<Item = String>) -> Vec<String> {
    let mut seen = HashSet::new();
    let new = subjects.into_iter().filter(|s| seen.insert(s.clone()));
    new.collect()
}

/// Those of the subjects that have all the words, in their order.
async fn having(
    reader: &Reader<'_>,
    mut subjects: Vec<String>,
    words: &[String],
) -> Result<Vec<String>, ReadError> {
    for word in words {
        if subjects.is_empty() {
            break;
        }
        let has = reader.house().store.having_word(&subjects, word).await?;
        let has: HashSet<String> = has.into_iter().collect();
        subjects.retain(|s| has.contains(s));
    }
    Ok(subjects)
}

/// What the subjects are, in their order, each with why it is found; without what the viewer may not see.
async fn hits(
    reader: &Reader<'_>,
    found: &[(String, &'static str)],
) -> Result<Vec<Hit>, ReadError> {
    let mut out = Vec::new();
    if found.is_empty() {
        return Ok(out);
    }
    let store = &reader.house().store;
    let subjects: Vec<String> = found.iter().map(|(subject, _)| subject.clone()).collect();
    let mut state = State::default();
    let docs = store.docs(&subjects).await?;
    let cases = docs.iter().filter_map(|d| d.case_id.as_ref());
    let cases = once(cases.map(|id| format!("case:{id}")));
    for doc in docs.iter().chain(&store.docs(&cases).await?) {
        rows::take(&mut state, doc)?;
    }
    for (subject, why) in found {
        if let Ok(subject) = subject.parse::<Subject>() {
            out.extend(hit(reader, &state, subject, why));
        }
    }
    Ok(out)
}

fn hit(reader: &Reader<'_>, state: &State, subject: Subject, why: &str) -> Option<Hit> {
    // Restricted since the index was read, it would be told by a word.
    let open = || {
        let case = state.cases.get(&state.case_of(subject)?);
        case.filter(|c| !c.restricted)
    };
    Some(match subject {
        Subject::Case(id) => {
            let case = state.cases.get(&id)?;
            if !case.seen_by(reader.viewer().id()) {
                return None;
            }
            case_hit(case, why)
        }
        Subject::Person(id) => person_hit(state.people.get(&id)?, why),
        Subject::Place(id) => place_hit(state.places.get(&id)?, why),
        Subject::Mark(id) => mark_hit(state.marks.get(&id)?, open()?, why),
        Subject::Item(id) => {
            let item = state.items.get(&id)?.clone();
            thing_hit(&Thing::Item(Box::new(item)), open()?, why)
        }
        Subject::Package(id) => {
            let package = state.packages.get(&id)?.clone();
            thing_hit(&Thing::Package(Box::new(package)), open()?, why)
        }
        Subject::Count(_) => return None,
    })
}
