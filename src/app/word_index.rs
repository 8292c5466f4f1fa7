//! The word index: by which words each subject is found. A read model like the documents that it is derived from, in the
//! same transaction.
//!
//! What belongs to a restricted case has no words in it, whoever looks: a case that is restricted takes all its words
//! out, and gets them back when the restriction is lifted. Such cases are found by their numbers alone.

use std::collections::{BTreeMap, BTreeSet};

use super::record::RecordError;
use super::rows::{self, BadDoc};
use crate::custody::State;
use crate::custody::state::Case;
use crate::ids::{CaseId, Subject};
use crate::ledger::event::Event;
use crate::store::{
    Batch, DocFilter, DocOrder, DocRow, LIST_MAX, Store, StoreError, WordsRow, WriteTx,
};

/// The longest word that is kept, in characters; what is longer is cut, in texts and in questions.
pub const MOST_LETTERS: usize = 40;
/// How many words of one subject are kept, the first in alphabetical order.
pub const MOST_WORDS: usize = 100;
/// The setting that says by which rules the index was filled. Another value, or none: it is filled anew.
const SETTING: &str = "word-index";
/// Changes whenever words are made otherwise.
const VERSION: &str = "1";
/// Kinds of what belongs to a case, as documents name them.
const OF_CASES: [&str; 3] = ["mark", "item", "package"];

/// A text's words: small letters, cut at spaces; where one has signs inside (`HC-26-0117`), its parts beside the whole.
fn words_in(text: &str, out: &mut BTreeSet<String>) {
    for whole in pieces(text) {
        if whole.chars().any(|c| !c.is_alphanumeric()) {
            let parts = whole.split(|c: char| !c.is_alphanumeric());
            out.extend(parts.filter(|p| !p.is_empty()).map(str::to_owned));
        }
        out.insert(whole);
    }
}

/// The words of a question. Each must begin a word of what is found.
#[must_use]
pub fn asked(q: &str) -> Vec<String> {
    pieces(q).collect()
}

fn pieces(text: &str) -> impl Iterator<Item = String> + '_ {
    text.split(|c: char| c.is_whitespace() || c.is_control())
        .map(|w| w.trim_matches(|c: char| !c.is_alphanumeric()))
        .filter(|w| !w.is_empty())
        .map(|w| w.to_lowercase().chars().take(MOST_LETTERS).collect())
}

/// The words by which a subject is found, as the state has it: none of what is not in the state, and none of what
/// belongs to a restricted case but the number of that case. The case must be in the state with what belongs to it.
#[must_use]
pub fn words(state: &State, subject: Subject) -> Vec<String> {
    let case = state.case_of(subject).map(|id| state.cases.get(&id));
    // A case that is not known is taken for restricted: rather not found than told.
    let hidden = case.is_some_and(|c| c.is_none_or(|c| c.restricted));
    let mut texts: Vec<&str> = Vec::new();
    match subject {
        Subject::Person(id) => {
            if let Some(x) = state.people.get(&id) {
                texts.extend([x.name.as_str(), &x.user_name, &x.number]);
            }
        }
        Subject::Place(id) => texts.extend(state.places.get(&id).map(|x| x.added.name.as_str())),
        Subject::Case(id) => {
            if let Some(x) = state.cases.get(&id) {
                texts.push(&x.number);
                if !x.restricted {
                    texts.extend([x.title.as_str(), &x.offence]);
                }
            }
        }
        _ if hidden => {}
        Subject::Mark(id) => {
            if let Some(x) = state.marks.get(&id) {
                texts.extend([x.noted.object.as_str(), &x.noted.exact_place]);
            }
        }
        Subject::Item(id) => {
            if let Some(x) = state.items.get(&id) {
                texts.extend([x.recovered.description.as_str(), &x.recovered.medium_name]);
                texts.extend(x.imported.iter().map(|i| i.former.as_str()));
                if let Some(brought) = &x.brought {
                    let told = &brought.told;
                    texts.extend([told.brought_by.as_str(), &told.agency, &told.found_where]);
                }
            }
        }
        Subject::Package(id) => {
            if let Some(x) = state.packages.get(&id) {
                texts.extend(x.seals.iter().map(|s| s.number.as_str()));
            }
        }
        Subject::Count(_) => {}
    }
    let mut out = BTreeSet::new();
    for text in texts {
        words_in(text, &mut out);
    }
    out.into_iter().take(MOST_WORDS).collect()
}

/// The index's row of a subject.
pub(super) fn row(state: &State, subject: Subject) -> WordsRow {
    WordsRow {
        subject: subject.to_string(),
        kind: subject.kind().into(),
        words: words(state, subject),
    }
}

/// Whether an event of this kind may change by which words its subjects are found. Hand-overs, pictures, prints, counts,
/// holds and what is carried never do, and they are most events; a test holds them to it.
#[must_use]
pub fn may_change(kind: &str) -> bool {
    const QUIET: [&str; 21] = [
        "case.assigned",
        "case.disclosed",
        "case.read",
        "case.retention-set",
        "case.scene-opened",
        "item.consumed",
        "item.dried",
        "item.sampled",
        "mark.developed",
        "package.opened",
        "package.put-in",
        "package.repacked",
        "package.taken-out",
        "place.capacity-set",
        "place.climate-logged",
        "place.seals-delivered",
        "place.seals-issued",
        "place.seals-spoiled",
        "place.stock-counted",
        "place.stock-taken",
        "place.two-person-marked",
    ];
    const QUIET_NOUNS: [&str; 8] = [
        "count",
        "custody",
        "disposition",
        "finding",
        "hold",
        "image",
        "kit",
        "paper",
    ];
    let noun = kind.split('.').next().unwrap_or_default();
    !QUIET.contains(&kind) && !QUIET_NOUNS.contains(&noun)
}

/// What a group of commands changes in the index.
#[derive(Debug, Default)]
pub(super) struct Changes {
    /// Whose words may have changed.
    subjects: BTreeSet<Subject>,
    /// Cases whose restriction was set or lifted: the words of everything in them.
    cases: BTreeSet<CaseId>,
}

impl Changes {
    /// Takes note of an event.
    pub(super) fn note(&mut self, event: &Event) {
        let kind = event.header.kind.as_str();
        if may_change(kind) {
            let touched = event.header.touches.iter().map(|t| t.subject);
            self.subjects.extend(touched);
        }
        if kind == "case.restricted" {
            self.cases.extend(event.header.case);
        }
    }

    /// Takes note of subjects whose records were made anew.
    pub(super) fn also(&mut self, subjects: &BTreeSet<Subject>) {
        self.subjects.extend(subjects);
    }

    /// The rows for the batch, by the state at the end of the group.
    pub(super) async fn rows(
        self,
        tx: &mut dyn WriteTx,
        state: &mut State,
    ) -> Result<Vec<WordsRow>, RecordError> {
        let cases = self.subjects.iter().filter_map(|s| state.case_of(*s));
        let unknown: BTreeSet<String> = cases
            .filter(|id| !state.cases.contains_key(id))
            .map(|id| Subject::Case(id).to_string())
            .collect();
        if !unknown.is_empty() {
            let unknown: Vec<String> = unknown.into_iter().collect();
            for doc in tx.load_docs(&unknown).await? {
                rows::take(state, &doc).map_err(damaged)?;
            }
        }
        let mut out: BTreeMap<String, WordsRow> = BTreeMap::new();
        for id in &self.cases {
            if let Some(case) = state.cases.get(id).cloned() {
                of_case(tx, state, &case, &mut out).await?;
            }
        }
        for subject in self.subjects {
            let row = row(state, subject);
            out.insert(row.subject.clone(), row);
        }
        Ok(out.into_values().collect())
    }
}

fn damaged(e: BadDoc) -> RecordError {
    RecordError::Corrupt(e.to_string())
}

/// The words of all that the store has of a case.
async fn of_case(
    tx: &mut dyn WriteTx,
    state: &State,
    case: &Case,
    out: &mut BTreeMap<String, WordsRow>,
) -> Result<(), RecordError> {
    for kind in OF_CASES {
        let mut filter = DocFilter {
            kind: Some(kind.into()),
            case_id: Some(case.id.to_string()),
            order: DocOrder::Number,
            limit: LIST_MAX,
            ..DocFilter::default()
        };
        loop {
            let page = tx.list_docs(&filter).await?;
            let Some(last) = page.last() else { break };
            filter.after = Some(last.cursor(filter.order));
            let mut stored = State::default();
            stored.cases.insert(case.id, case.clone());
            for doc in &page {
                let subject = doc.subject.parse().map_err(|_| {
                    RecordError::Corrupt(format!("the subject {} cannot be read", doc.subject))
                })?;
                // What this group changed is not in the store yet.
                let row = if state.case_of(subject).is_some() {
                    row(state, subject)
                } else {
                    rows::take(&mut stored, doc).map_err(damaged)?;
                    row(&stored, subject)
                };
                out.insert(row.subject.clone(), row);
            }
        }
    }
    Ok(())
}

/// Fills the index of a database that has none, or one made by other rules. Some hundred documents at a time, each part in
/// a transaction of its own that appends stand at too, so that memory stays small and nothing is overtaken; stopped in the
/// middle, it begins again at the next start.
///
/// # Errors
/// Where the database cannot do it or a document cannot be read.
pub async fn ensure(store: &dyn Store) -> Result<(), StoreError> {
    if store.setting(SETTING).await?.as_deref() == Some(VERSION) {
        return Ok(());
    }
    fill(store).await
}

/// Fills the index anew from the documents.
///
/// # Errors
/// As [`ensure`].
pub async fn fill(store: &dyn Store) -> Result<(), StoreError> {
    let mut filter = DocFilter {
        limit: LIST_MAX,
        ..DocFilter::default()
    };
    let mut done = 0_u64;
    let mut tx = store.begin().await?;
    tx.clear_words().await?;
    tx.commit().await?;
    loop {
        let mut tx = store.begin().await?;
        let page = tx.list_docs(&filter).await?;
        let Some(last) = page.last() else {
            tx.rollback().await?;
            break;
        };
        filter.after = Some(last.cursor(filter.order));
        let words = of_page(tx.as_mut(), &page).await?;
        tx.append(Batch {
            words,
            ..Batch::default()
        })
        .await?;
        tx.commit().await?;
        done += page.len() as u64;
        if done.is_multiple_of(100 * u64::from(LIST_MAX)) {
            tracing::info!(documents = done, "the word index is being filled");
        }
    }
    if done > 0 {
        tracing::info!(documents = done, "the word index is filled");
    }
    store.set_setting(SETTING, VERSION).await
}

async fn of_page(tx: &mut dyn WriteTx, page: &[DocRow]) -> Result<Vec<WordsRow>, StoreError> {
    let corrupt = |e: BadDoc| StoreError::Corrupt(e.to_string());
    let cases: BTreeSet<String> = page
        .iter()
        .filter_map(|doc| doc.case_id.as_ref())
        .map(|id| format!("case:{id}"))
        .collect();
    let cases: Vec<String> = cases.into_iter().collect();
    let mut state = State::default();
    for doc in tx.load_docs(&cases).await?.iter().chain(page) {
        rows::take(&mut state, doc).map_err(corrupt)?;
    }
    let mut out = Vec::with_capacity(page.len());
    for doc in page {
        let subject = doc.subject.parse().map_err(|_| {
            StoreError::Corrupt(format!("the subject {} cannot be read", doc.subject))
        })?;
        out.push(row(&state, subject));
    }
    Ok(out)
}
