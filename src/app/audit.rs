//! The whole database checked: the ledger from its raw rows, then the read models against a replay of the events, then
//! the originals of images against the digests that the events name, then the working copies, made again by their recipes.
//!
//! Memory grows with the number of records (people, cases, items …), since the replay holds them all.

mod touched;

use std::collections::{BTreeMap, HashMap, HashSet};

use rayon::prelude::*;

use self::touched::Touched;
use crate::custody::copy::CopyMade;
use crate::custody::{Fact, State};
use crate::ids::{Digest, Seq, Subject};
use crate::imaging::decode::{self, decode};
use crate::imaging::derive::{derive, pixels_digest};
use crate::ledger::checkpoint::VerifyingKey;
use crate::ledger::event::Event;
use crate::ledger::expunged;
use crate::ledger::payload::Fields;
use crate::ledger::verify::{self, Options, Verifier};
use crate::originals::{Originals, OriginalsError};
use crate::store::{DocFilter, LIST_MAX, RAW_MAX, RawEvent, Store, StoreError, WordsRow};

use super::{reader, replay, rows, word_index};

/// What was gone through and all that was found.
#[derive(Clone, Debug)]
pub struct Audit {
    /// The ledger by itself.
    pub ledger: verify::Report,
    /// Where a read model, a guard or an original disagrees: the subject, table or digest, and why.
    pub models: Vec<Disagreement>,
    /// The originals that image events name, and the events that name them.
    pub images: BTreeMap<Digest, Vec<Seq>>,
    /// The working copies that events name, each with how it was made.
    pub copies: Vec<(Seq, CopyMade)>,
}

/// A read model that does not say what the events say, a guard that is gone or changed, or an original that is not what
/// its events name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Disagreement {
    /// `read-model-differs`, `read-model-missing`, `read-model-extra`, `count-differs`, `touches-differ`, `words-differ`, `event-leads-nowhere`,
    /// `guard-missing`, `guard-changed`, `expunged-differs`, `expungement-unfinished`, `image-missing`, `image-altered`, `image-unreadable`, `copy-missing`,
    /// `copy-altered`, `copy-unreadable`, `copy-differs`, `copy-not-made-again`.
    pub code: &'static str,
    /// The event, where one is meant.
    pub seq: Option<Seq>,
    /// For people.
    pub text: String,
}

impl Audit {
    /// Whether nothing was found.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.ledger.is_clean() && self.models.is_empty()
    }

    /// Holds every original that an image event names against its digest, one after the other, and adds what it finds.
    /// It reads every file whole. Must not run on a single-threaded runtime's own thread.
    pub fn check_images(&mut self, originals: &Originals) {
        for (digest, events) in &self.images {
            let (code, why) = match originals.verify(*digest) {
                Ok(_) => continue,
                Err(OriginalsError::Missing(_)) => (
                    "image-missing",
                    format!("the original {digest} is not there"),
                ),
                Err(OriginalsError::Altered { found, .. }) => (
                    "image-altered",
                    format!(
                        "the original {digest} was altered: its bytes now have the digest {found}"
                    ),
                ),
                Err(e) => (
                    "image-unreadable",
                    format!("the original {digest} cannot be read: {e}"),
                ),
            };
            self.models.extend(events.iter().map(|seq| Disagreement {
                code,
                seq: Some(*seq),
                text: why.clone(),
            }));
        }
    }

    /// Makes every working copy again from its original, by the recipe and scale on record, and holds it against the file
    /// that was kept. Must not run on a single-threaded runtime's own thread.
    pub fn check_copies(&mut self, originals: &Originals) {
        for (seq, made) in &self.copies {
            if let Err((code, text)) = again(originals, made) {
                self.models.push(Disagreement {
                    code,
                    seq: Some(*seq),
                    text,
                });
            }
        }
    }
}

/// One working copy, made again.
fn again(originals: &Originals, made: &CopyMade) -> Result<(), (&'static str, String)> {
    let copy = made.copy;
    originals.verify(copy).map_err(|e| match e {
        OriginalsError::Missing(_) => (
            "copy-missing",
            format!("the working copy {copy} is not there"),
        ),
        OriginalsError::Altered { found, .. } => (
            "copy-altered",
            format!("the working copy {copy} was altered: its bytes now have the digest {found}"),
        ),
        e => (
            "copy-unreadable",
            format!("the working copy {copy} cannot be read: {e}"),
        ),
    })?;
    let not_again = |why: &dyn std::fmt::Display| {
        (
            "copy-not-made-again",
            format!(
                "the working copy {copy} cannot be made again from {}: {why}",
                made.digest
            ),
        )
    };
    let original = originals.read(made.digest).map_err(|e| not_again(&e))?;
    let new = derive(&original, &made.recipe, made.scale.as_ref()).map_err(|e| not_again(&e))?;
    if Digest::of(&new.png) == copy {
        return Ok(());
    }
    // Another release may compress otherwise; what the file shows must still be the same.
    let kept = originals.read(copy).map_err(|e| not_again(&e))?;
    let shown = decode(&kept, &decode::Limits::default()).map_err(|e| not_again(&e))?;
    let shown = pixels_digest(&shown.raster);
    if shown == new.pixels && shown == made.pixels {
        return Ok(());
    }
    Err((
        "copy-differs",
        format!(
            "the working copy {copy} is not what its recipe makes of {}: {}",
            made.digest, made.recipe
        ),
    ))
}

/// What is left of expunged payloads, as the database has it beside the events: it must be what the expungement says.
#[derive(Default)]
struct Left(HashMap<Seq, (Seq, Fields)>);

impl Left {
    fn take(&mut self, event: &Event, models: &mut Vec<Disagreement>) {
        let seq = event.header.seq;
        if let Some(by) = event.expunged {
            self.0.insert(seq, (by, event.fields.clone()));
        }
        for (named, fields) in expunged::left(event) {
            // One that is not gone at all is the ledger's own finding.
            if self
                .0
                .remove(&named)
                .is_some_and(|found| found != (seq, fields))
            {
                models.push(Disagreement {
                    code: "expunged-differs",
                    seq: Some(named),
                    text: format!("what is left of event {named} is not what its expungement, event {seq}, says"),
                });
            }
        }
    }
}

/// What comes of going through the events, one after the other.
struct Through {
    verifier: Verifier,
    state: State,
    models: Vec<Disagreement>,
    images: BTreeMap<Digest, Vec<Seq>>,
    copies: Vec<(Seq, CopyMade)>,
    left: Left,
    touched: Touched,
}

impl Through {
    fn new(key: VerifyingKey) -> Self {
        Self {
            verifier: Verifier::new(key, Options::default()),
            state: State::default(),
            models: Vec::new(),
            images: BTreeMap::new(),
            copies: Vec::new(),
            left: Left::default(),
            touched: Touched::default(),
        }
    }

    /// The rows that come next.
    fn take(&mut self, page: Vec<RawEvent>) {
        let raw: Vec<verify::RawEvent> = page
            .iter()
            .map(|e| verify::RawEvent {
                seq: e.seq,
                id: e.id.clone().unwrap_or_default(),
                header: e.header.clone().unwrap_or_default(),
                salt: e.salt.clone(),
                fields: e.fields.clone(),
            })
            .collect();
        self.verifier.push(&raw);
        drop(raw);
        let events: Vec<Option<Event>> = page
            .into_par_iter()
            .with_min_len(32)
            .map(|raw| reader::opened(raw).ok())
            .collect();
        for event in events.into_iter().flatten() {
            self.event(&event);
        }
    }

    fn event(&mut self, event: &Event) {
        let seq = event.header.seq;
        if event.header.kind == "image.added"
            && let Some(digest) = event.field_str("digest").and_then(|d| d.parse().ok())
        {
            self.images.entry(digest).or_default().push(seq);
        }
        if event.header.kind == "image.copy-made"
            && let Ok(Fact::CopyMade(made)) = Fact::from_fields(&event.header.kind, &event.fields)
        {
            self.copies.push((seq, made));
        }
        self.left.take(event, &mut self.models);
        for touch in &event.header.touches {
            self.touched.add(touch.subject, touch.n, seq);
        }
        if let Err(stuck) = replay::step(&mut self.state, event) {
            self.models.push(Disagreement {
                code: "event-leads-nowhere",
                seq: Some(stuck.seq),
                text: stuck.why,
            });
        }
    }
}

/// Goes through everything in the database; the originals are held against their digests by [`Audit::check_images`]. `external` are checkpoints that somebody else kept; `progress` hears how many events are done.
///
/// # Errors
/// Where the database cannot be read. What is wrong with its content is in the [`Audit`].
pub async fn audit(
    store: &dyn Store,
    key: &VerifyingKey,
    external: &[String],
    mut progress: impl FnMut(u64) + Send,
) -> Result<Audit, StoreError> {
    let mut through = Through::new(key.clone());
    let mut done = 0_u64;
    let mut page = store.events(i64::MIN, RAW_MAX).await?;
    while let Some(last) = page.last() {
        let next = last.seq.checked_add(1);
        done += page.len() as u64;
        // The next rows are read while these are gone through.
        let work = tokio::task::spawn_blocking(move || {
            through.take(page);
            through
        });
        let read = async {
            match next {
                Some(next) => store.events(next, RAW_MAX).await,
                None => Ok(Vec::new()),
            }
        };
        let (work, read) = tokio::join!(work, read);
        through = work.unwrap_or_else(|e| std::panic::resume_unwind(e.into_panic()));
        page = read?;
        progress(done);
    }
    let Through {
        mut verifier,
        state,
        mut models,
        images,
        copies,
        touched,
        ..
    } = through;
    for seq in store.orphan_payloads(RAW_MAX).await? {
        verifier.push_payload_without_event(seq);
    }
    let mut after = None;
    loop {
        let page = store.nodes_page(after, RAW_MAX).await?;
        let Some(last) = page.last() else { break };
        after = Some((last.level, last.idx));
        let raw: Vec<verify::RawNode> = page
            .into_iter()
            .map(|n| verify::RawNode {
                level: n.level,
                index: n.idx,
                hash: n.hash.unwrap_or_default(),
            })
            .collect();
        verifier.push_nodes(&raw);
    }
    let mut after = i64::MIN;
    loop {
        let page = store.checkpoints(after, RAW_MAX).await?;
        let Some(last) = page.last() else { break };
        after = last.size;
        for one in page {
            let note = one.note.unwrap_or_default();
            verifier.push_checkpoint(&verify::RawCheckpoint {
                size: one.size,
                note,
            });
        }
    }
    for note in external {
        verifier.external_checkpoint(note);
    }
    let ledger = tokio::task::block_in_place(|| verifier.finish());
    for guard in store.broken_guards().await? {
        let (code, what) = if guard.changed {
            ("guard-changed", "does not say what this program's says")
        } else {
            ("guard-missing", "is gone")
        };
        models.push(Disagreement {
            code,
            seq: None,
            text: format!(
                "the guard {} {what}: rows could have been changed without a refusal",
                guard.name
            ),
        });
    }
    let waiting = store.removals(LIST_MAX).await?;
    if let Some(first) = waiting.first() {
        models.push(Disagreement {
            code: "expungement-unfinished",
            seq: Some(first.by),
            text: format!(
                "{} things that event {} expunged are not removed yet: start the server, which goes on with it",
                waiting.len(),
                first.by
            ),
        });
    }
    compare(store, &state, &touched, &mut models).await?;
    touched.compare(store, &mut models).await?;
    words(store, &state, &touched, &mut models).await?;
    Ok(Audit {
        ledger,
        models,
        images,
        copies,
    })
}

/// Every document against the replayed state, and every subject of the state against its document.
async fn compare(
    store: &dyn Store,
    state: &State,
    touched: &Touched,
    models: &mut Vec<Disagreement>,
) -> Result<(), StoreError> {
    let mut missing: HashSet<Subject> = HashSet::new();
    missing.extend(state.people.keys().map(|x| Subject::Person(*x)));
    missing.extend(state.places.keys().map(|x| Subject::Place(*x)));
    missing.extend(state.cases.keys().map(|x| Subject::Case(*x)));
    missing.extend(state.marks.keys().map(|x| Subject::Mark(*x)));
    missing.extend(state.items.keys().map(|x| Subject::Item(*x)));
    missing.extend(state.packages.keys().map(|x| Subject::Package(*x)));
    missing.extend(state.counts.keys().map(|x| Subject::Count(*x)));
    let mut filter = DocFilter {
        limit: LIST_MAX,
        ..DocFilter::default()
    };
    loop {
        let page = store.list_docs(&filter).await?;
        let Some(last) = page.last() else { break };
        filter.after = Some(last.cursor(filter.order));
        for row in page {
            let Some(subject) = Subject::named(&row.subject).filter(|s| missing.remove(s)) else {
                models.push(Disagreement {
                    code: "read-model-extra",
                    seq: None,
                    text: format!("{} is listed, but no event made it", row.subject),
                });
                continue;
            };
            let right =
                rows::row(state, subject).map_err(|e| StoreError::Corrupt(e.to_string()))?;
            if right.as_ref() != Some(&row) {
                models.push(Disagreement {
                    code: "read-model-differs",
                    seq: touched.last(subject),
                    text: format!("{subject} is listed otherwise than its events say"),
                });
            }
        }
    }
    let mut left: Vec<Subject> = missing.into_iter().collect();
    left.sort_unstable();
    models.extend(left.into_iter().map(|subject| Disagreement {
        code: "read-model-missing",
        seq: touched.last(subject),
        text: format!("{subject} is not listed, but its events are there"),
    }));
    Ok(())
}

/// The word index against the replayed state: each subject's words, and none of a subject that has none.
async fn words(
    store: &dyn Store,
    state: &State,
    touched: &Touched,
    models: &mut Vec<Disagreement>,
) -> Result<(), StoreError> {
    let mut left: HashSet<Subject> = touched.subjects().collect();
    let mut wrong = |name: &str, subject: Option<Subject>| {
        models.push(Disagreement {
            code: "words-differ",
            seq: subject.and_then(|s| touched.last(s)),
            text: format!("the word index finds {name} by other words than its record has"),
        });
    };
    let mut after = (String::new(), String::new());
    // The rows of one subject, which may stand on several pages.
    let mut listed: Vec<WordsRow> = Vec::new();
    loop {
        let page = store.words_page((&after.0, &after.1), RAW_MAX).await?;
        let end = page.is_empty();
        if let Some(last) = page.last() {
            after = (
                last.subject.clone(),
                last.words.last().cloned().unwrap_or_default(),
            );
        }
        for row in page {
            if listed.last().is_some_and(|l| l.subject != row.subject) {
                one(&listed, state, &mut left, &mut wrong);
                listed.clear();
            }
            listed.push(row);
        }
        if end {
            one(&listed, state, &mut left, &mut wrong);
            break;
        }
    }
    let mut left: Vec<Subject> = left.into_iter().collect();
    left.sort_unstable();
    for subject in left {
        if !word_index::words(state, subject).is_empty() {
            wrong(&subject.to_string(), Some(subject));
        }
    }
    Ok(())
}

/// One subject's words as the index lists them, in its order.
fn one(
    listed: &[WordsRow],
    state: &State,
    left: &mut HashSet<Subject>,
    wrong: &mut impl FnMut(&str, Option<Subject>),
) {
    let Some(first) = listed.first() else { return };
    let subject = Subject::named(&first.subject).filter(|s| left.remove(s));
    let right = subject.is_some_and(|subject| {
        // Both are in the order of bytes. A row under another kind is not found where this one is looked for.
        let words = listed.iter().flat_map(|row| &row.words);
        listed.iter().all(|row| row.kind == subject.kind())
            && words.eq(&word_index::words(state, subject))
    });
    if !right {
        wrong(&first.subject, subject);
    }
}
